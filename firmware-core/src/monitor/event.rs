//! What the monitor has to say.

use crate::angle::Turn;
use crate::arbiter::AlertChange;
use crate::frame::Line;
use crate::frame::Refused;
use crate::picture::Correction;
use crate::picture::Origin;
use crate::picture::SourceId;
use crate::picture::Steering;
use crate::picture::VariationInUse;
use crate::sentence::Decoded;
use crate::sentence::Malformed;

/// One thing the monitor has to say.
#[derive(Clone, Copy, Debug)]
pub enum Event<'a> {
    /// A sentence was read.
    Sentence {
        /// From which source.
        source: SourceId,
        /// Its line.
        line: &'a Line<'a>,
        /// What it says.
        decoded: &'a Decoded<'a>,
    },
    /// A line was framed, but its principal value cannot be used.
    Malformed {
        /// From which source.
        source: SourceId,
        /// The line.
        line: &'a Line<'a>,
        /// What is wrong with it.
        malformed: Malformed,
    },
    /// Bytes began as a line and are none.
    Refused {
        /// From which source.
        source: SourceId,
        /// What and why.
        refused: Refused<'a>,
    },
    /// An alert changed.
    Alert(AlertChange),
    /// Something the owner should see that is no alert.
    Notice(Notice),
}

/// What is worth a line in the log without being an alert.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Notice {
    /// The watch is now kept by this heading.
    HeadingSource {
        /// Which.
        origin: Origin,
        /// How it becomes magnetic.
        correction: Correction,
    },
    /// The order changed, or who gives it, or whether it is held.
    Steering(Steering),
    /// The source of the variation in use changed.
    Variation(VariationInUse),
    /// HDG carries a deviation and there is a card too; the wire's is used.
    DeviationConflict {
        /// Which talker.
        origin: Origin,
        /// What it carries.
        wire: Turn,
    },
    /// Two headings turned out to be one sensor.
    OneSensor {
        /// The one that counts.
        kept: Origin,
        /// The copy.
        copy: Origin,
    },
    /// The horizontal field is under 6000 nT: a magnetic heading is not to be trusted.
    WeakField {
        /// The field, nanotesla.
        horizontal_nt: i32,
    },
}
