//! Commands about alerts from the wire: ACN and ACK, obeyed only from a source that may.

use crate::alert::AlertKind;
use crate::alert::Instance;
use crate::alert::Verdict;
use crate::alert::Watchkeeper;
use crate::arbiter::AlertChange;
use crate::arbiter::Arbiter;
use crate::monitor::AlertCommand;
use crate::monitor::Event;
use crate::monitor::Notice;
use crate::monitor::Told;
use crate::monitor::settings::Kept;
use crate::picture::Origin;
use crate::picture::Steering;
use crate::sentence::Field;
use crate::sentence::Sentence;
use crate::time::Instant;

/// Whoever obeys them or not.
pub(super) struct Commands<'a> {
    pub(super) settings: &'a Kept,
    pub(super) arbiter: &'a mut Arbiter,
    pub(super) told: &'a mut Told,
}

impl Commands<'_> {
    /// Takes one sentence; whatever is no command about an alert of ours is passed over.
    #[inline(never)]
    pub(super) fn take(
        &mut self,
        now: Instant,
        origin: Origin,
        sentence: &Sentence<'_>,
        watchkeeper: &mut Watchkeeper,
        out: &mut impl FnMut(Event<'_>),
    ) {
        let Some((kind, instance, command)) = about_ours(sentence) else { return };
        let source = origin.source;
        let index = source.index();
        let may = self.settings.sources.get(index).is_some_and(|settings| settings.may_acknowledge);
        let meant = |change: &AlertChange| {
            change.kind == kind && instance.is_none_or(|instance| instance == u32::from(change.number))
        };
        let mut alert = |change| out(Event::Alert(change));
        // Whoever presses a button there is awake, whatever the button is for.
        let answers = may && matches!(command, b'A' | b'S') && watchkeeper.status(now).is_some();
        if answers {
            answer(now, watchkeeper, self.arbiter, &mut alert);
        }
        let obeyed = match command {
            _ if answers && kind == AlertKind::WatchkeeperSilent => true,
            b'A' if may => self.arbiter.acknowledge_those(now, meant, &mut alert),
            b'S' if may => self.arbiter.silence_those(now, meant, &mut alert),
            _ => false,
        };
        if let (false, Some(told)) = (may, self.told.may_not.get_mut(index)) {
            if !*told {
                *told = true;
                out(Event::Notice(Notice::MayNotAcknowledge { origin }));
            }
        }
        out(Event::Command(AlertCommand { source, kind, instance, command, obeyed }));
    }
}

/// Somebody is awake: the dormant period begins again, and what the silence raised is over.
pub(super) fn answer(
    now: Instant,
    watchkeeper: &mut Watchkeeper,
    arbiter: &mut Arbiter,
    out: &mut impl FnMut(AlertChange),
) {
    watchkeeper.answer(now);
    let kind = AlertKind::WatchkeeperSilent;
    arbiter.acknowledge_those(now, |change| change.kind == kind, out);
    arbiter.take(now, kind, Instance::Boat, &Verdict::Clear, None, out);
}

/// The owner has said how she is steered. Where that is by no heading, nobody need answer any more for one
/// that was not kept: what it was compared with is gone, and by the owner's own word. A new heading takes
/// nothing away: she may not follow that one either.
pub(super) fn ordered(now: Instant, steering: Steering, arbiter: &mut Arbiter, out: &mut impl FnMut(AlertChange)) {
    if !matches!(steering, Steering::Heading { .. }) {
        arbiter.settle(now, AlertKind::OffHeading, out);
    }
}

