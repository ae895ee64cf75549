//! What an alert saw, as data and in words.

use core::fmt;

use crate::alert::AlertKind;
use crate::alert::Priority;
use crate::angle::Turn;
use crate::angle::TurnRate;
use crate::heading::Compass;
use crate::heading::True;
use crate::picture::OrderedBy;
use crate::picture::Origin;
use crate::picture::Referred;
use crate::time::Span;
use crate::unit::Speed;

/// The facts behind a raised alert. `Display` puts them in a sentence.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Evidence {
    /// The heading is not the ordered one.
    OffHeading {
        /// The heading, in the order's reference.
        heading: Referred,
        /// The order.
        ordered: Referred,
        /// From the order to the heading, starboard plus.
        off: Turn,
        /// For how long by now.
        lasting: Span,
        /// Who gave the order; nobody, where it is the mean of the first steady minute.
        by: OrderedBy,
    },
    /// Two witnesses contradict each other.
    Disagreement {
        /// The witness the watch steers by.
        of: Origin,
        /// The witness that contradicts it, and how.
        with: Disagreeing,
        /// By how much they differ from what was learned, starboard plus: the way the boat turned
        /// that `of` does not show.
        by: Turn,
        /// Which of three stands alone, where a third witness tells.
        alone: Option<Alone>,
    },
    /// A wanted value is not there.
    Lost {
        /// Why it counts as lost.
        how: Lost,
        /// How long ago the last good one came, or the watch began.
        silent: Span,
    },
    /// A heading that stands still.
    Frozen {
        /// Where it stands.
        at: Referred,
        /// For how long.
        still: Span,
        /// How far another witness turned meanwhile, starboard plus; none where it is the yaw that
        /// a fine sensor lost.
        turned: Option<Turn>,
    },
    /// A source that fell silent.
    InputLost {
        /// Whether the host reports it failed or unplugged, and not only silent.
        failed: bool,
        /// How long ago its last byte came.
        silent: Span,
    },
    /// A source with too many refused lines.
    InputDamaged {
        /// Refused lines in the last minute.
        refused: u16,
        /// Lines in the last minute, good and refused.
        of: u16,
    },
    /// A declared gyro and the change of a heading contradict each other.
    TurnRate {
        /// The heading.
        of: Origin,
        /// How fast it turns.
        shows: TurnRate,
        /// What the gyro says.
        gyro: TurnRate,
        /// For how long by now.
        lasting: Span,
    },
    /// The boat does not turn as her rudder says.
    RudderUnanswered {
        /// What she does instead.
        how: Unanswered,
        /// How far the rudder is from where it stands when she goes straight, starboard plus.
        rudder: Turn,
        /// How fast she turns.
        turns: TurnRate,
        /// For how long by now.
        lasting: Span,
    },
    /// The deviation seen on passage does not fit the card.
    CardDoubtful {
        /// Of which sensor.
        of: Origin,
        /// On which compass heading.
        at: Compass,
        /// The deviation seen, east plus.
        seen: Turn,
        /// What the card says there.
        card: Turn,
        /// Seen over so long.
        lasting: Span,
    },
    /// The battery's voltage is too low.
    SupplyLow {
        /// The voltage, in thousandths of a volt.
        millivolts: u32,
        /// The limit.
        limit_millivolts: u32,
        /// For how long by now.
        lasting: Span,
    },
    /// The person on watch did not answer.
    WatchkeeperSilent {
        /// Since the last answer.
        silent: Span,
        /// The stage: 1 visual, 2 to 4 audible, each for more people (MSC.128(75) 4.1.2).
        stage: u8,
    },
    /// A part of the watch itself fails; the host knows why.
    Impaired {
        /// For how long by now.
        lasting: Span,
    },
    /// It stood when an earlier watch ended, and this one has not judged it anew.
    PresentedAgain {
        /// How long before this watch began.
        ago: Span,
    },
}

impl Evidence {
    /// Whether it calls for more people than `before` did, about the same thing.
    pub fn is_graver_than(&self, before: &Self) -> bool {
        match (self, before) {
            (Self::WatchkeeperSilent { stage, .. }, Self::WatchkeeperSilent { stage: before, .. }) => stage > before,
            _ => false,
        }
    }

    /// Whether it is to be heard, and not only seen: the first stage of an unanswered watch is visual.
    pub const fn is_audible(&self) -> bool {
        !matches!(self, Self::WatchkeeperSilent { stage: ..=1, .. })
    }
}

/// How a rudder goes unanswered.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Unanswered {
    /// She does not turn.
    NoTurn,
    /// She turns the other way.
    WrongWay,
    /// She goes off her course while the rudder stands.
    TurnsAlone,
    /// The pilot orders the rudder elsewhere, and it stands.
    Stands,
}

