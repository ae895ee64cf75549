//! Recorded logs replayed: pulled piece by piece, several merged by time, deterministic.

use std::fs;
use std::io;
use std::io::Read;
use std::path::Path;

use lubber_core::frame::ChecksumPolicy;
use lubber_core::picture::SourceId;
use lubber_core::time::Instant;

use crate::input::InputError;
use crate::input::LogNote;
use crate::input::NoteKind;
use crate::input::Source;
use crate::input::lines::LineBuffer;
use crate::input::log::Log;
use crate::input::log::Taken;
use crate::input::probe::probe;
use crate::input::unpack;
use crate::input::unpack::CutShort;
use crate::input::unpack::Logs;

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
pub struct Replay {
    logs: Vec<Log>,
    /// The log's own time at which the replay began.
    origin: i64,
    at: Instant,
    total: Option<u64>,
    notes: Vec<LogNote>,
    more_notes: u32,
}

/// A log that is opened and not yet looked at.
pub(crate) struct Opened {
    pub(crate) from: Source,
    pub(crate) input: Box<dyn Read + Send>,
    pub(crate) bytes: Option<u64>,
    pub(crate) cut_short: CutShort,
}

/// Most remarks that wait to be taken.
const NOTES_AT_MOST: usize = 256;

impl Replay {
    /// Opens the logs and looks at their beginnings. Standard input is taken to be a log.
    ///
    /// # Errors
    /// [`InputError`] says which log cannot be replayed, why, and the remedy.
    pub fn open(sources: &[Source], options: &ReplayOptions) -> Result<Self, InputError> {
        let open = |source: &Source| match source {
            Source::File(path) => open_file(source, path),
            _ => open_stream(source, Box::new(io::stdin())),
        };
        Self::of(sources.iter().map(open).collect::<Result<_, _>>()?, options)
    }

    /// A replay of logs that are opened.
    pub(crate) fn of(opened: Vec<Opened>, options: &ReplayOptions) -> Result<Self, InputError> {
        if let Some(rate) = options.rate.filter(|rate| !(0.001..=100_000.0).contains(rate)) {
            return Err(InputError::Rate { rate });
        }
        let total = opened.iter().map(|log| log.bytes).sum();
        let mut probed = Vec::new();
        for (at, Opened { from, input, cut_short, .. }) in opened.into_iter().enumerate() {
            let policy = options.checksums.get(at).copied().unwrap_or_default();
            let mut lines = LineBuffer::new(input);
            let probe = probe(&from, &mut lines, policy, options.start, options.rate)?;
            probed.push((from, lines, policy, cut_short, probe));
        }
        // A log without a date is laid beside one with a date, as near as its time of day allows.
        let dated = probed.iter().find(|(.., probe)| probe.dated);
        let near = dated.or(probed.first()).map_or(0, |(.., probe)| probe.first);
        let mut logs: Vec<Log> = probed
            .into_iter()
            .map(|(from, lines, policy, cut_short, probe)| {
                let mut log = Log::new(from, lines, policy, &probe, near);
                log.cut_short = cut_short;
                log
            })
            .collect();
        let mut origin = i64::MAX;
        for log in &mut logs {
            origin = origin.min(log.peek()?.unwrap_or(i64::MAX));
        }
        Ok(Self { logs, origin, at: Instant::default(), total, notes: Vec::new(), more_notes: 0 })
    }

    /// The next piece; `None` at the end of all logs.
    ///
    /// # Errors
    /// [`InputError::Refused`] when a log can no longer be read.
    #[expect(clippy::should_implement_trait, reason = "a piece borrows the buffer it lies in")]
    pub fn next(&mut self) -> Result<Option<Piece<'_>>, InputError> {
        let Some((own, index)) = self.first()? else { return Ok(None) };
        self.at = self.at.max(self.instant(own));
        let at = self.at;
        let source = SourceId(u8::try_from(index).unwrap_or(u8::MAX));
        let taken = self.logs[index].take();
        Ok(taken.map(|Taken { utc, bytes, .. }| Piece { source, at, utc_ms: utc, bytes }))
    }

    /// Reads on to the next piece without handing it out, so that what is remarked of the time before it
    /// can be taken before it.
    ///
    /// # Errors
    /// As [`Self::next`].
    #[inline]
    pub fn look_ahead(&mut self) -> Result<(), InputError> {
        self.first().map(|_| ())
    }

    /// The log whose next piece is the earliest, and the moment of that by the log's own time.
    #[inline]
    fn first(&mut self) -> Result<Option<(i64, usize)>, InputError> {
        let mut first: Option<(i64, usize)> = None;
        for index in 0..self.logs.len() {
            let own = self.logs[index].peek()?;
            if !self.logs[index].notes.is_empty() {
                self.collect_notes(index);
            }
            if let Some(own) = own
                && first.is_none_or(|(earliest, _)| own < earliest)
            {
                first = Some((own, index));
            }
        }
        Ok(first)
    }

    /// How far it is.
    pub fn progress(&self) -> Progress {
        Progress { read: self.logs.iter().map(Log::taken).sum(), total: self.total }
    }

    /// Whether there are remarks to be taken.
    #[inline]
    pub fn has_notes(&self) -> bool {
        !self.notes.is_empty() || self.more_notes > 0
    }

    /// The remarks since the last call, oldest first.
    pub fn take_notes(&mut self) -> Vec<LogNote> {
        let count = std::mem::take(&mut self.more_notes);
        if count > 0 {
            let kind = NoteKind::More { count };
            self.notes.push(LogNote { source: SourceId::default(), at: self.at, utc_ms: None, kind });
        }
        std::mem::take(&mut self.notes)
    }

    fn instant(&self, own: i64) -> Instant {
        Instant::from_ms(u64::try_from(own.saturating_sub(self.origin)).unwrap_or(0))
    }

    #[cold]
    fn collect_notes(&mut self, index: usize) {
        let source = SourceId(u8::try_from(index).unwrap_or(u8::MAX));
        for (own, utc_ms, kind) in std::mem::take(&mut self.logs[index].notes) {
            if self.notes.len() < NOTES_AT_MOST {
                let at = self.instant(own);
                self.notes.push(LogNote { source, at, utc_ms, kind });
            } else {
                self.more_notes += 1;
            }
        }
    }
}

/// Opens a log on disk, or all logs of a folder.
pub(crate) fn open_file(from: &Source, path: &Path) -> Result<Opened, InputError> {
    let refused = |error: io::Error| InputError::file(from, "open", &error);
    let about = fs::metadata(path).map_err(refused)?;
    let cut_short = CutShort::default();
    if about.is_dir() {
        let logs = Logs::of(path, &cut_short).map_err(refused)?;
        let logs = logs.ok_or_else(|| refused(io::ErrorKind::IsADirectory.into()))?;
        return Ok(Opened { from: from.clone(), input: Box::new(logs), bytes: None, cut_short });
    }
    let (input, packed) = unpack::open(path, &cut_short).map_err(refused)?;
    // A pipe or a device has no length, and of a compressed log it is not known beforehand.
    let bytes = (about.is_file() && !packed).then_some(about.len());
    Ok(Opened { from: from.clone(), input, bytes, cut_short })
}

/// A log that comes from a stream.
pub(crate) fn open_stream(from: &Source, input: Box<dyn Read + Send>) -> Result<Opened, InputError> {
    let cut_short = CutShort::default();
    let (input, _) = unpack::plain(input, &cut_short).map_err(|error| InputError::file(from, "read", &error))?;
    Ok(Opened { from: from.clone(), input, bytes: None, cut_short })
}
