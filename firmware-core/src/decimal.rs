//! Decimal text to scaled integers, without floating point.
//!
//! Nearly every number on the wire has at most eight characters. Those are read as one word, all
//! characters at once and without a branch for each; positions and Unix times have up to sixteen
//! and are read as two. Anything else goes the plain way, and a test holds them equal.

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
    Number { rest: text, length: text.len() }.scaled(places).map(|(value, _)| value)
}

/// A number that is the beginning of a longer text: bytes after it are passed over, and make
/// reading it cheaper.
#[derive(Clone, Copy, Debug)]
pub struct Number<'a> {
    rest: &'a [u8],
    length: usize,
}

impl<'a> Number<'a> {
    /// The first `length` bytes of `rest`, or all of it where it is shorter.
    #[inline]
    pub fn new(rest: &'a [u8], length: usize) -> Self {
        Self { rest, length: length.min(rest.len()) }
    }

    /// Whether there is nothing.
    #[inline]
    pub const fn is_empty(&self) -> bool {
        self.length == 0
    }

    /// The value times ten to the power `places`, as [`scaled`], and how many digits stand after
    /// the point: the resolution the talker claims.
    ///
    /// # Errors
    /// As [`scaled`].
    #[inline]
    pub fn scaled(self, places: u8) -> Result<(i64, u8), NotDecimal> {
        if 1 <= self.length && self.length <= 8 {
            let word = match self.rest.first_chunk::<8>() {
                Some(eight) => Some(u64::from_le_bytes(*eight)),
                None => word(self.rest),
            };
            // The last character into the highest byte, so that the digits have their places.
            let value = word.and_then(|word| at_once(word << (64 - 8 * self.length), self.length, places));
            if let Some(value) = value {
                return Ok(value);
            }
        }
        self.longer(places)
    }

    /// A number of more than eight characters, and whatever is no usual number.
    #[inline(never)]
    fn longer(self, places: u8) -> Result<(i64, u8), NotDecimal> {
        let text = self.rest.get(..self.length).unwrap_or(self.rest);
        if let Some(value) = in_two(text, places) {
            return Ok(value);
        }
        Ok((plainly(text, places)?, decimals(text)))
    }
}

/// How many digits stand after the point: the resolution the talker claims.
#[inline]
pub fn decimals(text: &[u8]) -> u8 {
    match text.iter().position(|&byte| byte == b'.') {
        Some(at) => u8::try_from(text.len() - at - 1).unwrap_or(u8::MAX),
        None => 0,
    }
}

/// Where commas stand in the first 64 bytes of `text`: bit 0 is its first byte.
///
/// Eight bytes at a time; all fields of most sentences are found in one go and without a branch
/// for each, which is what makes reading them cheap.
#[inline]
pub fn commas(text: &[u8]) -> u64 {
    let mut rest = text;
    let mut found = 0;
    let mut shift = 0;
    while let Some((eight, after)) = rest.split_first_chunk::<8>() {
        found |= marks(u64::from_le_bytes(*eight)) << shift;
        rest = after;
        shift += 8;
        if shift == 64 {
            return found;
        }
    }
    // Fewer than eight are left, and the zero bytes above them are no commas.
    found | marks(word(rest).unwrap_or(0)) << shift
}

/// One bit for each comma among eight bytes, the lowest byte first.
#[inline]
const fn marks(eight: u64) -> u64 {
    let differing = eight ^ (0x2C * ONES);
    // The high bit of each byte that is a comma, exactly: no carry passes from byte to byte.
    let commas = !((differing & !HIGHS).wrapping_add(!HIGHS) | differing) & HIGHS;
    // The product gathers bit 8k at bit 56 + k.
    (commas >> 7).wrapping_mul(0x0102_0408_1020_4080) >> 56
}

/// The powers of ten up to the most places in use, and one more than them.
const POWERS: [i64; 10] = [1, 10, 100, 1000, 10_000, 100_000, 1_000_000, 10_000_000, 100_000_000, 1_000_000_000];
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

/// The value of up to eight characters that stand at the high end of `raw`, zero below them, and
/// how many are after the point; `None` where digits would have to be rounded off, or where it is
/// no number: the plain way then says which. `length` is 1 to 8.
#[inline]
#[expect(clippy::cast_possible_truncation, reason = "decimals are at most 8")]
#[expect(clippy::cast_possible_wrap, reason = "eight digits are below ten to the eighth")]
fn at_once(raw: u64, length: usize, places: u8) -> Option<(i64, u8)> {
    let (negative, signed) = sign(raw, length);
    let (packed, digits, decimals) = without_point(raw, length - usize::from(signed));
    let power = POWERS.get(usize::from(places).checked_sub(decimals)?)?;
    // Eight digits, and at most ten to the ninth: 17 digits, which an i64 holds.
    let value = whole(packed, digits)? as i64 * power;
    Some((if negative { -value } else { value }, decimals as u8))
}

