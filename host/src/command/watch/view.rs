//! The watch on a whole screen.

use std::collections::VecDeque;
use std::io;
use std::sync::Arc;
use std::sync::atomic::AtomicBool;
use std::sync::atomic::Ordering;

use lubber_core::alert::AlertKind;
use lubber_core::alert::OFF_HEADING_LIMIT;
use lubber_core::alert::Priority;
use lubber_core::monitor::Event;
use lubber_core::monitor::Monitor;
use lubber_core::monitor::Status;
use lubber_core::picture::Steering;
use lubber_core::time::Instant;
use lubber_core::time::Span;

use super::desk::stamp;
use super::setup::Setup;
use super::text::SOUND_TEST;
use super::text::TextSink;
use crate::session::Ending;
use crate::session::Heard;
use crate::session::Moment;
use crate::session::Remark;
use crate::session::Sink;
use crate::session::Word;
use crate::terminal::Bell;
use crate::terminal::FullScreen;
use crate::terminal::cockpit::Scene;
use crate::terminal::cockpit::TRACE_S;
use crate::view::Sources;
use crate::view::Stamp;
use crate::view::alert;
use crate::view::doubt::doubt;
use crate::view::facts;
use crate::view::notice;
use crate::view::status::unjudged;
use crate::view::text::Row;
use crate::view::text::Tone;
use crate::view::text::wrap;

/// Shows the watch on the whole screen; what is to be read later is kept by the text that it stands before.
pub(super) struct ViewSink {
    /// What is written when the screen is given back: the account and the end.
    text: TextSink,
    screen: FullScreen,
    sources: Sources,
    boat: Option<String>,
    keys: &'static [(&'static str, u8)],
    /// Where to read what finds no room, if this watch can be asked.
    more: &'static str,
    night: Arc<AtomicBool>,
    trace: VecDeque<(Option<f64>, u64)>,
    log: VecDeque<Row>,
    next: Instant,
    every: Span,
    next_bell: Instant,
    bell_again: Span,
    bell: bool,
    progress: Option<String>,
}

/// Rows of what happened that are kept for tall screens.
const LOG: usize = 50;

/// Whoever presses keys for the view.
pub(super) struct ViewKeys {
    night: Arc<AtomicBool>,
    anew: Box<dyn Fn() + Send + Sync>,
    give_back: Box<dyn Fn() + Send + Sync>,
}

impl ViewKeys {
    /// `n`: night; Ctrl-L: painted anew. Whether the key was one of these.
    pub(super) fn pressed(&self, key: u8) -> bool {
        match key {
            b'n' | b'N' => {
                self.night.fetch_xor(true, Ordering::Relaxed);
                true
            }
            0x0c => {
                (self.anew)();
                true
            }
            _ => false,
        }
    }

    /// The program is about to end.
    pub(super) fn ending(&self) {
        (self.give_back)();
    }
}

impl ViewSink {
    /// `log_ms_a_second`: how fast a replay goes; none for a live watch.
    pub(super) fn new(
        text: TextSink,
        setup: &Setup,
        keys: &'static [(&'static str, u8)],
        log_ms_a_second: Option<u64>,
    ) -> io::Result<Self> {
        let pace = log_ms_a_second.unwrap_or(1000).max(1000);
        let (bell, bell_again) = text.bell();
        let mut screen = FullScreen::enter()?;
        if text.tries_bell() {
            screen.ring(Bell::Alarm)?;
        }
        Ok(Self {
            text,
            screen,
            sources: setup.sources.clone(),
            boat: setup.boat.clone(),
            keys,
            more: if setup.control.is_some() { ": lubber status" } else { "" },
            night: Arc::default(),
            trace: VecDeque::new(),
            log: VecDeque::new(),
            next: Instant::default(),
            // Twice a second of real time for a replay, but not finer than the log's own seconds.
            every: Span::from_ms((pace / 2).max(1000)),
            next_bell: Instant::default(),
            bell_again,
            bell,
            progress: None,
        })
    }

    /// What the keys of the view do.
    pub(super) fn keys(&self) -> ViewKeys {
        ViewKeys {
            night: Arc::clone(&self.night),
            anew: Box::new(self.screen.paint_anew()),
            give_back: Box::new(self.screen.give_back()),
        }
    }

    pub(super) fn alarmed(&self) -> bool {
        self.text.alarmed()
    }

    fn note(&mut self, rows: Vec<Row>) {
        // What is past does not flash.
        self.log.extend(rows.into_iter().map(|row| Row::plain(row.words())));
        while self.log.len() > LOG {
            self.log.pop_front();
        }
    }

    fn ring(&mut self, moment: Moment, priority: Priority) -> io::Result<()> {
        self.next_bell = moment.now + self.bell_again;
        match priority {
            Priority::Alarm if self.bell => self.screen.ring(Bell::Alarm),
            Priority::Warning if self.bell => self.screen.ring(Bell::Warning),
            _ => Ok(()),
        }
    }

    fn scene(&self, at: Stamp, status: &Status, monitor: &Monitor) -> Scene {
        let width = self.screen.width();
        let mut head = Row::default().and(Tone::Title, at.clock());
        // The alerts before the name: a narrow screen cuts off what stands last.
        head = head.and(Tone::Plain, "  ");
        head.0.extend(facts::alerts(status).0);
        if let Some(boat) = &self.boat {
            head = head.and(Tone::Plain, format!("  {boat}"));
        }
        if let Some(progress) = &self.progress {
            head = head.and(Tone::Quiet, format!("  {progress}"));
        }
        let order = match status.steering {
            Steering::Heading { order, .. } if doubt(status).is_some() => format!("order {order}, heading DOUBTED"),
            Steering::Heading { order, .. } => format!("order {order}"),
            Steering::Wind => "by the wind".into(),
            Steering::Hand => "by hand".into(),
            Steering::Unknown => "no order yet".into(),
        };
        let trace = self.trace.iter().filter_map(|(off, ms)| {
            let ago = at.since_start_ms.saturating_sub(*ms) as f64 / 1000.0;
            off.map(|off| (off, ago))
        });
        let limit = monitor.limit(AlertKind::OffHeading).limit.unwrap_or(OFF_HEADING_LIMIT);
        let alerts =
            status.alerts.iter().map(|change| alert::entry(at.back_to(change.at), change, &self.sources, width));
        let mut notes = Vec::new();
        let list: Vec<String> = unjudged(&status.judging).map(|(kind, why)| format!("{kind} ({why})")).collect();
        if !list.is_empty() {
            let words = format!("NOT WATCHED: {}", list.join(", "));
            let lines = wrap(&words, width.saturating_sub(2), 2).into_iter().enumerate();
            notes.extend(lines.map(|(place, line)| {
                let line = if place == 0 { line.trim_start() } else { &line };
                Row::default().and(Tone::Caution, line)
            }));
        }
        for (id, source) in self.sources.iter() {
            let counts = monitor.counts(id);
            let refused = counts.refused_total();
            let words = format!("{}: {} sentences, {refused} refused", source.name, counts.sentences);
            notes.push(Row::default().and(Tone::Quiet, words));
        }
        // The night before the end, which is the last one.
        let mut keys = self.keys.to_vec();
        keys.insert(keys.len().saturating_sub(1), ("n night", 3));
        Scene {
            head,
            order,
            trace: trace.collect(),
            limit_deg: f64::from(limit.as_mdeg()) / 1000.0,
            facts: facts::facts(status),
            alerts: alerts.collect(),
            more: self.more,
            notes,
            log: self.log.iter().cloned().collect(),
            keys,
            night: self.night.load(Ordering::Relaxed),
        }
    }
}

