//! Decimal text to scaled integers, without floating point.

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
    value += i64::from(round_up);
    Ok(if negative { -value } else { value })
}

/// How many digits stand after the point: the resolution the talker claims.
#[inline]
pub fn decimals(text: &[u8]) -> u8 {
    match text.iter().position(|&b| b == b'.') {
        Some(at) => u8::try_from(text.len() - at - 1).unwrap_or(u8::MAX),
        None => 0,
    }
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
        ] {
            assert_eq!(scaled(text.as_bytes(), 1), Err(why), "{text}");
        }
    }
}
