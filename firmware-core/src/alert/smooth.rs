//! Two small filters that several alerts share: an average that forgets, and a latch with patience.

use crate::angle::Turn;
use crate::time::Instant;
use crate::time::Span;

/// An exponential average of a signed angle; it takes the short way round the circle.
#[derive(Clone, Copy, Debug, Default)]
pub struct Smooth {
    value: Option<(Turn, Instant)>,
}

impl Smooth {
    /// Takes `input` and returns the average, with the time constant `tau`.
    pub fn step(&mut self, now: Instant, input: Turn, tau: Span) -> Turn {
        let Some((value, at)) = self.value else {
            self.value = Some((input, now));
            return input;
        };
        let elapsed = now.since(at).as_ms().min(60_000);
        let error = i64::from((input - value).wrapped().as_mdeg());
        let gain_1024 = elapsed * 1024 / (elapsed + tau.as_ms()).max(1);
        // Both factors are small: 180 000 x 1024 fits many times.
        let step = error * i64::try_from(gain_1024).unwrap_or(1024) / 1024;
        let value = (value + Turn::from_mdeg(i32::try_from(step).unwrap_or(0))).wrapped();
        self.value = Some((value, now));
        value
    }

    /// The average so far.
    pub fn value(&self) -> Option<Turn> {
        self.value.map(|(value, _)| value)
    }

    /// Forgets everything.
    pub fn reset(&mut self) {
        self.value = None;
    }
}

/// A latch that goes up when a condition has lasted, and down when its opposite has lasted.
#[derive(Clone, Copy, Debug, Default)]
pub struct Latch {
    up: bool,
    above_since: Option<Instant>,
    below_since: Option<Instant>,
}

impl Latch {
    /// Takes whether the condition holds (`above`) and whether it is well gone (`below`); in
    /// between nothing changes. Returns whether the latch is up.
    pub fn step(&mut self, now: Instant, above: bool, below: bool, rise: Span, fall: Span) -> bool {
        if above {
            let since = *self.above_since.get_or_insert(now);
            self.up |= now.since(since) >= rise;
        } else {
            self.above_since = None;
        }
        if below {
            let since = *self.below_since.get_or_insert(now);
            self.up &= now.since(since) < fall;
        } else {
            self.below_since = None;
        }
        self.up
    }

    /// Whether it is up.
    pub fn is_up(&self) -> bool {
        self.up
    }

    /// Since when the condition has held without a break.
    pub fn above_since(&self) -> Option<Instant> {
        self.above_since
    }

    /// Forgets how long anything has lasted, but stays up if it is up.
    pub fn pause(&mut self) {
        self.above_since = None;
        self.below_since = None;
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
