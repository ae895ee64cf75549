//! From what was typed and what the boat file says to what the watch is kept with.

use std::path::PathBuf;

use lubber_core::alert::AlertKind;
use lubber_core::frame::ChecksumPolicy;
use lubber_core::monitor::Settings;
use lubber_core::monitor::SourceSettings;
use lubber_core::picture::SourceId;

use super::Args;
use super::keys;
use super::page;
use crate::boat::sounder::Sounder;
use crate::command::limits::limits;
use crate::command::sources;
use crate::exit::Failure;
use crate::input::InputError;
use crate::input::OpenOptions;
use crate::input::Source;
use crate::record::Limits;
use crate::view;
use crate::view::Sources;

/// All that a watch is kept with.
pub(super) struct Setup {
    pub(super) inputs: Vec<Source>,
    pub(super) options: OpenOptions,
    pub(super) settings: Settings,
    pub(super) sources: Sources,
    /// The boat file that was used.
    pub(super) boat_file: Option<PathBuf>,
    /// The boat's name.
    pub(super) boat: Option<String>,
    /// Where the boat file wants the page.
    pub(super) page_wanted: Option<std::net::SocketAddr>,
    /// The card that is used, and what is to be said about it.
    pub(super) card: Option<PathBuf>,
    pub(super) findings: Vec<String>,
    /// Where the watch is spoken to.
    pub(super) control: Option<PathBuf>,
    /// Where alerts are announced.
    pub(super) announce: Option<String>,
    /// Where every line is kept, and what that keeps to.
    pub(super) record: Option<PathBuf>,
    pub(super) record_limits: Limits,
    /// Where the page is.
    pub(super) page: Option<String>,
    /// Whether keys are listened to.
    pub(super) keys: bool,
    /// Where the journal is written.
    pub(super) journal: Option<PathBuf>,
    /// The owner's sounder, and what sounds in words, where anything is to.
    pub(super) sounder: Sounder,
    pub(super) sounder_words: Option<String>,
    /// Where what stands is kept.
    pub(super) state: Option<PathBuf>,
}

impl Setup {
    pub(super) fn of(args: &Args) -> Result<Self, Failure> {
        let (boat_file, boat) = sources::boat(args.boat.as_deref())?;
        let (card_path, card_file) = sources::card(args.card.as_deref(), &boat)?.unzip();
        let mut findings = card_file.as_ref().map(|card| card.findings.clone()).unwrap_or_default();
        let mut settings = boat.settings(card_file.as_ref().map(|file| file.card.clone()));
        settings.watchkeeper = args.watchkeeper.or(settings.watchkeeper);
        if let Some(heading) = args.heading {
            settings.primary = Some(heading);
        }
        let sensor = card_file.as_ref().and_then(|card| card.sensor);
        match (sensor, settings.primary) {
            (Some(sensor), None) => settings.primary = Some(sensor),
            (Some(sensor), Some(primary)) if sensor != primary => findings.push(format!(
                "the card is of {sensor}, but the watch is kept by {primary}: a card fits only the sensor it was made for"
            )),
            _ => {}
        }

        let mut named = sources::named(&args.sources, &boat)?;
        if let Some(rule) = args.checksum {
            named.iter_mut().for_each(|source| source.checksum = rule.into());
        }
        settings.sources = Default::default();
        settings.source_count = u8::try_from(named.len().min(SourceId::MAX)).unwrap_or(0);
        for (slot, source) in settings.sources.iter_mut().zip(&named) {
            *slot = SourceSettings { checksum: source.checksum, may_acknowledge: source.may_acknowledge };
        }
        let mut options = args.reading.options(named.iter().map(|source| source.checksum).collect());
        options.live.keep_trying = args.keep_trying;
        let (inputs, names) = named
            .into_iter()
            .map(|source| {
                let name = source.name.unwrap_or_else(|| source.input.to_string());
                (source.input, view::Source { name, checksum: source.checksum })
            })
            .unzip();
        Ok(Self {
            inputs,
            options,
            settings,
            sources: Sources::new(names),
            boat_file,
            boat: boat.name,
            page_wanted: boat.page.map(|at| at.unwrap_or(page::USUAL)),
            card: card_path,
            findings,
            control: None,
            announce: args.announce.as_ref().map(ToString::to_string),
            record: args.record.clone(),
            record_limits: limits(boat.record)?,
            page: None,
            keys: false,
            journal: args.journal.clone().or(boat.journal),
            sounder: boat.sounder,
            sounder_words: None,
            state: None,
        })
    }

    /// An input's refusal, with what only the verb knows.
    pub(super) fn explain(&self, error: &InputError) -> Failure {
        sources::explain(error, self.boat_file.as_deref())
    }

    /// What the watch is kept with, a name and a text each.
    pub(super) fn lines(&self) -> Vec<(&'static str, String)> {
        let mut lines = Vec::new();
        if let Some(boat) = &self.boat {
            lines.push(("boat", boat.clone()));
        }
        for (id, source) in self.sources.iter() {
            let rule = match source.checksum {
                ChecksumPolicy::Required => "",
                ChecksumPolicy::Optional => ", lines without a checksum pass",
                ChecksumPolicy::Ignored => ", CHECKSUM IGNORED: damaged lines pass as good ones",
            };
            let may = self.settings.sources.get(id.index()).is_some_and(|settings| settings.may_acknowledge);
            let may = if may { ", may acknowledge alerts" } else { "" };
            lines.push(("source", format!("{}{may}{rule}", source.name)));
        }
        lines.push((
            "boat file",
            self.boat_file.as_ref().map_or("none, every setting is the default".into(), |f| f.display().to_string()),
        ));
        lines.push(("card", self.card.as_ref().map_or("none".into(), |f| f.display().to_string())));
        let primary = self.settings.primary;
        lines.push(("heading", primary.map_or("the best one heard".into(), |name| name.to_string())));
        let off: Vec<_> = AlertKind::ALL
            .iter()
            .zip(&self.settings.limits)
            .filter(|(_, limits)| limits.disabled)
            .map(|(kind, _)| kind.name())
            .collect();
        if !off.is_empty() {
            lines.push(("switched off", off.join(", ")));
        }
        if let Some(watchkeeper) = self.settings.watchkeeper {
            let minutes = watchkeeper.after().as_s() as f64 / 60.0;
            lines.push(("watchkeeper", format!("asked after {minutes} min without a key or a word to the watch")));
        }
        if let Some(sink) = &self.announce {
            lines.push(("announce", sink.clone()));
        }
        if let Some(folder) = &self.record {
            lines.push(("record", folder.display().to_string()));
        }
        if let Some(journal) = &self.journal {
            lines.push(("journal", journal.display().to_string()));
        }
        if let Some(page) = &self.page {
            lines.push(("page", page.clone()));
        }
        if let Some(sounder) = &self.sounder_words {
            lines.push(("sounder", sounder.clone()));
        }
        if let Some(state) = &self.state {
            lines.push(("state", state.display().to_string()));
        }
        if let Some(control) = &self.control {
            lines.push(("control", control.display().to_string()));
        }
        if self.keys {
            lines.push(("keys", keys::help()));
        }
        for finding in &self.findings {
            lines.push(("note", finding.clone()));
        }
        lines
    }
}

/// What only a log can obey is refused for a live line, not passed over.
pub(super) fn refuse_for_live(args: &Args) -> Result<(), Failure> {
    if args.pace.is_some() {
        return Err(sources::for_logs("--pace"));
    }
    args.reading.refuse_for_live()
}
