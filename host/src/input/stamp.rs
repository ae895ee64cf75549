//! The stamp of a line: when its recorder says it was written down.

use lubber_core::frame::Tag;

use crate::input::utc::days_from_date;

/// Milliseconds of a day.
pub(crate) const DAY_MS: i64 = 86_400_000;

/// A Unix time at or above this counts milliseconds: as seconds it would be the year 5138.
const MILLISECONDS_FROM: i64 = 100_000_000_000;

/// A bare number below this (1973-03-03) is no Unix time, but a port, a counter or a speed.
const SECONDS_FROM: i64 = 100_000_000;

/// 2100-01-01T00:00:00Z: what claims to be later is damaged.
const LAST_MS: i64 = 4_102_444_800_000;

/// Where a line's first start character (`$`, `!` or `\`) stands.
#[inline]
pub(crate) fn start_of(line: &[u8]) -> Option<usize> {
    line.iter().position(|b| matches!(b, b'$' | b'!' | b'\\'))
}

/// The stamp of `line`, whose first start character stands at `start`, in Unix milliseconds: the
/// `c:` of a TAG block, else an ISO 8601 or Unix time anywhere before the sentence.
#[inline]
pub(crate) fn stamp(line: &[u8], start: usize) -> Option<i64> {
    if let Some(usual) = Tag::stamp(line.get(start..)?) {
        return (usual < LAST_MS).then_some(usual);
    }
    let tagged = if line.get(start) == Some(&b'\\') { tag_time(&line[start + 1..]) } else { None };
    tagged.or_else(|| prefix_time(line.get(..start)?)).filter(|&stamp| stamp < LAST_MS)
}

/// The sentence of `line`: what follows its prefix and its TAG blocks, from `$` or `!`.
#[inline]
pub(crate) fn sentence(line: &[u8], start: usize) -> Option<&[u8]> {
    let mut rest = line.get(start..)?;
    while let [b'\\', inside @ ..] = rest {
        let close = inside.iter().position(|&b| b == b'\\')?;
        rest = &inside[close + 1..];
    }
    matches!(rest.first(), Some(b'$' | b'!')).then_some(rest)
}

/// The `c:` of the TAG block whose opening `\` has just been passed; its checksum must be right.
fn tag_time(inside: &[u8]) -> Option<i64> {
    let close = inside.iter().position(|&b| b == b'\\')?;
    let star = close.checked_sub(3).filter(|&at| inside[at] == b'*')?;
    let told = hex(inside[star + 1])? << 4 | hex(inside[star + 2])?;
    let (mut sum, mut found, mut key_at) = (0u8, None, 0);
    for (at, &byte) in inside[..star].iter().enumerate() {
        sum ^= byte;
        match byte {
            b',' => key_at = at + 1,
            b':' if at == key_at + 1 && inside[key_at] == b'c' => found = Some(at + 1),
            _ => {}
        }
    }
    if sum != told {
        return None;
    }
    let (number, digits, _) = whole(&inside[found?..star])?;
    (digits <= 15).then(|| as_milliseconds(number))
}

/// The value of a hexadecimal digit.
#[inline]
pub(crate) fn hex(digit: u8) -> Option<u8> {
    match digit {
        b'0'..=b'9' => Some(digit - b'0'),
        b'A'..=b'F' => Some(digit - b'A' + 10),
        b'a'..=b'f' => Some(digit - b'a' + 10),
        _ => None,
    }
}

const fn as_milliseconds(number: i64) -> i64 {
    if number >= MILLISECONDS_FROM { number } else { number * 1000 }
}

/// The first time in a prefix: each run of digits is tried as a date or a Unix time.
fn prefix_time(prefix: &[u8]) -> Option<i64> {
    let mut at = 0;
    while at < prefix.len() {
        if !prefix[at].is_ascii_digit() {
            at += 1;
            continue;
        }
        let rest = &prefix[at..];
        let whole_word = at == 0 || !(prefix[at - 1].is_ascii_alphabetic() || prefix[at - 1] == b'.');
        if whole_word && let Some(time) = iso_time(rest).or_else(|| unix_time(rest)) {
            return Some(time);
        }
        at += rest.iter().take_while(|b| b.is_ascii_digit()).count();
    }
    None
}

/// The whole number at the front: value, digits, rest. Too long a number is none.
fn whole(text: &[u8]) -> Option<(i64, usize, &[u8])> {
    let digits = text.iter().take_while(|b| b.is_ascii_digit()).count();
    if !(1..=15).contains(&digits) {
        return None;
    }
    let value = text[..digits].iter().fold(0, |value, digit| value * 10 + i64::from(digit - b'0'));
    Some((value, digits, &text[digits..]))
}

/// A fraction of a second at the front, if any, in whole milliseconds rounded down; and the rest.
pub(crate) fn fraction_ms(text: &[u8]) -> (i64, &[u8]) {
    let [b'.' | b',', rest @ ..] = text else { return (0, text) };
    let digits = rest.iter().take_while(|b| b.is_ascii_digit()).count();
    let thousandths = rest[..digits].iter().map(|digit| i64::from(digit - b'0')).chain([0; 3]).take(3);
    (thousandths.fold(0, |ms, digit| ms * 10 + digit), &rest[digits..])
}

