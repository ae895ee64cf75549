//! What is read, as every verb that reads a data line is told it.

use std::path::Path;
use std::path::PathBuf;

use lubber_core::frame::ChecksumPolicy;

use super::words::instant;
use crate::boat::card::CardFile;
use crate::boat::file::BoatFile;
use crate::exit::Failure;
use crate::input::InputError;
use crate::input::OpenOptions;
use crate::input::ReplayOptions;
use crate::input::Source;
use crate::input::SourceError;
use crate::input::StdinKind;

/// What standard input is, and the time of logs that have none.
#[derive(Debug, clap::Args)]
pub(super) struct Reading {
    /// Standard input is live, whatever its first lines carry.
    #[arg(long, conflicts_with = "log")]
    live: bool,
    /// Standard input is a log and drives time.
    #[arg(long)]
    log: bool,
    /// For a log without a date: the time of its first line, such as 2026-07-14T02:00:00Z.
    #[arg(long, value_name = "TIME", value_parser = instant)]
    start: Option<i64>,
    /// For a log without any time: its sentences per second.
    #[arg(long, value_name = "N")]
    rate: Option<f64>,
}

impl Reading {
    /// How the inputs are opened, whose checksums must be so.
    pub(super) fn options(&self, checksums: Vec<ChecksumPolicy>) -> OpenOptions {
        let stdin = match (self.live, self.log) {
            (true, _) => StdinKind::Live,
            (_, true) => StdinKind::Log,
            _ => StdinKind::default(),
        };
        let replay = ReplayOptions { start: self.start, rate: self.rate, checksums };
        OpenOptions { stdin, replay, ..OpenOptions::default() }
    }

    /// Whether the owner said what standard input is.
    pub(super) const fn says_stdin(&self) -> bool {
        self.live || self.log
    }

    /// What only a log can obey is refused for a live line, not passed over.
    ///
    /// # Errors
    /// Which option it is.
    pub(super) fn refuse_for_live(&self) -> Result<(), Failure> {
        let given = [("--start", self.start.is_some()), ("--rate", self.rate.is_some())];
        given.iter().find(|(_, given)| *given).map_or(Ok(()), |(name, _)| Err(for_logs(name)))
    }
}

/// The refusal of what a live line cannot obey.
pub(super) fn for_logs(option: &str) -> Failure {
    Failure::new(format!("{option} is for recorded logs; on a live line the clock rules: leave it out"))
}

/// The boat file and what it says; without one the defaults.
///
/// # Errors
/// As [`BoatFile::find`]; and what it names as a source is none, whether or not that one is used now.
pub(super) fn boat(given: Option<&Path>) -> Result<(Option<PathBuf>, BoatFile), Failure> {
    let found = BoatFile::find(given)?;
    if let Some((_, boat)) = &found {
        boat.sources.iter().try_for_each(|source| input(source).map(|_| ()))?;
    }
    Ok(found.map_or_else(|| (None, BoatFile::default()), |(path, boat)| (Some(path), boat)))
}

/// The card in force, by whichever way it was named, and its file.
///
/// # Errors
/// As [`CardFile::read`]; with the place in the boat file, where that names it.
pub(super) fn card(given: Option<&Path>, boat: &BoatFile) -> Result<Option<(PathBuf, CardFile)>, Failure> {
    match given {
        Some(path) => Ok(Some((path.to_owned(), CardFile::read(path)?))),
        None => Ok(boat.card.clone().zip(boat.card_file()?)),
    }
}

/// What a source of the boat file is read from.
fn input(source: &crate::boat::file::Source) -> Result<Source, Failure> {
    source.from.parse().map_err(|error: SourceError| source.refuse(&error.expected))
}

/// A source with what the boat file says of it.
#[derive(Clone, Debug)]
pub(super) struct Named {
    pub(super) input: Source,
    /// Its name in the boat file, if that knows it.
    pub(super) name: Option<String>,
    pub(super) checksum: ChecksumPolicy,
    /// Whether ACN and ACK from it are obeyed.
    pub(super) may_acknowledge: bool,
}

/// The sources that were typed, each read as the boat file says where it knows it; none: those of the
/// boat file.
///
/// # Errors
/// What the boat file names is no source.
pub(super) fn named(typed: &[Source], boat: &BoatFile) -> Result<Vec<Named>, Failure> {
    let known = |input: Source, source: &crate::boat::file::Source| Named {
        input,
        name: Some(source.name.clone()),
        checksum: source.checksum,
        may_acknowledge: source.may_acknowledge,
    };
    if typed.is_empty() {
        return boat.sources.iter().map(|source| Ok(known(input(source)?, source))).collect();
    }
    let named = typed.iter().cloned().map(|input| {
        let typed = input.to_string();
        match boat.sources.iter().find(|source| source.from == typed) {
            Some(source) => known(input, source),
            None => Named { input, name: None, checksum: ChecksumPolicy::default(), may_acknowledge: false },
        }
    });
    Ok(named.collect())
}

/// An input's refusal, with what only the verb knows: its boat file.
pub(super) fn explain(error: &InputError, file: Option<&Path>) -> Failure {
    match (error, file) {
        (InputError::None, Some(file)) => {
            Failure::new(format!("{error}; or a [[source]] in {}, which has none", file.display()))
        }
        (InputError::None, None) => Failure::new(format!("{error}; or a [[source]] in boat.toml")),
        _ => Failure::new(error.to_string()),
    }
}