/// The witness that contradicts the heading.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Disagreeing {
    /// Another heading sensor.
    Heading {
        /// Which.
        origin: Origin,
        /// What it reads, true.
        heading: True,
    },
    /// The velocity over the ground.
    Ground {
        /// Which talker gives it.
        origin: Origin,
        /// The course over the ground.
        course: True,
        /// The speed over the ground.
        speed: Speed,
    },
}

/// Which of three witnesses stands alone against two that agree.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Alone {
    /// The one that stands alone.
    pub who: Suspect,
    /// The third witness, that agrees with the other one.
    pub third: Third,
}

/// One of the two that contradict each other.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Suspect {
    /// The witness the watch steers by.
    Primary,
    /// The witness that contradicts it.
    Other,
}

/// A third witness.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Third {
    /// Another heading sensor.
    Heading(Origin),
    /// The second heading sensor, by the owner's word.
    Named(Origin),
    /// The velocity over the ground.
    Track,
    /// A declared gyro's rate of turn.
    Gyro,
}

impl Disagreeing {
    /// Who contradicts the heading.
    pub const fn origin(&self) -> Origin {
        match *self {
            Self::Heading { origin, .. } | Self::Ground { origin, .. } => origin,
        }
    }
}

impl Evidence {
    /// How urgent an alert of `kind` is with this behind it: less where the second heading that the owner
    /// names agrees with the first and the track alone differs. Then it is a current or the receiver, and no
    /// false compass; at sea the first is an everyday matter. A heading that nobody names is not enough, for
    /// it may be a copy all the same; nor is a gyro, which forgets in a creeping fault.
    pub fn priority(&self, kind: AlertKind) -> Priority {
        match *self {
            Self::Disagreement {
                with: Disagreeing::Ground { .. },
                alone: Some(Alone { who: Suspect::Other, third: Third::Named(_) }),
                ..
            } => Priority::Caution,
            _ => kind.priority(),
        }
    }

    /// The sensor that stands alone against two witnesses that agree, where that is known.
    pub fn stands_alone(&self) -> Option<Origin> {
        match *self {
            Self::Disagreement { of, with, alone: Some(Alone { who, .. }), .. } => Some(match who {
                Suspect::Primary => of,
                Suspect::Other => with.origin(),
            }),
            _ => None,
        }
    }
}

/// How a wanted value is lost.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Lost {
    /// It was never there in the time it is given at the start.
    NeverCame,
    /// It no longer comes.
    Silent,
    /// It comes, but empty or marked invalid.
    Void,
}

/// Degrees to the nearest whole one, without a sign.
pub(super) struct Whole(pub(super) Turn);

impl fmt::Display for Whole {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", (self.0.size().as_mdeg() + 500) / 1000)
    }
}

/// A turn rate as a person says it: `1.5 deg/s to port`.
struct Rate(TurnRate);

impl fmt::Display for Rate {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let mdeg = self.0.as_mdeg_per_s();
        let tenths = (mdeg.unsigned_abs() + 50) / 100;
        let side = if mdeg < 0 { "port" } else { "starboard" };
        match tenths {
            0 => f.write_str("0.0 deg/s"),
            _ => write!(f, "{}.{} deg/s to {side}", tenths / 10, tenths % 10),
        }
    }
}

/// A deviation to a tenth, with its letter.
struct Deviation(Turn);

impl fmt::Display for Deviation {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let tenths = (self.0.as_mdeg().unsigned_abs() + 50) / 100;
        write!(f, "{}.{} {}", tenths / 10, tenths % 10, if self.0.as_mdeg() < 0 { "W" } else { "E" })
    }
}

/// Thousandths, shown to a tenth.
struct Tenths(u32);

impl fmt::Display for Tenths {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let tenths = self.0.saturating_add(50) / 100;
        write!(f, "{}.{}", tenths / 10, tenths % 10)
    }
}

pub(super) const fn side(turn: Turn) -> &'static str {
    if turn.as_mdeg() < 0 { "port" } else { "starboard" }
}

/// A span as a person says it: `10 s`, `4 min`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Said(pub Span);

impl fmt::Display for Said {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.0.as_s() {
            s if s < 120 => write!(f, "{s} s"),
            s if s < 7200 => write!(f, "{} min", s / 60),
            s => write!(f, "{} h {} min", s / 3600, s / 60 % 60),
        }
    }
}

