//! How soon a fault could be found at best: quiet statistics, prewhitening, and two bounds.
//!
//! The signal is what a judge can compare, on the grid it comes on: heading less second heading
//! (0.5 s), course over the ground less heading (1 s, as the receiver sends it), heading less order
//! (0.5 s). An autoregressive model of it, fitted to quiet hours of the simulator, makes it white;
//! a fault then is a known shift of white noise. Both bounds assume that the model is exact and the
//! noise normal, that the sign and the size of the fault are known beforehand, that the boat and
//! the receiver follow a false compass at once, and that the order, the current and the offset of
//! the headings are known. No judge knows as much, so a ratio of 1 is out of reach.
//!
//! Off-heading is another question, for a boat let go is off her course long before she is off by
//! more than the limit. Its bounds ask how soon after passing the limit it can be told from a boat
//! that is kept just at the limit: by the formula, if she went another 15 degrees at once; by the
//! clairvoyant, as she goes on turning at the rate of a boat let go, the median of [`LET_GO`] boats.
//!
//! - **Formula**: a step in place at once, ln(ARL) / KL, the first-order delay of the best test with
//!   the average run length ARL to a false alert (Lorden, Ann. Math. Stat. 42, 1971; from memory).
//!   KL = shift^2 / (2 sigma^2) of the innovation once the model's memory is filled.
//! - **Clairvoyant**: a generalised likelihood ratio over the moment the fault began, its course
//!   otherwise known, run on made noise. Its threshold has the same ARL: the rate of crossings is
//!   counted at two low thresholds and carried on as a straight line in its logarithm.

use lubber::simulate::Happening;
use lubber::simulate::Heard;
use lubber::simulate::Second;
use lubber::simulate::Voyage;

use crate::passage::at;
use crate::passage::boat;
use crate::passage::sail;
use crate::scenarios::Bounded;
use crate::scenarios::CREEP_DPS;
use crate::scenarios::FALSE_DEG;
use crate::scenarios::FALSE_OVER_MS;
use crate::tally::quantile;

/// One false alert in a season: 100 days.
pub(crate) const ARL_S: f64 = 100.0 * 86_400.0;

/// Order of the autoregressive model: a few seconds of memory, enough for a yaw of 7 s.
const ORDER: usize = 12;
/// How far back the clairvoyant looks for the beginning, in samples.
const WINDOW: usize = 500;
/// Noise made to find its threshold, in blocks of [`BLOCK`] samples.
const BLOCKS: usize = 4000;
const BLOCK: usize = 100;
const TRIALS: usize = 1000;
/// Quiet hours that the model is fitted to, at the seed's own sea.
const QUIET_MS: u64 = 4 * 3_600_000;
const SEED: u64 = 70_001;
/// Boats let go, to see how fast they turn at the limit.
const LET_GO: u64 = 21;

/// The bounds for one fault.
pub(crate) struct Bound {
    /// Standard deviation of the signal and of its innovation, in degrees.
    pub(crate) signal_deg: f64,
    pub(crate) innovation_deg: f64,
    /// ln(ARL)/KL in seconds, for steps.
    pub(crate) formula_s: Option<f64>,
    /// Delay of the clairvoyant from the beginning of the fault: median and 90 %, in seconds.
    pub(crate) clairvoyant_s: [f64; 2],
}

