//! A deviation card by comparison with another heading: a gyro or a satellite compass on board.
//!
//! ```text
//! bins of three seconds -> lag of one heading behind the other -> means of ten-degree sectors -> card
//! ```
//! In a turn the slower of two headings trails, which looks like A and changes sign with the turn. With
//! both senses it is found; with one it is not, and then A's sigma must tell it.

use crate::analysis::bearings;
use crate::analysis::bearings::Card;
use crate::analysis::bearings::NoCard;
use crate::analysis::bearings::Sight;
use crate::analysis::bearings::Sighting;
use crate::analysis::bearings::Words;
use crate::analysis::bearings::signed;
use crate::analysis::harmonic;
use crate::analysis::harmonic::TERMS;
use crate::analysis::swing::Limits;

/// Length of a bin, seconds.
const BIN_S: f64 = 3.0;
/// A reference heading older than this is of another moment, seconds.
const FRESH_S: f64 = 2.5;
/// Most bins kept of one sector of ten degrees, so that a season takes no more memory than a day.
const MOST_PER_SECTOR: usize = 300;
/// One standard deviation of the lag expected before the log is seen, seconds: common practice, no
/// source; sensors are damped by up to 3 s.
const LAG_LIKELY_S: f64 = 1.5;
/// One standard deviation of a sector's mean, degrees: what two good sensors differ by for minutes.
/// Our own estimate, no source; the scatter of the sectors corrects it.
const SECTOR_DEG: f64 = 0.5;

const BY_HEADING: Words = Words {
    nothing: "no heading",
    more: "turn another circle each way on flat water",
    one: "what was seen",
    slip: "look whether something near the sensor was moved or switched on",
};

/// Three seconds of both headings.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bin {
    /// The middle of it, seconds.
    pub t_s: f64,
    /// COMPASS heading, degrees.
    pub compass_deg: f64,
    /// True heading less compass heading, degrees, -180 up to 180.
    pub apart_deg: f64,
    /// Turn rate, degrees a second, starboard plus.
    pub rate_dps: f64,
}

/// Watches two headings go by.
#[derive(Clone, Debug)]
pub struct Pairs {
    truth: Option<(f64, f64)>,
    bin: Vec<(f64, f64, f64)>,
    kept: Vec<Bin>,
    per_sector: [usize; 36],
}

impl Default for Pairs {
    fn default() -> Self {
        Self { truth: None, bin: Vec::new(), kept: Vec::new(), per_sector: [0; 36] }
    }
}

impl Pairs {
    /// The reference's TRUE heading, degrees, at a time in seconds.
    pub fn reference(&mut self, t_s: f64, true_deg: f64) {
        self.truth = Some((t_s, true_deg));
    }

    /// The sensor's COMPASS heading.
    pub fn heading(&mut self, t_s: f64, compass_deg: f64) {
        if self.bin.first().is_some_and(|&(first, ..)| t_s - first >= BIN_S || t_s < first) {
            self.close();
        }
        let Some((at, truth)) = self.truth else { return };
        if (0.0..=FRESH_S).contains(&(t_s - at)) && self.bin.len() < 256 {
            self.bin.push((t_s, compass_deg, signed(truth - compass_deg)));
        }
    }

    fn close(&mut self) {
        let bin = std::mem::take(&mut self.bin);
        let (Some(first), Some(last)) = (bin.first(), bin.last()) else { return };
        let span = last.0 - first.0;
        if bin.len() < 2 || span < 0.5 {
            return;
        }
        let count = bin.len() as f64;
        let compass_deg = first.1 + bin.iter().map(|b| signed(b.1 - first.1)).sum::<f64>() / count;
        let apart = first.2 + bin.iter().map(|b| signed(b.2 - first.2)).sum::<f64>() / count;
        let sector = (compass_deg.rem_euclid(360.0) / 10.0) as usize % 36;
        if self.per_sector[sector] < MOST_PER_SECTOR {
            self.per_sector[sector] += 1;
            self.kept.push(Bin {
                t_s: bin.iter().map(|b| b.0).sum::<f64>() / count,
                compass_deg: compass_deg.rem_euclid(360.0),
                apart_deg: signed(apart),
                rate_dps: signed(last.1 - first.1) / span,
            });
        }
    }

    /// The bins kept, by time.
    pub fn finish(mut self) -> Vec<Bin> {
        self.close();
        self.kept
    }
}

