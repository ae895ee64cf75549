//! Elementary functions that give the same bits on every machine.
//!
//! The library functions of `f64` may differ in the last digit from one system to the next, and a
//! voyage of a day would carry such a difference into the written digits. Here are only additions,
//! multiplications, divisions and square roots, which IEEE 754 fixes to the last bit (on every
//! target but 32-bit x87). Accurate to 1e-12, which is far beyond what a boat needs.

use std::f64::consts::FRAC_PI_2;
use std::f64::consts::LN_2;
use std::f64::consts::SQRT_2;

/// The low part of pi/2, beyond what one `f64` holds.
const FRAC_PI_2_LOW: f64 = 6.123_233_995_736_766e-17;

/// Sine and cosine of an angle in degrees. Good to 1e-12 within +-1e6 degrees.
pub(crate) fn sin_cos(degrees: f64) -> (f64, f64) {
    let x = degrees.to_radians();
    let quarters = (x / FRAC_PI_2).round();
    let r = (x - quarters * FRAC_PI_2) - quarters * FRAC_PI_2_LOW;
    let r2 = r * r;
    // Taylor, to r^15 and r^16: the rest is below 1e-17 for |r| <= pi/4.
    let (mut sine, mut cosine) = (1.0, 1.0);
    let mut n = 16.0;
    while n > 1.0 {
        cosine = 1.0 - cosine * r2 / (n * (n - 1.0));
        if n < 16.0 {
            sine = 1.0 - sine * r2 / (n * (n + 1.0));
        }
        n -= 2.0;
    }
    let sine = sine * r;
    match (quarters as i64).rem_euclid(4) {
        0 => (sine, cosine),
        1 => (cosine, -sine),
        2 => (-sine, -cosine),
        _ => (-cosine, sine),
    }
}

/// The direction in degrees, -180 to 180, of the vector `north`, `east`; 0 for no vector.
pub(crate) fn direction(north: f64, east: f64) -> f64 {
    let (n, e) = (north.abs(), east.abs());
    let (small, large) = if e < n { (e, n) } else { (n, e) };
    if large == 0.0 {
        return 0.0;
    }
    // Halve the angle twice, so that the series converges fast: at most atan(0.1990).
    let mut t = small / large;
    for _ in 0..2 {
        t /= 1.0 + (1.0 + t * t).sqrt();
    }
    let t2 = t * t;
    let mut series = 0.0;
    let mut n_odd = 17.0;
    while n_odd >= 1.0 {
        series = 1.0 / n_odd - t2 * series;
        n_odd -= 2.0;
    }
    let mut angle = (4.0 * t * series).to_degrees();
    if e >= n {
        angle = 90.0 - angle;
    }
    if north < 0.0 {
        angle = 180.0 - angle;
    }
    if east < 0.0 { -angle } else { angle }
}

/// The natural logarithm of a positive, normal number.
pub(crate) fn ln(x: f64) -> f64 {
    let bits = x.to_bits();
    let mut exponent = ((bits >> 52) & 0x7ff) as f64 - 1023.0;
    let mut mantissa = f64::from_bits((bits & ((1 << 52) - 1)) | (1023 << 52));
    if mantissa > SQRT_2 {
        mantissa *= 0.5;
        exponent += 1.0;
    }
    let s = (mantissa - 1.0) / (mantissa + 1.0);
    let s2 = s * s;
    let mut series = 0.0;
    let mut n = 19.0;
    while n >= 1.0 {
        series = 1.0 / n + s2 * series;
        n -= 2.0;
    }
    exponent * LN_2 + 2.0 * s * series
}

/// `e` to the power `x`, for `x` from -700 to 700.
pub(crate) fn exp(x: f64) -> f64 {
    let twos = (x / LN_2).round();
    let r = x - twos * LN_2;
    let mut series = 1.0;
    let mut n = 16.0;
    while n >= 1.0 {
        series = 1.0 + series * r / n;
        n -= 1.0;
    }
    series * f64::from_bits(((1023 + twos as i64) as u64) << 52)
}

/// An angle in degrees folded to -180 up to 180.
pub(crate) fn fold(degrees: f64) -> f64 {
    degrees - 360.0 * (degrees / 360.0).round()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The oracle of all of these is the standard library of this machine.
    const TOLERANCE: f64 = 1e-12;

    fn agree(ours: f64, theirs: f64, at: f64) {
        assert!((ours - theirs).abs() <= TOLERANCE * theirs.abs().max(1.0), "at {at}: {ours} and {theirs}");
    }

    #[test]
    fn sines_and_directions() {
        for step in -40_000..40_000 {
            let degrees = f64::from(step) * 0.0373;
            let (sine, cosine) = sin_cos(degrees);
            agree(sine, degrees.to_radians().sin(), degrees);
            agree(cosine, degrees.to_radians().cos(), degrees);
            let (n, e) = (3.0 * cosine, 3.0 * sine);
            let theirs = e.atan2(n).to_degrees();
            assert!(fold(direction(n, e) - theirs).abs() <= 1e-11, "{degrees}: {} and {theirs}", direction(n, e));
        }
        assert_eq!(direction(0.0, 0.0), 0.0);
        assert_eq!((direction(0.0, 1.0), direction(0.0, -1.0), direction(-1.0, 0.0)), (90.0, -90.0, 180.0));
    }

    #[test]
    fn logarithm_and_exponential() {
        for step in 1..40_000 {
            let x = f64::from(step) * 0.00173;
            agree(ln(x), x.ln(), x);
            agree(ln(1e-300 * x), (1e-300 * x).ln(), x);
            agree(exp(-x), (-x).exp(), x);
            agree(exp(x), x.exp(), x);
        }
    }

    #[test]
    fn folding_keeps_the_angle() {
        assert_eq!((fold(190.0), fold(-190.0), fold(725.0), fold(-30.0)), (-170.0, 170.0, 5.0, -30.0));
    }
}
