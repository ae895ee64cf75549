//! The fit: deviation, speeds, currents and lag together, in the domain of velocities.
//!
//! `v(t) = s u(psi(t - lag)) + current + error`, with `psi = h + deviation(h) + variation`. Each bin of
//! velocity is seen along and across the predicted heading, for the two err differently. Gauss and
//! Newton's steps, robust weights, errors that remember ([`super::noise`]), and priors where a swing
//! may leave something open, so that its sigma says so.

mod solve;

use super::matrix::Symmetric;
use super::noise::Chosen;
use super::series::Bin;
use super::series::Series;
use super::settings::Settings;

/// Where the unknowns stand: A B C D E in radians first.
pub(crate) const TERMS: usize = 5;
/// The lag of a steady turn, seconds.
pub(crate) const LAG: usize = 5;
/// The lag of quick changes, seconds.
///
/// Drift angle, damping and delay lag alike in a steady turn, which is what can be mistaken for A,
/// but not in yaw and where a turn begins. A lag of their own keeps the quick changes from being
/// taken as evidence of the steady one.
const QUICK: usize = 6;
/// Unknowns that every bin shares.
const SHARED: usize = 7;

/// Blocks of one log closer than this share a current, seconds.
const SAME_CURRENT_S: f64 = 1200.0;
/// What is thought likely of B and C, and of D and E, before the log is seen: one sigma, degrees.
/// Wide beside what a boat has; it only bounds what a partial swing leaves open.
const LIKELY_DEG: [f64; TERMS] = [180.0, 30.0, 30.0, 15.0, 15.0];
/// The same of each part of a current, m/s.
const LIKELY_CURRENT_MPS: f64 = 1.0;
/// What of the speed before is left at the begin of a stretch, and how fast it goes, seconds: a boat
/// of a few tons loses speed in a turn within some ten seconds. Common practice, no source.
const SETTLES: f64 = 0.06;
const SETTLES_S: f64 = 9.0;
/// More columns than the model has, to ask whether they would help.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Extra {
    /// None.
    None,
    /// sin 3C and cos 3C.
    ThirdHarmonic,
    /// B C D E once more, with the sign of the turn.
    Sense,
}

impl Extra {
    fn count(self) -> usize {
        match self {
            Self::None => 0,
            Self::ThirdHarmonic => 2,
            Self::Sense => 4,
        }
    }
}

/// The unknowns of one problem.
#[derive(Clone, Debug)]
pub(crate) struct Layout {
    turn_speed: Option<usize>,
    straight_speed: Option<usize>,
    /// First of (departure, change, settling) per piece, by block.
    pieces: Vec<Vec<usize>>,
    /// First of (north, east) per block.
    pub(crate) current: Vec<usize>,
    /// How many.
    pub(crate) size: usize,
}

/// What is fitted to what.
pub(crate) struct Problem<'a> {
    pub(crate) series: &'a [Series],
    pub(crate) layout: Layout,
    variation: f64,
    prior_mean: Vec<f64>,
    prior: Symmetric,
}

/// A solution.
#[derive(Clone, Debug)]
pub(crate) struct Solution {
    pub(crate) x: Vec<f64>,
    pub(crate) covariance: Symmetric,
    pub(crate) noise: Chosen,
    weights: Vec<Vec<[f64; 2]>>,
}

/// One bin as the model sees it.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Seen {
    /// Compass heading at the lagged time, radians.
    pub(crate) compass: f64,
    /// Predicted true heading through the water, radians.
    pub(crate) psi: f64,
    /// Steady turn rate of that heading and what the quick one adds, radians a second.
    rates: [f64; 2],
    /// Predicted speed through the water, m/s.
    pub(crate) speed: f64,
    /// Measured less predicted velocity, along and across (starboard plus), m/s.
    pub(crate) residual: [f64; 2],
    /// What the departure, change and settling of its piece add to its speed.
    course_of_speed: [f64; 3],
}

/// The five functions of the curve and its slope per radian.
pub(crate) fn basis(compass: f64) -> [f64; TERMS] {
    let (sin, cos) = compass.sin_cos();
    let (sin2, cos2) = (2.0 * compass).sin_cos();
    [1.0, sin, cos, sin2, cos2]
}

fn slope(x: &[f64], compass: f64) -> f64 {
    let (sin, cos) = compass.sin_cos();
    let (sin2, cos2) = (2.0 * compass).sin_cos();
    x[1] * cos - x[2] * sin + 2.0 * (x[3] * cos2 - x[4] * sin2)
}

/// The deviation in radians.
pub(crate) fn deviation(x: &[f64], compass: f64) -> f64 {
    basis(compass).iter().zip(x).map(|(value, coefficient)| value * coefficient).sum()
}

