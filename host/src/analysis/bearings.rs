//! A deviation card from bearings: of the sun, a distant object or a transit, one heading after another.
//!
//! ```text
//! magnetic heading = magnetic bearing - relative bearing      deviation = magnetic heading - compass heading
//! ```
//!
//! Two kinds of error are told apart. What differs from sight to sight (reading the pelorus and the
//! compass, yaw) is judged from the scatter about the curve. What is common to all sights (the
//! variation, the bearing of the one object, the pelorus' own alignment) shows in no scatter and goes
//! into A whole.

use crate::analysis::harmonic;
use crate::analysis::harmonic::Coefficients;
use crate::analysis::harmonic::Point;
use crate::analysis::harmonic::TERMS;
use crate::analysis::swing::Limits;
use crate::analysis::swing::Verdict;

/// What was observed of the object.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Sighting {
    /// Its bearing clockwise from the bow, degrees: by pelorus.
    Relative(f64),
    /// It was right ahead: she ran at it.
    Ahead,
    /// It was right astern.
    Astern,
    /// Its bearing by the compass itself, degrees: only for a compass that has a sight.
    ByCompass(f64),
}

/// One sight.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sight {
    /// The COMPASS heading of the boat at that moment, degrees.
    pub compass_deg: f64,
    /// The magnetic bearing of the object then, degrees.
    pub magnetic_deg: f64,
    /// What was observed of it.
    pub sighting: Sighting,
    /// One standard deviation of this sight alone, degrees: see [`sigma_deg`].
    pub sigma_deg: f64,
}

/// What a sight of each kind is good for in a small boat, one standard deviation in degrees.
///
/// A compass read to a degree (0.3), a pelorus read to a degree (0.3), and a boat that yaws between the
/// two readings (0.5). Running at the object there is no pelorus to read, but steering to half a degree.
/// Our own estimate, no source; the scatter of the sights corrects it.
pub fn sigma_deg(sighting: Sighting, altitude_deg: f64) -> f64 {
    // A sighting plane held upright by eye to half a degree.
    let tilt = 0.5 * altitude_deg.clamp(0.0, 80.0).to_radians().tan();
    match sighting {
        Sighting::Relative(_) | Sighting::ByCompass(_) => 0.7_f64.hypot(tilt),
        Sighting::Ahead | Sighting::Astern => 0.6_f64.hypot(tilt),
    }
}

/// One standard deviation of how well a pelorus, or the eye along the keel, is aligned with the boat, degrees.
///
/// IMO MSC.86(70) annex 2, 4.2.1 (draft text): a fore-and-aft mark is true to half a degree.
pub const ALIGNMENT_DEG: f64 = 0.5;

impl Sight {
    /// The deviation it shows, degrees, east plus, -180 up to 180.
    pub fn deviation_deg(&self) -> f64 {
        let relative = match self.sighting {
            Sighting::Relative(degrees) => degrees,
            Sighting::Ahead => 0.0,
            Sighting::Astern => 180.0,
            Sighting::ByCompass(bearing) => return signed(self.magnetic_deg - bearing),
        };
        signed(self.magnetic_deg - relative - self.compass_deg)
    }
}

/// An angle brought into -180 up to 180 degrees.
pub fn signed(degrees: f64) -> f64 {
    (degrees + 180.0).rem_euclid(360.0) - 180.0
}

/// A card from sights.
#[derive(Clone, Debug, PartialEq)]
pub struct Card {
    /// A to E, degrees.
    pub coefficients: Coefficients,
    /// Which of them the sights determine.
    pub determined: [bool; TERMS],
    /// Their covariance in square degrees, all causes counted.
    pub covariance: [[f64; TERMS]; TERMS],
    /// Sight less curve, degrees, in the order of the sights.
    pub residuals: Vec<f64>,
    /// The standard deviation of one sight that was counted with, degrees.
    pub sight_sigma_deg: f64,
    /// The widest gap between neighbouring headings: from, to, degrees.
    pub widest_gap: (f64, f64),
    /// What the card is worth.
    pub verdict: Verdict,
    /// Why, and the remedy.
    pub reasons: Vec<String>,
}

/// Why sights make no card.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum NoCard {
    /// Too few, or bunched.
    #[error(
        "{sights} sights do not determine a curve: observe on eight headings all round, 45 degrees apart, or on five at \
         the very least"
    )]
    TooFew {
        /// How many there are.
        sights: usize,
    },
}

