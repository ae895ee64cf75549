//! The journal's companion: from the watch's events and looks to what the journal keeps.

use std::fs;
use std::path::Path;

use lubber_core::alert::AlertKind;
use lubber_core::alert::Part;
use lubber_core::arbiter::AlertChange;
use lubber_core::arbiter::State;
use lubber_core::frame::Counts;
use lubber_core::monitor::AlertCommand;
use lubber_core::monitor::Event;
use lubber_core::monitor::Monitor;
use lubber_core::monitor::Notice;
use lubber_core::picture::OrderedBy;
use lubber_core::picture::SourceId;
use lubber_core::picture::Steering;
use lubber_core::time::Instant;
use lubber_core::time::Span;
use sha2::Digest;
use sha2::Sha256;

use super::chronicle;
use super::company::Companion;
use super::desk;
use super::desk::stamp;
use super::setup::Setup;
use crate::boat::card::CardFile;
use crate::exit::Failure;
use crate::journal::AlertEntry;
use crate::journal::Begin;
use crate::journal::CardUsed;
use crate::journal::End;
use crate::journal::Entry;
use crate::journal::Gathering;
use crate::journal::Health;
use crate::journal::Journal;
use crate::journal::Judges;
use crate::journal::Minute;
use crate::journal::Patience;
use crate::journal::Sample;
use crate::journal::WordEntry;
use crate::session::Ending;
use crate::session::Heard;
use crate::session::Moment;
use crate::session::Remark;
use crate::session::Report;
use crate::session::Word;
use crate::view::Sources;
use crate::view::Stamp;
use crate::view::alert;
use crate::view::ledger::reason;
use crate::view::notice;

/// Keeps the journal of a watch.
pub(super) struct Diary {
    journal: Journal,
    sources: Sources,
    gathering: Gathering,
    next: Instant,
    /// UTC at the start of the watch, as it was told last.
    base_utc_ms: Option<i64>,
    feeds: Vec<Feed>,
    /// What is judged and why not, as it was told last.
    judged: Vec<Option<&'static str>>,
    told_judging: bool,
    /// Words of this moment of which nobody has said yet whose they are: that comes right after them.
    unsigned: Vec<WordEntry>,
    /// When it was reported last that the journal does not work, and that it works again, held back.
    failed: Option<Instant>,
    mended: Option<Report>,
    now: Instant,
}

/// One source between two minutes.
#[derive(Clone, Copy, Debug, Default)]
struct Feed {
    last: Instant,
    is_silent: bool,
    gaps: i64,
    silent: Span,
    counts: Option<Counts>,
}

/// How often the picture is looked at.
const LOOK: Span = Span::from_s(1);
/// A silence over this is a gap: longer than any sensor of a boat that has one sentence a second may pause.
const GAP: Span = Span::from_s(5);
/// A fault that is mended at once, such as a damaged file moved aside, stands for so long all the same: what
/// nobody was told of nobody looks after.
const STANDS: Span = Span::from_s(2);
/// The limit of off-heading unless it is set: DESIGN.md, 15 degrees.
const LIMIT_MDEG: i32 = 15_000;
/// A time this far from the one that was told is told again: a first date that was wrong.
const ANOTHER_DATE_MS: u64 = 60_000;

impl Diary {
    /// Begins the journal at `path`; whatever is wrong with the file is reported and not refused.
    pub(super) fn begin(path: &Path, setup: &Setup, live: bool, prompt: bool) -> Result<Self, Failure> {
        let place = AlertKind::ALL.iter().position(|kind| *kind == AlertKind::OffHeading);
        let limit = place.and_then(|place| setup.settings.limits.get(place)).and_then(|limits| limits.limit);
        let limit_mdeg = i64::from(limit.map_or(LIMIT_MDEG, |limit| limit.as_mdeg()));
        let mut settings: Vec<(String, String)> = Vec::new();
        for (name, text) in setup.lines().into_iter().filter(|(name, _)| *name != "boat") {
            // A name that comes twice (source, note) is one of several.
            let again = settings.iter().filter(|(known, _)| known.split(' ').next() == Some(name)).count();
            let name = if again == 0 { name.to_owned() } else { format!("{name} {}", again + 1) };
            settings.push((name, text));
        }
        let begin = Begin {
            version: env!("CARGO_PKG_VERSION").into(),
            boat: setup.boat.clone(),
            replayed: !live,
            limit_mdeg,
            settings,
            card: setup.card.as_deref().map(card).transpose()?,
        };
        let patience = if prompt { Patience::Never } else { Patience::WhileItWrites };
        Ok(Self {
            journal: Journal::begin(path.to_owned(), begin, patience),
            sources: setup.sources.clone(),
            gathering: Gathering::new(limit_mdeg),
            next: Instant::default() + LOOK,
            base_utc_ms: None,
            feeds: vec![Feed::default(); setup.sources.iter().count()],
            judged: vec![None; AlertKind::ALL.len()],
            told_judging: false,
            unsigned: Vec::new(),
            failed: None,
            mended: None,
            now: Instant::default(),
        })
    }

