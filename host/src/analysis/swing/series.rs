//! A block of log made ready for the fit: the heading smoothed, the velocity in bins of three seconds,
//! and the stretches of turning and of straight running told apart.

use super::collect::Block;

/// Length of a velocity bin, seconds.
///
/// Short enough that a bin of a fast circle spans 12 degrees, long enough to take out the yaw.
pub(crate) const BIN_S: f64 = 3.0;
/// Standard deviation of the smoothing of the heading, seconds: the spread of a bin of three seconds
/// is 0.87, so that heading and velocity are blurred alike.
const BLUR_S: f64 = 0.9;
/// The same for the broad rate, by which turning and straight running are told apart: without yaw.
const BROAD_S: f64 = 4.0;
/// The steady rate, one number per stretch, is blurred by this where stretches meet, seconds.
const MEET_S: f64 = 2.0;
/// Grid of the smoothed heading, seconds.
const STEP_S: f64 = 0.5;
/// How far the nearest sample on either side may lie for a smoothed heading to count, seconds.
const REACH_S: f64 = 2.6;
/// A broad rate above this part of the usual one is a turn.
const PART_OF_TURN: f64 = 0.4;
/// Shortest stretch, seconds.
const SHORTEST_S: f64 = 12.0;
/// How long after a change from straight to turning or back the speed is still settling, seconds.
const SETTLING_S: f64 = 12.0;

/// The smoothed heading of a block.
#[derive(Clone, Debug)]
pub(crate) struct Smooth {
    start_s: f64,
    /// Heading in degrees, unwrapped, and its rate in degrees a second; `None` in a gap.
    grid: Vec<Option<(f64, f64)>>,
    /// The broad rate, degrees a second; in a gap, that of what lies about it.
    broad: Vec<f64>,
    /// The steady rate: the mean of the stretch, the same all through it.
    ///
    /// Only it multiplies the lag that can be mistaken for A. How the rate varies within a turn is
    /// left to the lag of quick changes: taken as evidence of the steady lag, it proved false witness
    /// for one circle alone, since damping, delay and drift angle answer a change each in its own way.
    steady: Vec<f64>,
}

/// A stretch of one kind.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Piece {
    /// Begin, seconds.
    pub(crate) from_s: f64,
    /// End, seconds.
    pub(crate) to_s: f64,
    /// Turned in it, degrees, starboard plus; `None` for straight running.
    pub(crate) turned_deg: Option<f64>,
}

/// One velocity bin.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Bin {
    /// Mean time of its samples, seconds.
    pub(crate) t_s: f64,
    /// Mean velocity over the ground, m/s.
    pub(crate) north: f64,
    /// The same, east.
    pub(crate) east: f64,
    /// White variance over that of a full bin.
    pub(crate) scale: f64,
    /// Which piece it lies in.
    pub(crate) piece: usize,
    /// Whether the speed may still be settling.
    pub(crate) settling: bool,
}

/// A block ready for the fit.
#[derive(Clone, Debug)]
pub(crate) struct Series {
    pub(crate) log: usize,
    pub(crate) heading: Smooth,
    pub(crate) pieces: Vec<Piece>,
    pub(crate) bins: Vec<Bin>,
}

impl Smooth {
    /// Smooths by a local straight line under a Gaussian weight.
    fn new(samples: &[(f64, f64)]) -> Self {
        let start_s = samples.first().map_or(0.0, |(t, _)| *t);
        let span = samples.last().map_or(0.0, |(t, _)| t - start_s);
        let count = (span / STEP_S) as usize + 1;
        let lines = |blur: f64| {
            let mut low = 0;
            (0..count).map(move |at| {
                let t = start_s + at as f64 * STEP_S;
                while samples.get(low).is_some_and(|(s, _)| *s < t - 3.0 * blur) {
                    low += 1;
                }
                line_at(t, blur, samples[low..].iter().take_while(move |(s, _)| *s <= t + 3.0 * blur))
            })
        };
        let known = |line: Option<Line>| line.filter(|l| l.before.max(l.after) <= REACH_S);
        let grid = lines(BLUR_S).map(|line| known(line).map(|l| (l.heading, l.rate))).collect();
        let broad = lines(BROAD_S).map(|line| line.map_or(0.0, |l| l.rate)).collect();
        Self { start_s, grid, broad, steady: Vec::new() }
    }

