//! Decimal text to scaled integers, without floating point.
//!
//! Nearly every number on the wire has at most eight characters. Those are read as one word, all
//! characters at once and without a branch for each; anything else goes the plain way, and a test
//! holds the two equal.

/// Why a piece of text is not a decimal number this program accepts.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NotDecimal {
    /// There is nothing there, or a sign or a point alone.
    Empty,
    /// A byte that is neither a digit nor the one sign or point allowed.
    Byte(u8),
    /// More digits before the point than an `i64` at this scale can hold.
    TooLarge,
}

/// The value of `text` times ten to the power `places`, rounded half away from zero.
///
/// Accepts an optional sign, digits, and at most one point with or without digits after it.
/// A leading plus is accepted because talkers in the field send one (`+21.0`). Exponents, hex,
/// `nan` and `inf` are refused.
///
/// # Errors
/// [`NotDecimal`] says which byte stopped it, or that there was nothing to read.
#[inline]
pub fn scaled(text: &[u8], places: u8) -> Result<i64, NotDecimal> {
    match at_once(text, places) {
        Some(value) => Ok(value),
        None => plainly(text, places),
    }
}

/// How many digits stand after the point: the resolution the talker claims.
#[inline]
pub fn decimals(text: &[u8]) -> u8 {
    match position(text, b'.') {
        Some(at) => u8::try_from(text.len() - at - 1).unwrap_or(u8::MAX),
        None => 0,
    }
}

/// Where `byte` stands first in `text`, eight characters at a time.
#[inline]
pub fn position(text: &[u8], byte: u8) -> Option<usize> {
    let pattern = u64::from(byte) * ONES;
    let mut rest = text;
    let mut passed = 0;
    while let Some((eight, after)) = rest.split_first_chunk::<8>() {
        let hits = zero_bytes(u64::from_le_bytes(*eight) ^ pattern);
        if hits != 0 {
            return Some(passed + first_byte(hits));
        }
        rest = after;
        passed += 8;
    }
    let hits = zero_bytes(word(rest)? ^ pattern);
    // The bytes above the text are zero, and so is a `byte` of zero: only hits in the text count.
    let at = first_byte(hits);
    if at < rest.len() { Some(passed + at) } else { None }
}

const ONES: u64 = 0x0101_0101_0101_0101;
const HIGHS: u64 = 0x8080_8080_8080_8080;

/// The high bit of each zero byte. The lowest one is exact; above it a byte of 1 may show as well.
/// Source: S. E. Anderson, Bit Twiddling Hacks, "Determine if a word has a zero byte".
#[inline]
const fn zero_bytes(word: u64) -> u64 {
    word.wrapping_sub(ONES) & !word & HIGHS
}

/// The index of the lowest byte in which a bit is set; 8 where none is.
#[inline]
const fn first_byte(bits: u64) -> usize {
    (bits.trailing_zeros() / 8) as usize
}

/// Up to eight characters as one word, the first in the lowest byte, zero above the last.
#[inline]
fn word(text: &[u8]) -> Option<u64> {
    match (text.first_chunk::<4>(), text.last_chunk::<4>(), text) {
        // The two halves overlap where there are fewer than eight; there they hold the same bytes.
        (Some(first), Some(last), _) if text.len() <= 8 => {
            Some(u64::from(u32::from_le_bytes(*first)) | u64::from(u32::from_le_bytes(*last)) << (8 * (text.len() - 4)))
        }
        (.., &[]) => Some(0),
        (.., &[a]) => Some(u64::from(a)),
        (.., &[a, b]) => Some(u64::from(a) | u64::from(b) << 8),
        (.., &[a, b, c]) => Some(u64::from(a) | u64::from(b) << 8 | u64::from(c) << 16),
        _ => None,
    }
}

/// The value of up to eight characters; `None` where there are more, where digits would have to be
/// rounded off, or where it is no number: the plain way then says which.
#[inline]
fn at_once(text: &[u8], places: u8) -> Option<i64> {
    const POWERS: [i64; 10] = [1, 10, 100, 1000, 10_000, 100_000, 1_000_000, 10_000_000, 100_000_000, 1_000_000_000];
    let raw = word(text)?;
    let negative = text.first() == Some(&b'-');
    let signed = negative || text.first() == Some(&b'+');
    let raw = if signed { raw >> 8 } else { raw };
    let length = text.len() - usize::from(signed);
    if length == 0 {
        return None;
    }
    // The last character into the highest byte, so that the digits have their places.
    let raw = raw << (8 * (8 - length));
    let points = zero_bytes(raw ^ (0x2E * ONES));
    let (packed, digits, decimals) = if points == 0 {
        (raw, length, 0)
    } else {
        let point = first_byte(points);
        let below = raw & !(u64::MAX << (8 * point));
        let above = raw & (u64::MAX << (8 * point) << 8);
        (above | below << 8, length - 1, 7 - point)
    };
    if digits == 0 {
        return None;
    }
    let packed = (packed ^ (0x30 * ONES)) & (u64::MAX << (8 * (8 - digits)));
    // A byte over 9 reaches its high bit when 0x76 is added, or had it already.
    if (packed.wrapping_add(0x76 * ONES) | packed) & HIGHS != 0 {
        return None;
    }
    // Pairs of digits, then pairs of pairs, then the two halves, each in one multiplication.
    let pairs = packed.wrapping_mul(10).wrapping_add(packed >> 8);
    let (even, odd) = (pairs & 0x0000_00FF_0000_00FF, (pairs >> 16) & 0x0000_00FF_0000_00FF);
    let value = even.wrapping_mul(0x000F_4240_0000_0064).wrapping_add(odd.wrapping_mul(0x0000_2710_0000_0001)) >> 32;
    let power = POWERS.get(usize::from(places).checked_sub(decimals)?)?;
    // Eight digits, and at most ten to the ninth: 17 digits, which an i64 holds.
    let value = i64::try_from(value).ok()? * power;
    Some(if negative { -value } else { value })
}

