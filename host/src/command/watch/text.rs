//! The watch as text, for people.

use std::io;

use lubber_core::alert::Priority;
use lubber_core::monitor::Event;
use lubber_core::monitor::Monitor;
use lubber_core::monitor::Status;
use lubber_core::time::Instant;
use lubber_core::time::Span;

use super::SAFETY;
use super::desk;
use super::desk::Desk;
use super::desk::stamp;
use super::setup::Setup;
use crate::boat::sounder::Sounder;
use crate::session::Ending;
use crate::session::Heard;
use crate::session::Moment;
use crate::session::Pace;
use crate::session::Remark;
use crate::session::Sink;
use crate::session::Word;
use crate::terminal::Bell;
use crate::terminal::Progress;
use crate::terminal::Screen;
use crate::view::Stamp;
use crate::view::alert;
use crate::view::judging;
use crate::view::notice;
use crate::view::status;
use crate::view::status_line;
use crate::view::summary::Summary;
use crate::view::summary::account;
use crate::view::text::Row;
use crate::view::text::Tone;
use crate::view::text::wrap;

type Stdout = io::BufWriter<anstream::AutoStream<io::Stdout>>;

/// Writes lines for people, and on a terminal keeps the status line in place.
pub(super) struct TextSink {
    desk: Desk,
    screen: Screen<Stdout>,
    live: bool,
    /// Whether the bell of the terminal is rung, and whether it is all that sounds.
    bell: bool,
    only_bell: bool,
    /// How often the status line is shown.
    every: Span,
    next_status: Instant,
    /// The day that was written last.
    day: Option<String>,
    /// Sentences when the status line was shown last: no news is not shown again and again.
    sentences: u64,
    /// When the bell is rung again for an alarm that nobody answers, and how long after that.
    next_bell: Instant,
    bell_again: Span,
    /// How far a replay is.
    percent: Option<String>,
    bar: Option<Progress>,
}

/// What a test of the sounder says.
pub(super) const SOUND_TEST: &str = "a test of the sounder: nothing is wrong";

const MINUTE: Span = Span::from_min(1);
/// Where nothing came in, a pipe still says so this often.
const NO_NEWS: Span = Span::from_min(60);

impl TextSink {
    pub(super) fn new(desk: Desk, live: bool, pace: Option<Pace>, sounder: &Sounder) -> Self {
        let screen = Screen::stdout();
        let every = match pace {
            _ if !screen.is_terminal() => MINUTE,
            // Twice a second of real time, but not finer than the log's own seconds.
            Some(pace) => Span::from_ms((pace.log_ms_a_second() / 2).max(1000)),
            None if live => Span::from_s(1),
            None => MINUTE,
        };
        Self {
            desk,
            screen,
            live,
            bell: sounder.bell,
            only_bell: sounder.alarm.is_none(),
            every,
            next_status: Instant::default() + every,
            day: None,
            sentences: 0,
            next_bell: Instant::default(),
            // In real time, however fast a log goes.
            bell_again: Span::from_ms(sounder.every.as_s() * pace.map_or(1000, Pace::log_ms_a_second).max(1000)),
            percent: None,
            bar: None,
        }
    }

    /// Says what the watch is kept with, and that it is an aid.
    pub(super) fn begin(&mut self, setup: &Setup) -> io::Result<()> {
        let width = self.screen.width();
        let mut rows = vec![Row::default().and(Tone::Title, "lubber keeps watch")];
        rows.extend(wrap(SAFETY, width, 0).into_iter().map(Row::plain));
        for (name, text) in setup.lines() {
            for (place, line) in wrap(&text, width, 16).into_iter().enumerate() {
                let name = if place == 0 { name } else { "" };
                rows.push(Row::plain(format!("  {name:<13} {}", line.trim_start())));
            }
        }
        rows.push(Row::default());
        self.screen.rows(&rows)?;
        if self.tries_bell() {
            self.screen.ring(Bell::Alarm)?;
        }
        self.screen.flush()
    }

    /// Whether the bell is rung, and how long after that again.
    pub(super) const fn bell(&self) -> (bool, Span) {
        (self.bell, self.bell_again)
    }

    /// Whether the bell is to be tried at the start: one that is switched off is missed then, and not at night.
    pub(super) const fn tries_bell(&self) -> bool {
        self.live && self.only_bell && self.bell
    }

    pub(super) fn alarmed(&self) -> bool {
        self.desk.ledger.alarmed
    }

    /// Keeps account of an event that another display shows.
    #[inline]
    pub(super) fn silent_event(&mut self, moment: Moment, event: &Event<'_>) {
        self.desk.ledger.event(stamp(moment), event);
    }

    /// Keeps account of how it stands, which another display shows.
    pub(super) fn silent_look(&mut self, moment: Moment, status: &Status) {
        self.desk.look(moment, status);
        self.desk.told_judging = true;
    }

    /// Rows that belong to a moment, under the day they are of.
    fn rows(&mut self, at: Stamp, rows: &[Row]) -> io::Result<()> {
        self.date(at)?;
        self.screen.rows(rows)?;
        self.flush()
    }

    fn date(&mut self, at: Stamp) -> io::Result<()> {
        let day = at.day();
        if day.is_some() && day != self.day {
            let words = format!("{} UTC", day.as_deref().unwrap_or_default());
            self.screen.rows(&[Row::default().and(Tone::Title, words)])?;
            self.day = day;
        }
        Ok(())
    }

    fn flush(&mut self) -> io::Result<()> {
        if self.desk.prompt || self.screen.is_terminal() { self.screen.flush() } else { Ok(()) }
    }

