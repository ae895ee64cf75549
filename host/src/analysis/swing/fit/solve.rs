//! The way to the solution: equations, steps, robust weights, and the questions asked afterwards.

use super::Extra;
use super::LAG;
use super::Problem;
use super::QUICK;
use super::SETTLES;
use super::SHARED;
use super::Solution;
use super::TERMS;
use super::basis;
use super::slope;
use crate::analysis::swing::matrix::Symmetric;
use crate::analysis::swing::noise::Chosen;
use crate::analysis::swing::noise::Row;
use crate::analysis::swing::noise::SHAPES;
use crate::analysis::swing::noise::Sums;
use crate::analysis::swing::noise::choose;
use crate::analysis::swing::noise::whiten;

/// How a circle's or a leg's speed departs from that of its like, and how it changes from its begin
/// to its end: one sigma, as a part of the speed. Constant engine speed; common practice, no source.
const CIRCLE_DEPARTS: f64 = 0.1;
const STRAIGHT_DEPARTS: f64 = 0.03;
const PIECE_CHANGES: f64 = 0.01;
/// From so many straight legs the departure of speeds is learnt.
const LEGS_TO_LEARN: usize = 6;
/// White variance along the heading while the speed settles, for it settles not quite so.
const SETTLING_SCALE: f64 = 3.0;
/// Beyond so many sigma a residual counts less, and beyond so many not at all.
const DOUBT: [f64; 2] = [2.5, 6.0];

impl Problem<'_> {
    /// Once the speed is about known, what may be expected of its changes.
    fn expect_steady_speeds(&mut self, speed: f64) {
        for (block, series) in self.series.iter().enumerate() {
            for (at, piece) in series.pieces.iter().enumerate() {
                let own = self.layout.pieces[block][at];
                let departs = if piece.turned_deg.is_some() { CIRCLE_DEPARTS } else { STRAIGHT_DEPARTS };
                self.presume(own, 0.0, departs * speed);
                self.presume(own + 1, 0.0, PIECE_CHANGES * speed);
                self.presume(own + 2, 0.0, SETTLES * speed);
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
