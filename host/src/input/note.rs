//! What is remarkable about a log's own time; told once each, never fatal.

use std::fmt;

use lubber_core::picture::SourceId;
use lubber_core::time::Instant;

/// One remark about a log.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LogNote {
    /// Which log.
    pub source: SourceId,
    /// When in the replay.
    pub at: Instant,
    /// The log's own UTC then, in Unix milliseconds, where known.
    pub utc_ms: Option<i64>,
    /// What is remarked.
    pub kind: NoteKind,
}

/// What is remarked about a log.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NoteKind {
    /// Neither lines nor times for so long: the recorder stood still. Time jumps on with it.
    Gap {
        /// How long, milliseconds.
        ms: u64,
    },
    /// Lines came, but no time among them for so long: they were laid out at the log's usual pace.
    WithoutTime {
        /// How long, milliseconds.
        ms: u64,
    },
    /// The log's time stepped back, and two times confirm it. The replay goes on from where it was.
    StepBack {
        /// By how much, milliseconds.
        ms: u64,
    },
    /// The recorder's clock, which had begun in 1970 for want of a battery, was set. The replay goes
    /// on from where it was.
    ClockSet,
    /// A time far from its neighbours, not confirmed by the next one, was not believed.
    Outlier,
    /// A date was `weeks` too early (the GPS week number wraps every 1024 weeks), as another date
    /// in the same log proves, and was mended.
    RolloverMended {
        /// By how many weeks.
        weeks: u32,
    },
    /// Compressed logs that end before they are complete, or are damaged: what could be read was.
    CutShort {
        /// How many.
        count: u32,
    },
    /// The log has times of its own, so `--start` or `--rate` was not used.
    RateNotUsed,
    /// The same kinds of remark came so often that so many of them are not listed.
    More {
        /// How many.
        count: u32,
    },
}

impl fmt::Display for NoteKind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match *self {
            Self::Gap { ms } => write!(f, "gap of {} in the log", Words(ms)),
            Self::WithoutTime { ms } => {
                write!(f, "no time in the log for {}; lines laid out at its usual pace", Words(ms))
            }
            Self::StepBack { ms } => write!(f, "time in the log steps back by {}; replay goes on", Words(ms)),
            Self::ClockSet => f.write_str("the recorder's clock was set; before, its date was not known"),
            Self::Outlier => f.write_str("a time far from its neighbours was not believed"),
            Self::RolloverMended { weeks } => {
                write!(f, "dates {weeks} weeks too early (GPS week rollover) mended by the log's other dates")
            }
            Self::CutShort { count: 1 } => {
                f.write_str("the compressed log is damaged or not complete; it was read as far as it goes")
            }
            Self::CutShort { count } => {
                write!(f, "{count} compressed logs are damaged or not complete; each was read as far as it goes")
            }
            Self::RateNotUsed => f.write_str("the log has times of its own; --start and --rate are not used"),
            Self::More { count } => write!(f, "{count} more remarks like these"),
        }
    }
}

/// A length of time for a person.
struct Words(u64);

impl fmt::Display for Words {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let s = self.0 / 1000;
        match s {
            0..10 => write!(f, "{}.{} s", s, self.0 % 1000 / 100),
            10..180 => write!(f, "{s} s"),
            180..10_800 => write!(f, "{} min", s / 60),
            10_800..345_600 => write!(f, "{} h", s / 3600),
            _ => write!(f, "{} days", s / 86_400),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lengths_are_told_in_the_unit_a_person_would_use() {
        let said: Vec<String> =
            [2_500, 140_000, 593_000, 12_000_000, 400_000_000].map(|ms| Words(ms).to_string()).into();
        assert_eq!(said, ["2.5 s", "140 s", "9 min", "3 h", "4 days"]);
    }
}
