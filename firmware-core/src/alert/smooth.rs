//! Two small filters that several alerts share: an average that forgets, and a latch with patience.

use crate::angle::Turn;
use crate::time::Instant;
use crate::time::Mark;
use crate::time::Span;

/// Nearly every step of a judge, milliseconds.
const HALF_SECOND: i64 = 500;

/// `old`, drawn towards `new` for `ms` milliseconds with the time constant `tau_ms`; one of them is not zero.
#[inline]
pub(super) const fn towards(old: i64, new: i64, ms: i64, tau_ms: i64) -> i64 {
    let way = new - old;
    // Nearly every step of a judge is half a second, and then there is nothing left to divide by.
    old + if ms == HALF_SECOND { way * HALF_SECOND / (HALF_SECOND + tau_ms) } else { way * ms / (ms + tau_ms) }
}

/// `turned` in `ms` milliseconds as a rate: so much in a second.
#[inline]
pub(super) const fn in_a_second(turned: i64, ms: i64) -> i64 {
    if ms == HALF_SECOND { turned * 2 } else { turned * 1000 / ms }
}

/// An exponential average of a signed angle; it takes the short way round the circle.
#[derive(Clone, Copy, Debug, Default)]
pub struct Smooth {
    value: Turn,
    /// When it was last given an angle; none before the first one.
    at: Mark,
}

impl Smooth {
    /// Takes `input` and returns the average, with the time constant `tau`.
    #[inline]
    pub fn step(&mut self, now: Instant, input: Turn, tau: Span) -> Turn {
        if let Some(at) = self.at.moment() {
            let elapsed = now.since(at).as_ms().min(60_000);
            let error = i64::from((input - self.value).wrapped().as_mdeg());
            let gain_1024 = match elapsed {
                // As above: the time constant is known where this is called, so nothing is divided.
                500 => 500 * 1024 / (500 + tau.as_ms()),
                _ => elapsed * 1024 / (elapsed + tau.as_ms()).max(1),
            };
            // Both factors are small: 180 000 x 1024 fits many times.
            let step = error * i64::try_from(gain_1024).unwrap_or(1024) / 1024;
            self.value = (self.value + Turn::from_mdeg(i32::try_from(step).unwrap_or(0))).wrapped();
        } else {
            self.value = input;
        }
        self.at = Mark::at(now);
        self.value
    }

    /// The average so far.
    pub fn value(&self) -> Option<Turn> {
        self.at.moment().map(|_| self.value)
    }

    /// Forgets everything.
    pub fn reset(&mut self) {
        *self = Self::default();
    }
}

/// A latch that goes up when a condition has lasted, and down when its opposite has lasted.
#[derive(Clone, Copy, Debug, Default)]
pub struct Latch {
    up: bool,
    /// Whether what lasts is the condition, or its opposite.
    above: bool,
    since: Mark,
}

impl Latch {
    /// Takes whether the condition holds (`above`) and whether it is well gone (`below`); in
    /// between nothing changes, and of both the condition counts. Returns whether the latch is up.
    pub fn step(&mut self, now: Instant, above: bool, below: bool, rise: Span, fall: Span) -> bool {
        if !above && !below {
            self.since = Mark::NONE;
            return self.up;
        }
        if self.above != above {
            self.since = Mark::NONE;
            self.above = above;
        }
        let lasted = now.since(self.since.moment_or(now));
        if above {
            self.up |= lasted >= rise;
        } else {
            self.up &= lasted < fall;
        }
        self.up
    }

    /// Whether it is up.
    pub fn is_up(&self) -> bool {
        self.up
    }

    /// Whether it is as it was at first.
    pub fn rests(&self) -> bool {
        !self.up && !self.above && self.since == Mark::NONE
    }

    /// Since when the condition has held without a break.
    pub fn above_since(&self) -> Option<Instant> {
        self.since.moment().filter(|_| self.above)
    }

    /// Forgets how long anything has lasted, but stays up if it is up.
    pub fn pause(&mut self) {
        self.since = Mark::NONE;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_average_follows_a_step_through_north() {
        let mut smooth = Smooth::default();
        smooth.step(Instant::from_ms(0), Turn::from_deg(179), Span::from_s(4));
        let mut last = Turn::ZERO;
        for half in 1..=8 {
            last = smooth.step(Instant::from_ms(half * 500), Turn::from_deg(-171), Span::from_s(4));
        }
        // After one time constant about 63 % of the 10 degrees: 1 - (8/9)^8 = 61 %, by hand.
        assert!((last.as_mdeg() + 174_900).abs() < 200, "{last:?}");
    }

    #[test]
    fn the_latch_waits_both_ways() {
        let mut latch = Latch::default();
        let (rise, fall) = (Span::from_s(5), Span::from_s(10));
        let mut step = |s: u64, above, below| latch.step(Instant::from_ms(s * 1000), above, below, rise, fall);
        assert!(!step(0, true, false));
        assert!(!step(4, true, false));
        assert!(!step(5, false, false));
        assert!(!step(6, true, false));
        assert!(step(11, true, false));
        assert!(step(12, false, false));
        assert!(step(13, false, true));
        assert!(step(22, false, true));
        assert!(!step(23, false, true));
    }
}
