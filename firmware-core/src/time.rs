//! Instants and spans of a monotonic clock that the caller owns; the core never reads one.

use core::ops::{Add, Sub};

/// A moment on the caller's monotonic clock, in whole milliseconds since an origin of its choice.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Instant(u64);

/// A length of time in whole milliseconds, never negative.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Span(u64);

/// A moment or none, in half the memory of an `Option`. The last moment there is counts as none; no
/// clock of milliseconds comes to it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Mark(u64);

impl Mark {
    /// No moment.
    pub const NONE: Self = Self(u64::MAX);

    /// That moment.
    pub const fn at(moment: Instant) -> Self {
        Self(moment.0)
    }

    /// The moment, if there is one.
    pub const fn moment(self) -> Option<Instant> {
        if self.0 == u64::MAX { None } else { Some(Instant(self.0)) }
    }

    /// The moment, which is `now` where there was none until now.
    pub fn moment_or(&mut self, now: Instant) -> Instant {
        if self.0 == u64::MAX {
            *self = Self::at(now);
        }
        Instant(self.0)
    }
}

impl Default for Mark {
    fn default() -> Self {
        Self::NONE
    }
}

impl From<Option<Instant>> for Mark {
    fn from(moment: Option<Instant>) -> Self {
        moment.map_or(Self::NONE, Self::at)
    }
}

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
    fn a_mark_is_half_an_option_and_keeps_its_first_moment() {
        assert_eq!(size_of::<Mark>() * 2, size_of::<Option<Instant>>());
        let mut mark = Mark::default();
        assert_eq!(mark.moment(), None);
        assert_eq!(mark.moment_or(Instant::from_ms(0)), Instant::from_ms(0));
        assert_eq!(mark.moment_or(Instant::from_ms(7)), Instant::from_ms(0));
        assert_eq!((mark, Mark::from(None)), (Mark::at(Instant::from_ms(0)), Mark::NONE));
    }

    #[test]
    fn the_far_end_saturates() {
        let last = Instant::from_ms(u64::MAX);
        assert_eq!(last + Span::from_s(1), last);
        assert_eq!(Span::from_min(u64::MAX).as_ms(), u64::MAX);
    }
}
