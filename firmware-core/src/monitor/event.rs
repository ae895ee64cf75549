//! What the monitor has to say.

use crate::alert::AlertKind;
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
    /// The wire commanded something about an alert of ours, and this became of it.
    Command(AlertCommand),
    /// Something the owner should see that is no alert.
    Notice(Notice),
}

/// A command from the wire (ACN, ACK) about an alert of ours. Those about the alerts of others are
/// none of our business.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct AlertCommand {
    /// From which source.
    pub source: SourceId,
    /// Which alert.
    pub kind: AlertKind,
    /// Which of that kind, by [`AlertChange::number`]; none means all of them.
    pub instance: Option<u32>,
    /// The letter of ACN: `A` acknowledge, `S` silence; ACK is an `A`. Others are never obeyed.
    pub command: u8,
    /// Whether it was obeyed: the source may, the command is known, and the alert is not normal.
    pub obeyed: bool,
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
    /// A talker wants alerts acknowledged or silenced and its source may not; told once for each source.
    MayNotAcknowledge {
        /// Which.
        origin: Origin,
    },
    /// The horizontal field is under 6000 nT: a magnetic heading is not to be trusted.
    WeakField {
        /// The field, nanotesla.
        horizontal_nt: i32,
    },
}
