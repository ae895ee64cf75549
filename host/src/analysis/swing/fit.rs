//! The fit: deviation, speeds, currents and lag together, in the domain of velocities.
//!
//! `v(t) = s u(psi(t - lag)) + current + error`, with `psi = h + deviation(h) + variation`. Each bin of
//! velocity is seen along and across the predicted heading, for the two err differently. Gauss and
//! Newton's steps, robust weights, errors that remember ([`super::noise`]), and priors where a swing
//! may leave something open, so that its sigma says so.

use super::matrix::Symmetric;
use super::noise::Chosen;
use super::noise::Row;
use super::noise::SHAPES;
use super::noise::Sums;
use super::noise::choose;
use super::noise::whiten;
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
/// How a circle's or a leg's speed departs from that of its like, and how it changes from its begin
/// to its end: one sigma, as a part of the speed. Constant engine speed; common practice, no source.
const CIRCLE_DEPARTS: f64 = 0.1;
const STRAIGHT_DEPARTS: f64 = 0.03;
const PIECE_CHANGES: f64 = 0.01;
/// From so many straight legs the departure of speeds is learnt.
const LEGS_TO_LEARN: usize = 6;
/// What of the speed before is left at the begin of a stretch, and how fast it goes, seconds: a boat
/// of a few tons loses speed in a turn within some ten seconds. Common practice, no source.
const SETTLES: f64 = 0.06;
const SETTLES_S: f64 = 9.0;
/// White variance along the heading while the speed settles, for it settles not quite so.
const SETTLING_SCALE: f64 = 3.0;
/// Beyond so many sigma a residual counts less, and beyond so many not at all.
const DOUBT: [f64; 2] = [2.5, 6.0];

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
            problem.expect(at, 0.0, likely.to_radians());
        }
        problem.expect(LAG, settings.lag_prior_s, settings.lag_prior_sigma_s);
        problem.expect(QUICK, settings.lag_prior_s, settings.lag_prior_sigma_s);
        let mut currents = problem.layout.current.clone();
        currents.dedup();
        for at in currents {
            problem.expect(at, 0.0, LIKELY_CURRENT_MPS);
            problem.expect(at + 1, 0.0, LIKELY_CURRENT_MPS);
        }
        problem
    }

    fn expect(&mut self, at: usize, mean: f64, sigma: f64) {
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

    /// Once the speed is about known, what may be expected of its changes.
    fn expect_steady_speeds(&mut self, speed: f64) {
        for (block, series) in self.series.iter().enumerate() {
            for (at, piece) in series.pieces.iter().enumerate() {
                let own = self.layout.pieces[block][at];
                let departs = if piece.turned_deg.is_some() { CIRCLE_DEPARTS } else { STRAIGHT_DEPARTS };
                self.expect(own, 0.0, departs * speed);
                self.expect(own + 1, 0.0, PIECE_CHANGES * speed);
                self.expect(own + 2, 0.0, SETTLES * speed);
            }
        }
    }

    /// Where there are many straight legs, how much their speeds depart from one another is seen from
    /// them: one round of expectation and maximization.
    fn learn_steadiness(&mut self, at: &Solution) {
        let legs: Vec<usize> = (self.series.iter().zip(&self.layout.pieces))
            .flat_map(|(series, own)| series.pieces.iter().zip(own))
            .filter(|(piece, _)| piece.turned_deg.is_none())
            .map(|(_, own)| *own)
            .collect();
        if legs.len() < LEGS_TO_LEARN {
            return;
        }
        let square: f64 = legs.iter().map(|&own| at.x[own].powi(2) + at.covariance.at(own, own)).sum();
        let speed = self.layout.straight_speed.map_or(1.0, |speed| at.x[speed]);
        let sigma = (square / legs.len() as f64).sqrt().max(0.003 * speed);
        for own in legs {
            self.prior.add(own, own, sigma.powi(-2) - self.prior.at(own, own));
        }
    }

    /// Whitened sums of one component under one shape.
    fn sums(&self, x: &[f64], weights: &[Vec<[f64; 2]>], component: usize, shape: usize, extra: Extra) -> Sums {
        let size = self.layout.size;
        let mut sums = Sums::zero(size + extra.count());
        for (block, series) in self.series.iter().enumerate() {
            let mut active: Vec<usize> = (0..SHARED).collect();
            active.extend(self.layout.turn_speed);
            active.extend(self.layout.straight_speed);
            let pieces = active.len();
            active.extend(self.layout.pieces[block].iter().flat_map(|&own| own..own + 3));
            let current = active.len();
            active.extend([self.layout.current[block], self.layout.current[block] + 1]);
            let extras = active.len();
            active.extend(size..size + extra.count());
            let width = active.len() + 1;
            let mut rows = Vec::with_capacity(series.bins.len());
            let mut columns = vec![0.0; series.bins.len() * width];
            for (at, (bin, line)) in series.bins.iter().zip(columns.chunks_exact_mut(width)).enumerate() {
                let weight = weights[block][at][component];
                let seen = self.see(x, block, bin).filter(|_| weight > 1e-3);
                let settling = if bin.settling && component == 0 { SETTLING_SCALE } else { 1.0 };
                let scale = if seen.is_some() { bin.scale * settling / weight } else { f64::INFINITY };
                rows.push(Row { t_s: bin.t_s, scale });
                let Some(seen) = seen else { continue };
                let (sin, cos) = seen.psi.sin_cos();
                line[width - 1] = seen.residual[component];
                if component == 0 {
                    let turns = series.pieces[bin.piece].turned_deg.is_some();
                    line[if turns || self.layout.turn_speed.is_none() { SHARED } else { pieces - 1 }] = 1.0;
                    line[pieces + 3 * bin.piece..][..3].copy_from_slice(&seen.course_of_speed);
                    (line[current], line[current + 1]) = (cos, sin);
                } else {
                    let functions = basis(seen.compass);
                    line[..TERMS].iter_mut().zip(functions).for_each(|(cell, value)| *cell = seen.speed * value);
                    let turns = -seen.speed * (1.0 + slope(x, seen.compass));
                    (line[LAG], line[QUICK]) = (turns * seen.rates[0], turns * seen.rates[1]);
                    (line[current], line[current + 1]) = (-sin, cos);
                    let more = &mut line[extras..width - 1];
                    match extra {
                        Extra::None => {}
                        Extra::ThirdHarmonic => {
                            let (sin3, cos3) = (3.0 * seen.compass).sin_cos();
                            (more[0], more[1]) = (seen.speed * sin3, seen.speed * cos3);
                        }
                        Extra::Sense => {
                            let sense = series.pieces[bin.piece].turned_deg.map_or(0.0, f64::signum);
                            more.iter_mut().zip(&functions[1..]).for_each(|(cell, f)| *cell = sense * seen.speed * f);
                        }
                    }
                }
            }
            let (log_determinant, counted) = whiten(SHAPES[shape], &rows, &mut columns, width);
            sums.log_determinant += log_determinant;
            sums.rows += counted;
            for line in columns.chunks_exact(width) {
                let y = line[width - 1];
                sums.square += y * y;
                for (i, &row) in active.iter().enumerate() {
                    if line[i] != 0.0 {
                        sums.moment[row] += line[i] * y;
                        for (j, &column) in active[..=i].iter().enumerate() {
                            sums.normal.add(row, column, line[i] * line[j]);
                        }
                    }
                }
            }
        }
        sums
    }

    /// The normal matrix and its right side at `x`, priors within.
    fn equations(&self, x: &[f64], at: &Solution, extra: Extra) -> (Symmetric, Vec<f64>) {
        let size = self.layout.size + extra.count();
        let mut normal = Symmetric::zero(size);
        let mut moment = vec![0.0; size];
        for row in 0..self.layout.size {
            normal.add(row, row, self.prior.at(row, row));
            moment[row] = self.prior.at(row, row) * (self.prior_mean[row] - x[row]);
        }
        for component in 0..2 {
            let sums = self.sums(x, &at.weights, component, at.noise.shape[component], extra);
            let factor = 1.0 / at.noise.variance[component];
            normal.add_scaled(&sums.normal, factor);
            moment.iter_mut().zip(&sums.moment).for_each(|(m, s)| *m += factor * s);
        }
        (normal, moment)
    }

    /// Weights by how far each residual lies out.
    fn doubt(&self, at: &mut Solution) {
        for (block, index, bin) in self.bins() {
            let Some(seen) = self.see(&at.x, block, bin) else { continue };
            for component in 0..2 {
                let settling = if bin.settling && component == 0 { SETTLING_SCALE } else { 1.0 };
                let total = bin.scale * settling + SHAPES[at.noise.shape[component]].wander;
                let out = (seen.residual[component].powi(2) / (at.noise.variance[component] * total)).sqrt();
                at.weights[block][index][component] = match out {
                    out if out <= DOUBT[0] => 1.0,
                    out if out <= DOUBT[1] => DOUBT[0] / out,
                    _ => 0.0,
                };
            }
        }
    }

    /// A scale of the residuals that spikes do not move, as a variance along and across.
    fn rough_variance(&self, x: &[f64]) -> [f64; 2] {
        [0, 1].map(|component| {
            let mut sizes: Vec<f64> = self
                .bins()
                .filter_map(|(block, _, bin)| Some(self.see(x, block, bin)?.residual[component].abs()))
                .collect();
            sizes.sort_by(f64::total_cmp);
            // 1.4826 x the median is the sigma of a normal law.
            (1.4826 * sizes.get(sizes.len() / 2).copied().unwrap_or(0.1)).powi(2).max(1e-6)
        })
    }

    /// Fits. `None` where the data leave the equations singular.
    pub(crate) fn solve(&mut self) -> Option<Solution> {
        let x = self.guess()?;
        let speed = [self.layout.turn_speed, self.layout.straight_speed].into_iter().flatten().next()?;
        self.expect_steady_speeds(x[speed].max(0.2));
        let weights = self.series.iter().map(|s| vec![[1.0; 2]; s.bins.len()]).collect();
        let noise = Chosen { shape: [5, 5], variance: self.rough_variance(&x) };
        let mut at = Solution { x, covariance: Symmetric::zero(self.layout.size), noise, weights };
        for round in 0..4 {
            for _ in 0..6 {
                if self.step(&mut at)? < 0.02 {
                    break;
                }
                if round == 0 {
                    at.noise.variance = self.rough_variance(&at.x);
                }
                self.doubt(&mut at);
                self.learn_steadiness(&at);
            }
            if round < 3 {
                let all = |component| {
                    (0..SHAPES.len()).map(|s| self.sums(&at.x, &at.weights, component, s, Extra::None)).collect()
                };
                let pull: Vec<f64> =
                    (0..self.layout.size).map(|i| self.prior.at(i, i) * (self.prior_mean[i] - at.x[i])).collect();
                at.noise = choose(&[all(0), all(1)], &self.prior, &pull, at.noise)?;
            }
        }
        Some(at)
    }

    /// One step; returns how far it went in sigmas.
    fn step(&self, at: &mut Solution) -> Option<f64> {
        let (normal, moment) = self.equations(&at.x, at, Extra::None);
        let factor = normal.factor()?;
        let step = factor.solve(&moment);
        at.covariance = factor.inverse();
        // A step longer than 0.5 radian or 1.5 s leaves the region where the straight line holds.
        let lags = [LAG, QUICK].map(|lag| step[lag].abs() / 1.5);
        let longest = step[..TERMS].iter().map(|s| s.abs() / 0.5).chain(lags).fold(1.0, f64::max);
        at.x.iter_mut().zip(&step).for_each(|(x, s)| *x += s / longest);
        for lag in [LAG, QUICK] {
            at.x[lag] = at.x[lag].clamp(-5.0, 6.0);
        }
        let sigmas = step.iter().enumerate().map(|(i, s)| s.abs() / at.covariance.at(i, i).sqrt());
        Some(sigmas.fold(0.0, f64::max))
    }

    /// Asks whether more columns would help: their values in radians and the Wald statistic.
    pub(crate) fn ask(&self, at: &Solution, extra: Extra) -> Option<(Vec<f64>, f64)> {
        let (normal, moment) = self.equations(&at.x, at, extra);
        let factor = normal.factor()?;
        let step = factor.solve(&moment);
        let (start, count) = (self.layout.size, extra.count());
        let found = step[start..].to_vec();
        let precision = factor.inverse().block(start, count).factor()?.inverse();
        let statistic = precision.quadratic(&found);
        Some((found, statistic))
    }

    /// The speed of the turns, else of the straight running: its place among the unknowns.
    pub(crate) fn main_speed(&self) -> Option<usize> {
        self.layout.turn_speed.or(self.layout.straight_speed)
    }
}

impl Solution {
    /// Whether a bin counted, across.
    pub(crate) fn counted(&self, block: usize, bin: usize) -> bool {
        self.weights[block][bin][1] > 1e-3
    }

    /// How much of the data was left out as impossible, 0 to 1.
    pub(crate) fn refused(&self) -> f64 {
        let all = self.weights.iter().flatten();
        let (count, out) = all.fold((0, 0), |(n, out), w| (n + 1, out + usize::from(w[0].min(w[1]) <= 1e-3)));
        out as f64 / f64::from(count.max(1))
    }
}