/// How many sights the estimate of [`sigma_deg`] weighs against the scatter of the sights at hand.
///
/// With three degrees of freedom, which eight sights leave, the scatter alone is out by half.
const WEIGHT_OF_ESTIMATE: f64 = 5.0;

/// Fits the card. `common_deg` is one standard deviation of what is common to all sights, degrees.
///
/// # Errors
/// [`NoCard`].
pub fn card(sights: &[Sight], common_deg: f64, limits: &Limits) -> Result<Card, NoCard> {
    card_of(sights, common_deg, limits, &BY_SIGHTS)
}

/// How the reasons name what was observed.
pub(crate) struct Words {
    /// Begins "... between compass 000 and 090".
    pub(crate) nothing: &'static str,
    /// Ends "the card is uncertain: ...".
    pub(crate) more: &'static str,
    /// Begins "... on compass 120 lies 9 degrees off the curve".
    pub(crate) one: &'static str,
    /// Ends it.
    pub(crate) slip: &'static str,
}

const BY_SIGHTS: Words = Words {
    nothing: "no sight",
    more: "take more sights",
    one: "the sight",
    slip: "look whether it was read or written wrongly",
};

/// [`card`], with words of its own.
pub(crate) fn card_of(sights: &[Sight], common_deg: f64, limits: &Limits, words: &Words) -> Result<Card, NoCard> {
    let points: Vec<Point> = sights
        .iter()
        .map(|sight| Point { compass_deg: sight.compass_deg.rem_euclid(360.0), deviation_deg: sight.deviation_deg() })
        .collect();
    let few = NoCard::TooFew { sights: sights.len() };
    if sights.len() < harmonic::FEWEST {
        return Err(few);
    }
    let fit = harmonic::fit(&points).ok_or(few)?;
    let terms = fit.determined.iter().filter(|d| **d).count();
    let freedom = (sights.len() - terms) as f64;
    let expected = sights.iter().map(|sight| sight.sigma_deg.powi(2)).sum::<f64>() / sights.len() as f64;
    let scattered: f64 = fit.residuals.iter().map(|r| r * r).sum();
    let variance = (WEIGHT_OF_ESTIMATE * expected + scattered) / (WEIGHT_OF_ESTIMATE + freedom);
    let mut covariance = (*fit.inverse).map(|row| row.map(|value| value * variance));
    covariance[0][0] += common_deg.powi(2);
    // What the sights leave open is not known to be zero: 5 degrees of D or E are on many a boat.
    for (term, determined) in fit.determined.iter().enumerate() {
        if !determined {
            covariance[term][term] = OPEN_DEG * OPEN_DEG;
        }
    }
    let mut card = Card {
        coefficients: fit.coefficients,
        determined: fit.determined,
        covariance,
        residuals: fit.residuals,
        sight_sigma_deg: variance.sqrt(),
        widest_gap: widest_gap(&points),
        verdict: Verdict::Good,
        reasons: Vec::new(),
    };
    judge(&mut card, sights, expected.sqrt(), limits, words);
    Ok(card)
}

/// One standard deviation of a coefficient that the sights do not determine, degrees.
const OPEN_DEG: f64 = 5.0;

impl Card {
    /// The deviation on a COMPASS heading and its standard deviation, all causes counted, degrees.
    pub fn deviation(&self, compass_deg: f64) -> (f64, f64) {
        (self.coefficients.deviation(compass_deg), spread(&self.covariance, compass_deg))
    }
}

/// The standard deviation of the curve on a heading, degrees, by the covariance of its coefficients.
pub fn spread(covariance: &[[f64; TERMS]; TERMS], compass_deg: f64) -> f64 {
    let basis = harmonic::basis(compass_deg);
    let along = |row: &[f64; TERMS]| row.iter().zip(basis).map(|(value, f)| value * f).sum::<f64>();
    covariance.iter().zip(basis).map(|(row, f)| f * along(row)).sum::<f64>().max(0.0).sqrt()
}

fn widest_gap(points: &[Point]) -> (f64, f64) {
    let mut headings: Vec<f64> = points.iter().map(|point| point.compass_deg).collect();
    headings.sort_by(f64::total_cmp);
    let next = headings.iter().cycle().skip(1);
    let pairs = headings.iter().zip(next).map(|(&from, &to)| (from, to));
    pairs.max_by(|a, b| (a.1 - a.0).rem_euclid(360.0).total_cmp(&(b.1 - b.0).rem_euclid(360.0))).unwrap_or((0.0, 0.0))
}

