//! Directions on the circle and signed turns between them, in whole millidegrees.

pub mod trig;

use core::fmt;
use core::ops::{Add, AddAssign, Neg, Sub};

/// Millidegrees in a full circle.
pub const CIRCLE: i32 = 360_000;

/// A direction on the circle, 0 up to but not including 360 degrees, in millidegrees.
///
/// It says nothing of its reference: compass, magnetic and true headings wrap it in types of
/// their own.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Bearing(i32);

/// A signed angle in millidegrees, starboard and east plus.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Turn(i32);

/// A rate of turn in hundredths of a degree a minute, starboard plus: the unit and resolution of ROT.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct TurnRate(i32);

impl Bearing {
    /// North, whichever north the wrapping type means.
    pub const NORTH: Self = Self(0);

    /// The direction `mdeg` millidegrees clockwise from north, any number of circles taken out.
    #[inline]
    pub const fn from_mdeg(mdeg: i64) -> Self {
        // Hardly any is a circle away, and a remainder is dear.
        let circle = CIRCLE as i64;
        let within = match mdeg {
            _ if mdeg < -circle || mdeg >= 2 * circle => mdeg.rem_euclid(circle),
            _ if mdeg < 0 => mdeg + circle,
            _ if mdeg >= circle => mdeg - circle,
            _ => mdeg,
        };
        #[expect(clippy::cast_possible_truncation, reason = "it is below 360 000")]
        Self(within as i32)
    }

    /// The direction `deg` whole degrees clockwise from north.
    pub const fn from_deg(deg: i32) -> Self {
        Self::from_mdeg(deg as i64 * 1000)
    }

    /// Millidegrees clockwise from north, 0 to 359 999.
    #[inline]
    pub const fn as_mdeg(self) -> i32 {
        self.0
    }

    /// The shorter way from here to `other`: over -180 up to and including +180 degrees.
    #[inline]
    pub const fn turn_to(self, other: Self) -> Turn {
        Turn(shorter(other.0 - self.0))
    }

    /// The opposite direction.
    pub const fn reciprocal(self) -> Self {
        Self::from_mdeg(self.0 as i64 + 180_000)
    }
}

impl Turn {
    /// No turn at all.
    pub const ZERO: Self = Self(0);

    /// A turn of `mdeg` millidegrees, starboard plus.
    #[inline]
    pub const fn from_mdeg(mdeg: i32) -> Self {
        Self(mdeg)
    }

    /// A turn of `deg` whole degrees, starboard plus.
    pub const fn from_deg(deg: i32) -> Self {
        Self(deg * 1000)
    }

    /// Millidegrees, starboard plus.
    #[inline]
    pub const fn as_mdeg(self) -> i32 {
        self.0
    }

    /// The size of the turn, whichever way it goes.
    #[inline]
    pub const fn size(self) -> Self {
        Self(self.0.saturating_abs())
    }

    /// The same turn with whole circles taken out: over -180 up to and including +180 degrees.
    #[inline]
    pub const fn wrapped(self) -> Self {
        // Nearly every one is within a circle, and a remainder is dear.
        let within = if self.0 <= -CIRCLE || self.0 > CIRCLE { self.0 % CIRCLE } else { self.0 };
        Self(shorter(within))
    }
}

/// The shorter way of one that is less than a circle.
#[inline]
const fn shorter(mdeg: i32) -> i32 {
    const HALF: i32 = CIRCLE / 2;
    match mdeg {
        _ if mdeg > HALF => mdeg - CIRCLE,
        _ if mdeg <= -HALF => mdeg + CIRCLE,
        _ => mdeg,
    }
}

impl TurnRate {
    /// A rate of `rate` hundredths of a degree a minute, starboard plus.
    pub const fn from_centideg_per_min(rate: i32) -> Self {
        Self(rate)
    }

    /// Hundredths of a degree a minute, starboard plus.
    pub const fn as_centideg_per_min(self) -> i32 {
        self.0
    }

    /// Millidegrees a second, rounded towards zero.
    pub const fn as_mdeg_per_s(self) -> i32 {
        self.0 / 6
    }
}

impl Add<Turn> for Bearing {
    type Output = Self;
    #[inline]
    fn add(self, turn: Turn) -> Self {
        Self::from_mdeg(i64::from(self.0) + i64::from(turn.0))
    }
}

impl Sub<Turn> for Bearing {
    type Output = Self;
    #[inline]
    fn sub(self, turn: Turn) -> Self {
        Self::from_mdeg(i64::from(self.0) - i64::from(turn.0))
    }
}