/// The plain way: one character after another.
#[inline(never)]
fn plainly(text: &[u8], places: u8) -> Result<i64, NotDecimal> {
    let (negative, digits) = match text {
        [b'-', rest @ ..] => (true, rest),
        [b'+', rest @ ..] => (false, rest),
        _ => (false, text),
    };
    let mut value: i64 = 0;
    let mut seen = 0usize;
    let mut after_point: Option<u8> = None;
    let mut round_up = false;
    for &byte in digits {
        let digit = byte.wrapping_sub(b'0');
        if digit > 9 {
            if byte == b'.' && after_point.is_none() {
                after_point = Some(0);
                continue;
            }
            return Err(NotDecimal::Byte(byte));
        }
        seen += 1;
        match &mut after_point {
            Some(n) if *n >= places => {
                if *n == places {
                    round_up = digit >= 5;
                    *n += 1;
                }
                continue;
            }
            Some(n) => *n += 1,
            None => {}
        }
        // 17 digits always fit; the checked path is for the rare long ones.
        value = if seen <= 17 {
            value * 10 + i64::from(digit)
        } else {
            value.checked_mul(10).and_then(|v| v.checked_add(i64::from(digit))).ok_or(NotDecimal::TooLarge)?
        };
    }
    if seen == 0 {
        return Err(NotDecimal::Empty);
    }
    for _ in after_point.unwrap_or(0).min(places)..places {
        value = value.checked_mul(10).ok_or(NotDecimal::TooLarge)?;
    }
    value = value.checked_add(i64::from(round_up)).ok_or(NotDecimal::TooLarge)?;
    Ok(if negative { -value } else { value })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn good_numbers() {
        for (text, places, want) in [
            ("0", 3, 0),
            ("123.456", 3, 123_456),
            ("123.4565", 3, 123_457),
            ("123.4564999", 3, 123_456),
            ("-11.23", 2, -1123),
            ("-0.05", 1, -1),
            ("+21.0", 1, 210),
            ("009", 3, 9000),
            (".5", 1, 5),
            ("7.", 2, 700),
            ("-0", 3, 0),
            ("9.9995", 3, 10_000),
        ] {
            assert_eq!(scaled(text.as_bytes(), places), Ok(want), "{text}");
        }
    }

    #[test]
    fn text_that_is_no_number() {
        for (text, why) in [
            ("", NotDecimal::Empty),
            ("-", NotDecimal::Empty),
            (".", NotDecimal::Empty),
            ("nan", NotDecimal::Byte(b'n')),
            ("1e3", NotDecimal::Byte(b'e')),
            ("0x10", NotDecimal::Byte(b'x')),
            ("12.3.4", NotDecimal::Byte(b'.')),
            ("--1", NotDecimal::Byte(b'-')),
            ("99999999999999999999", NotDecimal::TooLarge),
            ("9223372036854775807", NotDecimal::TooLarge),
            ("922337203685477580.79", NotDecimal::TooLarge),
        ] {
            assert_eq!(scaled(text.as_bytes(), 1), Err(why), "{text}");
        }
    }

    #[test]
    fn all_at_once_is_the_same_as_one_after_another() {
        // Every text of up to four characters of this alphabet, at every scale in use, and long
        // texts made of three such pieces.
        const ALPHABET: &[u8] = b"019.-+,x\0\xFF";
        let mut pieces: std::vec::Vec<std::vec::Vec<u8>> = std::vec![std::vec![]];
        let mut begin = 0;
        for _ in 0..4 {
            let end = pieces.len();
            for at in begin..end {
                for &byte in ALPHABET {
                    let mut longer = pieces[at].clone();
                    longer.push(byte);
                    pieces.push(longer);
                }
            }
            begin = end;
        }
        let same = |text: &[u8]| {
            for places in 0..=9 {
                if let Some(value) = at_once(text, places) {
                    assert_eq!(Ok(value), plainly(text, places), "{text:?} at {places}");
                }
            }
            assert_eq!(position(text, b','), text.iter().position(|&b| b == b','), "{text:?}");
            assert_eq!(position(text, 0), text.iter().position(|&b| b == 0), "{text:?}");
        };
        for (at, piece) in pieces.iter().enumerate() {
            same(piece);
            let (second, third) = (&pieces[at * 7919 % pieces.len()], &pieces[at * 6101 % pieces.len()]);
            same(&[piece.as_slice(), second, third].concat());
        }
    }

    #[test]
    fn usual_numbers_go_at_once() {
        for text in ["123.4", "0", "-11.23", "+21.0", "99999999", "9999.999", ".5", "7."] {
            assert!(at_once(text.as_bytes(), 4).is_some(), "{text}");
        }
        for digits in 0..10_000i64 {
            let text = std::format!("{}.{:02}", digits / 100, digits % 100);
            assert_eq!(at_once(text.as_bytes(), 3), Some(digits * 10), "{text}");
            let text = std::format!("{:08}", digits * 9_973);
            assert_eq!(at_once(text.as_bytes(), 0), Some(digits * 9_973), "{text}");
        }
    }
}
