//! What is told of: the watches that were asked for, and what of each.

use std::path::Path;
use std::path::PathBuf;

use crate::exit::Failure;
use crate::journal::AlertEntry;
use crate::journal::CardUsed;
use crate::journal::Health;
use crate::journal::Judges;
use crate::journal::Minute;
use crate::journal::ReadError;
use crate::journal::Reader;
use crate::journal::WatchRow;
use crate::journal::WordEntry;
use crate::view::Stamp;

/// Which watches are told of.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Which {
    /// The one that was begun last.
    Last,
    /// Every one.
    All,
    /// This one.
    Number(i64),
}

/// From when and until when, UTC in milliseconds.
pub(super) type Range = (Option<i64>, Option<i64>);

/// All that is told of.
pub(super) struct Passage {
    pub(super) journal: PathBuf,
    /// How many watches the journal knows.
    pub(super) known: usize,
    pub(super) range: Range,
    pub(super) watches: Vec<Watch>,
}

/// One watch, and what of it is told of.
pub(super) struct Watch {
    pub(super) row: WatchRow,
    /// Whether it is the one begun last: without an end it may still run.
    pub(super) newest: bool,
    pub(super) cards: Vec<CardUsed>,
    /// Every change of an alert, also from outside the range: what stood in it may have been raised before.
    pub(super) alerts: Vec<AlertEntry>,
    pub(super) words: Vec<WordEntry>,
    pub(super) minutes: Vec<Minute>,
    pub(super) health: Vec<Health>,
    pub(super) judging: Option<Vec<Judges>>,
    /// Milliseconds since its start between which it is told of.
    pub(super) span: (u64, u64),
}

impl Passage {
    /// Reads what was asked for.
    pub(super) fn gather(reader: &Reader, path: &Path, which: Which, range: Range) -> Result<Self, Failure> {
        let failed = |error: ReadError| Failure::new(error.to_string());
        let rows = reader.watches().map_err(failed)?;
        let (known, last) = (rows.len(), rows.last().map(|row| row.number));
        let Some(last) = last else {
            return Err(Failure::new(format!("{}: no watch is in it yet", path.display())));
        };
        let chosen: Vec<WatchRow> = rows
            .into_iter()
            .filter(|row| match which {
                Which::Last => row.number == last,
                Which::All => true,
                Which::Number(number) => row.number == number,
            })
            .collect();
        if chosen.is_empty() {
            return Err(Failure::new(format!(
                "{}: there is no such watch; there are {known}, the last is {last}",
                path.display()
            )));
        }
        let mut watches = Vec::new();
        for row in chosen {
            let Some(span) = span(&row, range) else { continue };
            watches.push(Watch::read(reader, row, last, span).map_err(failed)?);
        }
        if watches.is_empty() {
            return Err(Failure::new(format!(
                "{}: no watch was kept in that time; lubber passage --watch all shows when there was one",
                path.display()
            )));
        }
        Ok(Self { journal: path.to_owned(), known, range, watches })
    }

    /// Whether an alarm or a warning was raised or stood.
    pub(super) fn alarmed(&self) -> bool {
        self.watches.iter().any(|watch| watch.episodes().iter().any(|episode| episode.priority != "caution"))
    }
}

/// The part of a watch that lies in the range. Without UTC nobody can tell, and it is left out.
fn span(row: &WatchRow, (from, to): Range) -> Option<(u64, u64)> {
    let whole = (0, u64::try_from(row.lasted_ms).unwrap_or(0));
    if from.is_none() && to.is_none() {
        return Some(whole);
    }
    let began = row.began_utc_ms?;
    let since = |utc: i64| u64::try_from(utc.saturating_sub(began)).unwrap_or(0);
    let (first, last) = (from.map_or(whole.0, since), to.map_or(whole.1, since).min(whole.1));
    let before_it = to.is_some_and(|to| to <= began);
    (!before_it && first <= last).then_some((first, last))
}

impl Watch {
    /// Whether there was anybody who could have answered an alert: a log that is replayed as fast as it goes
    /// asks nobody, and one at a pace has somebody before it as soon as they say a word.
    pub(super) fn somebody_was_asked(&self) -> bool {
        !self.row.replayed || self.words.iter().any(|word| word.who == "owner")
    }

    fn read(reader: &Reader, row: WatchRow, last: i64, span: (u64, u64)) -> Result<Self, ReadError> {
        let within = |at: &Stamp| (span.0..=span.1).contains(&at.since_start_ms);
        let number = row.number;
        let mut watch = Self {
            newest: number == last,
            cards: reader.cards(number)?,
            alerts: reader.alerts(number)?,
            words: reader.words(number)?,
            minutes: reader.minutes(number)?,
            health: reader.health(number)?,
            judging: reader.judging(number)?,
            row,
            span,
        };
        watch.words.retain(|word| within(&word.at));
        watch.minutes.retain(|minute| within(&minute.at));
        watch.health.retain(|health| within(&health.at));
        Ok(watch)
    }

    /// How the watch ended, in a word.
    pub(super) fn ending(&self) -> &str {
        match &self.row.ending {
            Some(ending) => ending,
            None if self.newest => "running-or-cut-off",
            None => "cut-off",
        }
    }

    /// The stamp of a moment of this watch.
    pub(super) fn stamp(&self, since_start_ms: u64) -> Stamp {
        let since = i64::try_from(since_start_ms).unwrap_or(i64::MAX);
        Stamp { utc_ms: self.row.began_utc_ms.and_then(|began| began.checked_add(since)), since_start_ms }
    }
}