/// As [`at_once`], of 9 to 16 characters: the last eight, and those before them.
#[inline]
#[expect(clippy::cast_possible_truncation, reason = "decimals are at most 16")]
#[expect(clippy::cast_possible_wrap, reason = "sixteen digits are below ten to the sixteenth")]
fn in_two(text: &[u8], places: u8) -> Option<(i64, u8)> {
    let length = text.len().checked_sub(8).filter(|length| (1..=8).contains(length))?;
    let raw = u64::from_le_bytes(*text.first_chunk::<8>()?) << (64 - 8 * length);
    let last = u64::from_le_bytes(*text.last_chunk::<8>()?);
    let (negative, signed) = sign(raw, length);
    let length = length - usize::from(signed);
    let (last, last_digits, last_decimals) = without_point(last, 8);
    let (first, digits, decimals) = if last_digits == 8 { without_point(raw, length) } else { (raw, length, 0) };
    // A point in the first part has the whole of the last part behind it as well.
    let decimals = if digits < length { decimals + 8 } else { last_decimals };
    let power = POWERS.get(usize::from(places).checked_sub(decimals)?)?;
    let shift = if last_digits == 8 { 100_000_000 } else { 10_000_000 };
    let value = whole(first, digits)? * shift + whole(last, last_digits)?;
    let value = (value as i64).checked_mul(*power)?;
    Some((if negative { -value } else { value }, decimals as u8))
}

/// Whether the first of `length` characters at the high end of `raw` is a minus, and a sign at all.
#[inline]
#[expect(clippy::cast_possible_truncation, reason = "one byte is meant")]
const fn sign(raw: u64, length: usize) -> (bool, bool) {
    let first = (raw >> (64 - 8 * length)) as u8;
    (first == b'-', first == b'-' || first == b'+')
}

/// The `length` characters at the high end of `raw` without their point, how many they then are,
/// and how many of them stood behind it.
#[inline]
const fn without_point(raw: u64, length: usize) -> (u64, usize, usize) {
    let points = zero_bytes(raw ^ (0x2E * ONES));
    if points == 0 {
        return (raw, length, 0);
    }
    let point = 8 * first_byte(points);
    // What stands before the point moves up over it.
    let below = raw & !(u64::MAX << point);
    let above = raw & (u64::MAX << point << 8);
    (above | below << 8, length.saturating_sub(1), 7 - point / 8)
}

/// The whole number of `digits` digits at the high end of `raw`; `None` where one is no digit, or
/// where there is none.
#[inline]
fn whole(raw: u64, digits: usize) -> Option<u64> {
    // No digits shift by 64: none.
    #[expect(clippy::cast_possible_truncation, reason = "at most eight digits")]
    let packed = (raw ^ (0x30 * ONES)) & u64::MAX.checked_shl(64 - 8 * digits as u32)?;
    // A byte over 9 reaches its high bit when 0x76 is added, or had it already.
    if (packed.wrapping_add(0x76 * ONES) | packed) & HIGHS != 0 {
        return None;
    }
    // Pairs of digits, then pairs of pairs, then the two halves, each in one multiplication.
    let pairs = packed.wrapping_mul(10).wrapping_add(packed >> 8);
    let (even, odd) = (pairs & 0x0000_00FF_0000_00FF, (pairs >> 16) & 0x0000_00FF_0000_00FF);
    Some(even.wrapping_mul(0x000F_4240_0000_0064).wrapping_add(odd.wrapping_mul(0x0000_2710_0000_0001)) >> 32)
}

/// The whole number that thirteen digits say, which stand in the last five bytes of `first` and in
/// the eight of `last`: a Unix time in milliseconds.
#[inline]
#[expect(clippy::cast_possible_wrap, reason = "thirteen digits are below ten to the thirteenth")]
pub(crate) fn thirteen(first: [u8; 8], last: [u8; 8]) -> Option<i64> {
    let (first, last) = (whole(u64::from_le_bytes(first), 5)?, whole(u64::from_le_bytes(last), 8)?);
    Some((first * 100_000_000 + last) as i64)
}

