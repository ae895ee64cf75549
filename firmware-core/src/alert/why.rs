//! Why an alert cannot judge just now, as data and in words.

use core::fmt;

use crate::alert::evidence::Whole;
use crate::alert::evidence::side;
use crate::angle::Turn;
use crate::unit::Speed;

/// Why an alert cannot judge just now.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Why {
    /// It is switched off in the boat file.
    Disabled,
    /// The watch has just begun.
    Starting,
    /// There is no heading, or it is stale.
    NoHeading,
    /// No heading is ordered yet.
    NoOrder,
    /// The order is against a north that the heading cannot be brought to.
    OrderNotComparable,
    /// The boat is steered by the wind.
    SteeredByWind,
    /// The boat is steered by hand.
    SteeredByHand,
    /// There is no second witness.
    NoWitness,
    /// The other headings may be copies of this one: no turn has shown yet that they are not.
    MayBeCopies,
    /// Too slow for the course over the ground to mean anything.
    TooSlow {
        /// The speed.
        speed: Speed,
        /// The least that will do.
        least: Speed,
    },
    /// Learning what is normal, after the start or a change of heading.
    Settling,
    /// The track has moved from the heading as a current moves it, and as a compass does that creeps.
    TrackMoves {
        /// How far the boat seems to have turned, starboard plus.
        by: Turn,
    },
    /// The source or sensor has not been heard yet, and its time is not up.
    NotYetHeard,
    /// Nobody asked for it, and it never came.
    NotWanted,
    /// Nobody asked for it, and it was there for less than a minute in all.
    HardlyHeard,
    /// There is no rate of turn from a gyro that the owner declared.
    NoGyro,
    /// There is no rudder angle.
    NoRudder,
    /// Neither the log nor a receiver gives a speed.
    NoSpeed,
    /// Too slow for the rudder to work, or not ahead.
    NoSteerageWay {
        /// The speed ahead.
        speed: Speed,
        /// The least that will do.
        least: Speed,
    },
    /// No card corrects the heading.
    NoCard,
    /// There is no second true heading that is no copy. The course over the ground cannot take its place: a
    /// current bends it with the heading just as a changed deviation does.
    NoTrueWitness,
    /// Without the variation a true heading says nothing of the deviation.
    NoVariation,
    /// Nothing says whether she is upright.
    HeelUnknown,
    /// She heels, and the card is made upright.
    Heeled,
    /// It is watched for only where the owner asks for it.
    NotAskedFor,
    /// The battery's voltage was heard, or is named, and is not there.
    NoVoltage,
    /// The owner gave no limit, and no default fits.
    NoLimit,
}

impl fmt::Display for Why {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match *self {
            Self::Disabled => f.write_str("switched off in the boat file"),
            Self::Starting => f.write_str("the watch has just begun"),
            Self::NoHeading => f.write_str("no heading"),
            Self::NoOrder => f.write_str("no heading is ordered yet"),
            Self::OrderNotComparable => f.write_str("the order's north cannot be reached from this heading"),
            Self::SteeredByWind => f.write_str("steered by the wind"),
            Self::SteeredByHand => f.write_str("steered by hand"),
            Self::NoWitness => f.write_str("no second witness of the heading"),
            Self::MayBeCopies => {
                f.write_str("the other headings may be copies: no turn has shown yet that they are not")
            }
            Self::TooSlow { speed, least } => write!(
                f,
                "speed {}.{} kn, course useless below {}.{}",
                speed.as_milliknots() / 1000,
                speed.as_milliknots() % 1000 / 100,
                least.as_milliknots() / 1000,
                least.as_milliknots() % 1000 / 100
            ),
            Self::Settling => f.write_str("settling: learning what is normal"),
            Self::TrackMoves { by } => write!(
                f,
                "the track has moved {} deg to {} of the heading lately, as slowly as a current: a second heading \
                 sensor or a bearing would tell it from a compass that creeps",
                Whole(by),
                side(by)
            ),
            Self::NotYetHeard => f.write_str("not heard yet"),
            Self::NotWanted => f.write_str("never heard, and the boat file does not name it"),
            Self::HardlyHeard => f.write_str("heard for less than a minute in all, and the boat file does not name it"),
            Self::NoGyro => f.write_str("no rate of turn from a declared gyro"),
            Self::NoRudder => f.write_str("no rudder angle"),
            Self::NoSpeed => f.write_str("no speed, neither from the log nor over the ground"),
            Self::NoSteerageWay { speed, least } => write!(
                f,
                "speed ahead {}.{} kn, no steerage way below {}.{}",
                speed.as_milliknots() / 1000,
                speed.as_milliknots() % 1000 / 100,
                least.as_milliknots() / 1000,
                least.as_milliknots() % 1000 / 100
            ),
            Self::NoCard => f.write_str("no card corrects the heading"),
            Self::NoTrueWitness => {
                f.write_str("a second true heading, or a new circle each way, would decide; the course cannot")
            }
            Self::NoVariation => f.write_str("no variation"),
            Self::HeelUnknown => f.write_str("neither heel nor wind is heard: nothing says whether she is upright"),
            Self::Heeled => f.write_str("she heels, and the card is made upright"),
            Self::NotAskedFor => f.write_str("off unless asked for, by [watchkeeper] in the boat file"),
            Self::NoVoltage => f.write_str("no battery voltage"),
            Self::NoLimit => f.write_str("over 32 V, where no default limit fits: give one in the boat file"),
        }
    }
}
