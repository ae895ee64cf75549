//! The deviation card: deviation by compass heading, interpolated through north, and its inverse.

use core::fmt;

use heapless::Vec;

use crate::angle::CIRCLE;
use crate::angle::Turn;
use crate::heading::Compass;
use crate::heading::Magnetic;

/// One line of a card.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct CardPoint {
    /// The COMPASS heading it is for.
    pub compass: Compass,
    /// The deviation there, east plus.
    pub deviation: Turn,
}

/// A deviation card: 2 to 72 points, sorted, distinct, and with an inverse everywhere.
///
/// Between points it interpolates linearly, through north as anywhere else. How well that follows
/// the curve is a question of how many points there are: 72 where it matters.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Card {
    points: Vec<CardPoint, { Card::CAPACITY }>,
}

/// What is wrong with a card: the owner's file, or the place of the sensor.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum CardError {
    /// Fewer than two points.
    TooFew,
    /// More than [`Card::CAPACITY`] points.
    TooMany,
    /// The same compass heading twice.
    Twice {
        /// That heading.
        compass: Compass,
    },
    /// A deviation beyond 90 degrees: no card can be used there.
    TooLarge {
        /// The heading it is given for.
        compass: Compass,
        /// What was given.
        deviation: Turn,
    },
    /// Between these two headings the magnetic heading hardly moves, or moves backwards, while the
    /// compass turns: one magnetic heading would have several compass headings.
    Folded {
        /// Where the stretch begins.
        from: Compass,
        /// Where it ends.
        to: Compass,
    },
}

impl Card {
    /// Most points a card holds: one every 5 degrees.
    pub const CAPACITY: usize = 72;

    /// The slope `1 + d(deviation)/d(compass)` must exceed this many thousandths.
    const LEAST_SLOPE: i64 = 200;

    /// A card of `points`, in any order.
    ///
    /// # Errors
    /// [`CardError`] names the heading at fault.
    pub fn new(points: &[CardPoint]) -> Result<Self, CardError> {
        if points.len() < 2 {
            return Err(CardError::TooFew);
        }
        let mut sorted: Vec<CardPoint, { Self::CAPACITY }> = Vec::from_slice(points).map_err(|_| CardError::TooMany)?;
        sorted.sort_unstable_by_key(|point| point.compass.0);
        for point in &sorted {
            if point.deviation.size() > Turn::from_deg(90) {
                return Err(CardError::TooLarge { compass: point.compass, deviation: point.deviation });
            }
        }
        let card = Self { points: sorted };
        for index in 0..card.points.len() {
            let (low, high, step) = card.stretch(index);
            if step == 0 || (step == CIRCLE && card.points.len() > 1) {
                return Err(CardError::Twice { compass: low.compass });
            }
            let rise = i64::from(step) + i64::from((high.deviation - low.deviation).as_mdeg());
            if rise * 1000 <= Self::LEAST_SLOPE * i64::from(step) {
                return Err(CardError::Folded { from: low.compass, to: high.compass });
            }
        }
        Ok(card)
    }

    /// The points, by rising compass heading.
    pub fn points(&self) -> &[CardPoint] {
        &self.points
    }

    /// The deviation at a COMPASS heading, east plus, rounded to the nearest millidegree.
    pub fn deviation(&self, compass: Compass) -> Turn {
        // The last point at or before the heading; before the first one it is the last of all.
        let after = self.points.partition_point(|point| point.compass.0 <= compass.0);
        let index = if after == 0 { self.points.len() - 1 } else { after - 1 };
        let (low, high, step) = self.stretch(index);
        let along = (compass.0.as_mdeg() - low.compass.0.as_mdeg()).rem_euclid(CIRCLE);
        let rise = high.deviation - low.deviation;
        low.deviation + Turn::from_mdeg(divide_nearest(i64::from(rise.as_mdeg()) * i64::from(along), i64::from(step)))
    }

    /// The COMPASS heading whose corrected heading is `magnetic`, to a millidegree.
    ///
    /// Every card has exactly one, because a folded one cannot be made.
    pub fn compass(&self, magnetic: Magnetic) -> Compass {
        for index in 0..self.points.len() {
            let (low, high, step) = self.stretch(index);
            let start = low.compass.0 + low.deviation;
            let rise = i64::from(step) + i64::from((high.deviation - low.deviation).as_mdeg());
            let along = i64::from((magnetic.0.as_mdeg() - start.as_mdeg()).rem_euclid(CIRCLE));
            if along < rise {
                let compass = divide_nearest(along * i64::from(step), rise);
                return Compass(low.compass.0 + Turn::from_mdeg(compass));
            }
        }
        // The stretches tile the circle, so this is only reached by rounding at a joint.
        Compass(magnetic.0 - self.deviation(Compass(magnetic.0)))
    }

    /// The largest deviation on any heading, with its sign.
    pub fn greatest(&self) -> CardPoint {
        self.points.iter().copied().max_by_key(|point| point.deviation.size()).unwrap_or(self.points[0])
    }

    /// Point `index`, the one after it, and the way between them in millidegrees.
    fn stretch(&self, index: usize) -> (CardPoint, CardPoint, i32) {
        let low = self.points[index];
        let high = self.points[(index + 1) % self.points.len()];
        let step = (high.compass.0.as_mdeg() - low.compass.0.as_mdeg()).rem_euclid(CIRCLE);
        (low, high, step)
    }
}

/// `a / b` for positive `b`, rounded to the nearest, halves away from zero.
fn divide_nearest(a: i64, b: i64) -> i32 {
    let rounded = if a >= 0 { (a + b / 2) / b } else { (a - b / 2) / b };
    i32::try_from(rounded).unwrap_or(if rounded > 0 { i32::MAX } else { i32::MIN })
}

impl fmt::Display for CardError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::TooFew => f.write_str("a card needs at least two points"),
            Self::TooMany => write!(f, "a card holds at most {} points", Card::CAPACITY),
            Self::Twice { compass } => write!(f, "compass heading {compass} stands there twice"),
            Self::TooLarge { compass, .. } => {
                write!(f, "the deviation at {compass} is over 90 degrees: is the number in degrees?")
            }
            Self::Folded { from, to } => write!(
                f,
                "the card folds between {from} and {to}: there one magnetic heading has several compass \
                 headings; the sensor must move to a better place"
            ),
        }
    }
}

impl core::error::Error for CardError {}

/// A point in whole degrees of heading and millidegrees of deviation.
#[cfg(test)]
pub(super) fn point(compass_deg: i32, deviation_mdeg: i32) -> CardPoint {
    let compass = Compass(crate::angle::Bearing::from_deg(compass_deg));
    CardPoint { compass, deviation: Turn::from_mdeg(deviation_mdeg) }
}
