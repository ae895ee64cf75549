//! The monitor with its sink: what the replay and the live loop have in common.

use std::io;

use lubber_core::monitor::Event;
use lubber_core::monitor::Monitor;
use lubber_core::picture::Command;
use lubber_core::picture::SourceId;
use lubber_core::time::Instant;

use crate::session::Answer;
use crate::session::Carried;
use crate::session::Ending;
use crate::session::Heard;
use crate::session::Legacy;
use crate::session::Moment;
use crate::session::Orders;
use crate::session::Remark;
use crate::session::Sink;
use crate::session::Voice;
use crate::session::Word;
use crate::session::pace::Pacer;
use crate::session::upkeep::Upkeep;

/// A monitor that is being fed.
pub(super) struct Watch<'a, S> {
    pub(super) monitor: Monitor,
    orders: Orders<'a>,
    pub(super) sink: &'a mut S,
    upkeep: Upkeep,
    pub(super) now: Instant,
    /// A UTC in milliseconds and the moment it was valid.
    utc: Option<(i64, Instant)>,
}

/// So many words are heard before the inputs have their turn again.
const WORDS_AT_ONCE: usize = 8;

/// Whoever takes the events of the rarer calls.
pub(super) type Out<'a> = &'a mut dyn FnMut(Event<'_>);

impl<'a, S: Sink> Watch<'a, S> {
    /// A watch that begins now, at zero of its clock.
    pub(super) fn new(orders: Orders<'a>, sink: &'a mut S) -> Self {
        let now = Instant::default();
        let monitor = Monitor::new(now, orders.settings.clone());
        let upkeep = Upkeep::new(now, orders.steer);
        Self { monitor, orders, sink, upkeep, now, utc: None }
    }

    /// Tells the owner's order; "here" waits for a heading. Then what an earlier watch left.
    pub(super) fn begin(&mut self) -> io::Result<()> {
        if let Some(steer) = self.orders.steer.filter(|_| !self.upkeep.here) {
            self.tell(|monitor, now, out| {
                monitor.order(now, steer, out);
            })?;
        }
        let Legacy { remarks, alerts, order } = std::mem::take(&mut self.orders.legacy);
        for text in &remarks {
            self.remark(Remark::Carried { text })?;
        }
        if let Some(command) = order.filter(|_| self.orders.steer.is_none()) {
            let mut heeded = false;
            self.tell(|monitor, now, out| heeded = monitor.order(now, command, out))?;
            let moment = self.moment();
            self.sink.heard(moment, &Heard { word: Word::Order(command), by: Voice::Earlier, heeded })?;
        }
        for Carried { kind, instance, ago } in alerts {
            self.tell(|monitor, now, out| monitor.present_again(now, kind, instance, ago, out))?;
        }
        Ok(())
    }

    /// The moment it is.
    pub(super) fn moment(&self) -> Moment {
        let since = |(utc, at): (i64, Instant)| utc + i64::try_from(self.now.since(at).as_ms()).unwrap_or(0);
        Moment { now: self.now, utc_ms: self.utc.map(since) }
    }

    /// It is so much UTC now.
    #[inline]
    pub(super) fn utc(&mut self, utc_ms: i64) {
        self.utc = Some((utc_ms, self.now));
    }

    /// It is `now`; time never goes back.
    #[inline]
    pub(super) fn at(&mut self, now: Instant) {
        self.now = self.now.max(now);
    }

    /// Bytes came in. The one hot path: monitor and sink are compiled into each other.
    #[inline]
    pub(super) fn bytes(&mut self, source: SourceId, bytes: &[u8]) -> io::Result<()> {
        let moment = self.moment();
        let mut result = Ok(());
        let sink = &mut *self.sink;
        sink.received(moment, source, bytes);
        self.monitor.bytes(self.now, source, bytes, &mut |event: Event<'_>| {
            if result.is_ok() {
                result = sink.event(moment, &event);
            }
        });
        result
    }

    /// Does one thing to the monitor and hands every event on.
    pub(super) fn tell(&mut self, act: impl FnOnce(&mut Monitor, Instant, &mut Out<'_>)) -> io::Result<()> {
        let moment = self.moment();
        let mut result = Ok(());
        let sink = &mut *self.sink;
        let mut out = |event: Event<'_>| {
            if result.is_ok() {
                result = sink.event(moment, &event);
            }
        };
        act(&mut self.monitor, self.now, &mut (&mut out as Out<'_>));
        result
    }

    /// A word beside the events.
    pub(super) fn remark(&mut self, remark: Remark<'_>) -> io::Result<()> {
        let moment = self.moment();
        self.sink.remark(moment, remark)
    }

    /// The next moment at which anything is due.
    #[inline]
    pub(super) fn due(&self) -> Instant {
        self.monitor.wake_at().min(self.sink.due()).min(self.upkeep.due)
    }

    /// Does what is due at `at`, which is now.
    pub(super) fn wake(&mut self, at: Instant) -> io::Result<()> {
        self.at(at);
        if self.monitor.wake_at() <= self.now {
            self.tell(|monitor, now, out| monitor.tick(now, out))?;
        }
        if self.upkeep.due <= self.now {
            self.keep_up()?;
        }
        if self.sink.due() <= self.now {
            let moment = self.moment();
            self.sink.look(moment, &self.monitor)?;
            while let Some(report) = self.sink.report() {
                self.remark(Remark::Part { part: report.part, works: report.works, why: &report.why })?;
                self.tell(|monitor, now, out| monitor.part_works(now, report.part, report.works, out))?;
            }
        }
        Ok(())
    }

    /// Does everything that is due before `until`, each at its moment.
    #[inline]
    pub(super) fn wake_until(&mut self, until: Instant) -> io::Result<()> {
        loop {
            let due = self.due();
            if due >= until {
                return Ok(());
            }
            self.wake(due)?;
        }
    }

    /// The model's variation where the boat is, and the order that waited for a heading.
    fn keep_up(&mut self) -> io::Result<()> {
        if self.upkeep.here {
            let mut obeyed = false;
            self.tell(|monitor, now, out| obeyed = monitor.order(now, Command::SteerHere, out))?;
            self.upkeep.here = !obeyed;
        }
        let place = self.monitor.picture().position().latest();
        if let (Some((_, place)), Some(utc_ms)) = (place, self.moment().utc_ms)
            && self.upkeep.ask(place, utc_ms)
        {
            match (self.orders.model)(place, utc_ms) {
                Ok(model) => self.tell(|monitor, now, out| monitor.variation(now, model, out))?,
                Err(why) => self.remark(Remark::NoModel { why: &why })?,
            }
        }
        self.upkeep.looked(self.now);
        Ok(())
    }

    /// The watch is over.
    pub(super) fn end(self, ending: Ending) -> io::Result<Ending> {
        let moment = self.moment();
        self.sink.end(moment, &self.monitor, ending)?;
        Ok(ending)
    }

    /// Whether the keyboard wants it to end.
    #[inline]
    pub(super) fn interrupted(&self) -> bool {
        self.orders.interrupt.is_set()
    }

    /// Waits for a moment of the log in real time, and hears what is said meanwhile.
    pub(super) fn wait(&mut self, pacer: &Pacer, at: Instant) -> io::Result<()> {
        while !self.interrupted() && !pacer.wait_for(at) {
            self.hear()?;
        }
        Ok(())
    }

    /// Hears what the owner says. A word counts from the moment the watch has come to, which is
    /// half a second ago at the most: time must not run ahead of what still lies in the queue.
    pub(super) fn hear(&mut self) -> io::Result<()> {
        for _ in 0..WORDS_AT_ONCE {
            let Some((word, by, reply)) = self.orders.words.next() else { break };
            let mut obeyed = true;
            let mut changes = Vec::new();
            self.tell(|monitor, now, out| {
                let mut out = |event: Event<'_>| {
                    if let Event::Alert(change) = event {
                        changes.push(change);
                    }
                    out(event);
                };
                // Whoever speaks is awake. Who asks how it stands may be a program.
                if !matches!(word, Word::Status | Word::Answer) {
                    monitor.answer(now, &mut out);
                }
                match word {
                    Word::Order(command) => obeyed = monitor.order(now, command, &mut out),
                    Word::Acknowledge => monitor.acknowledge(now, &mut out),
                    Word::Silence => monitor.silence(now, &mut out),
                    Word::Answer | Word::Status | Word::SoundTest => {}
                }
            })?;
            if matches!(word, Word::Order(_)) {
                // A newer order takes the place of the one that still waits for a heading.
                self.upkeep.here = false;
            }
            let heeded = !changes.is_empty() || (obeyed && matches!(word, Word::Order(_) | Word::SoundTest));
            let asked = self.monitor.watchkeeper(self.now).is_some();
            match word {
                // Its effect is seen where there is one.
                Word::Answer => {}
                _ if heeded || reply.is_awaited() => {}
                Word::Acknowledge | Word::Silence if asked => self.remark(Remark::Answered)?,
                _ => self.remark(Remark::Unheeded { word })?,
            }
            let moment = self.moment();
            // A key that nobody waited for is no word.
            if !matches!(word, Word::Status) && (heeded || word != Word::Answer) {
                self.sink.heard(moment, &Heard { word, by, heeded })?;
            }
            reply.answer(|| Answer {
                moment,
                obeyed,
                changes,
                status: self.monitor.status(moment.now),
                counts: self.sources().map(|source| *self.monitor.counts(source)).collect(),
            });
        }
        Ok(())
    }

    /// How many sources there are.
    pub(super) fn sources(&self) -> impl Iterator<Item = SourceId> + use<S> {
        (0..self.orders.settings.source_count).map(SourceId)
    }
}