/// The plain way: one character after another.
#[inline(never)]
fn plainly(text: &[u8], places: u8) -> Result<i64, NotDecimal> {
    let (negative, digits) = match text {
        [b'-', rest @ ..] => (true, rest),
        [b'+', rest @ ..] => (false, rest),
        _ => (false, text),
    };
    let mut value = 0;
    let mut rest = digits;
    while let [byte, after @ ..] = rest {
        let Some(digit) = digit(*byte) else { break };
        value = appended(value, digit)?;
        rest = after;
    }
    let mut kept = 0;
    let mut round_up = false;
    if let [b'.', fraction @ ..] = rest {
        rest = fraction;
        while let [byte, after @ ..] = rest {
            let Some(digit) = digit(*byte) else { break };
            if kept < places {
                value = appended(value, digit)?;
            } else if kept == places {
                round_up = digit >= 5;
            }
            kept = kept.saturating_add(1);
            rest = after;
        }
        if digits.len() == 1 {
            return Err(NotDecimal::Empty);
        }
    }
    match rest {
        [] if digits.is_empty() => return Err(NotDecimal::Empty),
        [] => {}
        [byte, ..] => return Err(NotDecimal::Byte(*byte)),
    }
    let missing = usize::from(places.saturating_sub(kept));
    let power = POWERS.get(missing).ok_or(NotDecimal::TooLarge)?;
    let value = value.checked_mul(*power).ok_or(NotDecimal::TooLarge)? + i64::from(round_up);
    Ok(if negative { -value } else { value })
}

#[inline]
const fn digit(byte: u8) -> Option<i64> {
    if byte.is_ascii_digit() { Some((byte - b'0') as i64) } else { None }
}

/// One more digit at the end of `value`. What comes out stays below a tenth of an `i64`, so that
/// the next digit and a rounding always fit.
#[inline]
const fn appended(value: i64, digit: i64) -> Result<i64, NotDecimal> {
    if value < i64::MAX / 100 { Ok(value * 10 + digit) } else { Err(NotDecimal::TooLarge) }
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
                // With nothing, a comma or digits after it.
                let want = plainly(text, places).map(|value| (value, decimals(text)));
                for after in [&b""[..], b",", b",12345678"] {
                    let rest = [text, after].concat();
                    assert_eq!(Number::new(&rest, text.len()).scaled(places), want, "{text:?} at {places}");
                }
            }
            let point = text.iter().position(|&b| b == b'.');
            assert_eq!(usize::from(decimals(text)), point.map_or(0, |at| text.len() - at - 1), "{text:?}");
            let found = text.iter().take(64).enumerate().fold(0, |found, (at, &b)| found | u64::from(b == b',') << at);
            assert_eq!(commas(text), found, "{text:?}");
        };
        for (at, piece) in pieces.iter().enumerate() {
            same(piece);
            let (second, third) = (&pieces[at * 7919 % pieces.len()], &pieces[at * 6101 % pieces.len()]);
            let long = [piece.as_slice(), second, third].concat();
            same(&long);
            same(&[long.as_slice(); 7].concat());
        }
    }

    #[test]
    fn positions_and_times_go_in_two() {
        for text in ["4807.038000", "12118.85961", "-4807.0381", "1783993800007", "0000000000000000", "1234567.8"] {
            let want = plainly(text.as_bytes(), 6).map(|value| (value, decimals(text.as_bytes())));
            assert_eq!(in_two(text.as_bytes(), 6), want.ok().filter(|_| text.len() > 8), "{text}");
        }
        for text in ["", "12345678", "-12345678", "1234.5678.9", "12345678901234567", "123456789x"] {
            assert_eq!(in_two(text.as_bytes(), 6), None, "{text}");
        }
        // Every place of the point and every length, with and without a sign.
        for length in 9..=16 {
            for point in 0..length {
                for sign in ["", "-", "+"] {
                    let mut text: std::string::String = "7182818284590452".chars().take(length).collect();
                    text.replace_range(point..=point, ".");
                    text.insert_str(0, sign);
                    for places in 0..=9 {
                        let want = plainly(text.as_bytes(), places).map(|value| (value, decimals(text.as_bytes())));
                        assert_eq!(Number::new(text.as_bytes(), 99).scaled(places), want, "{text} at {places}");
                    }
                }
            }
        }
        assert_eq!(thirteen(*b"\\c:17839", *b"93800007"), Some(1_783_993_800_007));
        assert_eq!(thirteen(*b"\\c:1783x", *b"93800007"), None);
        assert_eq!(thirteen(*b"\\c:17839", *b"9380000*"), None);
    }

    #[test]
    fn usual_numbers_go_at_once() {
        let go = |text: &str, places| {
            let raw = word(text.as_bytes()).unwrap() << (64 - 8 * text.len());
            at_once(raw, text.len(), places)
        };
        for text in ["123.4", "0", "-11.23", "+21.0", "99999999", "9999.999", ".5", "7."] {
            assert!(go(text, 4).is_some(), "{text}");
        }
        for digits in 0..10_000i64 {
            let text = std::format!("{}.{:02}", digits / 100, digits % 100);
            assert_eq!(go(&text, 3), Some((digits * 10, 2)), "{text}");
            let text = std::format!("{:08}", digits * 9_973);
            assert_eq!(go(&text, 0), Some((digits * 9_973, 0)), "{text}");
        }
    }
}