/// A card by comparison.
#[derive(Clone, Debug, PartialEq)]
pub struct Compared {
    /// The card.
    pub card: Card,
    /// How many seconds the sensor is behind the reference, negative when it is ahead, and its standard
    /// deviation.
    pub lag_s: (f64, f64),
    /// Sectors of ten degrees that hold data, of 36.
    pub sectors: usize,
    /// How far the difference of the two strays from one constant, the lag taken out, degrees rms.
    pub stray_deg: f64,
    /// The bins: compass heading, deviation seen with the lag taken out, degrees, turn rate.
    pub seen: Vec<(f64, f64, f64)>,
}

/// Finds the card. `variation_deg` is east plus; `common_deg` is one standard deviation of what is common
/// to all headings: the variation's error and the alignment of the reference.
///
/// # Errors
/// [`NoCard`].
pub fn compare(bins: &[Bin], variation_deg: f64, common_deg: f64, limits: &Limits) -> Result<Compared, NoCard> {
    let few = NoCard::TooFew { sights: 0 };
    let rows: Vec<[f64; TERMS + 1]> = bins
        .iter()
        .map(|bin| {
            let [a, b, c, d, e] = harmonic::basis(bin.compass_deg);
            [a, b, c, d, e, bin.rate_dps]
        })
        .collect();
    let seen: Vec<f64> = bins.iter().map(|bin| signed(bin.apart_deg - variation_deg)).collect();
    let (lag, sigma) = lag(&rows, &seen).ok_or(few)?;
    let mut sectors: Vec<(usize, f64, f64)> = vec![(0, 0.0, 0.0); 36];
    let mut freed = Vec::with_capacity(bins.len());
    for (bin, seen) in bins.iter().zip(&seen) {
        let deviation = seen - lag * bin.rate_dps;
        freed.push((bin.compass_deg, deviation, bin.rate_dps));
        let sector = &mut sectors[(bin.compass_deg / 10.0) as usize % 36];
        *sector = (sector.0 + 1, sector.1 + bin.compass_deg, sector.2 + deviation);
    }
    let sights: Vec<Sight> = sectors
        .iter()
        .filter(|(count, ..)| *count > 0)
        .map(|(count, compass, deviation)| {
            let (compass, deviation) = (compass / *count as f64, deviation / *count as f64);
            let magnetic_deg = compass + deviation;
            Sight { compass_deg: compass, magnetic_deg, sighting: Sighting::Ahead, sigma_deg: SECTOR_DEG }
        })
        .collect();
    // What the lag may be wrong by shows where she turned one way more than the other.
    let turned = bins.iter().map(|bin| bin.rate_dps).sum::<f64>() / bins.len().max(1) as f64;
    let mut card = bearings::card_of(&sights, common_deg.hypot(sigma * turned), limits, &BY_HEADING)?;
    if (sigma * turned).abs() > 0.5 {
        card.reasons.insert(
            0,
            format!(
                "she turned one way only, so the lag of the sensor and A cannot be told apart: A is known to {:.1} degrees \
                 only; add a circle the other way",
                card.covariance[0][0].sqrt()
            ),
        );
        card.verdict = card.verdict.max(crate::analysis::swing::Verdict::Usable);
    }
    let middle = freed.first().map_or(0.0, |first| first.1);
    let off = freed.iter().map(|seen| signed(seen.1 - middle));
    let count = freed.len().max(1) as f64;
    let mean = off.clone().sum::<f64>() / count;
    let stray_deg = (off.map(|off| (off - mean).powi(2)).sum::<f64>() / count).sqrt();
    Ok(Compared { card, lag_s: (lag, sigma), sectors: sights.len(), stray_deg, seen: freed })
}

