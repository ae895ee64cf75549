//! From the alerts of the watch to the sentences that announce them.

use core::fmt;
use core::fmt::Write;

use heapless::String;
use heapless::Vec;

use crate::alert::AlertKind;
use crate::alert::Priority;
use crate::announce::AlarmReport;
use crate::announce::AlertId;
use crate::announce::AlertList;
use crate::announce::AlertReport;
use crate::announce::Announcement;
use crate::announce::ENTRIES;
use crate::announce::Heartbeat;
use crate::announce::Outgoing;
use crate::announce::PriorityLetter;
use crate::announce::Refusal;
use crate::announce::StateLetter;
use crate::arbiter::AlertChange;
use crate::arbiter::State;
use crate::frame::Talker;
use crate::monitor::AlertCommand;
use crate::time::Span;
use crate::unit::TimeOfDay;

/// Announces alerts, with the running numbers that go with it.
#[derive(Clone, Debug)]
pub struct Announcer {
    talker: Talker,
    reports: u8,
    lists: u8,
    beats: u8,
}

impl Default for Announcer {
    /// Speaks as `II`, integrated instrumentation (common practice, no source).
    fn default() -> Self {
        Self { talker: Talker(*b"II"), reports: 0, lists: 0, beats: 0 }
    }
}

impl Announcer {
    /// ALF: an alert changed at `time`.
    pub fn change(&mut self, change: &AlertChange, time: Option<TimeOfDay>, out: &mut impl FnMut(Outgoing)) {
        let mut text = Text::default();
        // What does not fit is cut, as it would be in the sentence.
        let _ = write!(text, "{}", change.evidence);
        let report = AlertReport {
            sequence: self.reports,
            time,
            priority: match change.priority {
                Priority::Alarm => PriorityLetter::Alarm,
                Priority::Warning => PriorityLetter::Warning,
                Priority::Caution => PriorityLetter::Caution,
            },
            state: match change.state {
                State::ActiveUnacknowledged => StateLetter::Unacknowledged,
                State::ActiveSilenced => StateLetter::Silenced,
                State::Active | State::ActiveAcknowledged => StateLetter::Acknowledged,
                State::RectifiedUnacknowledged => StateLetter::RectifiedUnacknowledged,
                State::Normal => StateLetter::Normal,
            },
            id: id(change),
            revision: change.revision,
            escalations: change.escalations,
            title: change.kind.title(),
            text: if stands(change) { &text.0 } else { "" },
        };
        self.reports = (self.reports + 1) % 10;
        Announcement::Alert(report).sentences(self.talker, out);
    }

    /// ALR: the same for listeners that know no ALF.
    pub fn alarm(&self, change: &AlertChange, time: Option<TimeOfDay>, out: &mut impl FnMut(Outgoing)) {
        let waits = matches!(
            change.state,
            State::ActiveUnacknowledged | State::ActiveSilenced | State::RectifiedUnacknowledged
        );
        let alarm = AlarmReport {
            time,
            alarm: change.kind.alarm_number(),
            exceeded: stands(change),
            acknowledged: !waits,
            text: change.kind.name(),
        };
        Announcement::Alarm(alarm).sentences(self.talker, out);
    }

    /// ALC: every alert that is not normal, in as many sentences as it takes; one where there is none.
    pub fn list(&mut self, standing: &[AlertChange], out: &mut impl FnMut(Outgoing)) {
        let total = standing.len().div_ceil(ENTRIES).max(1);
        for part in 0..total {
            let entries: Vec<_, ENTRIES> = standing
                .iter()
                .skip(part * ENTRIES)
                .take(ENTRIES)
                .map(|change| (id(change), change.revision))
                .collect();
            let count = |n: usize| u8::try_from(n).unwrap_or(u8::MAX);
            let list =
                AlertList { total: count(total), number: count(part + 1), sequence: self.lists, entries: &entries };
            Announcement::List(list).sentences(self.talker, out);
        }
        self.lists = (self.lists + 1) % 100;
    }

    /// HBT: alive, and again within `interval`.
    pub fn heartbeat(&mut self, interval: Span, out: &mut impl FnMut(Outgoing)) {
        let interval_ms = u32::try_from(interval.as_ms()).unwrap_or(u32::MAX);
        let beat = Heartbeat { interval_ms, healthy: true, sequence: self.beats };
        self.beats = (self.beats + 1) % 10;
        Announcement::Heartbeat(beat).sentences(self.talker, out);
    }

