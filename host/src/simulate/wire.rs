//! Sentences as bytes: numbers of fixed digits, checksum, and the stamp before the line.

use std::fmt::Write as _;

use chrono::DateTime;
use chrono::Datelike;
use chrono::Timelike;
use chrono::Utc;

/// How the lines of a log are stamped.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Stamps {
    /// Not at all.
    None,
    /// By a TAG block: `\c:<milliseconds since 1970>*hh\`.
    Tag,
}

impl Stamps {
    /// Writes `line`, which ends with CR LF, after its stamp.
    pub fn write(self, unix_ms: i64, line: &[u8], to: &mut Vec<u8>) {
        if self == Self::Tag {
            let start = to.len() + 1;
            to.extend_from_slice(b"\\c:");
            let mut digits = String::with_capacity(16);
            let _ = write!(digits, "{unix_ms}");
            to.extend_from_slice(digits.as_bytes());
            let sum = checksum(&to[start..]);
            to.push(b'*');
            to.extend_from_slice(&hex(sum));
            to.push(b'\\');
        }
        to.extend_from_slice(line);
    }
}

/// A sentence being written: every field begins with its comma.
///
/// Numbers are rounded to whole units of their last digit first, halves away from zero, and only
/// then written: the digits depend on nothing but the number.
#[derive(Clone, Debug, Default)]
pub(crate) struct Builder {
    bytes: Vec<u8>,
}

impl Builder {
    /// Begins the sentence of `talker` and `formatter`.
    pub(crate) fn begin(&mut self, talker: &str, formatter: &str) -> &mut Self {
        self.bytes.clear();
        self.bytes.push(b'$');
        self.bytes.extend_from_slice(talker.as_bytes());
        self.bytes.extend_from_slice(formatter.as_bytes());
        self
    }

    /// A field as it is.
    pub(crate) fn text(&mut self, text: &str) -> &mut Self {
        self.bytes.push(b',');
        self.bytes.extend_from_slice(text.as_bytes());
        self
    }

    /// A number with so many decimals.
    pub(crate) fn number(&mut self, value: f64, decimals: u8) -> &mut Self {
        self.bytes.push(b',');
        self.units((value * power(decimals) as f64).round() as i64, decimals, 1);
        self
    }

    /// A direction, 0 up to 360, with so many decimals and leading zeros.
    pub(crate) fn bearing(&mut self, degrees: f64, decimals: u8) -> &mut Self {
        self.bytes.push(b',');
        self.units(bearing_units(degrees, decimals), decimals, 3);
        self
    }

    /// An angle and the letter of its side: `12.6,W`.
    pub(crate) fn sided(&mut self, value: f64, decimals: u8, plus: &str, minus: &str) -> &mut Self {
        self.number(value.abs(), decimals).text(if value < 0.0 { minus } else { plus })
    }

    /// Latitude or longitude, `whole` digits of degrees, minutes with four decimals, and its letter.
    pub(crate) fn place(&mut self, degrees: f64, whole: usize, plus: &str, minus: &str) -> &mut Self {
        let minutes = (degrees.abs() * 600_000.0).round() as i64;
        self.bytes.push(b',');
        self.digits((minutes / 600_000) as u64, whole);
        self.units(minutes % 600_000, 4, 2);
        self.text(if degrees < 0.0 { minus } else { plus })
    }

    /// A time of day, `hhmmss.ss`; a leap second is the second after this one, `235960.00`.
    pub(crate) fn time(&mut self, at: DateTime<Utc>, leap: bool) -> &mut Self {
        self.bytes.push(b',');
        for part in [at.hour(), at.minute(), at.second() + u32::from(leap)] {
            self.digits(u64::from(part), 2);
        }
        self.bytes.push(b'.');
        self.digits(u64::from(at.timestamp_subsec_millis() / 10), 2);
        self
    }

    /// A date, `ddmmyy`.
    pub(crate) fn date(&mut self, at: DateTime<Utc>) -> &mut Self {
        self.bytes.push(b',');
        for part in [at.day(), at.month(), at.year().rem_euclid(100) as u32] {
            self.digits(u64::from(part), 2);
        }
        self
    }