impl Sink for ViewSink {
    fn event(&mut self, moment: Moment, event: &Event<'_>) -> io::Result<()> {
        self.text.silent_event(moment, event);
        let at = stamp(moment);
        match event {
            Event::Alert(change) => {
                let rows = alert::rows(at, change, &self.sources, 1000);
                self.note(rows.into_iter().take(1).collect());
                // It is seen at once, and not with the next second.
                self.next = moment.now;
                if alert::sounds(change) { self.ring(moment, change.priority) } else { Ok(()) }
            }
            Event::Notice(notice) => {
                self.note(notice::rows(at, &notice::words(notice), 1000));
                Ok(())
            }
            _ => Ok(()),
        }
    }

    fn remark(&mut self, moment: Moment, remark: Remark<'_>) -> io::Result<()> {
        let (_, words) = super::desk::remark(remark, &self.sources);
        self.note(notice::rows(stamp(moment), &words, 1000));
        Ok(())
    }

    fn heard(&mut self, moment: Moment, heard: &Heard) -> io::Result<()> {
        match heard.word {
            Word::SoundTest => {
                self.note(notice::rows(stamp(moment), SOUND_TEST, 1000));
                self.ring(moment, Priority::Alarm)
            }
            _ => Ok(()),
        }
    }

    fn due(&self) -> Instant {
        self.next
    }

    fn look(&mut self, moment: Moment, monitor: &Monitor) -> io::Result<()> {
        let status = monitor.status(moment.now);
        let at = stamp(moment);
        self.text.silent_look(moment, &status);
        let off = status.off.map(|off| f64::from(off.as_mdeg()) / 1000.0);
        if self.trace.back().is_none_or(|(_, ms)| at.since_start_ms.saturating_sub(*ms) >= 1000) {
            self.trace.push_back((off, at.since_start_ms));
        }
        let oldest = at.since_start_ms.saturating_sub((TRACE_S * 1000.0) as u64);
        while self.trace.front().is_some_and(|(_, ms)| *ms < oldest) {
            self.trace.pop_front();
        }
        self.next = moment.now + self.every;
        if self.next_bell <= moment.now {
            let sounding = status.alerts.iter().filter(|change| alert::sounds(change));
            if sounding.map(|change| change.priority).max() == Some(Priority::Alarm) {
                self.ring(moment, Priority::Alarm)?;
            }
        }
        let scene = self.scene(at, &status, monitor);
        self.screen.draw(&scene)
    }

    fn progress(&mut self, read: u64, total: Option<u64>) {
        self.progress = total.filter(|total| *total > 0).map(|total| format!("{} % read", read * 100 / total));
    }

    fn end(&mut self, moment: Moment, monitor: &Monitor, ending: Ending) -> io::Result<()> {
        // The account and the end of the watch are for the screen that stays.
        self.screen.leave();
        self.text.end(moment, monitor, ending)
    }
}