impl<'a> Problem<'a> {
    /// Sets the unknowns out.
    pub(crate) fn new(series: &'a [Series], settings: &Settings) -> Self {
        let mut size = SHARED;
        let mut one = |wanted: bool| {
            size += usize::from(wanted);
            wanted.then(|| size - 1)
        };
        let kinds = || series.iter().flat_map(|s| &s.pieces).map(|piece| piece.turned_deg.is_some());
        let turn_speed = one(kinds().any(|turns| turns));
        let straight_speed = one(kinds().any(|turns| !turns));
        let pieces = (series.iter())
            .map(|s| {
                let first = size;
                size += 3 * s.pieces.len();
                (first..size).step_by(3).collect()
            })
            .collect();
        let mut two = || {
            size += 2;
            size - 2
        };
        let mut current: Vec<usize> = Vec::new();
        for (at, block) in series.iter().enumerate() {
            let with = at.checked_sub(1).filter(|&before| {
                series[before].log == block.log
                    && (block.middle_s() - series[before].middle_s()).abs() <= SAME_CURRENT_S
            });
            current.push(with.map_or_else(&mut two, |before| current[before]));
        }
        let layout = Layout { turn_speed, straight_speed, pieces, current, size };
        let prior_mean = vec![0.0; size];
        let variation = settings.variation_deg.to_radians();
        let mut problem = Self { series, layout, variation, prior_mean, prior: Symmetric::zero(size) };
        for (at, likely) in LIKELY_DEG.iter().enumerate() {
            problem.presume(at, 0.0, likely.to_radians());
        }
        problem.presume(LAG, settings.lag_prior_s, settings.lag_prior_sigma_s);
        problem.presume(QUICK, settings.lag_prior_s, settings.lag_prior_sigma_s);
        let mut currents = problem.layout.current.clone();
        currents.dedup();
        for at in currents {
            problem.presume(at, 0.0, LIKELY_CURRENT_MPS);
            problem.presume(at + 1, 0.0, LIKELY_CURRENT_MPS);
        }
        problem
    }

    fn presume(&mut self, at: usize, mean: f64, sigma: f64) {
        self.prior_mean[at] = mean;
        self.prior.add(at, at, sigma.powi(-2));
    }

    /// The bins with the block they belong to.
    pub(crate) fn bins(&self) -> impl Iterator<Item = (usize, usize, &'a Bin)> {
        let series = self.series;
        series.iter().enumerate().flat_map(|(block, s)| s.bins.iter().enumerate().map(move |(at, b)| (block, at, b)))
    }

    fn speed_at(&self, block: usize, piece: usize) -> Option<usize> {
        match self.series[block].pieces[piece].turned_deg {
            Some(_) => self.layout.turn_speed,
            None => self.layout.straight_speed,
        }
    }

    /// What the model makes of a bin; `None` where the heading is not known at its time less the lag.
    pub(crate) fn see(&self, x: &[f64], block: usize, bin: &Bin) -> Option<Seen> {
        let series = &self.series[block];
        let (heading, rate) = series.heading.at(bin.t_s - x[QUICK])?;
        let steady = series.heading.steady_rate(bin.t_s - x[QUICK])?;
        let compass = (heading - steady * (x[LAG] - x[QUICK])).to_radians();
        let rates = [steady.to_radians(), (rate - steady).to_radians()];
        let psi = compass + self.variation + deviation(x, compass);
        let piece = &series.pieces[bin.piece];
        let place = (bin.t_s - piece.from_s) / (piece.to_s - piece.from_s) - 0.5;
        let own = self.layout.pieces[block][bin.piece];
        let course_of_speed = [1.0, place, (-(bin.t_s - piece.from_s) / SETTLES_S).exp()];
        let change: f64 = course_of_speed.iter().zip(&x[own..]).map(|(f, x)| f * x).sum();
        let speed = x[self.speed_at(block, bin.piece)?] + change;
        let (sin, cos) = psi.sin_cos();
        let current = self.layout.current[block];
        let (north, east) = (bin.north - x[current], bin.east - x[current + 1]);
        let residual = [north * cos + east * sin - speed, east * cos - north * sin];
        Some(Seen { compass, psi, rates, speed, residual, course_of_speed })
    }

    /// A first guess without sight of lag and deviation: `v = z e^(i heading) + current` is linear.
    fn guess(&self) -> Option<Vec<f64>> {
        let size = self.layout.size;
        let mut x = self.prior_mean.clone();
        let mut normal = Symmetric::zero(size + 2);
        let mut moment = vec![0.0; size + 2];
        // Unknowns not asked for stand on their own; z takes the two last places.
        for at in 0..size {
            normal.add(at, at, if self.layout.current.iter().any(|c| at == *c || at == c + 1) { 1e-3 } else { 1.0 });
        }
        normal.add(size, size, 1e-6);
        normal.add(size + 1, size + 1, 1e-6);
        for (block, _, bin) in self.bins() {
            let Some((heading, _)) = self.series[block].heading.at(bin.t_s - x[LAG]) else { continue };
            let (sin, cos) = heading.to_radians().sin_cos();
            let c = self.layout.current[block];
            for (parts, value) in [
                ([(size, cos), (size + 1, -sin), (c, 1.0)], bin.north),
                ([(size, sin), (size + 1, cos), (c + 1, 1.0)], bin.east),
            ] {
                for (i, &(row, a)) in parts.iter().enumerate() {
                    moment[row] += a * value;
                    parts[i..].iter().for_each(|&(column, b)| normal.add(row, column, a * b));
                }
            }
        }
        let found = normal.factor()?.solve(&moment);
        let (re, im) = (found[size], found[size + 1]);
        for &c in &self.layout.current {
            (x[c], x[c + 1]) = (found[c], found[c + 1]);
        }
        let turn = im.atan2(re) - self.variation;
        x[0] = turn.sin().atan2(turn.cos());
        for at in [self.layout.turn_speed, self.layout.straight_speed].into_iter().flatten() {
            x[at] = re.hypot(im);
        }
        Some(x)
    }

    /// The speed of the turns, else of the straight running: its place among the unknowns.
    pub(crate) fn main_speed(&self) -> Option<usize> {
        self.layout.turn_speed.or(self.layout.straight_speed)
    }
}
