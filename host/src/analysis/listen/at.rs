//! A moment of the input, and lengths of time in words.

use std::fmt;

use chrono::DateTime;
use lubber_core::time::Instant;
use lubber_core::time::Span;

/// A moment of the input: always on the clock that drives it, and in UTC where that is known.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct At {
    /// Since the first input.
    pub now: Instant,
    /// UTC, milliseconds since 1970.
    pub utc_ms: Option<i64>,
}

impl At {
    /// The time of day, `02:11:09`, or `+0:13:32` since the start where UTC is not known.
    pub fn clock(self) -> String {
        match self.utc_ms.and_then(DateTime::from_timestamp_millis) {
            Some(utc) => utc.format("%H:%M:%S").to_string(),
            None => {
                let s = self.now.as_ms() / 1000;
                format!("+{}:{:02}:{:02}", s / 3600, s / 60 % 60, s % 60)
            }
        }
    }

    /// UTC to the second, `2026-07-14 02:11:09 UTC`, or as [`clock`](Self::clock) where it is not known.
    pub fn date_and_clock(self) -> String {
        match self.utc_ms.and_then(DateTime::from_timestamp_millis) {
            Some(utc) => utc.format("%Y-%m-%d %H:%M:%S UTC").to_string(),
            None => self.clock(),
        }
    }

    /// UTC to the millisecond, `2026-07-14T02:11:09.300Z`, where it is known.
    pub fn iso(self) -> Option<String> {
        let utc = DateTime::from_timestamp_millis(self.utc_ms?)?;
        Some(utc.format("%Y-%m-%dT%H:%M:%S%.3fZ").to_string())
    }
}

/// A length of time as a person says it: `0.50 s`, `12.3 s`, `140 s`, `9 min`, `3.2 h`, `4 days`.
///
/// Rounded down, so that it never claims time that has not passed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Length(pub Span);

impl fmt::Display for Length {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let ms = self.0.as_ms();
        let s = ms / 1000;
        let text = match s {
            0..10 => format!("{s}.{:02} s", ms % 1000 / 10),
            10..100 => format!("{s}.{} s", ms % 1000 / 100),
            100..600 => format!("{s} s"),
            600..7_200 => format!("{} min", s / 60),
            7_200..172_800 => format!("{}.{} h", s / 3600, s % 3600 / 360),
            _ => format!("{} days", s / 86_400),
        };
        f.pad(&text)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_moment_with_and_without_utc() {
        // 1783995069300 ms: 2026-07-14T02:11:09.300Z, by `date -u -d @1783995069`.
        let known = At { now: Instant::from_ms(812_300), utc_ms: Some(1_783_995_069_300) };
        assert_eq!((known.clock(), known.iso().unwrap()), ("02:11:09".into(), "2026-07-14T02:11:09.300Z".into()));
        assert_eq!(known.date_and_clock(), "2026-07-14 02:11:09 UTC");
        let unknown = At { utc_ms: None, ..known };
        assert_eq!((unknown.clock(), unknown.iso()), ("+0:13:32".into(), None));
    }

    #[test]
    fn lengths_in_the_unit_a_person_would_use() {
        let said: Vec<String> = [500, 12_345, 140_900, 593_000, 3_599_000, 12_000_000, 400_000_000]
            .map(|ms| Length(Span::from_ms(ms)).to_string())
            .into();
        assert_eq!(said, ["0.50 s", "12.3 s", "140 s", "593 s", "59 min", "3.3 h", "4 days"]);
    }
}
