//! The owner's settings for an alert, and what holds without them.

use crate::angle::Turn;
use crate::time::Span;

/// The owner's settings for one alert; `None` means its default.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct LimitSettings {
    /// The limit as an angle, for the alerts that have one: what lies beyond it on the mean is a fault. For
    /// turn-rate-disagreement that many degrees a second.
    pub limit: Option<Turn>,
    /// How long it must last; where a sum decides, how long that must have been rising at least.
    pub delay: Option<Span>,
    /// Not judged at all.
    pub disabled: bool,
}

/// How fast the current may change where she sails, in thousandths of a knot a minute.
///
/// The course over the ground cannot tell a current that changes from a compass that comes to read wrong: what
/// changes no faster than this counts as current. 0.18 knots a minute unless set, a knot in five and a half minutes.
/// The turn of a tide of three knots changes by 0.025 a minute at most (3 x 2 pi / 745 min); the edge of a stream
/// is the faster one, and a boat of five knots that comes into a knot more of it within half a mile meets it at
/// about this rate (common practice, no source). More takes stronger edges for what they are and finds a compass
/// that creeps later; less the other way round. Setting `current_change`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct CurrentChange(u16);

impl Default for CurrentChange {
    fn default() -> Self {
        Self(180)
    }
}

impl CurrentChange {
    /// `milliknots` thousandths of a knot a minute, if that is from 10 to 2000.
    pub const fn from_milliknots_per_min(milliknots: u16) -> Option<Self> {
        if 10 <= milliknots && milliknots <= 2000 { Some(Self(milliknots)) } else { None }
    }

    /// By so much in half a second, mm/s times 16; rounded to the nearest, and never nothing.
    pub(super) const fn in_half_a_second(self) -> i64 {
        // One knot is 1852 m an hour; 120 half seconds are a minute.
        let nearest = (self.0 as i64 * 1852 * 16 + 216_000) / 432_000;
        if nearest > 1 { nearest } else { 1 }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_current_by_the_half_second() {
        // 0.18 kn are 92.6 mm/s: by hand, / 120 x 16 = 12.3.
        assert_eq!(CurrentChange::default().in_half_a_second(), 12);
        assert_eq!(CurrentChange::from_milliknots_per_min(10).map(CurrentChange::in_half_a_second), Some(1));
        assert_eq!(CurrentChange::from_milliknots_per_min(2000).map(CurrentChange::in_half_a_second), Some(137));
        assert_eq!([9, 2001].map(CurrentChange::from_milliknots_per_min), [None; 2]);
    }
}
