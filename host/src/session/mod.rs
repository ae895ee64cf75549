//! The session: one plain loop on one thread, between the inputs, the monitor and the displays.
//!
//! ```text
//! replay   a log drives time: before each piece the monitor is woken wherever it asked to be
//! live     the clock drives time: what lies in the queue first, then what is due
//! watch    both: feeds the monitor, hands every event on before the next one can be caused
//! upkeep   what the monitor is told meanwhile: the model's variation, the order "here"
//! pace     a replay held to N times real time; interrupt: the keyboard ends a watch cleanly
//! words    the owner's word from the terminal or the control socket, answered by the loop
//! ```
//! The session knows no display: it hands everything to a [`Sink`].

mod interrupt;
mod live;
mod pace;
mod replay;
mod upkeep;
mod watch;
mod words;

#[cfg(test)]
mod tests;

pub use interrupt::Interrupt;
pub use live::live;
pub use pace::{Pace, PaceError};
pub use replay::replay;
pub use words::{Answer, Heard, Speaker, Unanswered, Voice, Word, Words, words};

use std::io;

use lubber_core::alert::AlertKind;
use lubber_core::alert::Instance;
use lubber_core::alert::Part;
use lubber_core::monitor::Event;
use lubber_core::monitor::ModelVariation;
use lubber_core::monitor::Monitor;
use lubber_core::monitor::Settings;
use lubber_core::picture::Command;
use lubber_core::picture::SourceId;
use lubber_core::time::Instant;
use lubber_core::time::Span;
use lubber_core::unit::Position;

use crate::input::InputError;
use crate::input::LogNote;

/// A moment of the watch.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Moment {
    /// On the monitor's clock; its origin is the start of the watch.
    pub now: Instant,
    /// UTC, milliseconds since 1970, once the log or a talker gave it.
    pub utc_ms: Option<i64>,
}

/// Whoever is told what happens. An error ends the watch.
pub trait Sink {
    /// Bytes came in, as they came; their events follow.
    #[inline]
    fn received(&mut self, _moment: Moment, _source: SourceId, _bytes: &[u8]) {}

    /// The monitor said something.
    ///
    /// # Errors
    /// Whatever keeps the sink from taking it.
    fn event(&mut self, moment: Moment, event: &Event<'_>) -> io::Result<()>;

    /// The inputs said something.
    ///
    /// # Errors
    /// As [`Self::event`].
    fn remark(&mut self, moment: Moment, remark: Remark<'_>) -> io::Result<()>;

    /// Somebody said a word, and its events have been told.
    ///
    /// # Errors
    /// As [`Self::event`].
    fn heard(&mut self, _moment: Moment, _heard: &Heard) -> io::Result<()> {
        Ok(())
    }

    /// When it wants to look at the monitor next. After a look this must be later than the look.
    fn due(&self) -> Instant;

    /// It may look at the monitor.
    ///
    /// # Errors
    /// As [`Self::event`].
    fn look(&mut self, moment: Moment, monitor: &Monitor) -> io::Result<()>;

    /// What there is to tell about a part of the watch since the last look, one at a time.
    fn report(&mut self) -> Option<Report> {
        None
    }

    /// So many bytes of a log are read.
    fn progress(&mut self, read: u64, total: Option<u64>);

    /// The watch has ended; the last look.
    ///
    /// # Errors
    /// As [`Self::event`].
    fn end(&mut self, moment: Moment, monitor: &Monitor, ending: Ending) -> io::Result<()>;
}

/// What is worth telling beside the monitor's events.
#[derive(Clone, Copy, Debug)]
pub enum Remark<'a> {
    /// Something about a log's own time.
    Log(&'a LogNote),
    /// A gap so long that only its beginning was watched through.
    GapSkipped {
        /// Milliseconds of it that were jumped.
        ms: u64,
    },
    /// A live source began or ceased to work.
    Works {
        /// Which.
        source: SourceId,
        /// Whether it works now.
        works: bool,
        /// Whether a byte has come since it began to work: a port that is open works, and may never be
        /// spoken to.
        heard: bool,
        /// Why not, with the remedy.
        why: &'a str,
    },
    /// The speed of a serial line was found.
    BaudFound {
        /// Which.
        source: SourceId,
        /// Baud.
        baud: u32,
    },
    /// A live source came to its end.
    Ended {
        /// Which.
        source: SourceId,
    },
    /// The date of a live line was mended.
    RolloverMended {
        /// By how many weeks it was too early.
        weeks: u32,
    },
    /// A part of the watch itself began or ceased to work.
    Part {
        /// Which.
        part: Part,
        /// Whether it works now.
        works: bool,
        /// Why not, or what was lost meanwhile; may be empty.
        why: &'a str,
    },
    /// A word from the keyboard changed nothing: there was nothing to answer, or no heading to steer.
    Unheeded {
        /// The word.
        word: Word,
    },
    /// Somebody answered, and nothing stood: the watchkeeper's time begins again.
    Answered,
    /// Something stood when an earlier watch ended, and is told again.
    Carried {
        /// What it was and how long ago, in full.
        text: &'a str,
    },
    /// There is no variation by the model for this place and date.
    NoModel {
        /// Why.
        why: &'a str,
    },
}

/// A part of the watch failed, or works again: an alert and a line of text come of it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Report {
    /// Which.
    pub part: Part,
    /// Whether it works now.
    pub works: bool,
    /// Why not, with the remedy; or what was lost meanwhile.
    pub why: String,
}

/// How a watch ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Ending {
    /// The inputs have nothing more to say.
    InputsEnded,
    /// From the keyboard, or by the system.
    Interrupted,
}

/// An alert that nobody had answered when an earlier watch ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Carried {
    /// Which.
    pub kind: AlertKind,
    /// Of what.
    pub instance: Instance,
    /// How long before this watch began.
    pub ago: Span,
}

/// What an earlier watch left to this one.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Legacy {
    /// What is to be said of it.
    pub remarks: Vec<String>,
    /// The alerts that are presented again.
    pub alerts: Vec<Carried>,
    /// The owner's order, where this watch is given none.
    pub order: Option<Command>,
}

/// What a watch is kept with.
pub struct Orders<'a> {
    /// The owner's settings.
    pub settings: Settings,
    /// How the owner says the boat is steered, from the start.
    pub steer: Option<Command>,
    /// What an earlier watch left.
    pub legacy: Legacy,
    /// The model's variation at a position and a UTC in milliseconds since 1970.
    pub model: &'a mut dyn FnMut(Position, i64) -> Result<ModelVariation, String>,
    /// The keyboard.
    pub interrupt: &'a Interrupt,
    /// The owner's words while it runs; the default hears none.
    pub words: Words,
}

/// Why a watch could not be kept on.
#[derive(Debug, thiserror::Error)]
pub enum SessionError {
    /// A log cannot be read any more.
    #[error(transparent)]
    Input(#[from] InputError),
    /// The output cannot be written.
    #[error("cannot write the output: {0}")]
    Output(#[from] io::Error),
}
