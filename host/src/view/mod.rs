//! What is shown, before anybody decides where: words, lines and JSON made from the core's values.
//!
//! Nothing here knows a terminal, a file or a clock; a display takes these and paints them.

pub mod alert;
pub mod doubt;
pub mod facts;
pub mod history;
pub mod json;
pub mod judging;
pub mod kinds;
pub mod ledger;
pub mod notice;
pub mod number;
mod part;
pub mod report;
#[cfg(test)]
pub(crate) mod sample;
pub mod status;
pub mod status_line;
pub mod summary;
pub mod text;
pub mod wire;

use std::sync::Arc;
use std::sync::Mutex;
use std::sync::PoisonError;

use chrono::DateTime;
use lubber_core::alert::Part;
use lubber_core::frame::ChecksumPolicy;
use lubber_core::picture::SourceId;
use lubber_core::time::Instant;

/// When something happened: UTC where it is known, and always the time since the watch began.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Stamp {
    /// UTC, milliseconds since 1970; none until a talker or the log gives it.
    pub utc_ms: Option<i64>,
    /// Milliseconds since the watch began.
    pub since_start_ms: u64,
}

impl Stamp {
    /// The time of day as a log line begins: `02:11:09`, or `+0:13:32` since the start where UTC is unknown.
    pub fn clock(self) -> String {
        match self.utc_ms.and_then(DateTime::from_timestamp_millis) {
            Some(utc) => utc.format("%H:%M:%S").to_string(),
            None => {
                let s = self.since_start_ms / 1000;
                format!("+{}:{:02}:{:02}", s / 3600, s / 60 % 60, s % 60)
            }
        }
    }

    /// The stamp of an earlier moment of the same watch.
    #[must_use]
    pub fn back_to(self, at: Instant) -> Self {
        let ago = self.since_start_ms.saturating_sub(at.as_ms());
        let utc_ms = self.utc_ms.map(|utc| utc.saturating_sub(i64::try_from(ago).unwrap_or(i64::MAX)));
        Self { utc_ms, since_start_ms: self.since_start_ms - ago }
    }

    /// The day, `2026-07-14`, where UTC is known.
    pub fn day(self) -> Option<String> {
        self.utc_ms.and_then(DateTime::from_timestamp_millis).map(|utc| utc.format("%Y-%m-%d").to_string())
    }

    /// UTC in full to the millisecond, `2026-07-14T02:11:09.300Z`, where it is known.
    pub fn iso(self) -> Option<String> {
        self.utc_ms
            .and_then(DateTime::from_timestamp_millis)
            .map(|utc| utc.format("%Y-%m-%dT%H:%M:%S%.3fZ").to_string())
    }
}

/// What a display knows beside the core: the sources by name, in the order of their numbers, and why a part of
/// the watch failed last. Clones know the same.
#[derive(Clone, Debug, Default)]
pub struct Sources {
    named: Vec<Source>,
    causes: Arc<Mutex<[Option<Arc<str>>; Part::ALL.len()]>>,
}

/// One source as a display names it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Source {
    /// The name the boat file gives it, else what was typed.
    pub name: String,
    /// What its checksums must be.
    pub checksum: ChecksumPolicy,
}

impl Sources {
    /// The sources in the order of their numbers.
    pub fn new(sources: Vec<Source>) -> Self {
        Self { named: sources, ..Self::default() }
    }

    /// The name of one.
    pub fn name(&self, id: SourceId) -> &str {
        self.named.get(id.index()).map_or("?", |source| source.name.as_str())
    }

    /// Whether a sensor's name alone does not say which source it is on.
    pub fn several(&self) -> bool {
        self.named.len() > 1
    }

    /// All, with their numbers.
    pub fn iter(&self) -> impl Iterator<Item = (SourceId, &Source)> {
        self.named.iter().zip(0_u8..).map(|(source, number)| (SourceId(number), source))
    }

    /// A part of the watch has failed, and why.
    pub fn failed(&self, part: Part, why: &str) {
        let mut causes = self.causes.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(cause) = causes.get_mut(part as usize) {
            *cause = Some(why.into());
        }
    }

    /// Why a part of the watch failed last.
    pub fn cause(&self, part: Part) -> Option<Arc<str>> {
        self.causes.lock().unwrap_or_else(PoisonError::into_inner).get(part as usize)?.clone()
    }

    /// Those whose checksums are not required to be right: shown for as long as that is so.
    pub fn unchecked(&self) -> impl Iterator<Item = &Source> {
        self.named.iter().filter(|source| source.checksum == ChecksumPolicy::Ignored)
    }
}

/// The word of a checksum policy, as in the boat file.
pub const fn policy_word(policy: ChecksumPolicy) -> &'static str {
    match policy {
        ChecksumPolicy::Required => "required",
        ChecksumPolicy::Optional => "optional",
        ChecksumPolicy::Ignored => "ignored",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_stamp_with_and_without_utc() {
        // 1783995069300 ms: 2026-07-14T02:11:09.300Z, by `date -u -d @1783995069`.
        let known = Stamp { utc_ms: Some(1_783_995_069_300), since_start_ms: 812_300 };
        assert_eq!(known.clock(), "02:11:09");
        assert_eq!(known.iso().as_deref(), Some("2026-07-14T02:11:09.300Z"));
        assert_eq!(known.day().as_deref(), Some("2026-07-14"));
        let unknown = Stamp { utc_ms: None, since_start_ms: 812_300 };
        assert_eq!(unknown.clock(), "+0:13:32");
        assert_eq!(unknown.iso(), None);
    }
}