    fn ring(&mut self, at: Stamp, priority: Priority) -> io::Result<()> {
        if !self.desk.prompt || !self.bell {
            return Ok(());
        }
        self.next_bell = Instant::from_ms(at.since_start_ms) + self.bell_again;
        match priority {
            Priority::Alarm => self.screen.ring(Bell::Alarm),
            Priority::Warning => self.screen.ring(Bell::Warning),
            Priority::Caution => Ok(()),
        }
    }

    fn show_status(&mut self, at: Stamp, status: &Status) -> io::Result<()> {
        let sentences = self.desk.ledger.kinds.total().read;
        let news = sentences != self.sentences || self.screen.is_terminal();
        if !news && at.since_start_ms % NO_NEWS.as_ms() >= self.every.as_ms() {
            return Ok(());
        }
        self.sentences = sentences;
        self.date(at)?;
        let width = self.screen.status_width();
        let row = status_line::row(at, status, &self.desk.sources, self.percent.as_deref(), width);
        self.screen.status(row)?;
        self.flush()
    }

    /// The next status line, on a whole minute of UTC where that is known.
    fn schedule(&mut self, at: Stamp, now: Instant) {
        let into = match at.utc_ms {
            Some(utc) => u64::try_from(utc.rem_euclid(i64::try_from(self.every.as_ms()).unwrap_or(1))).unwrap_or(0),
            None => 0,
        };
        self.next_status = now + Span::from_ms(self.every.as_ms() - into);
    }
}

impl Sink for TextSink {
    #[inline]
    fn event(&mut self, moment: Moment, event: &Event<'_>) -> io::Result<()> {
        self.desk.ledger.event(stamp(moment), event);
        let at = stamp(moment);
        let width = self.screen.width();
        match event {
            Event::Alert(change) => {
                if let Some(watched) = self.desk.judging.before(at, change) {
                    self.rows(at, &notice::rows(at, &judging::words(at, watched), width))?;
                }
                self.rows(at, &alert::rows(at, change, &self.desk.sources, width))?;
                if alert::sounds(change) { self.ring(at, change.priority) } else { Ok(()) }
            }
            Event::Notice(notice) => self.rows(at, &notice::rows(at, &notice::words(notice), width)),
            _ => Ok(()),
        }
    }

    fn remark(&mut self, moment: Moment, remark: Remark<'_>) -> io::Result<()> {
        let (_, text) = desk::remark(remark, &self.desk.sources);
        let at = stamp(moment);
        self.rows(at, &notice::rows(at, &text, self.screen.width()))
    }

    fn heard(&mut self, moment: Moment, heard: &Heard) -> io::Result<()> {
        match heard.word {
            Word::SoundTest => {
                let at = stamp(moment);
                self.rows(at, &notice::rows(at, SOUND_TEST, self.screen.width()))?;
                self.ring(at, Priority::Alarm)?;
                self.flush()
            }
            _ => Ok(()),
        }
    }

    #[inline]
    fn due(&self) -> Instant {
        self.desk.next_look.min(self.next_status)
    }

    fn look(&mut self, moment: Moment, monitor: &Monitor) -> io::Result<()> {
        let status = monitor.status(moment.now);
        let at = stamp(moment);
        self.desk.look(moment, &status);
        let width = self.screen.width();
        if self.desk.first_judging(at, &status.judging, false) {
            self.rows(at, &status::unjudged_rows(at, &status, width))?;
        }
        for change in self.desk.judging.changes(at, &status.judging) {
            self.rows(at, &notice::rows(at, &judging::words(at, change), width))?;
        }
        if self.next_status <= moment.now {
            self.show_status(at, &status)?;
            self.schedule(at, moment.now);
        }
        if self.next_bell <= moment.now {
            let loudest =
                status.alerts.iter().filter(|change| alert::sounds(change)).map(|change| change.priority).max();
            if loudest == Some(Priority::Alarm) {
                self.ring(at, Priority::Alarm)?;
                self.flush()?;
            }
        }
        Ok(())
    }

    fn progress(&mut self, read: u64, total: Option<u64>) {
        self.bar.get_or_insert_with(|| Progress::new(total)).at(read);
        if self.screen.is_terminal() {
            self.percent = total.filter(|total| *total > 0).map(|total| format!("{} % read", read * 100 / total));
        }
    }

    fn end(&mut self, moment: Moment, monitor: &Monitor, ending: Ending) -> io::Result<()> {
        if let Some(bar) = &self.bar {
            bar.done();
        }
        let status = monitor.status(moment.now);
        let at = stamp(moment);
        self.desk.look(moment, &status);
        let width = self.screen.width();
        self.percent = None;
        if self.desk.first_judging(at, &status.judging, true) {
            self.rows(at, &status::unjudged_rows(at, &status, width))?;
        }
        self.date(at)?;
        let row = status_line::row(at, &status, &self.desk.sources, None, self.screen.status_width());
        self.screen.status(row)?;
        self.screen.settle()?;
        let counts = account(&self.desk.sources, |id| monitor.counts(id));
        let Desk { ledger, sources, .. } = &self.desk;
        let interrupted = ending == Ending::Interrupted;
        let rows = Summary { ledger, sources, counts: &counts, end: at, interrupted }.rows(width);
        self.screen.rows(&[Row::default()])?;
        self.screen.rows(&rows)?;
        // The last line is the one that is seen.
        if self.live {
            let why = match ending {
                Ending::Interrupted => "interrupted",
                Ending::InputsEnded => "the inputs have ended",
            };
            let row = Row::plain(format!("{} ", at.clock()))
                .and(Tone::Warning, "END OF THE WATCH")
                .and(Tone::Plain, format!(", {why}: nobody keeps watch now"));
            self.screen.rows(&[Row::default(), row])?;
            if self.bell {
                self.screen.ring(Bell::End)?;
            }
        }
        self.screen.flush()
    }
}
