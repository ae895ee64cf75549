//! The alerts, one file each: from the picture to a verdict, with bounded state of their own.
//!
//! An alert only judges. What becomes of its verdict (sound, acknowledgement, repeat) is the
//! arbiter's business, so that there is one state machine and not seven.

mod card_doubtful;
pub mod cusum;
mod disagreement;
mod evidence;
mod frozen;
mod impaired;
mod input;
mod lost;
mod noise;
mod off_heading;
mod rudder;
mod settings;
mod smooth;
mod supply;
mod turn_rate;
mod watchkeeper;
mod why;

pub use card_doubtful::CardDoubtful;
pub use disagreement::Disagreement;
pub use evidence::{Alone, Disagreeing, Evidence, Lost, Said, Suspect, Third, Unanswered};
pub use frozen::Frozen;
pub use impaired::{Impaired, Part};
pub use input::{InputDamaged, InputLost};
pub use lost::{HEADING_DELAY, HEADING_GRACE, LostValue, POSITION_DELAY, POSITION_GRACE, RUDDER_DELAY, RUDDER_GRACE};
pub use off_heading::{LIMIT as OFF_HEADING_LIMIT, OffHeading};
pub use rudder::RudderUnanswered;
pub use settings::{CurrentChange, LimitSettings};
pub use smooth::{Latch, Smooth};
pub use supply::SupplyLow;
pub use turn_rate::TurnRateDisagreement;
pub use watchkeeper::{Watchkeeper, WatchkeeperSettings, WatchkeeperStatus};
pub use why::Why;

use core::fmt;

use crate::picture::Origin;
use crate::picture::SourceId;

/// What can be wrong.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[repr(u8)]
pub enum AlertKind {
    /// The boat does not head where she is ordered to.
    OffHeading,
    /// Two witnesses of the heading contradict each other.
    HeadingDisagreement,
    /// A wanted heading is not there.
    HeadingLost,
    /// A heading stands still while the boat turns.
    HeadingFrozen,
    /// The position or its course and speed are not there.
    PositionLost,
    /// A source fell silent or was unplugged.
    InputLost,
    /// Too many lines of a source are refused.
    InputDamaged,
    /// The rudder angle is not there.
    RudderLost,
    /// A declared gyro and the change of heading contradict each other.
    TurnRateDisagreement,
    /// The boat does not turn as her rudder says.
    RudderUnanswered,
    /// The deviation seen on passage no longer fits the card.
    CardDoubtful,
    /// The battery's voltage is too low.
    SupplyLow,
    /// The person on watch did not answer.
    WatchkeeperSilent,
    /// A part of the watch itself fails: what sounds it, keeps it or shows it.
    WatchImpaired,
}

/// How urgent an alert is: MSC.302(87) 6.1.1, without its emergency alarm.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Priority {
    /// To be aware of.
    Caution,
    /// Immediate attention, as a precaution.
    Warning,
    /// Immediate attention and action.
    Alarm,
}

/// What an alert is about, where there can be several of a kind.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Instance {
    /// The whole boat.
    Boat,
    /// A sensor, by talker and formatter.
    Sensor(Origin),
    /// A source; the host knows its name.
    Source(SourceId),
    /// A part of the watch itself.
    Part(Part),
}

/// What an alert makes of the picture just now.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Verdict {
    /// All is well.
    Clear,
    /// Something is wrong.
    Raised(Evidence),
    /// It cannot tell. This never clears what was raised.
    Unjudged(Why),
}

impl AlertKind {
    /// Every alert, in the order of their tables.
    pub const ALL: [Self; 14] = [
        Self::OffHeading,
        Self::HeadingDisagreement,
        Self::HeadingLost,
        Self::HeadingFrozen,
        Self::PositionLost,
        Self::InputLost,
        Self::InputDamaged,
        Self::RudderLost,
        Self::TurnRateDisagreement,
        Self::RudderUnanswered,
        Self::CardDoubtful,
        Self::SupplyLow,
        Self::WatchkeeperSilent,
        Self::WatchImpaired,
    ];

