//! The heading algebra: compass, magnetic and true headings, and what leads from one to the next.
//!
//! `magnetic = compass + deviation(compass)`, `true = magnetic + variation`; east is plus. The
//! three kinds of heading are three types, and only a [`Card`] and a [`Variation`] lead from one to
//! the next.

mod card;

pub use card::{Card, CardError, CardPoint};

use core::fmt;

use crate::angle::Bearing;
use crate::angle::Turn;

/// A heading as a magnetic sensor reads it, deviation still in it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Compass(pub Bearing);

/// A heading against magnetic north.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Magnetic(pub Bearing);

/// A heading against true north.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct True(pub Bearing);

/// Magnetic variation: the angle from true to magnetic north, east plus.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub struct Variation(pub Turn);

impl Compass {
    /// The magnetic heading, by an amount of deviation already looked up.
    #[inline]
    pub fn corrected(self, deviation: Turn) -> Magnetic {
        Magnetic(self.0 + deviation)
    }

    /// The magnetic heading, by the card.
    pub fn by_card(self, card: &Card) -> Magnetic {
        self.corrected(card.deviation(self))
    }

    /// The magnetic heading where no deviation is known; every output marks it `uncorrected`.
    #[inline]
    pub fn uncorrected(self) -> Magnetic {
        Magnetic(self.0)
    }
}

impl Magnetic {
    /// The true heading.
    #[inline]
    pub fn to_true(self, variation: Variation) -> True {
        True(self.0 + variation.0)
    }

    /// The compass heading to steer by, by the card.
    pub fn to_compass(self, card: &Card) -> Compass {
        card.compass(self)
    }
}

impl True {
    /// The magnetic heading.
    #[inline]
    pub fn to_magnetic(self, variation: Variation) -> Magnetic {
        Magnetic(self.0 - variation.0)
    }
}

impl fmt::Display for Compass {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} C", self.0)
    }
}

impl fmt::Display for Magnetic {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} M", self.0)
    }
}

impl fmt::Display for True {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} T", self.0)
    }
}

#[cfg(test)]
mod tests;