    fn alert(&mut self, moment: Moment, change: &AlertChange) {
        let answer = match change.state {
            State::ActiveAcknowledged => Some("acknowledge"),
            State::ActiveSilenced => Some("silence"),
            _ => None,
        };
        let at = stamp(moment);
        if let Some(what) = answer
            && !self.unsigned.iter().any(|word| word.what == what && word.at == at)
        {
            self.unsign(at, what, Some(true), format!("{what}d by the owner"));
        }
        self.journal.keep(Entry::Alert(AlertEntry {
            at,
            alert: change.kind.to_string(),
            instance: alert::instance(change.instance, &self.sources),
            occurrence: change.occurrence,
            priority: change.priority.to_string(),
            state: change.state.word().into(),
            escalated: change.escalated,
            repeated: change.repeated,
            follows: change.follows.map(|cause| cause.to_string()),
            text: alert::words(change, &self.sources),
            values: alert::values_json(change, &self.sources),
        }));
    }

    fn word(&self, at: Stamp, who: &str, what: &str, obeyed: Option<bool>, text: String) {
        self.journal.keep(Entry::Word(WordEntry { at, who: who.into(), what: what.into(), obeyed, text }));
    }

    /// A word of the owner's, or an answer that may be the wire's, until it is known.
    fn unsign(&mut self, at: Stamp, what: &str, obeyed: Option<bool>, text: String) {
        self.unsigned.push(WordEntry { at, who: "owner".into(), what: what.into(), obeyed, text });
    }

    /// Nobody has said whose the words were: given with the watch's own start, they are the owner's.
    fn keep_unsigned(&mut self) {
        for word in self.unsigned.drain(..) {
            self.journal.keep(Entry::Word(word));
        }
    }

    fn command(&mut self, moment: Moment, command: &AlertCommand) {
        if command.obeyed {
            // The answers were the wire's, and its command is kept in their place.
            self.unsigned.retain(|word| word.what == "order");
        }
        let what = match command.command {
            b'A' => "acknowledge",
            b'S' => "silence",
            _ => "command",
        };
        let done = if command.obeyed { "obeyed" } else { "refused" };
        let text = format!("{what} {} by {}: {done}", command.kind, self.sources.name(command.source));
        self.word(stamp(moment), "wire", what, Some(command.obeyed), text);
    }

    fn notice(&mut self, moment: Moment, notice: &Notice) {
        let (at, text) = (stamp(moment), notice::words(notice));
        match notice {
            Notice::Steering(Steering::Heading { by: OrderedBy::Owner, .. } | Steering::Wind | Steering::Hand) => {
                // Another order: the one before came with the watch's own start.
                if self.unsigned.iter().any(|word| word.what == "order") {
                    self.keep_unsigned();
                }
                self.unsign(at, "order", None, text);
            }
            Notice::Steering(Steering::Heading { by: OrderedBy::Wire(_), .. }) => {
                self.word(at, "wire", "order", None, text);
            }
            Notice::Steering(_) => self.word(at, "watch", "order", None, text),
            _ => self.word(at, "watch", "notice", None, text),
        }
    }

    /// A minute is over: it is kept, with the health of each source and what is judged by now.
    fn minute(&mut self, moment: Moment, monitor: &Monitor, minute: Minute) {
        let at = minute.at;
        self.journal.keep(Entry::Minute(minute));
        for ((id, source), feed) in self.sources.iter().zip(&mut self.feeds) {
            let now = *monitor.counts(id);
            let since = |of: fn(&Counts) -> u64| {
                let before = feed.counts.as_ref().map_or(0, of);
                i64::try_from(of(&now).saturating_sub(before)).unwrap_or(i64::MAX)
            };
            let silent = feed.silent.max(moment.now.since(feed.last));
            self.journal.keep(Entry::Health(Health {
                at,
                source: source.name.clone(),
                sentences: since(|counts| counts.sentences),
                refused: since(Counts::refused_total),
                bytes: since(|counts| counts.bytes_in),
                gaps: feed.gaps,
                silent_ms: i64::try_from(silent.as_ms()).unwrap_or(i64::MAX),
            }));
            *feed = Feed { gaps: 0, silent: Span::ZERO, counts: Some(now), ..*feed };
        }
        let at = stamp(moment);
        for ((kind, judging), told) in AlertKind::ALL.iter().zip(monitor.judging()).zip(&mut self.judged) {
            let why = judging.err().map(reason);
            if self.told_judging && *told == why {
                continue;
            }
            *told = why;
            let (alert, why) = (kind.to_string(), why.map(str::to_owned));
            self.journal.keep(Entry::Judges(Judges { at, alert, why }));
        }
        self.told_judging = true;
    }

    /// UTC is known, or known to be another than it was said to be.
    fn time(&mut self, moment: Moment) {
        let at = stamp(moment);
        let Some(base) = at.utc_ms.and_then(|utc| utc.checked_sub_unsigned(at.since_start_ms)) else { return };
        if self.base_utc_ms.is_none_or(|before| before.abs_diff(base) > ANOTHER_DATE_MS) {
            self.base_utc_ms = Some(base);
            self.journal.keep(Entry::Utc(at));
        }
    }
}

