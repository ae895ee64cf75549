//! The watch's output, and beside it the announcing of alerts.
//!
//! The sign of life goes out from the loop of the watch itself: a loop that hangs falls silent, and
//! whoever listens for it hears that.

use std::io;

use lubber_core::announce::Outgoing;
use lubber_core::monitor::Announcer;
use lubber_core::monitor::Event;
use lubber_core::monitor::Monitor;
use lubber_core::time::Instant;
use lubber_core::time::Span;
use lubber_core::unit::TimeOfDay;

use crate::announce::Announce;
use crate::announce::Report;
use crate::session::Ending;
use crate::session::Moment;
use crate::session::Remark;
use crate::session::Sink;

/// The list of alerts is sent this often: IEC 62923 from memory, no text seen.
const LIST_EVERY: Span = Span::from_s(30);

/// What is announced, and how.
pub(super) struct Herald {
    announce: Announce,
    announcer: Announcer,
    /// ALR too, for listeners that know no ALF.
    alr: bool,
    heartbeat: Span,
    next_list: Instant,
    next_beat: Instant,
}

impl Herald {
    pub(super) fn new(announce: Announce, alr: bool, heartbeat: Span) -> Self {
        let now = Instant::default();
        Self { announce, announcer: Announcer::default(), alr, heartbeat, next_list: now, next_beat: now }
    }

    fn event(&mut self, moment: Moment, event: &Event<'_>) {
        let Self { announce, announcer, .. } = self;
        let mut send = |outgoing: Outgoing| announce.send(outgoing);
        match event {
            // What only reminds is no change; the list goes on naming it.
            Event::Alert(change) if !change.repeated => {
                announcer.change(change, time_of_day(moment), &mut send);
                if self.alr {
                    announcer.alarm(change, time_of_day(moment), &mut send);
                }
            }
            Event::Command(command) if !command.obeyed => announcer.refuse(command, time_of_day(moment), &mut send),
            _ => {}
        }
    }

    fn due(&self) -> Instant {
        self.next_list.min(self.next_beat)
    }

    fn look(&mut self, moment: Moment, monitor: &Monitor) {
        let Self { announce, announcer, .. } = self;
        let mut send = |outgoing: Outgoing| announce.send(outgoing);
        if self.next_list <= moment.now {
            announcer.list(&monitor.status(moment.now).alerts, &mut send);
            self.next_list = moment.now + LIST_EVERY;
        }
        if self.next_beat <= moment.now {
            announcer.heartbeat(self.heartbeat, &mut send);
            self.next_beat = moment.now + self.heartbeat;
        }
    }
}

fn time_of_day(moment: Moment) -> Option<TimeOfDay> {
    const DAY_MS: i64 = 86_400_000;
    TimeOfDay::from_ms(u32::try_from(moment.utc_ms?.rem_euclid(DAY_MS)).ok()?)
}

/// A sink whose events are announced as well, where that is asked for.
pub(super) struct Announcing<'a, S> {
    pub(super) sink: &'a mut S,
    pub(super) herald: Option<Herald>,
}

impl<S: Sink> Sink for Announcing<'_, S> {
    #[inline]
    fn event(&mut self, moment: Moment, event: &Event<'_>) -> io::Result<()> {
        if let (Some(herald), Event::Alert(_) | Event::Command(_)) = (&mut self.herald, event) {
            herald.event(moment, event);
        }
        self.sink.event(moment, event)
    }

    fn remark(&mut self, moment: Moment, remark: Remark<'_>) -> io::Result<()> {
        self.sink.remark(moment, remark)
    }

    #[inline]
    fn due(&self) -> Instant {
        let due = self.sink.due();
        self.herald.as_ref().map_or(due, |herald| herald.due().min(due))
    }

    fn look(&mut self, moment: Moment, monitor: &Monitor) -> io::Result<()> {
        if let Some(herald) = &mut self.herald {
            herald.look(moment, monitor);
            while let Some(report) = herald.announce.report() {
                let (works, why) = match report {
                    Report::Works { lost } => (true, format!(" again; {lost} sentences were lost")),
                    Report::Fails(why) => (false, why),
                };
                self.sink.remark(moment, Remark::Announces { works, why: &why })?;
            }
        }
        if self.sink.due() <= moment.now { self.sink.look(moment, monitor) } else { Ok(()) }
    }

    fn progress(&mut self, read: u64, total: Option<u64>) {
        self.sink.progress(read, total);
    }

    fn end(&mut self, moment: Moment, monitor: &Monitor, ending: Ending) -> io::Result<()> {
        self.sink.end(moment, monitor, ending)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_time_of_day_of_a_moment() {
        let at = |utc_ms| time_of_day(Moment { now: Instant::default(), utc_ms }).map(TimeOfDay::as_ms);
        // 1783995069300: 2026-07-14T02:11:09.300Z, by `date -u -d @1783995069`.
        assert_eq!(at(Some(1_783_995_069_300)), Some(7_869_300));
        assert_eq!(at(Some(-1)), Some(86_399_999));
        assert_eq!(at(None), None);
    }
}
