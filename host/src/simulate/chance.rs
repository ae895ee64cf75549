//! Seeded chance: random numbers and the random processes of wind and sea.

use super::exact;

/// A random sequence fixed by its seed: SplitMix64.
///
/// Steele, Lea, Flood, *Fast splittable pseudorandom number generators*, OOPSLA 2014.
#[derive(Clone, Debug)]
pub(crate) struct Chance {
    state: u64,
    spare: Option<f64>,
}

impl Chance {
    /// The sequence `stream` of a seed.
    ///
    /// Every process has its own stream, so that one more option does not change all the rest.
    pub(crate) fn new(seed: u64, stream: u64) -> Self {
        let mut root = Self { state: seed, spare: None };
        let base = root.next();
        let mut mixed = Self { state: base ^ stream.wrapping_mul(0xd134_2543_de82_ef95), spare: None };
        Self { state: mixed.next(), spare: None }
    }

    /// 64 random bits.
    pub(crate) fn next(&mut self) -> u64 {
        self.state = self.state.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.state;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// A number from 0 up to but without 1.
    pub(crate) fn fraction(&mut self) -> f64 {
        (self.next() >> 11) as f64 / (1_u64 << 53) as f64
    }

    /// A whole number from 0 up to but without `end`, which is not 0.
    pub(crate) fn below(&mut self, end: u64) -> u64 {
        (self.fraction() * end as f64) as u64
    }

    /// A normal deviate of mean 0 and standard deviation 1 (Box and Muller, 1958).
    pub(crate) fn normal(&mut self) -> f64 {
        if let Some(spare) = self.spare.take() {
            return spare;
        }
        let radius = (-2.0 * exact::ln(1.0 - self.fraction())).sqrt();
        let (sine, cosine) = exact::sin_cos(360.0 * self.fraction());
        self.spare = Some(radius * sine);
        radius * cosine
    }
}

/// A value that wanders about zero and forgets itself within a time: first-order Gauss-Markov.
#[derive(Clone, Debug)]
pub(crate) struct Wander {
    chance: Chance,
    keep: f64,
    push: f64,
    /// The value now.
    pub(crate) value: f64,
}

impl Wander {
    /// A wander of standard deviation `rms` and memory `memory_s`, advanced in steps of `step_s`.
    pub(crate) fn new(mut chance: Chance, rms: f64, memory_s: f64, step_s: f64) -> Self {
        let keep = exact::exp(-step_s / memory_s);
        let value = rms * chance.normal();
        Self { chance, keep, push: rms * (1.0 - keep * keep).sqrt(), value }
    }

    /// One step on.
    pub(crate) fn step(&mut self) -> f64 {
        self.value = self.keep * self.value + self.push * self.chance.normal();
        self.value
    }
}

/// A swing of a seaway: noise through a lightly damped second-order filter.
///
/// The form of the wave-frequency models in Fossen, *Handbook of Marine Craft Hydrodynamics and
/// Motion Control*, 2011, chapter 8 (from memory), without its zero, so that the rate is finite.
#[derive(Clone, Debug)]
pub(crate) struct Swing {
    chance: Chance,
    /// The way from (value, rate) to (value, rate) over one step; exact for any step.
    way: [[f64; 2]; 2],
    push: f64,
    rate: f64,
    /// The value now.
    pub(crate) value: f64,
}

/// Relative damping of the sea's swing: a usual value for a wind sea, chosen.
const DAMPING: f64 = 0.1;

impl Swing {
    /// A swing of standard deviation `rms` about the period `period_s`, in steps of `step_s`.
    pub(crate) fn new(mut chance: Chance, rms: f64, period_s: f64, step_s: f64) -> Self {
        let natural = 2.0 * std::f64::consts::PI / period_s;
        let decay = DAMPING * natural;
        let damped = natural * (1.0 - DAMPING * DAMPING).sqrt();
        let (sine, cosine) = exact::sin_cos((damped * step_s).to_degrees());
        let fade = exact::exp(-decay * step_s);
        let way = [
            [fade * (cosine + decay / damped * sine), fade * sine / damped],
            [-fade * natural * natural / damped * sine, fade * (cosine - decay / damped * sine)],
        ];
        // The stationary variances per unit of push: P = A P A' + diag(0, 1), iterated until it stands.
        let [[a, b], [c, d]] = way;
        let (mut p, mut q, mut r) = (0.0, 0.0, 0.0);
        for _ in 0..20_000 {
            (p, q, r) = (
                a * a * p + 2.0 * a * b * q + b * b * r,
                a * c * p + (a * d + b * c) * q + b * d * r,
                c * c * p + 2.0 * c * d * q + d * d * r + 1.0,
            );
        }
        let value = rms * chance.normal();
        let rate = rms * (r / p).sqrt() * chance.normal();
        Self { chance, way, push: rms / p.sqrt(), rate, value }
    }

