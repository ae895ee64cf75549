//! What the files are called: the UTC of their first line, and what state they are in.

use chrono::DateTime;
use chrono::NaiveDateTime;

/// The name of a recording, without what says its state; in the order of time.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct Name {
    /// Seconds since 1970.
    pub(super) second: i64,
    /// 1, or more where several begin in the same second.
    nth: u32,
}

/// What state a file is in.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Form {
    /// Being written, or not yet compressed: `.nmea`.
    Plain,
    /// As [`Self::Plain`], but its stamps are still to be moved so that the first is that of its name: `.nmea.set`.
    ToSet,
    /// Closed: `.nmea.zst`.
    Packed,
    /// Being compressed: `.nmea.zst.tmp`.
    Temporary,
}

impl Form {
    const ENDS: [(Self, &'static str); 4] = [
        (Self::Temporary, ".nmea.zst.tmp"),
        (Self::Packed, ".nmea.zst"),
        (Self::ToSet, ".nmea.set"),
        (Self::Plain, ".nmea"),
    ];
}

/// The second of a name.
const FORMAT: &str = "%Y-%m-%dT%H%M%SZ";

impl Name {
    /// The first name of a moment in Unix milliseconds.
    pub(super) const fn at(ms: i64) -> Self {
        Self { second: ms.div_euclid(1000), nth: 1 }
    }

    /// The next name of the same second.
    pub(super) const fn next(self) -> Self {
        Self { nth: self.nth + 1, ..self }
    }

    /// Reads the name of a file; `None` for one that no recorder wrote.
    pub(super) fn parse(file: &str) -> Option<(Self, Form)> {
        let (form, end) = Form::ENDS.into_iter().find(|(_, end)| file.ends_with(end))?;
        let stem = file.strip_suffix(end)?;
        let (moment, nth) = match stem.split_once("Z-") {
            Some((_, nth)) => (stem.get(..stem.len() - nth.len() - 1)?, nth.parse().ok()?),
            None => (stem, 1),
        };
        let second = NaiveDateTime::parse_from_str(moment, FORMAT).ok()?.and_utc().timestamp();
        let name = Self { second, nth };
        (name.file(form) == file).then_some((name, form))
    }

    /// The file's name in a state.
    pub(super) fn file(self, form: Form) -> String {
        let moment = DateTime::from_timestamp(self.second, 0).unwrap_or_default().format(FORMAT);
        let end = Form::ENDS.into_iter().find(|(other, _)| *other == form).map_or("", |(_, end)| end);
        match self.nth {
            1 => format!("{moment}{end}"),
            nth => format!("{moment}-{nth:02}{end}"),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_reads_back_and_sorts_by_time() {
        // 1783994400: 2026-07-14T02:00:00Z, by `date -u -d @1783994400`.
        let first = Name::at(1_783_994_400_999);
        assert_eq!(first.file(Form::Plain), "2026-07-14T020000Z.nmea");
        assert_eq!(first.next().file(Form::Packed), "2026-07-14T020000Z-02.nmea.zst");
        assert_eq!(Name::at(5_000).file(Form::Plain), "1970-01-01T000005Z.nmea");
        for name in [first, first.next(), Name::at(0)] {
            for (form, _) in Form::ENDS {
                assert_eq!(Name::parse(&name.file(form)), Some((name, form)));
            }
        }
        assert!(Name::at(0) < first && first < first.next() && first.next() < Name::at(1_783_994_401_000));
    }

    #[test]
    fn what_no_recorder_wrote_is_left_alone() {
        for other in [
            "night.nmea",
            "2026-07-14.nmea",
            "2026-07-14T020000Z.log",
            "2026-07-14T020000Z-1.nmea",
            "2026-07-14T020000Z-.nmea",
            "2026-13-14T020000Z.nmea",
            ".nmea",
            "",
        ] {
            assert_eq!(Name::parse(other), None, "{other}");
        }
    }
}
