//! The keys of a watch on a terminal.

use std::sync::Arc;

use lubber_core::picture::Command;

use super::view::ViewKeys;
use crate::session::Interrupt;
use crate::session::Speaker;
use crate::session::Voice;
use crate::session::Word;
use crate::terminal::Keys;

/// What the keys are, each with a rank: where there is no room for all, those of the highest are left out first.
pub(super) const KEYS: [(&str, u8); 8] = [
    ("a acknowledge", 1),
    ("s silence", 2),
    ("c steer here", 5),
    ("w wind", 6),
    ("h hand", 4),
    ("x cancel order", 7),
    ("t sound test", 8),
    ("q end", 0),
];

/// The keys in one line.
pub(super) fn help() -> String {
    KEYS.map(|(key, _)| key).join(", ")
}

/// What a key means.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Meaning {
    Say(Word),
    End,
}

/// With Caps Lock on they are the same keys.
fn meaning(key: u8) -> Option<Meaning> {
    Some(match key.to_ascii_lowercase() {
        b'a' => Meaning::Say(Word::Acknowledge),
        b's' => Meaning::Say(Word::Silence),
        b'h' => Meaning::Say(Word::Order(Command::SteerHand)),
        b'w' => Meaning::Say(Word::Order(Command::SteerWind)),
        b'c' => Meaning::Say(Word::Order(Command::SteerHere)),
        b'x' => Meaning::Say(Word::Order(Command::Cancel)),
        b't' => Meaning::Say(Word::SoundTest),
        b'q' => Meaning::End,
        _ => return None,
    })
}

/// Listens to the keys, if there is a terminal to press them on.
pub(super) fn listen(speaker: Speaker, interrupt: &Interrupt, view: Option<ViewKeys>) -> Option<Keys> {
    let view = view.map(Arc::new);
    let shown = view.clone();
    let speaker = speaker.voiced(Voice::Key);
    let (end, ended) = (interrupt.clone(), interrupt.clone());
    let pressed = move |key| match meaning(key) {
        // Whoever presses a key is awake, whatever the key is for.
        _ if view.as_ref().is_some_and(|view| view.pressed(key)) => drop(speaker.say(Word::Answer)),
        // A queue that is full holds the same word many times over.
        Some(Meaning::Say(word)) => drop(speaker.say(word)),
        Some(Meaning::End) => end.set(),
        None => drop(speaker.say(Word::Answer)),
    };
    let about_to_end = move || {
        let set = ended.is_set();
        if let (true, Some(view)) = (set, &shown) {
            view.ending();
        }
        set
    };
    Keys::listen(pressed, about_to_end)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_key_of_the_help_has_its_meaning_and_no_other_has() {
        let told = KEYS.map(|(key, _)| key.as_bytes()[0]);
        for key in 0..=255u8 {
            assert_eq!(meaning(key).is_some(), told.contains(&key.to_ascii_lowercase()), "{key}");
        }
        assert_eq!(meaning(b'a'), Some(Meaning::Say(Word::Acknowledge)));
        assert_eq!(meaning(b'C'), Some(Meaning::Say(Word::Order(Command::SteerHere))));
        assert_eq!(meaning(b'x'), Some(Meaning::Say(Word::Order(Command::Cancel))));
        assert_eq!(meaning(b'q'), Some(Meaning::End));
    }
}