pub(crate) fn bound(of: Bounded) -> Bound {
    let two = matches!(of, Bounded::StepTwoHeadings | Bounded::CreepTwoHeadings);
    let (signal, step_s) = quiet_signal(of, two);
    let model = Model::fit(&signal);
    let samples = ARL_S / step_s;
    // How fast the shift grows, in degrees a second, and how far.
    let (rate, full) = match of {
        Bounded::StepTwoHeadings | Bounded::StepGps => (FALSE_DEG / (FALSE_OVER_MS as f64 / 1000.0), FALSE_DEG),
        Bounded::CreepTwoHeadings | Bounded::CreepGps => (CREEP_DPS, f64::INFINITY),
        Bounded::OffHeading => (let_go_rate(), f64::INFINITY),
    };
    let shape = |k: usize| ((k + 1) as f64 * step_s * rate).min(full);
    let creeps = matches!(of, Bounded::CreepTwoHeadings | Bounded::CreepGps);
    let standing = FALSE_DEG * model.gain() / model.sigma;
    // Nothing is found before the first sample after it.
    let formula_s = (!creeps).then(|| (samples.ln() / (0.5 * standing * standing)).max(1.0) * step_s);
    let signature: Vec<f64> = (0..WINDOW).map(|k| model.whiten(&shape, k) / model.sigma).collect();
    let clairvoyant = clairvoyant(&signature, samples);
    Bound {
        signal_deg: rms(&signal),
        innovation_deg: model.sigma,
        formula_s,
        clairvoyant_s: clairvoyant.map(|samples| samples * step_s),
    }
}

/// How fast a boat that the pilot let go turns as she passes 15 degrees: the median, in degrees a second.
fn let_go_rate() -> f64 {
    let let_go = 600_000;
    let mut rates: Vec<f64> = (SEED..SEED + LET_GO)
        .map(|seed| {
            let mut faulty = boat(seed, Second::None);
            faulty.length_ms = let_go + 300_000;
            faulty.events.push(at(let_go, Happening::PilotLetsGo));
            let passage = sail(faulty, None, |_| false);
            let turned_s = |deg| passage.turned_at(let_go, deg).map_or(f64::INFINITY, |ms| ms as f64 / 1000.0);
            // Seconds are whole, and she may pass both within one.
            10.0 / (turned_s(20.0) - turned_s(10.0)).max(1.0)
        })
        .collect();
    rates.sort_by(f64::total_cmp);
    quantile(&rates, 0.5)
}

/// The signal over quiet hours, its mean taken off, and its step in seconds.
fn quiet_signal(of: Bounded, two: bool) -> (Vec<f64>, f64) {
    let mut quiet = boat(SEED, if two { Second::Independent } else { Second::None });
    quiet.length_ms = QUIET_MS;
    let variation_deg = quiet.waters.variation_deg;
    let mut voyage = Voyage::new(quiet).unwrap();
    let (mut signal, mut heading): (Vec<f64>, Option<f64>) = (Vec::new(), None);
    let fold = |deg: f64| deg - 360.0 * (deg / 360.0).round();
    while voyage
        .step(&mut |heard| {
            let Heard::Line { bytes, .. } = heard else { return };
            let text = std::str::from_utf8(bytes).unwrap();
            let mut fields = text.split([',', '*']);
            let formatter = fields.next().and_then(|address| address.get(3..));
            let mut number = |skip: usize| fields.nth(skip).and_then(|field| field.parse::<f64>().ok());
            match formatter {
                Some("HDG") => {
                    heading = number(0);
                    if let (Some(heading), Bounded::OffHeading) = (heading, of) {
                        signal.push(fold(heading - 135.0));
                    }
                }
                Some("HDT") if two => {
                    if let (Some(second), Some(heading)) = (number(0), heading) {
                        signal.push(fold(heading + variation_deg - second));
                    }
                }
                Some("RMC") if matches!(of, Bounded::StepGps | Bounded::CreepGps) => {
                    if let (Some(course), Some(heading)) = (number(7), heading) {
                        signal.push(fold(course - variation_deg - heading));
                    }
                }
                _ => {}
            }
        })
        .is_some()
    {}
    let mean = signal.iter().sum::<f64>() / signal.len() as f64;
    signal.iter_mut().for_each(|value| *value -= mean);
    let step_s = QUIET_MS as f64 / 1000.0 / signal.len() as f64;
    (signal, step_s)
}

/// An autoregressive model: the next value is the weighted sum of the last ones and white noise.
struct Model {
    weights: Vec<f64>,
    /// Standard deviation of the noise.
    sigma: f64,
}