/// Widest gap between headings, degrees: good up to the first (eight headings with one missed by a few
/// degrees), usable up to the second (the four cardinal points and a little).
const GAP_DEG: [f64; 2] = [60.0, 100.0];

fn judge(card: &mut Card, sights: &[Sight], expected_deg: f64, limits: &Limits, by: &Words) {
    let mut reasons: Vec<(Verdict, String)> = Vec::new();
    let mut most = |value: f64, limits: [f64; 2], words: String| {
        if value > limits[1] {
            reasons.push((Verdict::NotUsable, words));
        } else if value > limits[0] {
            reasons.push((Verdict::Usable, words));
        }
    };
    let (from, to) = card.widest_gap;
    most(
        (to - from).rem_euclid(360.0),
        GAP_DEG,
        format!("{} between compass {from:03.0} and {to:03.0}: observe there too", by.nothing),
    );
    let worst = (0..36).map(|at| f64::from(at) * 10.0).map(|heading| (heading, card.deviation(heading).1));
    if let Some((heading, sigma)) = worst.max_by(|a, b| a.1.total_cmp(&b.1)) {
        most(
            sigma,
            limits.card_sigma_deg,
            format!("the card is uncertain to {sigma:.1} degrees (one sigma, worst on {heading:03.0} C): {}", by.more),
        );
    }
    let (greatest, _) = greatest(card);
    most(
        greatest.abs(),
        limits.deviation_deg,
        if greatest.abs() > limits.deviation_deg[1] {
            format!("deviation up to {:.0} degrees: no card mends this, find the sensor another place", greatest.abs())
        } else {
            format!(
                "deviation up to {:.1} degrees, more than {:.0}: better compensated, or the sensor moved away from iron \
                 and cables, and swung again",
                greatest.abs(),
                limits.deviation_deg[0]
            )
        },
    );
    // A slip is a sight that lies where chance puts one in a thousand.
    let worst = card.residuals.iter().zip(sights).max_by(|a, b| a.0.abs().total_cmp(&b.0.abs()));
    if let Some((residual, sight)) = worst {
        let words = format!(
            "{} on compass {:03.0} lies {:.1} degrees off the curve: {}",
            by.one,
            sight.compass_deg,
            residual.abs(),
            by.slip
        );
        most(residual.abs(), [3.0 * expected_deg.max(0.5), 15.0], words);
    }
    let a = card.coefficients.0[0];
    let a_sigma = card.covariance[0][0].sqrt();
    if a.abs() > limits.a_deg && a.abs() > 2.0 * a_sigma {
        let way = if a > 0.0 { "clockwise" } else { "anticlockwise" };
        let words = format!(
            "A is {a:+.1} degrees, so the sensor, or the pelorus, is likely misaligned: check the pelorus on the bow, then \
             turn the sensor {way}, seen from above, by {:.1} degrees and swing again",
            a.abs()
        );
        reasons.push((Verdict::Usable, words));
    }
    let slope = |heading: f64| card.coefficients.deviation(heading + 0.5) - card.coefficients.deviation(heading - 0.5);
    if let Some(at) = (0..360).map(f64::from).find(|&heading| 1.0 + slope(heading) <= limits.fold) {
        let words = format!(
            "the card is folded near {at:03.0} C: headings cannot be told apart there; find the sensor another place"
        );
        reasons.push((Verdict::NotUsable, words));
    }
    reasons.sort_by_key(|(verdict, _)| std::cmp::Reverse(*verdict));
    card.verdict = reasons.iter().map(|(verdict, _)| *verdict).max().unwrap_or(Verdict::Good);
    card.reasons = reasons.into_iter().map(|(_, words)| words).collect();
}

/// The greatest deviation of whole degrees, with its sign, and its standard deviation.
pub fn greatest(card: &Card) -> (f64, f64) {
    (0..360)
        .map(|heading| card.deviation(f64::from(heading)))
        .max_by(|a, b| a.0.abs().total_cmp(&b.0.abs()))
        .unwrap_or((0.0, 0.0))
}

#[cfg(test)]
mod tests;
