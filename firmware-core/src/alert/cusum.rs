//! The cumulative sum: a sequential test for a lasting shift, in integers.
//!
//! E. S. Page, *Continuous inspection schemes*, Biometrika 41 (1954), 100-115. Each step adds how far
//! the score lies beyond the reference value; below nothing the sum begins again; past the threshold
//! it signals. For scores that are independent and normal with standard deviation 1, the mean number of
//! steps to a signal (the run length, ARL) is known from tables: J. M. Lucas and R. B. Crosier,
//! *Fast initial response for CUSUM quality-control schemes*, Technometrics 24 (1982), 199-205. A
//! reference of half the shift that must be found makes it the fastest test of that shift for a given
//! run length without one (G. Lorden, 1971).
//!
//! ```
//! use lubber_core::alert::cusum::{Design, ONE, TwoSided};
//!
//! // The textbook chart: half a standard deviation, four, no headstart: ARL 168 when all is well.
//! const DESIGN: Design = Design::new(ONE / 2, 4 * ONE);
//! let mut test = TwoSided::default();
//! assert_eq!(test.step(2 * ONE, &DESIGN), None);
//! assert_eq!(test.step(2 * ONE, &DESIGN), None);
//! assert_eq!(test.step(2 * ONE, &DESIGN), Some(1));
//! ```

/// One standard deviation, as scores and designs count it. (The sums take any unit, if scores and design
/// are in the same one: the judges of the heading count millidegrees.)
pub const ONE: i32 = 1024;

/// What a test is tuned to; every value in standard deviations times [`ONE`].
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Design {
    /// What each step takes off: half of the shift that is to be found soonest.
    pub reference: i32,
    /// The sum must exceed this to signal.
    pub threshold: i32,
    /// Where the sum begins after [`Cusum::begin`]: half the threshold finds at once what was wrong
    /// from the start, and costs a little of the run length.
    pub headstart: i32,
    /// The sum is held at this, so that a fault that is over is forgotten as fast as one is found.
    pub ceiling: i32,
}

impl Design {
    /// A design without a headstart, whose sum is held at twice the threshold.
    pub const fn new(reference: i32, threshold: i32) -> Self {
        Self { reference, threshold, headstart: 0, ceiling: threshold.saturating_mul(2) }
    }

    /// The same with a headstart.
    pub const fn with_headstart(self, headstart: i32) -> Self {
        Self { headstart, ..self }
    }
}

/// A one-sided test: for a shift to plus. Feed it negated scores for one to minus.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Cusum {
    sum: i32,
    rising: u16,
}

impl Cusum {
    /// A test that begins at the headstart of its design.
    pub const fn begin(design: &Design) -> Self {
        Self { sum: design.headstart, rising: 0 }
    }

    /// Takes the next score, in standard deviations times [`ONE`]; whether it signals now.
    pub const fn step(&mut self, score: i32, design: &Design) -> bool {
        let sum = self.sum.saturating_add(score).saturating_sub(design.reference);
        if sum <= 0 {
            self.sum = 0;
            self.rising = 0;
        } else {
            self.sum = if sum > design.ceiling { design.ceiling } else { sum };
            self.rising = self.rising.saturating_add(1);
        }
        self.sum > design.threshold
    }

    /// Whether `score` leaves the sum at nothing, where it is: whatever the threshold.
    pub const fn rests(&self, score: i32, reference: i32) -> bool {
        self.sum == 0 && score <= reference
    }

    /// The sum now, in standard deviations times [`ONE`].
    pub const fn sum(&self) -> i32 {
        self.sum
    }

    /// How many steps ago it last was nothing: the likeliest age of the shift (Page).
    pub const fn rising(&self) -> u16 {
        self.rising
    }
}

/// A two-sided test: one for each way. Its run length is `1 / (1 / plus + 1 / minus)`.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct TwoSided {
    /// The side that finds a shift to plus.
    pub plus: Cusum,
    /// The side that finds a shift to minus.
    pub minus: Cusum,
}