    /// ARC: `command` was not obeyed.
    pub fn refuse(&self, command: &AlertCommand, time: Option<TimeOfDay>, out: &mut impl FnMut(Outgoing)) {
        let refusal = Refusal {
            time,
            id: AlertId { instance: command.instance.unwrap_or(1), ..named(command.kind, 1) },
            instance_named: command.instance.is_some(),
            command: char::from(command.command),
        };
        Announcement::Refusal(refusal).sentences(self.talker, out);
    }
}

/// Text of bounded length: what is beyond is left off.
#[derive(Default)]
struct Text(String<96>);

impl fmt::Write for Text {
    fn write_str(&mut self, text: &str) -> fmt::Result {
        text.chars().try_for_each(|c| self.0.push(c)).map_err(|_| fmt::Error)
    }
}

fn stands(change: &AlertChange) -> bool {
    !matches!(change.state, State::Normal | State::RectifiedUnacknowledged)
}

fn id(change: &AlertChange) -> AlertId<'static> {
    named(change.kind, change.number)
}

/// Our alerts carry no maker's letters: there is no registered code.
fn named(kind: AlertKind, instance: u8) -> AlertId<'static> {
    AlertId { manufacturer: "", alert: kind.number(), instance: u32::from(instance) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::announce::TITLE;
    use crate::monitor::Event;
    use crate::monitor::Monitor;
    use crate::monitor::Settings;
    use crate::picture::SourceId;
    use crate::time::Instant;
    use std::string::String as StdString;
    use std::vec::Vec as StdVec;

    fn text(outgoing: &Outgoing) -> StdString {
        StdString::from_utf8(outgoing.as_bytes().to_vec()).unwrap()
    }

    #[test]
    fn every_title_is_told_whole_and_is_its_own() {
        for kind in AlertKind::ALL {
            let title = kind.title();
            assert!(title.len() <= TITLE && title.bytes().all(|b| b == b' ' || b.is_ascii_lowercase()), "{title}");
            assert_eq!(AlertKind::ALL.iter().filter(|other| other.title() == title).count(), 1, "{title}");
        }
    }

    #[test]
    fn an_alert_from_beginning_to_end() {
        let settings = Settings { source_count: 4, ..Settings::default() };
        let mut monitor = Monitor::new(Instant::from_ms(0), settings);
        let mut announcer = Announcer::default();
        let mut sent: StdVec<StdString> = StdVec::new();
        let time = TimeOfDay::from_ms(7_869_000);
        for source in 0..4 {
            monitor.input_works(Instant::from_ms(100), SourceId(source), false, &mut |_| {});
        }
        let mut hear = |event: Event<'_>| {
            if let Event::Alert(change) = event {
                announcer.change(&change, time, &mut |outgoing| sent.push(text(&outgoing)));
                announcer.alarm(&change, time, &mut |outgoing| sent.push(text(&outgoing)));
            }
        };
        monitor.tick(Instant::from_ms(500), &mut hear);
        monitor.acknowledge(Instant::from_ms(700), &mut hear);
        assert!(sent[0].starts_with("$IIALF,2,1,0,021109,B,A,V,,10976,1,1,0,input lost*"), "{}", sent[0]);
        assert!(sent[1].starts_with("$IIALF,2,2,0,,,,,,10976,1,1,0,"), "{}", sent[1]);
        assert!(sent[2].starts_with("$IIALR,021109,976,A,V,input-lost*"), "{}", sent[2]);
        assert!(sent[12].starts_with("$IIALF,2,1,4,021109,B,A,A,,10976,1,2,0,input lost*"), "{}", sent[12]);
        assert!(sent[14].starts_with("$IIALR,021109,976,A,A,"), "{}", sent[14]);

        let standing = monitor.status(Instant::from_ms(700)).alerts;
        let mut list = StdVec::new();
        announcer.list(&standing, &mut |outgoing| list.push(text(&outgoing)));
        assert_eq!(list.len(), 2, "three entries a sentence");
        assert!(list[0].starts_with("$IIALC,02,01,00,03,,10976,01,02,,10976,02,02,,10976,03,02*"), "{}", list[0]);
        assert!(list[1].starts_with("$IIALC,02,02,00,01,,10976,04,02*"), "{}", list[1]);
        announcer.list(&[], &mut |outgoing| list.push(text(&outgoing)));
        assert!(list[2].starts_with("$IIALC,01,01,01,00*"), "an empty list says so: {}", list[2]);
        announcer.heartbeat(Span::from_s(60), &mut |outgoing| list.push(text(&outgoing)));
        assert!(list[3].starts_with("$IIHBT,60,A,0*"), "{}", list[3]);
    }
}
