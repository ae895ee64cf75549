//! The watch as JSON lines, for programs.

use std::io;
use std::io::Write;

use lubber_core::alert::AlertKind;
use lubber_core::alert::Why;
use lubber_core::monitor::Event;
use lubber_core::monitor::Monitor;
use lubber_core::time::Instant;
use lubber_core::time::Span;

use super::SAFETY;
use super::desk;
use super::desk::Desk;
use super::desk::stamp;
use super::setup::Setup;
use crate::session::Ending;
use crate::session::Moment;
use crate::session::Remark;
use crate::session::Sink;
use crate::terminal::Progress;
use crate::view::Stamp;
use crate::view::alert;
use crate::view::json::object;
use crate::view::judging;
use crate::view::judging::Change;
use crate::view::notice;
use crate::view::policy_word;
use crate::view::status;
use crate::view::summary::Summary;
use crate::view::summary::account;

/// Writes one JSON object a line.
pub(super) struct JsonSink<W: Write> {
    desk: Desk,
    out: io::BufWriter<W>,
    /// The line being made; kept, so that no line costs an allocation.
    line: String,
    every: Option<Span>,
    next_status: Instant,
    live: bool,
    bar: Option<Progress>,
}

/// Large enough that a replay writes seldom.
const BUFFER: usize = 64 << 10;

impl<W: Write> JsonSink<W> {
    pub(super) fn new(desk: Desk, out: W, every: Option<Span>, live: bool) -> Self {
        let next_status = every.map_or(Instant::from_ms(u64::MAX), |every| Instant::default() + every);
        let out = io::BufWriter::with_capacity(BUFFER, out);
        Self { desk, out, line: String::new(), every, next_status, live, bar: None }
    }

    /// Says what the watch is kept with.
    pub(super) fn begin(&mut self, setup: &Setup) -> io::Result<()> {
        object(&mut self.line, |o| {
            o.null("at");
            o.number("since_start_ms", 0);
            o.text("notice", "start");
            o.text_or_null("boat_file", setup.boat_file.as_ref().map(|file| file.display()));
            o.text_or_null("card", setup.card.as_ref().map(|file| file.display()));
            o.text_or_null("control", setup.control.as_ref().map(|path| path.display()));
            o.text_or_null("sounder", setup.sounder_words.as_ref());
            o.text_or_null("state", setup.state.as_ref().map(|path| path.display()));
            o.text_or_null("page", setup.page.as_ref());
            o.text_or_null("heading", setup.settings.primary);
            o.objects("sources", self.desk.sources.iter(), |o, (_, source)| {
                o.text("name", &source.name);
                o.text("checksum", policy_word(source.checksum));
            });
            o.texts("findings", &setup.findings);
            o.text("safety", SAFETY);
        });
        self.send()
    }

    pub(super) fn alarmed(&self) -> bool {
        self.desk.ledger.alarmed
    }

    fn send(&mut self) -> io::Result<()> {
        self.line.push('\n');
        self.out.write_all(self.line.as_bytes())?;
        self.line.clear();
        if self.desk.prompt { self.out.flush() } else { Ok(()) }
    }

    fn end_of_watch(&mut self, at: Stamp, text: &str) -> io::Result<()> {
        object(&mut self.line, |o| {
            o.text_or_null("at", at.iso());
            o.number("since_start_ms", at.since_start_ms);
            o.text("notice", "end");
            o.text("text", text);
        });
        self.send()
    }
}

/// As it is told a first time: since when is not known.
const fn unwatched(kind: AlertKind, why: Why) -> Change {
    Change { kind, judging: Err(why), lasting_ms: 0 }
}

impl<W: Write> Sink for JsonSink<W> {
    #[inline]
    fn event(&mut self, moment: Moment, event: &Event<'_>) -> io::Result<()> {
        self.desk.ledger.event(stamp(moment), event);
        match event {
            Event::Alert(change) => {
                if let Some(watched) = self.desk.judging.before(stamp(moment), change) {
                    judging::json(&mut self.line, stamp(moment), watched);
                    self.send()?;
                }
                alert::json(&mut self.line, stamp(moment), change, &self.desk.sources);
            }
            Event::Notice(notice) => notice::json(&mut self.line, stamp(moment), notice),
            _ => return Ok(()),
        }
        self.send()
    }