/// The alert of ours, its instance and the command, if that is what `sentence` is about. An instance
/// that cannot be read must not become all of them.
fn about_ours(sentence: &Sentence<'_>) -> Option<(AlertKind, Option<u32>, u8)> {
    match sentence {
        // Our alerts are those without a maker's letters.
        Sentence::Acn(acn) if acn.manufacturer.is_empty() => {
            let kind = AlertKind::by_number(acn.alert.known()?)?;
            let instance = match acn.instance {
                Field::Known(instance) => Some(instance),
                Field::Absent => None,
                Field::Unusable(_) => return None,
            };
            Some((kind, instance, acn.command.known().unwrap_or(b' ')))
        }
        Sentence::Ack(ack) => Some((AlertKind::by_alarm_number(ack.alarm.known()?)?, None, b'A')),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::angle::Bearing;
    use crate::arbiter::State;
    use crate::monitor::Monitor;
    use crate::monitor::Settings;
    use crate::monitor::SourceSettings;
    use crate::picture::Command;
    use crate::picture::Reference;
    use crate::picture::Referred;
    use crate::picture::SourceId;
    use std::format;
    use std::string::String;
    use std::vec::Vec;

    fn sentence(body: &str) -> String {
        format!("${body}*{:02X}\r\n", body.bytes().fold(0, |sum, byte| sum ^ byte))
    }

    /// A watch of two sources that both fell silent; only the second may acknowledge.
    fn alarmed() -> (Monitor, Instant) {
        let mut settings = Settings { source_count: 2, ..Settings::default() };
        settings.sources[1] = SourceSettings { may_acknowledge: true, ..SourceSettings::default() };
        let mut monitor = Monitor::new(Instant::from_ms(0), settings);
        for source in [SourceId(0), SourceId(1)] {
            monitor.input_works(Instant::from_ms(100), source, false, &mut |_| {});
        }
        let now = Instant::from_ms(1_000);
        monitor.tick(now, &mut |_| {});
        assert_eq!(monitor.status(now).alerts.len(), 2);
        (monitor, now)
    }

    /// What `body` from `source` does: the new states by number, whether obeyed, notices.
    fn told(monitor: &mut Monitor, now: Instant, source: u8, body: &str) -> (Vec<(u8, State)>, Option<bool>, usize) {
        let (mut states, mut obeyed, mut notices) = (Vec::new(), None, 0);
        monitor.bytes(now, SourceId(source), sentence(body).as_bytes(), &mut |event| match event {
            Event::Alert(change) => states.push((change.number, change.state)),
            Event::Command(command) => obeyed = Some(command.obeyed),
            Event::Notice(Notice::MayNotAcknowledge { .. }) => notices += 1,
            _ => {}
        });
        (states, obeyed, notices)
    }

    #[test]
    fn only_a_source_that_may_is_obeyed_and_only_about_what_it_names() {
        let (mut monitor, now) = alarmed();
        let refused = (Vec::new(), Some(false), 1);
        assert_eq!(told(&mut monitor, now, 0, "RAACN,220516,,10976,1,A,C"), refused);
        // Told once; refused each time.
        assert_eq!(told(&mut monitor, now, 0, "VRACK,976"), (Vec::new(), Some(false), 0));
        let silenced = std::vec![(1, State::ActiveSilenced)];
        assert_eq!(told(&mut monitor, now, 1, "RAACN,220516,,10976,1,S,C"), (silenced, Some(true), 0));
        let second = std::vec![(2, State::ActiveAcknowledged)];
        assert_eq!(told(&mut monitor, now, 1, "RAACN,220516,,10976,2,A,C"), (second, Some(true), 0));
        // Once more changes nothing, and is no refusal.
        assert_eq!(told(&mut monitor, now, 1, "RAACN,220516,,10976,2,A,C"), (Vec::new(), Some(true), 0));
        // ACK knows no instances: all of the kind.
        let first = std::vec![(1, State::ActiveAcknowledged)];
        assert_eq!(told(&mut monitor, now, 1, "VRACK,976"), (first, Some(true), 0));
    }

    #[test]
    fn what_is_not_ours_or_not_known() {
        let (mut monitor, now) = alarmed();
        // Another maker's alert, another number, an instance that cannot be read: none of ours.
        for body in ["RAACN,220516,TCK,10976,1,A,C", "RAACN,220516,,002,1,A,C", "RAACN,,,10976,x,A,C", "VRACK,001"] {
            assert_eq!(told(&mut monitor, now, 1, body), (Vec::new(), None, 0), "{body}");
        }
        // Ours, but no command that is obeyed, or an alert that does not stand.
        for body in ["RAACN,,,10976,1,O,C", "RAACN,,,10976,1,Q,C", "RAACN,,,10976,9,A,C", "RAACN,,,10971,1,A,C"] {
            assert_eq!(told(&mut monitor, now, 1, body), (Vec::new(), Some(false), 0), "{body}");
        }
    }

    /// The states that off-heading goes through: a pilot lets go of an order, and the owner says `commands`.
    fn off_heading_then(commands: &[Command]) -> Vec<State> {
        let mut monitor = Monitor::new(Instant::from_ms(0), Settings { source_count: 1, ..Settings::default() });
        let mut states = Vec::new();
        let mut hear = |event: Event<'_>| match event {
            Event::Alert(change) if change.kind == AlertKind::OffHeading => states.push(change.state),
            _ => {}
        };
        let order = Referred { bearing: Bearing::from_deg(90), reference: Reference::Compass };
        monitor.order(Instant::from_ms(0), Command::Steer(order), &mut hear);
        let mut ms = 0;
        let mut sail = |monitor: &mut Monitor, s: u64, heading: u32, hear: &mut dyn FnMut(Event<'_>)| {
            for _ in 0..s * 10 {
                ms += 100;
                let line = sentence(&format!("HCHDG,{heading}.0,,,,"));
                monitor.bytes(Instant::from_ms(ms), SourceId(0), line.as_bytes(), &mut |event| hear(event));
            }
            Instant::from_ms(ms)
        };
        sail(&mut monitor, 60, 90, &mut hear);
        let now = sail(&mut monitor, 30, 125, &mut hear);
        for command in commands {
            monitor.order(now, *command, &mut hear);
        }
        sail(&mut monitor, 30, 125, &mut hear);
        states
    }

    #[test]
    fn the_order_that_is_gone_takes_off_heading_with_it() {
        let raised = State::ActiveUnacknowledged;
        let gone = [raised, State::ActiveAcknowledged, State::Normal];
        assert_eq!(off_heading_then(&[]), [raised]);
        for command in [Command::SteerHand, Command::SteerWind, Command::Cancel] {
            assert_eq!(off_heading_then(&[command]), gone, "{command:?}");
        }
        // Another heading is no answer: she may not follow it either.
        let order = Referred { bearing: Bearing::from_deg(80), reference: Reference::Compass };
        assert_eq!(off_heading_then(&[Command::Steer(order)]), [raised]);
        // Again by hand, and nothing more is said.
        assert_eq!(off_heading_then(&[Command::SteerHand, Command::SteerWind, Command::SteerHand]), gone);
    }

    #[test]
    fn numbers_are_the_alerts_own() {
        for kind in AlertKind::ALL {
            assert_eq!(AlertKind::by_number(kind.number()), Some(kind));
            assert_eq!(AlertKind::by_alarm_number(kind.alarm_number()), Some(kind));
            assert!((900..1000).contains(&kind.alarm_number()), "three digits");
        }
        assert_eq!(AlertKind::by_number(971), None);
    }
}