impl TwoSided {
    /// A test whose sides both begin at the headstart.
    pub const fn begin(design: &Design) -> Self {
        Self { plus: Cusum::begin(design), minus: Cusum::begin(design) }
    }

    /// Takes the next score; the side that signals now: 1 for plus, -1 for minus.
    pub const fn step(&mut self, score: i32, design: &Design) -> Option<i32> {
        let plus = self.plus.step(score, design);
        let minus = self.minus.step(score.saturating_neg(), design);
        match (plus, minus) {
            (true, _) => Some(1),
            (_, true) => Some(-1),
            _ => None,
        }
    }

    /// Whether `score` leaves both sums at nothing, where they are: whatever the threshold.
    pub const fn rests(&self, score: i32, reference: i32) -> bool {
        self.plus.rests(score, reference) && self.minus.rests(score.saturating_neg(), reference)
    }

    /// The larger of the two sums, in standard deviations times [`ONE`].
    pub const fn sum(&self) -> i32 {
        if self.plus.sum > self.minus.sum { self.plus.sum } else { self.minus.sum }
    }

    /// How many steps ago the larger sum last was nothing.
    pub const fn rising(&self) -> u16 {
        if self.plus.sum > self.minus.sum { self.plus.rising } else { self.minus.rising }
    }
}

/// `value` as a score: in standard deviations `sigma` (both in the same unit, `sigma` at least 1), times
/// [`ONE`], held within `most` so that one wild reading signals nothing.
pub fn score(value: i64, sigma: i64, most: i32) -> i32 {
    let most_64 = i64::from(most.saturating_abs());
    let scaled = value.saturating_mul(i64::from(ONE)) / sigma.max(1);
    i32::try_from(scaled.clamp(-most_64, most_64)).unwrap_or(most)
}

#[cfg(test)]
mod tests {
    use super::*;

    const DESIGN: Design = Design::new(ONE / 2, 4 * ONE);

    #[test]
    fn the_sums_by_hand() {
        // Scores 1, -2, 3, 1.5 with k = 0.5: 0.5, 0, 2.5, 3.5 above; 0, 1.5, 0, 0 below.
        let mut test = TwoSided::default();
        let mut sums = |tenths: i32| {
            assert_eq!(test.step(tenths * ONE / 10, &DESIGN), None);
            (test.plus.sum(), test.minus.sum(), test.plus.rising(), test.rising())
        };
        assert_eq!(sums(10), (ONE / 2, 0, 1, 1));
        assert_eq!(sums(-20), (0, 3 * ONE / 2, 0, 1));
        assert_eq!(sums(30), (5 * ONE / 2, 0, 1, 1));
        assert_eq!(sums(15), (7 * ONE / 2, 0, 2, 2));
        assert_eq!(test.step(ONE, &DESIGN), None, "at the threshold is not past it");
        assert_eq!(test.step(ONE, &DESIGN), Some(1));
        assert_eq!(TwoSided::default().step(-5 * ONE, &DESIGN), Some(-1));
    }

    #[test]
    fn it_is_held_at_its_ceiling_and_comes_down_again() {
        let mut test = Cusum::default();
        for _ in 0..100_000 {
            test.step(i32::MAX, &DESIGN);
        }
        assert_eq!((test.sum(), test.rising()), (8 * ONE, u16::MAX));
        // Half a deviation a step, from 8 to 4: eight steps with nothing wrong.
        let down = (1..20).find(|_| !test.step(0, &DESIGN));
        assert_eq!(down, Some(8));
        assert!(!test.step(i32::MIN, &DESIGN));
        assert_eq!(test.sum(), 0);
    }

    #[test]
    fn scores_are_held() {
        assert_eq!(score(3000, 1500, 4 * ONE), 2 * ONE);
        assert_eq!(score(-3000, 1500, ONE), -ONE);
        assert_eq!(score(i64::MAX, 0, 4 * ONE), 4 * ONE);
        assert_eq!(score(i64::MIN, -7, 4 * ONE), -4 * ONE);
    }
}
