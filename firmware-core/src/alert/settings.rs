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
/// changes no faster than this counts as current. 0.15 knots a minute unless set: a knot and a half within ten
/// minutes. The turn of a tide of three knots changes by 0.025 a minute at most (3 x 2 pi / 745 min), and the edge of
/// a stream is met at about this rate by a boat of five knots that goes half a mile to come into a knot and
/// more of it (common practice, no source). More tells stronger edges from a fault and finds a compass that
/// creeps later; less the other way round. Setting `current_change`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct CurrentChange(u16);

impl Default for CurrentChange {
    fn default() -> Self {
        Self(150)
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
