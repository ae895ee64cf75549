//! The owner's word to a running watch, from whichever thread it comes, and its answer.
//!
//! The queue is bounded and nobody's asking makes the loop wait: a word that finds no room is
//! refused, and an answer that nobody takes any more is dropped.

use std::sync::mpsc::Receiver;
use std::sync::mpsc::SyncSender;
use std::sync::mpsc::sync_channel;
use std::time::Duration;

use lubber_core::arbiter::AlertChange;
use lubber_core::frame::Counts;
use lubber_core::monitor::Status;
use lubber_core::picture::Command;

use crate::session::Moment;

/// What the owner may say to a running watch.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Word {
    /// How the boat is steered.
    Order(Command),
    /// Takes responsibility for every alert that stands unacknowledged.
    Acknowledge,
    /// Silences what sounds, for 30 s.
    Silence,
    /// Somebody is awake: a key was pressed that means nothing else.
    Answer,
    /// Asks how it stands.
    Status,
    /// Makes everything sound once that sounds an alert.
    SoundTest,
}

/// Who says a word.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Voice {
    /// Another program of the same user, through the control socket.
    #[default]
    Control,
    /// A key of the terminal.
    Key,
    /// A page on another screen.
    Page,
    /// Nobody now: it was said to an earlier watch, and still counts.
    Earlier,
}

impl Voice {
    /// The word in every output.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Control => "control",
            Self::Key => "key",
            Self::Page => "page",
            Self::Earlier => "earlier-watch",
        }
    }
}

/// What was said to the watch, and whether anything came of it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Heard {
    /// What.
    pub word: Word,
    /// By whom.
    pub by: Voice,
    /// Whether it could be obeyed and changed anything.
    pub heeded: bool,
}

/// How it stands after a word.
#[derive(Clone, Debug)]
pub struct Answer {
    /// When the word was heard.
    pub moment: Moment,
    /// Whether it could be obeyed: "steer here" needs a heading.
    pub obeyed: bool,
    /// The alerts that changed by it.
    pub changes: Vec<AlertChange>,
    /// What a display shows then.
    pub status: Status,
    /// The byte account of each source.
    pub counts: Vec<Counts>,
}

/// Why there is no answer.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum Unanswered {
    /// Too many speak at once.
    #[error("too many speak to the watch at once; say it again")]
    Busy,
    /// It did not answer in time.
    #[error("the watch is busy and did not answer within {} s; say it again", ANSWER_WITHIN.as_secs())]
    Late,
    /// It has ended.
    #[error("the watch has just ended")]
    Ended,
}

/// Words that may wait for the loop.
const QUEUE: usize = 32;

/// An answer takes half a second at the most, unless the machine is overloaded.
const ANSWER_WITHIN: Duration = Duration::from_secs(3);

/// A word and who waits for its answer.
struct Said {
    word: Word,
    by: Voice,
    answer: Option<SyncSender<Box<Answer>>>,
}

/// Whoever speaks to the watch; clones speak to the same one.
#[derive(Clone)]
pub struct Speaker {
    to: SyncSender<Said>,
    by: Voice,
}

/// The words as the loop takes them.
#[derive(Default)]
pub struct Words(Option<Receiver<Said>>);

/// A speaker and the words it says.
pub fn words() -> (Speaker, Words) {
    let (to, from) = sync_channel(QUEUE);
    (Speaker { to, by: Voice::default() }, Words(Some(from)))
}

impl Speaker {
    /// The same, in the name of `by`.
    #[must_use]
    pub fn voiced(&self, by: Voice) -> Self {
        Self { by, to: self.to.clone() }
    }

    /// Says `word` and waits a little for the answer.
    ///
    /// # Errors
    /// [`Unanswered`] says why there is none.
    pub fn ask(&self, word: Word) -> Result<Box<Answer>, Unanswered> {
        let (to, from) = sync_channel(1);
        self.send(Said { word, by: self.by, answer: Some(to) })?;
        from.recv_timeout(ANSWER_WITHIN).map_err(|error| match error {
            std::sync::mpsc::RecvTimeoutError::Timeout => Unanswered::Late,
            std::sync::mpsc::RecvTimeoutError::Disconnected => Unanswered::Ended,
        })
    }

    /// Says `word`; what comes of it is seen in the output.
    ///
    /// # Errors
    /// [`Unanswered`] says why it was not heard.
    pub fn say(&self, word: Word) -> Result<(), Unanswered> {
        self.send(Said { word, by: self.by, answer: None })
    }

    fn send(&self, said: Said) -> Result<(), Unanswered> {
        self.to.try_send(said).map_err(|error| match error {
            std::sync::mpsc::TrySendError::Full(_) => Unanswered::Busy,
            std::sync::mpsc::TrySendError::Disconnected(_) => Unanswered::Ended,
        })
    }
}

impl Words {
    /// The next word, if one was said.
    pub(super) fn next(&self) -> Option<(Word, Voice, Reply)> {
        let said = self.0.as_ref()?.try_recv().ok()?;
        Some((said.word, said.by, Reply(said.answer)))
    }
}

/// Where the answer to one word goes.
pub(super) struct Reply(Option<SyncSender<Box<Answer>>>);

impl Reply {
    /// Whether somebody waits for it.
    pub(super) const fn is_awaited(&self) -> bool {
        self.0.is_some()
    }

    /// Answers, if anybody waits; making the answer is left out where nobody does.
    pub(super) fn answer(self, make: impl FnOnce() -> Answer) {
        if let Some(to) = self.0 {
            // Room for it was made when it was asked; who no longer waits gets none.
            let _ = to.try_send(Box::new(make()));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn who_speaks_too_much_is_refused_and_nobody_waits() {
        let (speaker, words) = words();
        for _ in 0..QUEUE {
            assert_eq!(speaker.say(Word::Acknowledge), Ok(()));
        }
        assert_eq!(speaker.say(Word::Silence), Err(Unanswered::Busy));
        assert!(matches!(words.next(), Some((Word::Acknowledge, Voice::Control, _))));
        assert_eq!(speaker.say(Word::Silence), Ok(()));
        drop(words);
        assert_eq!(speaker.say(Word::Silence), Err(Unanswered::Ended));
        assert!(Words::default().next().is_none());
    }

    #[test]
    fn an_answer_that_never_comes_is_told_when_the_watch_ends() {
        let (speaker, words) = words();
        let asking = std::thread::spawn(move || speaker.ask(Word::Status).map(|_| ()));
        // The word is taken and its reply dropped unanswered, as when the loop ends on a fault.
        while words.next().is_none() {
            std::thread::yield_now();
        }
        assert_eq!(asking.join().unwrap(), Err(Unanswered::Ended));
    }
}
