//! Instants and spans of a monotonic clock that the caller owns; the core never reads one.

use core::ops::{Add, Sub};

/// A moment on the caller's monotonic clock, in whole milliseconds since an origin of its choice.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Instant(u64);

/// A length of time in whole milliseconds, never negative.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Span(u64);

impl Instant {
    /// The moment `ms` milliseconds after the origin.
    pub const fn from_ms(ms: u64) -> Self {
        Self(ms)
    }

    /// Milliseconds since the origin.
    pub const fn as_ms(self) -> u64 {
        self.0
    }

    /// The time that has passed since `earlier`; zero if `earlier` is in fact later.
    pub const fn since(self, earlier: Self) -> Span {
        Span(self.0.saturating_sub(earlier.0))
    }
}

impl Span {
    /// No time at all.
    pub const ZERO: Self = Self(0);

    /// A span of `ms` milliseconds.
    pub const fn from_ms(ms: u64) -> Self {
        Self(ms)
    }

    /// A span of `s` seconds; saturates.
    pub const fn from_s(s: u64) -> Self {
        Self(s.saturating_mul(1000))
    }

    /// A span of `min` minutes; saturates.
    pub const fn from_min(min: u64) -> Self {
        Self::from_s(min.saturating_mul(60))
    }

    /// Whole milliseconds.
    pub const fn as_ms(self) -> u64 {
        self.0
    }

    /// Whole seconds, rounded down: a reading never claims time that has not passed.
    pub const fn as_s(self) -> u64 {
        self.0 / 1000
    }

    /// This span `n` times over; saturates.
    pub const fn times(self, n: u64) -> Self {
        Self(self.0.saturating_mul(n))
    }
}

impl Add<Span> for Instant {
    type Output = Self;
    fn add(self, span: Span) -> Self {
        Self(self.0.saturating_add(span.0))
    }
}

impl Sub<Span> for Instant {
    type Output = Self;
    fn sub(self, span: Span) -> Self {
        Self(self.0.saturating_sub(span.0))
    }
}

impl Add for Span {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        Self(self.0.saturating_add(other.0))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn time_that_runs_backwards_counts_as_none() {
        assert_eq!(Instant::from_ms(5).since(Instant::from_ms(9)), Span::ZERO);
        assert_eq!(Instant::from_ms(9).since(Instant::from_ms(5)), Span::from_ms(4));
    }

    #[test]
    fn the_far_end_saturates() {
        let last = Instant::from_ms(u64::MAX);
        assert_eq!(last + Span::from_s(1), last);
        assert_eq!(Span::from_min(u64::MAX).as_ms(), u64::MAX);
    }
}
