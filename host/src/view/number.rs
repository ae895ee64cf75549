//! Numbers as they are shown: one decimal, made from whole numbers, never through a float.

use std::fmt;

use lubber_core::angle::Bearing;
use lubber_core::angle::Turn;
use lubber_core::time::Span;
use lubber_core::unit::Position;
use lubber_core::unit::Speed;

/// A count of tenths, written with one decimal: `152.1`, `-0.4`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Tenths(pub i64);

impl fmt::Display for Tenths {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let sign = if self.0 < 0 { "-" } else { "" };
        write!(f, "{sign}{}.{}", self.0.unsigned_abs() / 10, self.0.unsigned_abs() % 10)
    }
}

/// A direction in degrees, 0.0 to 359.9, to the nearest tenth.
pub fn degrees(bearing: Bearing) -> Tenths {
    Tenths(i64::from((bearing.as_mdeg() + 50) / 100 % 3600))
}

/// A signed angle in degrees, to the nearest tenth, halves away from zero.
pub fn signed(turn: Turn) -> Tenths {
    let mdeg = i64::from(turn.as_mdeg());
    Tenths((mdeg.abs() + 50) / 100 * mdeg.signum())
}

/// A speed in knots, to the nearest tenth.
pub fn knots(speed: Speed) -> Tenths {
    Tenths((speed.as_milliknots() + 50) / 100)
}

/// A span in seconds, rounded down to a tenth: an age never claims time that has not passed.
pub fn seconds(span: Span) -> Tenths {
    Tenths(i64::try_from(span.as_ms() / 100).unwrap_or(i64::MAX))
}

/// Degrees with seven decimals, for a latitude or a longitude in JSON.
#[derive(Clone, Copy, Debug)]
pub struct E7(pub i32);

impl fmt::Display for E7 {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let sign = if self.0 < 0 { "-" } else { "" };
        let size = self.0.unsigned_abs();
        write!(f, "{sign}{}.{:07}", size / 10_000_000, size % 10_000_000)
    }
}

/// A position as a navigator writes it: `54 06.52 N 010 12.10 E`, to the nearest hundredth of a minute.
pub struct Place(pub Position);

impl fmt::Display for Place {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let half = |e7: i32| {
            let hundredths = (u64::from(e7.unsigned_abs()) * 6000 + 5_000_000) / 10_000_000;
            (hundredths / 6000, hundredths % 6000 / 100, hundredths % 100)
        };
        let (deg, min, part) = half(self.0.lat_e7);
        let north = if self.0.lat_e7 < 0 { 'S' } else { 'N' };
        write!(f, "{deg:02} {min:02}.{part:02} {north} ")?;
        let (deg, min, part) = half(self.0.lon_e7);
        let east = if self.0.lon_e7 < 0 { 'W' } else { 'E' };
        write!(f, "{deg:03} {min:02}.{part:02} {east}")
    }
}

/// The side a signed angle lies on.
pub const fn side(turn: Turn) -> &'static str {
    if turn.as_mdeg() < 0 { "port" } else { "starboard" }
}

/// Whole degrees of a signed angle without its sign, to the nearest one.
pub const fn whole(turn: Turn) -> i32 {
    (turn.size().as_mdeg() + 500) / 1000
}

/// A count with its thousands apart: `1 234 567`.
pub struct Count(pub u64);

impl fmt::Display for Count {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let digits = self.0.to_string();
        let mut grouped = String::with_capacity(digits.len() + digits.len() / 3);
        for (place, digit) in digits.chars().enumerate() {
            if place > 0 && (digits.len() - place).is_multiple_of(3) {
                grouped.push(' ');
            }
            grouped.push(digit);
        }
        f.pad(&grouped)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_decimal_from_whole_numbers() {
        assert_eq!(degrees(Bearing::from_mdeg(152_050)).to_string(), "152.1");
        assert_eq!(degrees(Bearing::from_mdeg(359_950)).to_string(), "0.0");
        assert_eq!(signed(Turn::from_mdeg(-449)).to_string(), "-0.4");
        assert_eq!(signed(Turn::from_mdeg(-49)).to_string(), "0.0");
        assert_eq!(knots(Speed::from_milliknots(5_249)).to_string(), "5.2");
        assert_eq!(seconds(Span::from_ms(1_999)).to_string(), "1.9");
        assert_eq!(E7(-5).to_string(), "-0.0000005");
    }

    #[test]
    fn a_position_carries_into_the_next_degree() {
        let place = Place(Position { lat_e7: 541_086_667, lon_e7: -99_999_999 });
        assert_eq!(place.to_string(), "54 06.52 N 010 00.00 W");
    }

    #[test]
    fn thousands_apart() {
        let said = [0, 999, 1_000, 1_234_567].map(|count| Count(count).to_string());
        assert_eq!(said, ["0", "999", "1 000", "1 234 567"]);
    }
}
