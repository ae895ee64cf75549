//! The run lengths of the CUSUM routine on white normal noise, against published tables.
//!
//! The noise is made here (SplitMix64 and the polar method of Marsaglia and Bray, 1964). Each run length
//! is the mean over many runs; it must lie within four standard errors of what is printed, plus half a
//! unit of its last printed digit. Both sides are bounded: a test that signals too late is as wrong.

use lubber_core::alert::cusum::Cusum;
use lubber_core::alert::cusum::Design;
use lubber_core::alert::cusum::ONE;
use lubber_core::alert::cusum::TwoSided;

/// Random bits and normal deviates, fixed by the seed.
struct Noise {
    state: u64,
    spare: Option<f64>,
}

impl Noise {
    fn uniform(&mut self) -> f64 {
        self.state = self.state.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.state;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        ((z ^ (z >> 31)) >> 11) as f64 / (1_u64 << 53) as f64
    }

    fn normal(&mut self) -> f64 {
        if let Some(spare) = self.spare.take() {
            return spare;
        }
        loop {
            let (a, b) = (2.0 * self.uniform() - 1.0, 2.0 * self.uniform() - 1.0);
            let s = a * a + b * b;
            if s > 0.0 && s < 1.0 {
                let scale = (-2.0 * s.ln() / s).sqrt();
                self.spare = Some(b * scale);
                return a * scale;
            }
        }
    }
}

fn scaled(value: f64) -> i32 {
    (value * f64::from(ONE)).round() as i32
}

/// Runs until the signal, often enough: the mean length and its standard error.
fn run_length(expected: f64, seed: u64, mut begin: impl FnMut() -> Box<dyn FnMut(f64) -> bool>) -> (f64, f64) {
    let runs = (1_500_000.0 / expected).clamp(1_000.0, 20_000.0) as u32;
    let mut noise = Noise { state: seed, spare: None };
    let (mut sum, mut squares) = (0.0, 0.0);
    for _ in 0..runs {
        let mut step = begin();
        let mut length = 1.0;
        while !step(noise.normal()) {
            length += 1.0;
        }
        sum += length;
        squares += length * length;
    }
    let mean = sum / f64::from(runs);
    let variance = squares / f64::from(runs) - mean * mean;
    (mean, (variance / f64::from(runs)).sqrt())
}

#[derive(Clone, Copy)]
enum Sides {
    One,
    Two,
}

/// Checks one printed value: `k`, `h`, headstart, shift; `digit` is the unit of its last digit.
fn check(sides: Sides, (k, h, headstart, shift): (f64, f64, f64, f64), printed: f64, digit: f64) {
    let design = Design::new(scaled(k), scaled(h)).with_headstart(scaled(headstart));
    let seed = 77 + (k * 100.0) as u64 * 1_000_003 + (h * 100.0) as u64 * 8191 + ((shift + 10.0) * 1000.0) as u64;
    let (mean, error) = run_length(printed, seed, || match sides {
        Sides::One => {
            let mut test = Cusum::begin(&design);
            Box::new(move |noise| test.step(scaled(noise + shift), &design))
        }
        Sides::Two => {
            let mut test = TwoSided::begin(&design);
            Box::new(move |noise| test.step(scaled(noise + shift), &design).is_some())
        }
    });
    let tolerance = 4.0 * error + digit / 2.0;
    assert!(
        (mean - printed).abs() <= tolerance,
        "k {k} h {h} headstart {headstart} shift {shift}: {mean:.3} +- {error:.3}, printed {printed}"
    );
    // A tolerance that passes anything is no check.
    assert!(tolerance <= 0.15 * printed, "k {k} h {h} shift {shift}: {tolerance}");
}

/// J. M. Lucas and R. B. Crosier, Technometrics 24 (1982), 199-205, Table 1, as printed in the examples
/// of the function `xcusum.arl` of the R package `spc`: k 0.5, h 4, two-sided.
#[test]
fn lucas_and_crosier_1982_with_and_without_headstart() {
    let shifts = [0.0, 0.25, 0.5, 0.75, 1.0, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0];
    let zero_start = [168.0, 74.2, 26.6, 13.3, 8.38, 4.75, 3.34, 2.62, 2.19, 1.71, 1.31];
    let headstart = [149.0, 62.7, 20.1, 8.97, 5.29, 2.86, 2.01, 1.59, 1.32, 1.07, 1.01];
    for (index, shift) in shifts.into_iter().enumerate() {
        let digit = |printed: f64| match printed {
            p if p >= 100.0 => 1.0,
            p if p >= 10.0 => 0.1,
            _ => 0.01,
        };
        check(Sides::Two, (0.5, 4.0, 0.0, shift), zero_start[index], digit(zero_start[index]));
        check(Sides::Two, (0.5, 4.0, 2.0, shift), headstart[index], digit(headstart[index]));
    }
}

/// D. Brook and D. A. Evans, Biometrika 59 (1972), 539-549, by a Markov chain: k 0.5, h 3, one-sided
/// (same place).
#[test]
fn brook_and_evans_1972() {
    check(Sides::One, (0.5, 3.0, 0.0, 0.0), 117.59, 0.01);
    check(Sides::One, (0.5, 3.0, 0.0, 1.5), 3.75, 0.01);
}

/// K.-H. Waldmann, Technometrics 28 (1986), 61-67 (same place).
#[test]
fn waldmann_1986() {
    for (shift, printed, digit) in [(-0.5, 1963.0, 1.0), (0.0, 117.4, 0.1), (0.5, 17.35, 0.01)] {
        check(Sides::One, (0.5, 3.0, 0.0, shift), printed, digit);
    }
    check(Sides::Two, (0.6, 3.0, 0.0, -0.2), 65.4, 0.1);
}

/// L. C. Vance, Journal of Quality Technology 18 (1986), 189-193 (same place): k 0, h 10, one-sided.
#[test]
fn vance_1986() {
    let table = [
        (-0.25, 2071.51),
        (-0.125, 400.28),
        (0.0, 124.66),
        (0.125, 59.30),
        (0.25, 36.71),
        (0.5, 20.37),
        (0.75, 14.06),
        (1.0, 10.75),
    ];
    for (shift, printed) in table {
        check(Sides::One, (0.0, 10.0, 0.0, shift), printed, 0.01);
    }
}
