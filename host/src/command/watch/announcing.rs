//! The announcing of alerts on the wire.
//!
//! The sign of life goes out from the loop of the watch itself: a loop that hangs falls silent, and
//! whoever listens for it hears that.

use lubber_core::alert::Part;
use lubber_core::announce::Outgoing;
use lubber_core::monitor::Announcer;
use lubber_core::monitor::Event;
use lubber_core::monitor::Monitor;
use lubber_core::time::Instant;
use lubber_core::time::Span;
use lubber_core::unit::TimeOfDay;

use super::company::Companion;
use crate::announce;
use crate::announce::Announce;
use crate::session::Moment;
use crate::session::Report;

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

    fn change(&mut self, moment: Moment, event: &Event<'_>) {
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
}

impl Companion for Herald {
    fn event(&mut self, moment: Moment, event: &Event<'_>) {
        self.change(moment, event);
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

    fn report(&mut self) -> Option<Report> {
        let (works, why) = match self.announce.report()? {
            announce::Report::Works { lost: 0 } => (true, String::new()),
            announce::Report::Works { lost } => (true, format!("{lost} sentences were lost meanwhile")),
            announce::Report::Fails(why) => (false, why),
        };
        Some(Report { part: Part::Announcer, works, why })
    }
}

fn time_of_day(moment: Moment) -> Option<TimeOfDay> {
    const DAY_MS: i64 = 86_400_000;
    TimeOfDay::from_ms(u32::try_from(moment.utc_ms?.rem_euclid(DAY_MS)).ok()?)
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
