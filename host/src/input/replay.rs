//! Recorded logs replayed: pulled piece by piece, several merged by time, deterministic.

use lubber_core::frame::ChecksumPolicy;
use lubber_core::picture::SourceId;
use lubber_core::time::Instant;

use crate::input::InputError;
use crate::input::LogNote;
use crate::input::Source;

/// How logs are replayed.
#[derive(Clone, Debug, Default)]
pub struct ReplayOptions {
    /// The time of the first line, Unix milliseconds: for a log without a time, or without a date.
    pub start: Option<i64>,
    /// Sentences per second, for a log without any time.
    pub rate: Option<f64>,
    /// What the checksums of each source must be; missing entries are `Required`. Only a sentence
    /// that this lets pass may drive time.
    pub checksums: Vec<ChecksumPolicy>,
}

/// Consecutive bytes of one log that share one moment; lines are never split between pieces unless
/// they are longer than 4 KiB.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Piece<'a> {
    /// Which log.
    pub source: SourceId,
    /// Milliseconds since the (earliest) log began; never goes back.
    pub at: Instant,
    /// The log's own UTC, Unix milliseconds; `None` where its date is not known.
    pub utc_ms: Option<i64>,
    /// The bytes as recorded, stamps and line ends included; never empty.
    pub bytes: &'a [u8],
}

/// How far a replay is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Progress {
    /// Bytes handed out.
    pub read: u64,
    /// Bytes in all; `None` where a log comes from standard input.
    pub total: Option<u64>,
}

/// Several logs, merged by time.
#[derive(Debug)]
pub struct Replay {}

impl Replay {
    /// Opens the logs and looks at their beginnings.
    ///
    /// # Errors
    /// [`InputError`] says which log cannot be replayed, why, and the remedy.
    pub fn open(sources: &[Source], options: &ReplayOptions) -> Result<Self, InputError> {
        let _ = (sources, options);
        todo!()
    }

    /// The next piece; `None` at the end of all logs.
    ///
    /// # Errors
    /// [`InputError::Refused`] when a log can no longer be read.
    #[expect(clippy::should_implement_trait, reason = "a piece borrows the buffer it lies in")]
    pub fn next(&mut self) -> Result<Option<Piece<'_>>, InputError> {
        todo!()
    }

    /// How far it is.
    pub fn progress(&self) -> Progress {
        todo!()
    }

    /// The remarks since the last call, oldest first; costs nothing where there are none.
    pub fn take_notes(&mut self) -> Vec<LogNote> {
        todo!()
    }
}
