//! Words that several verbs share: safe for a terminal, wrapped to its width.

use chrono::DateTime;
use chrono::Utc;
use lubber_core::time::Span;
use lubber_core::unit::Position;

use crate::simulate;

/// What every card carries, however it is shown.
pub(super) const CARD_SAFETY: [&str; 3] = [
    "For the boat upright: heel changes the deviation, most on north and south.",
    "Check the card against a known bearing before you rely on it.",
    "An aid, not certified equipment; it does not replace a look-out (COLREG Rule 5), a second compass or the manual of \
     the gear.",
];

/// The file's own words, safe for a terminal.
pub(super) fn printable(words: &str) -> String {
    words.chars().map(|c| if c.is_control() { ' ' } else { c }).collect()
}

/// `words` in lines of at most `most` columns, those after the first indented by two.
pub(super) fn wrapped(words: &str, most: usize) -> String {
    let mut lines = String::new();
    let mut width = 0;
    for word in words.split_whitespace() {
        let long = word.chars().count();
        if width > 0 && width + 1 + long > most {
            lines.push_str("\n  ");
            width = 2;
        } else if width > 0 {
            lines.push(' ');
            width += 1;
        }
        lines.push_str(word);
        width += long;
    }
    lines
}

/// `50 21.0 N 004 09.0 W`.
pub(super) fn place(position: Position) -> String {
    let part = |e7: i32, width: usize, plus: char, minus: char| {
        // Tenths of a minute, so that 59.96 rounds to the next degree and not to 60.0.
        let tenths = (i64::from(e7.unsigned_abs()) * 600 + 5_000_000) / 10_000_000;
        let letter = if e7 < 0 { minus } else { plus };
        format!("{:0width$} {:02}.{} {letter}", tenths / 600, tenths % 600 / 10, tenths % 10)
    };
    format!("{} {}", part(position.lat_e7, 2, 'N', 'S'), part(position.lon_e7, 3, 'E', 'W'))
}

/// A time from a second to a day, as [`simulate::duration`] reads it: `10s`, `2m` or `2min`, `1h`, `00:01:30`; a bare
/// number is seconds.
pub(super) fn duration(text: &str) -> Result<Span, String> {
    let text = text.trim();
    let seconds = text.parse::<u64>().ok().map(|seconds| seconds.saturating_mul(1000));
    let span = seconds.or_else(|| simulate::duration(text).ok()).map(Span::from_ms);
    span.filter(|span| (1_000..=86_400_000).contains(&span.as_ms()))
        .ok_or_else(|| "a time from 1 s to a day was expected: in s, m (or min), h or as HH:MM:SS. Example: 10s".into())
}

/// A UTC in ISO 8601, as milliseconds since 1970.
pub(super) fn instant(text: &str) -> Result<i64, String> {
    let utc: Result<DateTime<Utc>, _> = text.parse();
    utc.map(|utc| utc.timestamp_millis())
        .map_err(|_| "a UTC in ISO 8601 was expected. Example: 2026-07-14T02:00:00Z".into())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_a_time_between() {
        assert_eq!(duration("10s"), Ok(Span::from_s(10)));
        for minutes in ["2min", "2 min", "2m", "00:02:00", "120", "120s"] {
            assert_eq!(duration(minutes), Ok(Span::from_s(120)), "{minutes}");
        }
        assert_eq!(duration("1h"), Ok(Span::from_min(60)));
        assert_eq!(duration("5"), Ok(Span::from_s(5)));
        for wrong in ["0s", "-1s", "soon", "99999999999999999999s", "infs", "NaNm", "25h", "m", ""] {
            assert!(duration(wrong).is_err_and(|text| text.contains("Example: 10s")), "{wrong}");
        }
    }

    #[test]
    fn a_place_rounds_up_to_the_next_degree() {
        assert_eq!(place(Position { lat_e7: 503_500_000, lon_e7: -41_500_000 }), "50 21.0 N 004 09.0 W");
        assert_eq!(place(Position { lat_e7: -9_999_999, lon_e7: 1_799_999_999 }), "01 00.0 S 180 00.0 E");
    }

    #[test]
    fn lines_keep_to_their_width() {
        assert_eq!(wrapped("- one two three four", 9), "- one two\n  three\n  four");
    }
}