/// What the journal says of a card.
fn card(path: &Path) -> Result<CardUsed, Failure> {
    let card = CardFile::read(path)?;
    let digest = fs::read(path).ok().map(|bytes| hex(&Sha256::digest(bytes)));
    let mut coefficients = [None; 5];
    if let Some(fit) = &card.fit {
        for (place, slot) in coefficients.iter_mut().enumerate() {
            #[expect(clippy::cast_possible_truncation, reason = "saturates; a deviation is under 180 degrees")]
            let mdeg = |deg: f64| (deg * 1000.0).round() as i64;
            let value = fit.coefficients.0.get(place).copied().map(mdeg);
            *slot = value.filter(|_| fit.determined.get(place).copied().unwrap_or(false));
        }
    }
    Ok(CardUsed {
        file: path.display().to_string(),
        digest,
        sensor: card.sensor.map(|sensor| sensor.to_string()),
        date: card.date.map(|date| format!("{:04}-{:02}-{:02}", date.year(), date.month(), date.day())),
        coefficients,
    })
}

fn hex(bytes: &[u8]) -> String {
    use std::fmt::Write;
    bytes.iter().fold(String::with_capacity(2 * bytes.len()), |mut out, byte| {
        // Writing to a String cannot fail.
        let _ = write!(out, "{byte:02x}");
        out
    })
}

impl Companion for Diary {
    #[inline]
    fn received(&mut self, moment: Moment, source: SourceId, _bytes: &[u8]) {
        if let Some(feed) = self.feeds.get_mut(source.index()) {
            feed.silent = feed.silent.max(moment.now.since(feed.last));
            feed.last = moment.now;
            feed.is_silent = false;
        }
    }

    fn event(&mut self, moment: Moment, event: &Event<'_>) {
        if self.unsigned.first().is_some_and(|word| word.at != stamp(moment)) {
            self.keep_unsigned();
        }
        self.time(moment);
        match event {
            Event::Alert(change) => self.alert(moment, change),
            Event::Command(command) => self.command(moment, command),
            Event::Notice(notice) => self.notice(moment, notice),
            _ => {}
        }
    }

    fn remark(&mut self, moment: Moment, remark: &Remark<'_>) {
        let (what, text) = desk::remark(*remark, &self.sources);
        self.word(stamp(moment), "watch", what, None, text);
    }

    fn heard(&mut self, moment: Moment, heard: &Heard) {
        let at = stamp(moment);
        let ordered = matches!(heard.word, Word::Order(_)) && heard.heeded;
        if ordered && !self.unsigned.iter().any(|word| word.what == "order" && word.at == at) {
            // The same order again, or none any more: nothing else tells of it.
            self.unsign(at, "order", None, chronicle::said(heard.word));
        }
        let who = heard.by.word();
        for word in self.unsigned.iter_mut().filter(|word| word.at == at) {
            word.who = who.into();
            if word.obeyed.is_some() {
                word.text += &format!(" ({who})");
            }
        }
        self.keep_unsigned();
    }

    fn due(&self) -> Instant {
        self.next
    }

    fn look(&mut self, moment: Moment, monitor: &Monitor) {
        self.next = moment.now + LOOK;
        self.now = moment.now;
        self.keep_unsigned();
        self.time(moment);
        for feed in &mut self.feeds {
            if !feed.is_silent && moment.now.since(feed.last) > GAP {
                feed.is_silent = true;
                feed.gaps += 1;
            }
        }
        if let Some(minute) = self.gathering.add(stamp(moment), &Sample::of(monitor, moment.now)) {
            self.minute(moment, monitor, minute);
        }
    }

    fn report(&mut self) -> Option<Report> {
        if self.mended.is_none() {
            let report = self.journal.report()?;
            let report = Report { part: Part::Journal, works: report.works, why: report.why };
            if !report.works {
                self.failed = Some(self.now);
                return Some(report);
            }
            self.mended = Some(report);
        }
        let stands = self.failed.is_some_and(|failed| self.now < failed + STANDS);
        if stands { None } else { self.mended.take() }
    }

    fn end(&mut self, moment: Moment, monitor: &Monitor, ending: Ending) {
        self.keep_unsigned();
        if let Some(minute) = self.gathering.finish() {
            self.minute(moment, monitor, minute);
        }
        let how = match ending {
            Ending::InputsEnded => "inputs-ended",
            Ending::Interrupted => "interrupted",
        };
        self.journal.end(End { at: stamp(moment), how: how.into() });
        // Nobody asks any more, so what is still to be told is told here.
        let held = self.mended.take().map(|report| (report.works, report.why));
        let left = std::iter::from_fn(|| self.journal.report().map(|report| (report.works, report.why)));
        for (works, why) in held.into_iter().chain(left) {
            let works = if works { "works" } else { "DOES NOT WORK" };
            anstream::eprintln!("lubber: the journal {works}: {why}");
        }
    }
}