    /// Sets the steady rate from the stretches.
    fn settle(&mut self, pieces: &[Piece]) {
        let mut flat = vec![0.0; self.grid.len()];
        for piece in pieces {
            let index = |t: f64| (((t - self.start_s) / STEP_S).round() as usize).min(flat.len());
            let (from, to) = (index(piece.from_s), index(piece.to_s));
            let rate = piece.turned_deg.map_or(0.0, |degrees| degrees / (piece.to_s - piece.from_s));
            flat[from..to].fill(rate);
        }
        let reach = (3.0 * MEET_S / STEP_S) as usize;
        let weight: Vec<f64> = (0..=reach).map(|k| (-0.5 * (k as f64 * STEP_S / MEET_S).powi(2)).exp()).collect();
        self.steady = (0..flat.len())
            .map(|at| {
                let near = at.saturating_sub(reach)..(at + reach + 1).min(flat.len());
                let (sum, weights) = near.fold((0.0, 0.0), |(sum, weights), other| {
                    let w = weight[at.abs_diff(other)];
                    (sum + w * flat[other], weights + w)
                });
                sum / weights
            })
            .collect();
    }

    /// The steady rate at a time, degrees a second.
    pub(crate) fn steady_rate(&self, t_s: f64) -> Option<f64> {
        let place = (t_s - self.start_s) / STEP_S;
        if place.is_nan() || place < 0.0 {
            return None;
        }
        let (a, b) = (self.steady.get(place as usize)?, self.steady.get(place as usize + 1)?);
        Some(a + (b - a) * place.fract())
    }

    /// Heading and rate at a time, by the cubic through both at the grid's two neighbours.
    pub(crate) fn at(&self, t_s: f64) -> Option<(f64, f64)> {
        let place = (t_s - self.start_s) / STEP_S;
        if place.is_nan() || place < 0.0 {
            return None;
        }
        let (h0, r0) = (*self.grid.get(place as usize)?)?;
        let (h1, r1) = (*self.grid.get(place as usize + 1)?)?;
        let x = place.fract();
        let (m0, m1) = (r0 * STEP_S, r1 * STEP_S);
        let (a, b) = (2.0 * (h0 - h1) + m0 + m1, 3.0 * (h1 - h0) - 2.0 * m0 - m1);
        Some((((a * x + b) * x + m0) * x + h0, ((3.0 * a * x + 2.0 * b) * x + m0) / STEP_S))
    }
}

/// A straight line through the samples about a time.
struct Line {
    heading: f64,
    rate: f64,
    /// How far the nearest sample lies before and after.
    before: f64,
    after: f64,
}

fn line_at<'a>(t: f64, blur: f64, near: impl Iterator<Item = &'a (f64, f64)>) -> Option<Line> {
    let (mut w0, mut w1, mut w2, mut y0, mut y1) = (0.0, 0.0, 0.0, 0.0, 0.0);
    let (mut before, mut after, mut base) = (f64::INFINITY, f64::INFINITY, None);
    for &(s, heading) in near {
        let x = s - t;
        let y = heading - *base.get_or_insert(heading);
        let w = (-0.5 * (x / blur).powi(2)).exp();
        (w0, w1, w2) = (w0 + w, w1 + w * x, w2 + w * x * x);
        (y0, y1) = (y0 + w * y, y1 + w * x * y);
        if x <= 0.0 {
            before = before.min(-x);
        }
        if x >= 0.0 {
            after = after.min(x);
        }
    }
    let determinant = w0 * w2 - w1 * w1;
    if determinant <= 1e-9 {
        return None;
    }
    let heading = base? + (w2 * y0 - w1 * y1) / determinant;
    Some(Line { heading, rate: (w0 * y1 - w1 * y0) / determinant, before, after })
}

impl Series {
    /// Prepares a block. `turn_only` leaves the straight running beside a turn out.
    pub(crate) fn new(block: &Block, turn_only: bool) -> Self {
        let mut heading = Smooth::new(&block.headings);
        let mut pieces = pieces(block, &heading);
        heading.settle(&pieces);
        if turn_only && pieces.iter().any(|piece| piece.turned_deg.is_some()) {
            pieces.retain(|piece| piece.turned_deg.is_some());
        }
        let bins = bins(&block.ground, &pieces);
        Self { log: block.log, heading, pieces, bins }
    }

    /// The middle of the block, seconds.
    pub(crate) fn middle_s(&self) -> f64 {
        match (self.pieces.first(), self.pieces.last()) {
            (Some(first), Some(last)) => (first.from_s + last.to_s) / 2.0,
            _ => self.heading.start_s,
        }
    }
}