impl Add for Turn {
    type Output = Self;
    #[inline]
    fn add(self, other: Self) -> Self {
        Self(self.0.saturating_add(other.0))
    }
}

impl AddAssign for Turn {
    fn add_assign(&mut self, other: Self) {
        *self = *self + other;
    }
}

impl Sub for Turn {
    type Output = Self;
    #[inline]
    fn sub(self, other: Self) -> Self {
        Self(self.0.saturating_sub(other.0))
    }
}

impl Neg for Turn {
    type Output = Self;
    #[inline]
    fn neg(self) -> Self {
        Self(self.0.saturating_neg())
    }
}

/// Three whole digits as on a compass card, `007`; with `{:.1}` a decimal as well, `007.4`.
impl fmt::Display for Bearing {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match f.precision() {
            Some(1) => {
                let tenths = (self.0 + 50) / 100 % 3600;
                write!(f, "{:03}.{}", tenths / 10, tenths % 10)
            }
            _ => write!(f, "{:03}", (self.0 + 500) / 1000 % 360),
        }
    }
}

/// Degrees with one decimal and a letter: `12.3 E`, `0.4 W`, `0.0`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct EastWest(pub Turn);

impl fmt::Display for EastWest {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let tenths = (self.0.size().as_mdeg() + 50) / 100;
        write!(f, "{}.{}", tenths / 10, tenths % 10)?;
        match self.0.as_mdeg() {
            _ if tenths == 0 => Ok(()),
            east if east > 0 => f.write_str(" E"),
            _ => f.write_str(" W"),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::format;

    #[test]
    fn every_whole_degree_pair_agrees_with_the_obvious_way() {
        for from in 0..360 {
            for to in 0..360 {
                let turn = Bearing::from_deg(from).turn_to(Bearing::from_deg(to));
                // The obvious way: walk to starboard and count; past half a circle go to port.
                let starboard = (to - from + 360) % 360;
                let want = if starboard <= 180 { starboard } else { starboard - 360 };
                assert_eq!(turn, Turn::from_deg(want), "{from} to {to}");
                assert_eq!(Bearing::from_deg(from) + turn, Bearing::from_deg(to));
                assert_eq!(Bearing::from_deg(to) - turn, Bearing::from_deg(from));
            }
        }
    }

    #[test]
    fn the_fine_grid_round_trips() {
        for from in (0..CIRCLE).step_by(7_919) {
            for to in (0..CIRCLE).step_by(6_101) {
                let (a, b) = (Bearing::from_mdeg(from.into()), Bearing::from_mdeg(to.into()));
                let turn = a.turn_to(b);
                assert_eq!(a + turn, b);
                assert!(turn.as_mdeg() > -180_000 && turn.as_mdeg() <= 180_000);
            }
        }
    }

    #[test]
    fn circles_are_taken_out_as_a_remainder_takes_them() {
        let edges = [-3, -2, -1, 0, 1, 2, 3].map(|halves: i64| halves * i64::from(CIRCLE) / 2);
        let near = edges.into_iter().flat_map(|edge| (edge - 2)..=(edge + 2));
        for mdeg in near.chain([i32::MIN.into(), i32::MAX.into(), -720_001, 719_999, 1_000_000_000]) {
            let within = mdeg.rem_euclid(CIRCLE.into());
            assert_eq!(i64::from(Bearing::from_mdeg(mdeg).as_mdeg()), within, "{mdeg}");
            let turn = Turn::from_mdeg(i32::try_from(mdeg).unwrap()).wrapped();
            let wanted = if within > 180_000 { within - 360_000 } else { within };
            assert_eq!(i64::from(turn.as_mdeg()), wanted, "{mdeg}");
        }
        assert_eq!(Bearing::from_mdeg(i64::MIN).as_mdeg(), (i64::MIN).rem_euclid(360_000) as i32);
        assert_eq!(Bearing::from_mdeg(i64::MAX).as_mdeg(), (i64::MAX % 360_000) as i32);
    }

    #[test]
    fn words() {
        assert_eq!(format!("{}", Bearing::from_mdeg(359_600)), "000");
        assert_eq!(format!("{:.1}", Bearing::from_mdeg(359_960)), "000.0");
        assert_eq!(format!("{:.1}", Bearing::from_mdeg(7_449)), "007.4");
        assert_eq!(format!("{}", EastWest(Turn::from_mdeg(-12_340))), "12.3 W");
        assert_eq!(format!("{}", EastWest(Turn::from_mdeg(-40))), "0.0");
    }

    #[test]
    fn a_rate_of_turn_changes_unit() {
        assert_eq!(TurnRate::from_centideg_per_min(-1123).as_mdeg_per_s(), -187);
    }
}