    /// The name in every output and in the boat file.
    pub const fn name(self) -> &'static str {
        match self {
            Self::OffHeading => "off-heading",
            Self::HeadingDisagreement => "heading-disagreement",
            Self::HeadingLost => "heading-lost",
            Self::HeadingFrozen => "heading-frozen",
            Self::PositionLost => "position-lost",
            Self::InputLost => "input-lost",
            Self::InputDamaged => "input-damaged",
            Self::RudderLost => "rudder-lost",
            Self::TurnRateDisagreement => "turn-rate-disagreement",
            Self::RudderUnanswered => "rudder-unanswered",
            Self::CardDoubtful => "card-doubtful",
            Self::SupplyLow => "supply-low",
            Self::WatchkeeperSilent => "watchkeeper-silent",
            Self::WatchImpaired => "watch-impaired",
        }
    }

    /// What a listener on the wire shows of it (ALF), in plain words: 16 characters at the most, for the rest is
    /// cut there.
    pub const fn title(self) -> &'static str {
        match self {
            Self::OffHeading => "off heading",
            Self::HeadingDisagreement => "heading doubtful",
            Self::HeadingLost => "heading lost",
            Self::HeadingFrozen => "heading frozen",
            Self::PositionLost => "position lost",
            Self::InputLost => "input lost",
            Self::InputDamaged => "input damaged",
            Self::RudderLost => "rudder lost",
            Self::TurnRateDisagreement => "gyro disagrees",
            Self::RudderUnanswered => "helm unanswered",
            Self::CardDoubtful => "card doubtful",
            Self::SupplyLow => "supply low",
            Self::WatchkeeperSilent => "nobody answers",
            Self::WatchImpaired => "watch impaired",
        }
    }

    /// What it is called on the wire (ALF, ALC, ACN, ARC). lubber has no registered manufacturer code,
    /// so that field stays empty; the numbers lie from 10000 up, where a maker's own are (IEC 62923-2,
    /// from memory, no text seen), and were chosen without further source. A number never changes.
    pub const fn number(self) -> u32 {
        match self {
            Self::OffHeading => 10_971,
            Self::HeadingDisagreement => 10_972,
            Self::HeadingLost => 10_973,
            Self::HeadingFrozen => 10_974,
            Self::PositionLost => 10_975,
            Self::InputLost => 10_976,
            Self::InputDamaged => 10_977,
            Self::RudderLost => 10_978,
            Self::TurnRateDisagreement => 10_979,
            Self::RudderUnanswered => 10_980,
            Self::CardDoubtful => 10_981,
            Self::SupplyLow => 10_982,
            Self::WatchkeeperSilent => 10_983,
            Self::WatchImpaired => 10_984,
        }
    }

    /// What it is called in the older sentences ALR and ACK, whose numbers have three digits: the last
    /// three of [`number`](Self::number).
    pub const fn alarm_number(self) -> u32 {
        self.number() - 10_000
    }

    /// The alert of that [`number`](Self::number).
    pub fn by_number(number: u32) -> Option<Self> {
        Self::ALL.into_iter().find(|kind| kind.number() == number)
    }

    /// The alert of that [`alarm_number`](Self::alarm_number).
    pub fn by_alarm_number(number: u32) -> Option<Self> {
        Self::ALL.into_iter().find(|kind| kind.alarm_number() == number)
    }

    /// How urgent it is.
    pub const fn priority(self) -> Priority {
        match self {
            Self::OffHeading
            | Self::HeadingDisagreement
            | Self::HeadingLost
            | Self::HeadingFrozen
            | Self::InputLost
            | Self::WatchkeeperSilent => Priority::Alarm,
            Self::PositionLost | Self::RudderUnanswered | Self::SupplyLow | Self::WatchImpaired => Priority::Warning,
            Self::InputDamaged | Self::RudderLost | Self::TurnRateDisagreement | Self::CardDoubtful => {
                Priority::Caution
            }
        }
    }
}

impl Priority {
    /// The word in every output.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Caution => "caution",
            Self::Warning => "warning",
            Self::Alarm => "alarm",
        }
    }
}

impl fmt::Display for AlertKind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.name())
    }
}

impl fmt::Display for Priority {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.word())
    }
}
