//! Whether two deviation curves differ by more than their uncertainties explain.
//!
//! A curve of five terms has five independent numbers, not 36: the question is asked of the
//! coefficients, by chi-square. What is common to both cards (the same variation, the same pelorus)
//! counts twice here, so the answer errs on the side of "may be chance".

use crate::analysis::harmonic::Coefficients;
use crate::analysis::harmonic::TERMS;

/// A curve and the standard deviations of its coefficients, degrees.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Curve {
    /// A to E.
    pub coefficients: Coefficients,
    /// Their standard deviations; `None` for one that is not determined.
    pub sigmas: [Option<f64>; TERMS],
}

/// The answer.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Comparison {
    /// New less old, A to E, degrees; `None` where one of the two does not determine it.
    pub change: [Option<f64>; TERMS],
    /// The standard deviations of the changes, degrees.
    pub sigmas: [Option<f64>; TERMS],
    /// Sum of the squares of changes over their standard deviations.
    pub chi_square: f64,
    /// Of so many.
    pub freedom: u32,
    /// How often chance alone makes as much of a change.
    pub by_chance: f64,
}

/// A change that chance makes less often than this is called real: one comparison in a hundred of a boat
/// that did not change. A card is compared once a season, so an owner meets a false one in a lifetime.
pub const REAL: f64 = 0.01;

/// Compares `new` with `old`.
pub fn compare(old: &Curve, new: &Curve) -> Comparison {
    let mut found =
        Comparison { change: [None; TERMS], sigmas: [None; TERMS], chi_square: 0.0, freedom: 0, by_chance: 1.0 };
    for term in 0..TERMS {
        if let (Some(before), Some(after)) = (old.sigmas[term], new.sigmas[term]) {
            let change = new.coefficients.0[term] - old.coefficients.0[term];
            // A sigma of nothing would call every rounding real.
            let sigma = before.hypot(after).max(0.05);
            found.change[term] = Some(change);
            found.sigmas[term] = Some(sigma);
            found.chi_square += (change / sigma).powi(2);
            found.freedom += 1;
        }
    }
    found.by_chance = upper_tail(found.chi_square, found.freedom);
    found
}

impl Comparison {
    /// Whether the change is more than chance.
    pub fn is_real(&self) -> bool {
        self.freedom > 0 && self.by_chance < REAL
    }

    /// The change of the curve on a COMPASS heading and its standard deviation, degrees.
    pub fn on(&self, compass_deg: f64) -> (f64, f64) {
        let basis = crate::analysis::harmonic::basis(compass_deg);
        let change = self.change.iter().zip(basis).map(|(c, f)| c.unwrap_or(0.0) * f).sum();
        let variance: f64 = self.sigmas.iter().zip(basis).map(|(s, f)| (s.unwrap_or(0.0) * f).powi(2)).sum();
        (change, variance.sqrt())
    }
}

/// The probability that chi-square of so many degrees of freedom exceeds `x`.
///
/// By the recurrence from two degrees to the next (Abramowitz, Stegun 26.4.4 to 26.4.8, from memory;
/// checked against printed tables below).
pub fn upper_tail(x: f64, freedom: u32) -> f64 {
    if freedom == 0 || x <= 0.0 {
        return 1.0;
    }
    let half = x / 2.0;
    let (mut tail, mut degrees) = if freedom.is_multiple_of(2) { ((-half).exp(), 2) } else { (erfc(half.sqrt()), 1) };
    // The step from `degrees` to two more is half^(degrees/2) e^-half / gamma(degrees/2 + 1).
    let mut step = if freedom.is_multiple_of(2) {
        half * (-half).exp()
    } else {
        2.0 * (half / std::f64::consts::PI).sqrt() * (-half).exp()
    };
    while degrees < freedom {
        tail += step;
        degrees += 2;
        step *= half / (f64::from(degrees) / 2.0);
    }
    tail
}

/// The complementary error function of a number that is not negative, to 1.5e-7 (Abramowitz, Stegun
/// 7.1.26, from memory; checked by the tables below).
fn erfc(x: f64) -> f64 {
    let t = 1.0 / (1.0 + 0.327_591_1 * x);
    let poly =
        t * (0.254_829_592 + t * (-0.284_496_736 + t * (1.421_413_741 + t * (-1.453_152_027 + t * 1.061_405_429))));
    poly * (-x * x).exp()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Upper critical values of chi-square, NIST/SEMATECH e-Handbook 1.3.6.7.4 (from memory).
    #[test]
    fn printed_critical_values() {
        for (freedom, x, tail) in [
            (1, 3.841, 0.05),
            (1, 6.635, 0.01),
            (2, 5.991, 0.05),
            (2, 13.816, 0.001),
            (3, 7.815, 0.05),
            (4, 13.277, 0.01),
            (4, 18.467, 0.001),
            (5, 11.070, 0.05),
            (5, 15.086, 0.01),
            (5, 20.515, 0.001),
        ] {
            let got = upper_tail(x, freedom);
            // The printed values are rounded to 0.001, which is worth up to 0.000015 of tail.
            assert!((got - tail).abs() <= 2e-5, "{freedom} {x}: {got}, not {tail}");
        }
        assert_eq!((upper_tail(0.0, 5), upper_tail(3.0, 0)), (1.0, 1.0));
    }

    fn curve(coefficients: [f64; TERMS], sigma: f64) -> Curve {
        Curve { coefficients: Coefficients(coefficients), sigmas: [Some(sigma); TERMS] }
    }

    #[test]
    fn a_change_is_real_beside_small_sigmas_only() {
        let old = curve([0.0, 1.0, -2.0, 0.5, 0.0], 0.3);
        let new = curve([0.0, 3.0, -2.0, 0.5, 0.0], 0.3);
        let found = compare(&old, &new);
        // By hand: 2 / (0.3 sqrt 2) squared is 22.2, of which chance makes 0.0005 with five.
        assert!((found.chi_square - 22.222).abs() <= 0.001 && found.is_real());
        let (east, sigma) = found.on(90.0);
        // Basis at east: 1, 1, 0, 0, -1.
        assert!((east - 2.0).abs() <= 1e-9 && (sigma - 0.3 * 6.0_f64.sqrt()).abs() <= 1e-9);
        assert!(!compare(&curve(old.coefficients.0, 1.0), &curve(new.coefficients.0, 1.0)).is_real());
        assert!(!compare(&old, &old).is_real());
    }

    #[test]
    fn what_is_not_determined_is_not_compared() {
        let mut old = curve([0.0; TERMS], 0.3);
        old.sigmas[3] = None;
        let found = compare(&old, &curve([0.0, 0.0, 0.0, 9.0, 0.0], 0.3));
        assert_eq!((found.freedom, found.change[3], found.is_real()), (4, None, false));
    }
}
