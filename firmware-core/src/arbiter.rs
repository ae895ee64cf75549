//! The arbiter: the one state machine that every alert goes through.

use crate::alert::AlertKind;
use crate::alert::Evidence;
use crate::alert::Instance;
use crate::alert::Priority;
use crate::time::Instant;

/// The state of one alert: MSC.302(87). Cautions use only `Active` and `Normal`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum State {
    /// A caution that stands.
    Active,
    /// It stands and nobody has answered.
    ActiveUnacknowledged,
    /// It stands, nobody has answered, and the sound is off for 30 s.
    ActiveSilenced,
    /// It stands and somebody has taken responsibility.
    ActiveAcknowledged,
    /// It no longer stands, and nobody has answered.
    RectifiedUnacknowledged,
    /// It does not stand.
    Normal,
}

/// One change of one alert.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct AlertChange {
    /// When.
    pub at: Instant,
    /// Which alert.
    pub kind: AlertKind,
    /// Of what.
    pub instance: Instance,
    /// How many times it has been raised, counted from 1.
    pub occurrence: u32,
    /// How urgent it is now; an escalation raises it.
    pub priority: Priority,
    /// The state it is in now.
    pub state: State,
    /// Whether this change is an unacknowledged warning becoming an alarm.
    pub escalated: bool,
    /// Whether this change only repeats the presentation of an alert nobody has answered.
    pub repeated: bool,
    /// The alert it follows from, if any: then it does not sound by itself.
    pub follows: Option<AlertKind>,
    /// What it saw, latest.
    pub evidence: Evidence,
}

impl State {
    /// The word in every output.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Active => "active",
            Self::ActiveUnacknowledged => "active-unacknowledged",
            Self::ActiveSilenced => "active-silenced",
            Self::ActiveAcknowledged => "active-acknowledged",
            Self::RectifiedUnacknowledged => "rectified-unacknowledged",
            Self::Normal => "normal",
        }
    }
}