    /// One step on.
    pub(crate) fn step(&mut self) -> f64 {
        let [[a, b], [c, d]] = self.way;
        let (value, rate) = (self.value, self.rate);
        self.value = a * value + b * rate;
        self.rate = c * value + d * rate + self.push * self.chance.normal();
        self.value
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The first outputs of SplitMix64 for seed 1234567, as Rosetta Code lists them (from memory).
    #[test]
    fn the_listed_sequence() {
        let mut chance = Chance { state: 1_234_567, spare: None };
        let expected = [6_457_827_717_110_365_317, 3_203_168_211_198_807_973, 9_817_491_932_198_370_423_u64];
        assert_eq!([chance.next(), chance.next(), chance.next()], expected);
    }

    fn moments(mut draw: impl FnMut() -> f64, count: usize) -> (f64, f64) {
        let (mut sum, mut squares) = (0.0, 0.0);
        for _ in 0..count {
            let value = draw();
            sum += value;
            squares += value * value;
        }
        let mean = sum / count as f64;
        (mean, (squares / count as f64 - mean * mean).sqrt())
    }

    #[test]
    fn deviates_are_normal() {
        let mut chance = Chance::new(5, 1);
        let mut beyond_two = 0;
        let (mean, rms) = moments(
            || {
                let value = chance.normal();
                beyond_two += u32::from(value.abs() > 2.0);
                value
            },
            100_000,
        );
        assert!(mean.abs() <= 0.01 && (rms - 1.0).abs() <= 0.01, "{mean} {rms}");
        // 4.55 % of a normal law lie beyond two standard deviations.
        assert!((f64::from(beyond_two) / 100_000.0 - 0.0455).abs() <= 0.003, "{beyond_two}");
    }

    #[test]
    fn wander_and_swing_have_the_strength_asked_for() {
        let mut wander = Wander::new(Chance::new(5, 2), 3.0, 20.0, 0.1);
        let (mean, rms) = moments(|| wander.step(), 2_000_000);
        assert!(mean.abs() <= 0.15 && (rms - 3.0).abs() <= 0.15, "{mean} {rms}");
        let mut swing = Swing::new(Chance::new(5, 3), 2.0, 7.0, 0.1);
        let (mut crossings, mut before) = (0, 0.0);
        let (mean, rms) = moments(
            || {
                let value = swing.step();
                crossings += u32::from(before < 0.0 && value >= 0.0);
                before = value;
                value
            },
            1_000_000,
        );
        assert!(mean.abs() <= 0.05 && (rms - 2.0).abs() <= 0.1, "{mean} {rms}");
        let period = 100_000.0 / f64::from(crossings);
        assert!((period - 7.0).abs() <= 0.7, "{period}");
    }

    #[test]
    fn streams_differ_and_repeat() {
        let first = |seed, stream| Chance::new(seed, stream).next();
        assert_eq!(first(1, 1), first(1, 1));
        assert!(first(1, 1) != first(1, 2) && first(1, 1) != first(2, 1));
    }
}
