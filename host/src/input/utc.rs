//! The UTC a sentence says, and the little that must be known of a sentence to trust it.

use lubber_core::frame::ChecksumPolicy;
use lubber_core::sentence::Fields;
use memchr::memchr;
use memchr::memchr3;

use crate::input::stamp::fraction_ms;
use crate::input::stamp::hex;
use crate::input::stamp::sentence;
use crate::input::stamp::start_of;
use crate::input::stamp::two;

/// The UTC of one sentence.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct SaidTime {
    /// Milliseconds since midnight.
    pub(crate) tod_ms: i64,
    /// Days since 1970-01-01, where the sentence holds a date. A date before 1995 is none: it is
    /// what a receiver or a gateway says that does not know the date (1970-01-01, 1980-01-06).
    pub(crate) days: Option<i64>,
}

/// 1995-01-01 as days since 1970-01-01.
pub(crate) const FIRST_DAY: i64 = 9131;

/// Days since 1970-01-01 of a date of the Gregorian calendar; `None` where there is no such day.
pub(crate) fn days_from_date(year: i64, month: i64, day: i64) -> Option<i64> {
    let leap = year % 4 == 0 && (year % 100 != 0 || year % 400 == 0);
    let longest = match month {
        4 | 6 | 9 | 11 => 30,
        2 if leap => 29,
        2 => 28,
        1 | 3 | 5 | 7 | 8 | 10 | 12 => 31,
        _ => return None,
    };
    if !(1..=longest).contains(&day) || !(1..=9999).contains(&year) {
        return None;
    }
    // Years counted from March put the leap day last.
    let (year, month) = if month > 2 { (year, month - 3) } else { (year - 1, month + 9) };
    let day_of_year = (153 * month + 2) / 5 + day - 1;
    Some(year * 365 + year / 4 - year / 100 + year / 400 + day_of_year - 719_468)
}

/// The time that `line` says, whose first start character stands at `start`: RMC, ZDA, GGA, GNS
/// and GLL have one. `None` too where its checksum may not pass.
#[inline]
pub(crate) fn said_time(line: &[u8], start: usize, policy: ChecksumPolicy) -> Option<SaidTime> {
    let sentence = if line.get(start) == Some(&b'\\') { sentence(line, start)? } else { line.get(start..)? };
    // Most lines end here.
    let [b'$', first, _, a, b, c, b',', ..] = sentence else { return None };
    let before = match (a, b, c) {
        (b'R', b'M', b'C') | (b'Z', b'D', b'A') | (b'G', b'G', b'A') | (b'G', b'N', b'S') => 0,
        (b'G', b'L', b'L') => 4,
        _ => return None,
    };
    if *first == b'P' || !passes(sentence, policy) {
        return None;
    }
    let end = memchr(b'*', sentence).unwrap_or(sentence.len());
    let mut fields = Fields::new(sentence.get(7..end));
    fields.skip(before);
    let tod_ms = time_of_day(fields.text())?;
    let days = match (a, b) {
        (b'R', b'M') => {
            fields.skip(7);
            short_date(fields.text())
        }
        (b'Z', b'D') => long_date(fields.text(), fields.text(), fields.text()),
        _ => None,
    };
    Some(SaidTime { tod_ms, days: days.filter(|&days| days >= FIRST_DAY) })
}

/// `hhmmss` with any fraction.
fn time_of_day(field: &[u8]) -> Option<i64> {
    let [h1, h2, m1, m2, s1, s2, rest @ ..] = field else { return None };
    let (hour, minute, second) = (two(h1, h2)?, two(m1, m2)?, two(s1, s2)?);
    let (ms, rest) = fraction_ms(rest);
    // 60 is a leap second.
    (hour < 24 && minute < 60 && second <= 60 && rest.is_empty())
        .then_some(((hour * 60 + minute) * 60 + second) * 1000 + ms)
}

/// `ddmmyy`; 95 to 99 are of the last century.
fn short_date(field: &[u8]) -> Option<i64> {
    let [d1, d2, m1, m2, y1, y2] = field else { return None };
    let year = match two(y1, y2)? {
        year @ ..70 => 2000 + year,
        year => 1900 + year,
    };
    days_from_date(year, two(m1, m2)?, two(d1, d2)?)
}

/// `dd,mm,yyyy`.
fn long_date(day: &[u8], month: &[u8], year: &[u8]) -> Option<i64> {
    let ([d1, d2], [m1, m2], [y1, y2, y3, y4]) = (day, month, year) else { return None };
    days_from_date(two(y1, y2)? * 100 + two(y3, y4)?, two(m1, m2)?, two(d1, d2)?)
}

/// Whether the checksum of `sentence`, which begins with its start character, lets it pass.
fn passes(sentence: &[u8], policy: ChecksumPolicy) -> bool {
    if policy == ChecksumPolicy::Ignored {
        return true;
    }
    match memchr3(b'*', b'\r', b'\n', sentence) {
        Some(at) if sentence[at] == b'*' => {
            let sum = sentence.get(1..at).unwrap_or_default().iter().fold(0, |sum, byte| sum ^ byte);
            let digit = |behind: usize| sentence.get(at + behind).copied().and_then(hex);
            return digit(1).zip(digit(2)).is_some_and(|(high, low)| high << 4 | low == sum);
        }
        _ => {}
    }
    policy == ChecksumPolicy::Optional
}

/// Whether `sentence` has the form of one: start character, an address of capitals and digits, a comma.
fn has_form(sentence: &[u8]) -> bool {
    let [b'$' | b'!', rest @ ..] = sentence else { return false };
    let address = rest.iter().take_while(|b| b.is_ascii_uppercase() || b.is_ascii_digit()).count();
    (4..=10).contains(&address) && rest.get(address) == Some(&b',')
}