impl Model {
    /// By the autocorrelation, with the recursion of Levinson and Durbin.
    fn fit(signal: &[f64]) -> Self {
        let n = signal.len() as f64;
        let covariance = |lag: usize| signal.iter().zip(&signal[lag..]).map(|(a, b)| a * b).sum::<f64>() / n;
        let r: Vec<f64> = (0..=ORDER).map(covariance).collect();
        let (mut weights, mut error): (Vec<f64>, f64) = (Vec::new(), r[0]);
        for m in 1..=ORDER {
            let known: f64 = weights.iter().enumerate().map(|(k, w)| w * r[m - 1 - k]).sum();
            let last = (r[m] - known) / error;
            let before = weights.clone();
            for (k, weight) in weights.iter_mut().enumerate() {
                *weight -= last * before[m - 2 - k];
            }
            weights.push(last);
            error *= 1.0 - last * last;
        }
        Self { weights, sigma: error.sqrt() }
    }

    /// What is left of a standing shift in the innovations.
    fn gain(&self) -> f64 {
        1.0 - self.weights.iter().sum::<f64>()
    }

    /// The innovation at `k` of a shift of that shape, which began at 0.
    fn whiten(&self, shape: &impl Fn(usize) -> f64, k: usize) -> f64 {
        let known: f64 =
            self.weights.iter().enumerate().filter(|(j, _)| *j < k).map(|(j, w)| w * shape(k - 1 - j)).sum();
        shape(k) - known
    }
}

/// The likelihood ratio of every moment the fault may have begun, within the window.
struct Ratio<'a> {
    signature: &'a [f64],
    /// By how many samples ago it began: 0 is now.
    begun: std::collections::VecDeque<f64>,
}

impl<'a> Ratio<'a> {
    fn new(signature: &'a [f64]) -> Self {
        Self { signature, begun: std::collections::VecDeque::new() }
    }

    /// One innovation more; the greatest logarithm of the ratio.
    fn step(&mut self, innovation: f64) -> f64 {
        self.begun.push_front(0.0);
        self.begun.truncate(self.signature.len());
        let mut greatest = f64::MIN;
        for (ratio, shift) in self.begun.iter_mut().zip(self.signature) {
            *ratio += innovation * shift - 0.5 * shift * shift;
            greatest = greatest.max(*ratio);
        }
        greatest
    }
}

/// Its delay in samples, median and 90 %, at an average run length of `arl` samples.
fn clairvoyant(signature: &[f64], arl: f64) -> [f64; 2] {
    let mut noise = Noise(SEED);
    let mut ratio = Ratio::new(signature);
    let mut greatest: Vec<f64> =
        (0..BLOCKS).map(|_| (0..BLOCK).map(|_| ratio.step(noise.normal())).fold(f64::MIN, f64::max)).collect();
    greatest.sort_by(f64::total_cmp);
    // The thresholds that a tenth and a hundredth of the blocks pass.
    let (low, high) = (quantile(&greatest, 0.9), quantile(&greatest, 0.99));
    let slope = 10_f64.ln() / (high - low);
    let threshold = high + (arl / BLOCK as f64 * 0.01).ln() / slope;
    let mut delays: Vec<f64> = (0..TRIALS)
        .map(|_| {
            let mut ratio = Ratio::new(signature);
            for _ in 0..50 {
                ratio.step(noise.normal());
            }
            for (k, shift) in signature.iter().enumerate() {
                if ratio.step(noise.normal() + shift) > threshold {
                    return (k + 1) as f64;
                }
            }
            f64::INFINITY
        })
        .collect();
    delays.sort_by(f64::total_cmp);
    [quantile(&delays, 0.5), quantile(&delays, 0.9)]
}

/// Normal deviates: the sum of twelve even ones would lack the tails, so Box and Muller.
struct Noise(u64);

impl Noise {
    fn even(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mixed = (self.0 ^ (self.0 >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        let mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        ((mixed ^ (mixed >> 31)) >> 11) as f64 / (1_u64 << 53) as f64
    }

    fn normal(&mut self) -> f64 {
        (-2.0 * (1.0 - self.even()).ln()).sqrt() * (std::f64::consts::TAU * self.even()).cos()
    }
}

fn rms(signal: &[f64]) -> f64 {
    (signal.iter().map(|value| value * value).sum::<f64>() / signal.len() as f64).sqrt()
}
