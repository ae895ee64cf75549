//! What happened lately, kept for whoever asks.

use std::collections::VecDeque;
use std::sync::Arc;
use std::sync::Mutex;
use std::sync::MutexGuard;
use std::sync::PoisonError;

use lubber_core::monitor::Event;
use lubber_core::monitor::Notice;
use lubber_core::picture::Command;
use lubber_core::picture::OrderedBy;
use lubber_core::picture::Steering;
use lubber_core::time::Instant;

use super::company::Companion;
use super::desk::stamp;
use crate::session::Heard;
use crate::session::Moment;
use crate::session::Word;
use crate::view::history::Entry;
use crate::view::history::What;

/// So much is kept: a bad night.
const MOST: usize = 200;

/// The history of a watch; clones are the same one.
#[derive(Clone, Default)]
pub(super) struct Chronicle(Arc<Mutex<Kept>>);

#[derive(Default)]
struct Kept {
    entries: VecDeque<Entry>,
    /// How the boat is steered, and since when.
    steered: Option<(Steering, Instant)>,
}

impl Chronicle {
    /// What is kept, the oldest first.
    pub(super) fn entries(&self) -> Vec<Entry> {
        self.kept().entries.iter().cloned().collect()
    }

    /// When it was ordered how the boat is steered now, if anything was ordered.
    pub(super) fn ordered_at(&self) -> Option<Instant> {
        self.kept().steered.map(|(_, at)| at)
    }

    fn kept(&self) -> MutexGuard<'_, Kept> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// An order that is no longer sent, or whose pilot stands by, is as old as it is.
    fn steered(&self, now: Steering, at: Instant) {
        let order = |steering| match steering {
            Steering::Heading { order, .. } => Err(order),
            other => Ok(other),
        };
        let steered = &mut self.kept().steered;
        if steered.is_none_or(|(before, _)| order(before) != order(now)) {
            *steered = Some((now, at));
        }
    }

    fn note(&self, moment: Moment, what: What) {
        let entries = &mut self.kept().entries;
        if entries.len() == MOST {
            entries.pop_front();
        }
        entries.push_back(Entry { at: stamp(moment), what });
    }
}

impl Companion for Chronicle {
    fn event(&mut self, moment: Moment, event: &Event<'_>) {
        if let Event::Notice(Notice::Steering(steering)) = *event {
            self.steered(steering, moment.now);
        }
        match *event {
            // What only reminds is no change.
            Event::Alert(change) if !change.repeated => self.note(moment, What::Alert(change)),
            Event::Command(command) => self.note(moment, What::Wire(command)),
            // What the owner orders is told as it was said.
            Event::Notice(Notice::Steering(Steering::Heading { by: OrderedBy::Owner, .. })) => {}
            Event::Notice(Notice::Steering(steering @ Steering::Heading { .. })) => {
                self.note(moment, What::Order(steering));
            }
            _ => {}
        }
    }

    fn heard(&mut self, moment: Moment, heard: &Heard) {
        self.note(moment, What::Said { word: said(heard.word), by: heard.by.word(), heeded: heard.heeded });
    }

    fn due(&self) -> Instant {
        Instant::from_ms(u64::MAX)
    }
}

/// The word as its verb has it.
pub(super) fn said(word: Word) -> String {
    match word {
        Word::Order(Command::Steer(order)) => format!("steer {order}"),
        Word::Order(Command::SteerHere) => "steer here".into(),
        Word::Order(Command::SteerWind) => "steer wind".into(),
        Word::Order(Command::SteerHand) => "steer hand".into(),
        Word::Order(Command::Cancel) => "steer cancel".into(),
        Word::Acknowledge => "acknowledge".into(),
        Word::Silence => "silence".into(),
        Word::Answer => "answer".into(),
        Word::Status => "status".into(),
        Word::SoundTest => "sound-test".into(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::session::Voice;
    use lubber_core::angle::Bearing;
    use lubber_core::picture::Reference;
    use lubber_core::picture::Referred;

    #[test]
    fn the_oldest_goes_when_it_is_full() {
        let mut chronicle = Chronicle::default();
        for ms in 0..MOST as u64 + 5 {
            let moment = Moment { now: Instant::from_ms(ms), utc_ms: None };
            chronicle.heard(moment, &Heard { word: Word::Silence, by: Voice::Key, heeded: true });
        }
        let entries = chronicle.entries();
        assert_eq!((entries.len(), entries[0].at.since_start_ms), (MOST, 5));
    }

    #[test]
    fn an_order_is_as_old_as_it_is_however_it_is_held() {
        let mut chronicle = Chronicle::default();
        assert_eq!(chronicle.ordered_at(), None);
        let order = |deg, held| Steering::Heading {
            order: Referred { bearing: Bearing::from_deg(deg), reference: Reference::Compass },
            by: OrderedBy::FirstSteadyMinute,
            held,
        };
        for (s, steering, since) in [
            (61, order(135, false), 61),
            (300, order(135, true), 61),
            (400, order(140, false), 400),
            (500, Steering::Hand, 500),
        ] {
            let moment = Moment { now: Instant::from_ms(s * 1000), utc_ms: None };
            chronicle.event(moment, &Event::Notice(Notice::Steering(steering)));
            assert_eq!(chronicle.ordered_at(), Some(Instant::from_ms(since * 1000)), "at {s}");
        }
    }
}
