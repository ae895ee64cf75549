//! The ordered heading: what it is, against which north, who ordered it.

use core::fmt;

use crate::angle::Bearing;
use crate::picture::Origin;
use crate::picture::Reference;

/// A direction that carries its reference: `135 C`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Referred {
    /// The direction.
    pub bearing: Bearing,
    /// The north it is counted from.
    pub reference: Reference,
}

/// What the owner tells the watch about how the boat is steered.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Command {
    /// Steer this heading.
    Steer(Referred),
    /// Steer the heading she has now, in the pilot's own compass.
    SteerHere,
    /// Steered by the wind: off-heading is not judged, and that is always shown.
    SteerWind,
    /// Steered by hand: off-heading is not judged, and that is always shown.
    SteerHand,
    /// The owner's order no longer stands; the wire or the first steady minute decides again.
    Cancel,
}

/// Who gave the order in force.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum OrderedBy {
    /// The owner.
    Owner,
    /// A sentence: HTD, HTC or HSC.
    Wire(Origin),
    /// A sentence that is held although the pilot has said since that it stands by: somebody took it off, or
    /// it dropped out.
    StoodBy(Origin),
    /// Nobody: the mean of the first steady minute.
    FirstSteadyMinute,
}

/// How the boat is steered.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub enum Steering {
    /// No order is known yet.
    #[default]
    Unknown,
    /// To a heading.
    Heading {
        /// The order.
        order: Referred,
        /// Who gave it.
        by: OrderedBy,
        /// A wire order that has gone stale: held, and marked.
        held: bool,
    },
    /// By the wind.
    Wind,
    /// By hand.
    Hand,
}

impl fmt::Display for Referred {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} {}", self.bearing, self.reference.letter())
    }
}