fn unix_time(text: &[u8]) -> Option<i64> {
    let (number, digits, rest) = whole(text)?;
    if rest.first().is_some_and(u8::is_ascii_alphabetic) || !(9..=13).contains(&digits) || number < SECONDS_FROM {
        return None;
    }
    if number >= MILLISECONDS_FROM {
        return Some(number);
    }
    Some(number * 1000 + fraction_ms(rest).0)
}

/// `2026-07-14T02:11:09.300Z`, with a space for the `T`, an offset for the `Z`, or neither (UTC).
fn iso_time(text: &[u8]) -> Option<i64> {
    let [y1, y2, y3, y4, b'-', m1, m2, b'-', d1, d2, b'T' | b't' | b' ', rest @ ..] = text else { return None };
    let [h1, h2, b':', n1, n2, b':', s1, s2, rest @ ..] = rest else { return None };
    let year = two(y1, y2)? * 100 + two(y3, y4)?;
    let days = days_from_date(year, two(m1, m2)?, two(d1, d2)?)?;
    let (hour, minute, second) = (two(h1, h2)?, two(n1, n2)?, two(s1, s2)?);
    if hour > 23 || minute > 59 || second > 60 {
        return None;
    }
    let (ms, rest) = fraction_ms(rest);
    let offset = match rest {
        [sign @ (b'+' | b'-'), h1, h2, b':', n1, n2, ..] | [sign @ (b'+' | b'-'), h1, h2, n1, n2, ..] => {
            let minutes = two(h1, h2)? * 60 + two(n1, n2)?;
            if *sign == b'-' { -minutes } else { minutes }
        }
        [sign @ (b'+' | b'-'), h1, h2, ..] => two(h1, h2)? * if *sign == b'-' { -60 } else { 60 },
        _ => 0,
    };
    Some(days * DAY_MS + ((hour * 60 + minute - offset) * 60 + second) * 1000 + ms)
}

/// Two digits as a number.
#[inline]
pub(crate) fn two(tens: &u8, ones: &u8) -> Option<i64> {
    (tens.is_ascii_digit() && ones.is_ascii_digit()).then(|| i64::from(tens - b'0') * 10 + i64::from(ones - b'0'))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn stamp_of(line: &str) -> Option<i64> {
        stamp(line.as_bytes(), start_of(line.as_bytes())?)
    }

    fn tagged(inside: &str) -> String {
        let sum = inside.bytes().fold(0, |sum, byte| sum ^ byte);
        format!("\\{inside}*{sum:02X}\\$HCHDG,101.1,,,7.1,W*3C")
    }

    #[test]
    fn every_kind_of_stamp_is_read() {
        // 1784023869 is 2026-07-14T10:11:09Z: `date -u -d @1784023869`.
        let at = 1_784_023_869_000;
        for (line, ms) in [
            ("[2026-07-14T10:11:09.300Z] $HCHDG,", at + 300),
            ("2026-07-14 10:11:09 $HCHDG,", at),
            ("2026-07-14T10:11:09,3 $HCHDG,", at + 300),
            ("2026-07-14T12:11:09.3004+02:00;$HCHDG,", at + 300),
            ("2026-07-14T08:11:09-0200 $HCHDG,", at),
            ("2026-07-14T12:11:09+02 $HCHDG,", at),
            ("<2026-07-14T10:11:09Z> 192.168.4.1:10110 $HCHDG,", at),
            ("192.168.4.1:10110 1784023869.300 $HCHDG,", at + 300),
            ("1784023869 !AIVDM,", at),
            ("1784023869300 $HCHDG,", at + 300),
            ("ttyUSB0 (1784023869.3) $HCHDG,", at + 300),
        ] {
            assert_eq!(stamp_of(line), Some(ms), "{line}");
        }
        assert_eq!(stamp_of(&tagged("c:1784023869")), Some(at));
        assert_eq!(stamp_of(&tagged("s:mast,c:1784023869300,n:12")), Some(at + 300));
        assert_eq!(
            stamp_of(&format!("1784023869 {}", tagged("s:mast"))),
            Some(at),
            "the prefix where the tag has none"
        );
    }

    #[test]
    fn what_is_no_stamp_is_none() {
        for line in [
            "$HCHDG,101.1,,,7.1,W*3C",
            "10110 $HCHDG,",
            "line 12345678 $HCHDG,",
            "2026-13-14T10:11:09Z $HCHDG,",
            "2026-02-29T10:11:09Z $HCHDG,",
            "2026-07-14T24:11:09Z $HCHDG,",
            "12345678901234567890 $HCHDG,",
            "9784023869 $HCHDG,",
            "2826-07-14T10:11:09Z $HCHDG,",
            "deadbeef1784023869a $HCHDG,",
            "$HCHDG,101.1,,,7.1,W*3C 1784023869",
            "\\c:1784023869*00\\$HCHDG,",
            "\\c:1784023869\\$HCHDG,",
            "\\c:*59\\$HCHDG,",
            "\\",
        ] {
            assert_eq!(stamp_of(line), None, "{line}");
        }
        assert_eq!(stamp_of(&tagged("sc:1784023869")), None, "another key that ends in c");
    }

    #[test]
    fn the_sentence_stands_behind_its_tag_blocks() {
        let line = b"x \\g:1-2-3*00\\\\s:a*00\\$HCHDG,1";
        assert_eq!(sentence(line, 2), Some(&b"$HCHDG,1"[..]));
        assert_eq!(sentence(b"\\s:a*00", 0), None);
        assert_eq!(sentence(b"\\s:a*00\\ no", 0), None);
    }
}