/// The stretches of one kind, by time, without the ones too short to say anything.
fn pieces(block: &Block, heading: &Smooth) -> Vec<Piece> {
    if heading.grid.is_empty() {
        return Vec::new();
    }
    let usual = block.turns.iter().map(|turn| (turn.degrees / (turn.to_s - turn.from_s)).abs());
    let limit = PART_OF_TURN * usual.fold(f64::INFINITY, f64::min);
    let kind = |at: usize| -> i8 {
        let rate = heading.broad[at];
        if rate.abs() >= limit { rate.signum() as i8 } else { 0 }
    };
    let mut runs: Vec<(i8, usize, usize)> = Vec::new();
    for at in 0..heading.grid.len() {
        let kind = kind(at);
        match runs.last_mut() {
            Some(run) if run.0 == kind => run.2 = at,
            _ => runs.push((kind, at, at)),
        }
    }
    // A slack moment in a turn, or a swerve on a straight, joins what it lies in.
    let short = |run: &(i8, usize, usize)| ((run.2 - run.1) as f64) * STEP_S < SHORTEST_S;
    let mut joined: Vec<(i8, usize, usize)> = Vec::new();
    for run in runs {
        match joined.last_mut() {
            Some(last) if short(&run) || last.0 == run.0 => last.2 = run.2,
            Some(last) if short(last) => *last = (run.0, last.1, run.2),
            _ => joined.push(run),
        }
    }
    joined
        .into_iter()
        .map(|(kind, from, to)| {
            let at = |index: usize| heading.start_s + index as f64 * STEP_S;
            let ends = (from..=to).filter_map(|i| heading.grid[i].map(|g| g.0));
            let turned = ends.clone().next_back().zip(ends.clone().next()).map_or(0.0, |(last, first)| last - first);
            Piece { from_s: at(from), to_s: at(to) + STEP_S, turned_deg: (kind != 0).then_some(turned) }
        })
        .collect()
}

fn bins(ground: &[(f64, f64, f64)], pieces: &[Piece]) -> Vec<Bin> {
    let mut bins: Vec<(Bin, usize)> = Vec::new();
    let settling = |t: f64, at: usize| {
        // The speed falls after a turn begins and recovers after it ends, not before.
        (t - pieces[at].from_s).abs() < SETTLING_S && pieces.iter().any(|piece| piece.turned_deg.is_some())
    };
    for (at, piece) in pieces.iter().enumerate() {
        let mut open: Option<(f64, usize, f64, f64, f64)> = None;
        let mut close = |open: &mut Option<(f64, usize, f64, f64, f64)>| {
            if let Some((_, count, t, north, east)) = open.take() {
                let n = count as f64;
                let t_s = t / n;
                let settling = settling(t_s, at);
                bins.push((Bin { t_s, north: north / n, east: east / n, scale: 1.0, piece: at, settling }, count));
            }
        };
        for &(t, north, east) in ground.iter().filter(|(t, ..)| (piece.from_s..piece.to_s).contains(t)) {
            if open.is_some_and(|(first, ..)| t - first >= BIN_S) {
                close(&mut open);
            }
            let (_, count, sum_t, sum_n, sum_e) = open.get_or_insert((t, 0, 0.0, 0.0, 0.0));
            (*count, *sum_t, *sum_n, *sum_e) = (*count + 1, *sum_t + t, *sum_n + north, *sum_e + east);
        }
        close(&mut open);
    }
    let full = bins.iter().map(|(_, count)| *count).max().unwrap_or(1) as f64;
    bins.into_iter().map(|(bin, count)| Bin { scale: full / count as f64, ..bin }).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_line_is_smoothed_to_itself_and_a_gap_is_none() {
        let samples: Vec<(f64, f64)> =
            (0..60).filter(|i| !(30..40).contains(i)).map(|i| (f64::from(i), 3.0 * f64::from(i) - 20.0)).collect();
        let smooth = Smooth::new(&samples);
        for t in [2.0, 10.3, 28.9, 45.77] {
            let (heading, rate) = smooth.at(t).unwrap();
            assert!((heading - (3.0 * t - 20.0)).abs() <= 1e-9 && (rate - 3.0).abs() <= 1e-9, "{t} {heading}");
        }
        assert_eq!(smooth.at(34.0), None);
        assert_eq!(smooth.at(-1.0), None);
        assert_eq!(smooth.at(80.0), None);
    }
}