/// What a line is, as far as the beginning of a log or the speed of a wire must know.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Form {
    /// Not a sentence.
    None,
    /// A sentence by its form, but its checksum does not let it pass.
    Doubtful,
    /// A sentence that passes.
    Sentence,
}

/// What `line` is.
pub(crate) fn form(line: &[u8], policy: ChecksumPolicy) -> Form {
    match start_of(line).and_then(|start| sentence(line, start)) {
        Some(sentence) if has_form(sentence) => {
            if passes(sentence, policy) {
                Form::Sentence
            } else {
                Form::Doubtful
            }
        }
        _ => Form::None,
    }
}

/// Whether `line` holds a sentence that `policy` lets pass: enough to tell the right speed of a
/// wire from a wrong one, not a substitute for framing.
pub fn looks_like_sentence(line: &[u8], policy: ChecksumPolicy) -> bool {
    form(line, policy) == Form::Sentence
}

#[cfg(test)]
mod tests {
    use super::*;

    fn summed(body: &str) -> String {
        let sum = body.bytes().fold(0, |sum, byte| sum ^ byte);
        format!("${body}*{sum:02X}\r\n")
    }

    fn said(body: &str) -> Option<SaidTime> {
        said_time(summed(body).as_bytes(), 0, ChecksumPolicy::Required)
    }

    #[test]
    fn days_are_counted_as_the_calendar_does() {
        // Checked with `date -u -d @$((days * 86400))`.
        for (date, days) in [
            ((1970, 1, 1), 0),
            ((1995, 1, 1), FIRST_DAY),
            ((2000, 2, 29), 11_016),
            ((2000, 3, 1), 11_017),
            ((2026, 7, 14), 20_648),
        ] {
            assert_eq!(days_from_date(date.0, date.1, date.2), Some(days));
        }
        for date in [(2026, 2, 29), (1900, 2, 29), (2026, 0, 1), (2026, 13, 1), (2026, 4, 31), (2026, 4, 0)] {
            assert_eq!(days_from_date(date.0, date.1, date.2), None);
        }
    }

    #[test]
    fn each_formatter_tells_its_time() {
        let tod_ms = ((10 * 60 + 11) * 60 + 9) * 1000 + 390;
        let bare = Some(SaidTime { tod_ms, days: None });
        let dated = Some(SaidTime { tod_ms, days: Some(20_648) });
        assert_eq!(said("GPRMC,101109.39,A,5741.1,N,01153.1,E,0.0,300.0,140726,,E,A"), dated);
        assert_eq!(said("GPRMC,101109.39,V,,,,,,,140726,,"), dated, "without a fix the receiver still has a clock");
        assert_eq!(said("GPZDA,101109.39,14,07,2026,00,00"), dated);
        assert_eq!(said("GPGGA,101109.39,5741.1,N,01153.1,E,1,10,1.3,43.0,M,0.0,M,,"), bare);
        assert_eq!(said("GNGNS,101109.39,5741.1,N,01153.1,E,AA,10,1.3,43.0,0.0,,"), bare);
        assert_eq!(said("GPGLL,5741.1,N,01153.1,E,101109.39,A,A"), bare);
        for no_date in ["010170", "060180", "311294", "", "000000", "140726x", "320726"] {
            assert_eq!(
                said(&format!("GPRMC,101109.39,A,5741.1,N,01153.1,E,0.0,300.0,{no_date},,E,A")),
                bare,
                "{no_date}"
            );
        }
    }

    #[test]
    fn what_says_no_time_is_none() {
        for body in [
            "HCHDG,101.1,,,7.1,W",
            "GPRMC,,V,,,,,,,,,",
            "GPRMC,241109,A,,,,,,,140726,,",
            "GPRMC,1011,A,,,,,,,140726,,",
            "GPRMC,101109.3x,A,,,,,,,140726,,",
            "GPGLL,5741.1,N",
            "PXRMC,101109,A",
        ] {
            assert_eq!(said(body), None, "{body}");
        }
        let wrong = b"$GPGLL,5741.1,N,01153.1,E,101109,A,A*00";
        assert_eq!(said_time(wrong, 0, ChecksumPolicy::Required), None);
        assert_eq!(said_time(wrong, 0, ChecksumPolicy::Optional), None);
        assert!(said_time(wrong, 0, ChecksumPolicy::Ignored).is_some());
        let missing = b"$GPGLL,5741.1,N,01153.1,E,101109,A,A\r\n";
        assert_eq!(said_time(missing, 0, ChecksumPolicy::Required), None);
        assert!(said_time(missing, 0, ChecksumPolicy::Optional).is_some());
    }

    #[test]
    fn a_sentence_is_told_from_noise() {
        let required = ChecksumPolicy::Required;
        assert!(looks_like_sentence(b"$HCHDG,101.1,,,7.1,W*3C\r\n", required));
        assert!(looks_like_sentence(b"x$HCHDG,101.1,,,7.1,W*3c", required));
        assert_eq!(form(b"$HCHDG,101.1,,,7.1,W*3D", required), Form::Doubtful);
        assert_eq!(form(b"$HCHDG,101.1,,,7.1,W", required), Form::Doubtful);
        for noise in [&b"$12.50 for the berth"[..], b"\x00$\x80\xff", b"", b"$HC,1*00", b"# comment"] {
            assert_eq!(form(noise, ChecksumPolicy::Ignored), Form::None);
        }
    }
}
