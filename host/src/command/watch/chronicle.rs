//! What happened lately, kept for whoever asks.

use std::collections::VecDeque;
use std::sync::Arc;
use std::sync::Mutex;
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
const KEPT: usize = 200;

/// The history of a watch; clones are the same one.
#[derive(Clone, Default)]
pub(super) struct Chronicle(Arc<Mutex<VecDeque<Entry>>>);

impl Chronicle {
    /// What is kept, the oldest first.
    pub(super) fn entries(&self) -> Vec<Entry> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner).iter().cloned().collect()
    }

    fn note(&self, moment: Moment, what: What) {
        let mut entries = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        if entries.len() == KEPT {
            entries.pop_front();
        }
        entries.push_back(Entry { at: stamp(moment), what });
    }
}

impl Companion for Chronicle {
    fn event(&mut self, moment: Moment, event: &Event<'_>) {
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

    #[test]
    fn the_oldest_goes_when_it_is_full() {
        let mut chronicle = Chronicle::default();
        for ms in 0..KEPT as u64 + 5 {
            let moment = Moment { now: Instant::from_ms(ms), utc_ms: None };
            chronicle.heard(moment, &Heard { word: Word::Silence, by: Voice::Key, heeded: true });
        }
        let entries = chronicle.entries();
        assert_eq!((entries.len(), entries[0].at.since_start_ms), (KEPT, 5));
    }
}