/// The lag that makes both senses agree, and its standard deviation, by six unknowns of which the lag is
/// known beforehand to [`LAG_LIKELY_S`].
fn lag(rows: &[[f64; TERMS + 1]], seen: &[f64]) -> Option<(f64, f64)> {
    const N: usize = TERMS + 1;
    if rows.len() < 20 {
        return None;
    }
    let solve = |variance: f64| -> Option<([f64; N], f64)> {
        let mut matrix = [[0.0; N + 2]; N];
        for (row, seen) in rows.iter().zip(seen) {
            for i in 0..N {
                for j in 0..N {
                    matrix[i][j] += row[i] * row[j] / variance;
                }
                matrix[i][N] += row[i] * seen / variance;
            }
        }
        // Weak knowledge of everything keeps a partial circle solvable.
        for (i, row) in matrix.iter_mut().enumerate() {
            row[i] += if i == TERMS { LAG_LIKELY_S.powi(-2) } else { 1e-4 };
        }
        // The last column becomes the column of the inverse that belongs to the lag.
        matrix[TERMS][N + 1] = 1.0;
        for at in 0..N {
            let best = (at..N).max_by(|&a, &b| matrix[a][at].abs().total_cmp(&matrix[b][at].abs()))?;
            matrix.swap(at, best);
            let pivot = matrix[at][at];
            if pivot.is_nan() || pivot.abs() < 1e-12 {
                return None;
            }
            matrix[at].iter_mut().for_each(|value| *value /= pivot);
            let line = matrix[at];
            for (_, other) in matrix.iter_mut().enumerate().filter(|(row, _)| *row != at) {
                let factor = other[at];
                other.iter_mut().zip(line).for_each(|(value, below)| *value -= factor * below);
            }
        }
        Some((std::array::from_fn(|i| matrix[i][N]), matrix[TERMS][N + 1]))
    };
    let residual = |x: &[f64; N], row: &[f64; N], seen: f64| seen - row.iter().zip(x).map(|(r, x)| r * x).sum::<f64>();
    let (first, _) = solve(1.0)?;
    let left: Vec<f64> = rows.iter().zip(seen).map(|(row, seen)| residual(&first, row, *seen)).collect();
    let variance = left.iter().map(|r| r * r).sum::<f64>() / (left.len() - N) as f64;
    // Residuals remember: a bin is worth less than a fresh one by their correlation from one to the next.
    let next: f64 = left.iter().zip(&left[1..]).map(|(a, b)| a * b).sum::<f64>() / (left.len() - 1) as f64;
    let memory = (next / variance.max(1e-9)).clamp(0.0, 0.95);
    let (x, inverse) = solve((variance * (1.0 + memory) / (1.0 - memory)).max(0.01))?;
    Some((x[TERMS], inverse.max(0.0).sqrt()))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::harmonic::Coefficients;
    use crate::analysis::swing::Verdict;

    const TRUTH: Coefficients = Coefficients([1.2, 3.0, -2.0, 0.8, -0.4]);

    /// Circles at 2 degrees a second by a sensor `lag_s` behind, both headings twice a second.
    fn circles(senses: &[f64], lag_s: f64) -> Vec<Bin> {
        let mut pairs = Pairs::default();
        let mut compass = 40.0_f64;
        let mut t = 0.0;
        for sense in senses {
            for _ in 0..400 {
                let rate = 2.0 * sense;
                let truth = compass + TRUTH.deviation(compass) - 4.0 + rate * lag_s;
                pairs.reference(t, truth.rem_euclid(360.0));
                pairs.heading(t, compass.rem_euclid(360.0));
                (t, compass) = (t + 0.5, compass + rate * 0.5);
            }
        }
        pairs.finish()
    }

    #[test]
    fn both_senses_tell_lag_and_a_apart() {
        let found = compare(&circles(&[1.0, -1.0], 1.1), -4.0, 0.3, &Limits::default()).unwrap();
        assert!((found.lag_s.0 - 1.1).abs() <= 0.05, "{:?}", found.lag_s);
        for (got, want) in found.card.coefficients.0.iter().zip(TRUTH.0) {
            assert!((got - want).abs() <= 0.06, "{got}, not {want}");
        }
        // The true curve without A: half of the squares of B to E is 7.1 of mean square.
        assert!((found.stray_deg - 2.6).abs() <= 0.3, "{}", found.stray_deg);
        assert_eq!((found.sectors, found.card.verdict), (36, Verdict::Good), "{:?}", found.card.reasons);
    }

    #[test]
    fn one_sense_leaves_a_open_and_says_so() {
        let found = compare(&circles(&[1.0], 1.1), -4.0, 0.3, &Limits::default()).unwrap();
        let (a, sigma) = (found.card.coefficients.0[0], found.card.covariance[0][0].sqrt());
        assert!((2.0..=3.5).contains(&sigma) && (a - TRUTH.0[0]).abs() <= 2.0 * sigma, "{a} {sigma}");
        assert!(found.card.reasons[0].contains("one way only"), "{:?}", found.card.reasons);
    }

    #[test]
    fn a_straight_leg_is_no_swing() {
        let mut pairs = Pairs::default();
        for at in 0..600 {
            pairs.reference(f64::from(at), 94.0);
            pairs.heading(f64::from(at) + 0.1, 90.0);
        }
        assert!(compare(&pairs.finish(), 2.0, 0.3, &Limits::default()).is_err());
    }
}