    fn remark(&mut self, moment: Moment, remark: Remark<'_>) -> io::Result<()> {
        let (key, text) = desk::remark(remark, &self.desk.sources);
        let at = stamp(moment);
        let sources = &self.desk.sources;
        object(&mut self.line, |o| {
            o.text_or_null("at", at.iso());
            o.number("since_start_ms", at.since_start_ms);
            o.text("notice", key);
            match remark {
                Remark::Log(note) => o.text("source", sources.name(note.source)),
                Remark::Works { source, works, heard, .. } => {
                    o.text("source", sources.name(source));
                    o.flag("works", works);
                    o.flag("heard", heard);
                }
                Remark::BaudFound { source, baud } => {
                    o.text("source", sources.name(source));
                    o.number("baud", baud);
                }
                Remark::Ended { source } => o.text("source", sources.name(source)),
                Remark::GapSkipped { ms } => o.number("skipped_ms", ms),
                Remark::RolloverMended { weeks } => o.number("weeks", weeks),
                Remark::Part { part, works, .. } => {
                    o.text("part", part);
                    o.flag("works", works);
                }
                Remark::Carried { text } => o.text("presented_again", text),
                Remark::Unheeded { .. } | Remark::Answered | Remark::NoModel { .. } => {}
            }
            o.text("text", text);
        });
        self.send()
    }

    #[inline]
    fn due(&self) -> Instant {
        self.desk.next_look.min(self.next_status)
    }

    fn look(&mut self, moment: Moment, monitor: &Monitor) -> io::Result<()> {
        let at = stamp(moment);
        let judging = monitor.judging();
        self.desk.judged(moment, judging);
        let changes = if self.desk.first_judging(at, judging, false) {
            status::unjudged(judging).map(|(kind, why)| unwatched(kind, why)).collect()
        } else {
            self.desk.judging.changes(at, judging)
        };
        for change in changes {
            judging::json(&mut self.line, at, change);
            self.send()?;
        }
        if let Some(every) = self.every.filter(|_| self.next_status <= moment.now) {
            let status = monitor.status(moment.now);
            let counts = |id| monitor.counts(id);
            status::json(&mut self.line, at, &status, &self.desk.sources, counts);
            self.send()?;
            // From the moment it was due, so that it stays in step; but never twice for one moment.
            self.next_status = self.next_status + every;
            if self.next_status <= moment.now {
                self.next_status = moment.now + every;
            }
        }
        Ok(())
    }

    fn progress(&mut self, read: u64, total: Option<u64>) {
        self.bar.get_or_insert_with(|| Progress::new(total)).at(read);
    }

    fn end(&mut self, moment: Moment, monitor: &Monitor, ending: Ending) -> io::Result<()> {
        if let Some(bar) = &self.bar {
            bar.done();
        }
        let status = monitor.status(moment.now);
        let at = stamp(moment);
        self.desk.look(moment, &status);
        if self.desk.first_judging(at, &status.judging, true) {
            for (kind, why) in status::unjudged(&status.judging) {
                judging::json(&mut self.line, at, unwatched(kind, why));
                self.send()?;
            }
        }
        if self.live {
            let why = match ending {
                Ending::Interrupted => "interrupted: nobody keeps watch now",
                Ending::InputsEnded => "the inputs have ended: nobody keeps watch now",
            };
            self.end_of_watch(at, why)?;
        }
        let counts = account(&self.desk.sources, |id| monitor.counts(id));
        let Desk { ledger, sources, .. } = &self.desk;
        let interrupted = ending == Ending::Interrupted;
        Summary { ledger, sources, counts: &counts, end: at, interrupted }.json(&mut self.line);
        self.send()?;
        self.out.flush()
    }
}