    /// The whole line with its checksum, CR and LF.
    pub(crate) fn end(&mut self) -> &[u8] {
        let sum = checksum(&self.bytes[1..]);
        self.bytes.push(b'*');
        self.bytes.extend_from_slice(&hex(sum));
        self.bytes.extend_from_slice(b"\r\n");
        &self.bytes
    }

    fn units(&mut self, units: i64, decimals: u8, whole: usize) {
        if units < 0 {
            self.bytes.push(b'-');
        }
        let power = power(decimals);
        self.digits(units.unsigned_abs() / power, whole);
        if decimals > 0 {
            self.bytes.push(b'.');
            self.digits(units.unsigned_abs() % power, usize::from(decimals));
        }
    }

    fn digits(&mut self, mut value: u64, least: usize) {
        let start = self.bytes.len();
        while value > 0 || self.bytes.len() < start + least {
            self.bytes.push(b'0' + (value % 10) as u8);
            value /= 10;
        }
        self.bytes[start..].reverse();
    }
}

/// A direction in whole units of its last decimal, 0 up to but without 360 degrees.
pub(crate) fn bearing_units(degrees: f64, decimals: u8) -> i64 {
    let power = power(decimals) as i64;
    ((degrees * power as f64).round() as i64).rem_euclid(360 * power)
}

fn power(decimals: u8) -> u64 {
    10_u64.pow(u32::from(decimals))
}

/// The exclusive or of all bytes.
fn checksum(bytes: &[u8]) -> u8 {
    bytes.iter().fold(0, |sum, byte| sum ^ byte)
}

fn hex(byte: u8) -> [u8; 2] {
    let digit = |n: u8| if n < 10 { b'0' + n } else { b'A' + n - 10 };
    [digit(byte >> 4), digit(byte & 15)]
}

#[cfg(test)]
mod tests {
    use super::*;

    fn line(build: impl FnOnce(&mut Builder) -> &mut Builder) -> String {
        String::from_utf8(build(&mut Builder::default()).end().to_vec()).unwrap()
    }

    /// Published sentences: go-nmea's test of HDG, NMEA Revealed's of ROT.
    #[test]
    fn published_sentences_come_out_as_printed() {
        let hdg = line(|b| b.begin("HC", "HDG").number(98.3, 1).sided(0.1, 1, "E", "W").sided(-12.6, 1, "E", "W"));
        assert_eq!(hdg, "$HCHDG,98.3,0.1,E,12.6,W*56\r\n");
        assert_eq!(line(|b| b.begin("HE", "ROT").number(-11.23, 2).text("A")), "$HEROT,-11.23,A*07\r\n");
    }

    #[test]
    fn north_is_written_once_and_zero_has_no_sign() {
        let fields = |text: String| text.split(['$', '*']).nth(1).unwrap().to_owned();
        let bearings =
            line(|b| b.begin("X", "X").bearing(359.96, 1).bearing(-0.04, 1).bearing(359.4, 0).bearing(-720.5, 1));
        assert_eq!(fields(bearings), "XX,000.0,000.0,359,359.5");
        let numbers = line(|b| b.begin("X", "X").number(-0.04, 1).number(-0.05, 1).number(1234.0, 0));
        assert_eq!(fields(numbers), "XX,0.0,-0.1,1234");
        let places = line(|b| b.begin("X", "X").place(36.0, 2, "N", "S").place(-7.999_999_99, 3, "E", "W"));
        assert_eq!(fields(places), "XX,3600.0000,N,00800.0000,W");
    }

    #[test]
    fn a_stamp_is_a_tag_block() {
        let mut log = Vec::new();
        Stamps::Tag.write(1_783_993_800_000, b"$X*58\r\n", &mut log);
        Stamps::None.write(1_783_993_800_000, b"$X*58\r\n", &mut log);
        // The checksum by hand: the exclusive or of `c:1783993800000`.
        let sum = b"c:1783993800000".iter().fold(0, |sum, byte| sum ^ byte);
        assert_eq!(String::from_utf8(log).unwrap(), format!("\\c:1783993800000*{sum:02X}\\$X*58\r\n$X*58\r\n"));
    }
}