impl fmt::Display for Evidence {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match *self {
            // What nobody ordered must not read like an order.
            Self::OffHeading { heading, ordered, off, lasting, by: OrderedBy::FirstSteadyMinute } => write!(
                f,
                "heading {heading}: {} to {} of the first steady minute ({ordered}), which nobody ordered, for {}",
                Whole(off),
                side(off),
                Said(lasting)
            ),
            Self::OffHeading { heading, ordered, off, lasting, by } => {
                write!(
                    f,
                    "heading {heading}, ordered {ordered}: {} to {} for {}",
                    Whole(off),
                    side(off),
                    Said(lasting)
                )?;
                match by {
                    OrderedBy::StoodBy(_) => f.write_str("; the pilot itself says it stands by"),
                    _ => Ok(()),
                }
            }
            Self::Disagreement { of, with, by, alone } => {
                match with {
                    Disagreeing::Heading { origin, heading } => {
                        write!(f, "{origin} reads {heading}: {} to {} of what {of} says", Whole(by), side(by))?;
                    }
                    Disagreeing::Ground { origin, course, speed } => write!(
                        f,
                        "{origin} makes good {course} at {}.{} kn: the boat turned {} to {} and {of} does not show it",
                        speed.as_milliknots() / 1000,
                        speed.as_milliknots() % 1000 / 100,
                        Whole(by),
                        side(by)
                    )?,
                }
                match alone {
                    None => Ok(()),
                    Some(Alone { who: Suspect::Primary, third }) => {
                        write!(f, "; {of} stands alone: {} and {third} agree", Seen(with))
                    }
                    Some(Alone { who: Suspect::Other, third }) => {
                        write!(f, "; {} stands alone: {of} and {third} agree", Seen(with))
                    }
                }
            }
            Self::Lost { how: Lost::NeverCame, silent } => write!(f, "never came in {}", Said(silent)),
            Self::Lost { how: Lost::Silent, silent } => write!(f, "last heard {} ago", Said(silent)),
            Self::Lost { how: Lost::Void, silent } => {
                write!(f, "comes empty or marked invalid; last good one {} ago", Said(silent))
            }
            Self::Frozen { at, still, turned: Some(turned) } => write!(
                f,
                "stands at {at} for {} while the boat turned {} to {}",
                Said(still),
                Whole(turned),
                side(turned)
            ),
            Self::Frozen { at, still, turned: None } => {
                write!(f, "stands at {at} for {}: the yaw is gone from it", Said(still))
            }
            Self::InputLost { failed: true, silent } => {
                write!(f, "failed or unplugged; last byte {} ago", Said(silent))
            }
            Self::InputLost { failed: false, silent } => write!(f, "no byte for {}", Said(silent)),
            Self::InputDamaged { refused, of } => write!(f, "{refused} of {of} lines refused in the last minute"),
            Self::TurnRate { of, shows, gyro, lasting } => {
                write!(f, "the gyro turns {}, {of} turns {}, for {}", Rate(gyro), Rate(shows), Said(lasting))
            }
            Self::RudderUnanswered { how, rudder, turns, lasting } => {
                let helm = |f: &mut fmt::Formatter<'_>| {
                    write!(f, "rudder {} to {} of its standing helm: ", Whole(rudder), side(rudder))
                };
                helm(f)?;
                match how {
                    Unanswered::NoTurn => write!(f, "she does not turn, {}", Rate(turns))?,
                    Unanswered::WrongWay => write!(f, "she turns the other way, {}", Rate(turns))?,
                    Unanswered::TurnsAlone => write!(f, "it stands and she leaves her course, {}", Rate(turns))?,
                    Unanswered::Stands => f.write_str("it stands and the pilot orders it elsewhere")?,
                }
                write!(f, ", for {}", Said(lasting))
            }
            Self::CardDoubtful { of, at, seen, card, lasting } => write!(
                f,
                "{of} on {:03} C: deviation {} seen over {}, the card says {}",
                (at.0.as_mdeg() + 500) / 1000 % 360,
                Deviation(seen),
                Said(lasting),
                Deviation(card)
            ),
            Self::SupplyLow { millivolts, limit_millivolts, lasting } => write!(
                f,
                "battery at {} V, below {} V for {}",
                Tenths(millivolts),
                Tenths(limit_millivolts),
                Said(lasting)
            ),
            Self::WatchkeeperSilent { silent, stage } => {
                write!(f, "nobody answered for {}, stage {stage} of 4", Said(silent))
            }
            Self::Impaired { lasting } => write!(f, "does not work, for {}", Said(lasting)),
            Self::PresentedAgain { ago } => {
                write!(f, "presented again: it stood when the last watch ended, {} before this one began", Said(ago))
            }
        }
    }
}

/// The witness, as it is called beside others.
struct Seen(Disagreeing);

impl fmt::Display for Seen {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.0 {
            Disagreeing::Heading { origin, .. } => write!(f, "{origin}"),
            Disagreeing::Ground { .. } => f.write_str("the track"),
        }
    }
}

impl fmt::Display for Third {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match *self {
            Self::Heading(origin) | Self::Named(origin) => write!(f, "{origin}"),
            Self::Track => f.write_str("the track"),
            Self::Gyro => f.write_str("the gyro"),
        }
    }
}
