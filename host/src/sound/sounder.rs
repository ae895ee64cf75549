//! The sounder as the watch knows it: what stands, a test, the end of the watch are asked of it.

use std::collections::VecDeque;
use std::io;
use std::sync::Arc;
use std::sync::Condvar;
use std::sync::Mutex;
use std::sync::MutexGuard;
use std::sync::PoisonError;
use std::thread;
use std::time::Duration;

use lubber_core::alert::Priority;
use lubber_core::time::Span;

use crate::sound::Hook;
use crate::sound::Report;
use crate::sound::player::Player;

/// The hooks of the owner.
#[derive(Clone, Debug, Default)]
pub struct Hooks {
    /// For an alarm.
    pub alarm: Option<Hook>,
    /// For a warning.
    pub warning: Option<Hook>,
    /// For a caution; without it a caution does not sound.
    pub caution: Option<Hook>,
    /// For the end of the watch; else the warning's.
    pub end: Option<Hook>,
}

/// What the sounder is made with.
#[derive(Clone, Debug)]
pub struct Settings {
    /// The hooks.
    pub hooks: Hooks,
    /// How often an alarm that nobody answers sounds again.
    pub every: Span,
    /// How long a hook may run.
    pub timeout: Span,
}

/// What is to sound.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Cue {
    /// How urgent it is.
    pub priority: Priority,
    /// The alert's name.
    pub alert: String,
    /// What is wrong.
    pub text: String,
}

/// What came of the last test: each hook by its name, and whether it works.
pub type Tested = Vec<(&'static str, Result<(), String>)>;

/// The sounder; clones are the same one. None of its calls waits, unless it says so.
#[derive(Clone, Debug)]
pub struct Sounder(Arc<Shared>);

/// What the sounder and its thread share.
#[derive(Debug, Default)]
pub(super) struct Shared {
    slot: Mutex<Slot>,
    /// Something is asked of the thread.
    pub(super) asked: Condvar,
    /// The thread has done something.
    pub(super) done: Condvar,
}

/// What is asked of the thread, the newest in place of the older, and what it has to say.
#[derive(Debug, Default)]
pub(super) struct Slot {
    pub(super) rung: bool,
    pub(super) standing: Option<Cue>,
    /// It is to be heard now, and not only when its time comes.
    pub(super) afresh: bool,
    pub(super) once: Option<Cue>,
    /// Tests, counted as they are asked for; those up to the second number are done.
    pub(super) tests_asked: u64,
    pub(super) tests_done: u64,
    pub(super) tested: Tested,
    pub(super) end: Option<(Option<String>, Span)>,
    pub(super) ended: bool,
    pub(super) reports: VecDeque<Report>,
}

impl Sounder {
    /// Starts the sounder on a thread of its own.
    ///
    /// # Errors
    /// The system gives no thread.
    pub fn start(settings: Settings) -> io::Result<Self> {
        let shared = Arc::new(Shared::default());
        let player = Player::new(settings, Arc::clone(&shared));
        thread::Builder::new().name("sounder".into()).stack_size(256 << 10).spawn(move || {
            // Whatever happens to it: who waits for the end of the watch does not wait in vain.
            let _over = Over(Arc::clone(&player.shared));
            player.run();
        })?;
        Ok(Self(shared))
    }

    /// This stands and nobody has answered; none: nothing does. With `afresh` it is heard at once, and
    /// an alarm again and again.
    pub fn standing(&self, cue: Option<Cue>, afresh: bool) {
        self.ask(|slot| {
            slot.standing = cue;
            slot.afresh |= afresh;
        });
    }

    /// This is to be heard once, when nothing louder sounds.
    pub fn once(&self, cue: Cue) {
        self.ask(|slot| slot.once = Some(cue));
    }

    /// Every hook is to be heard once, shortly.
    pub fn test(&self) {
        self.ask(|slot| slot.tests_asked += 1);
    }

    /// Waits, at most so long, until the test that was asked for last is done, and what came of it.
    pub fn tested(&self, at_most: Duration) -> Option<Tested> {
        let asked = self.0.lock().tests_asked;
        let unfinished = |slot: &mut Slot| slot.tests_done < asked && !slot.ended;
        let waited = self.0.done.wait_timeout_while(self.0.lock(), at_most, unfinished);
        let (slot, _) = waited.unwrap_or_else(PoisonError::into_inner);
        (slot.tests_done >= asked).then(|| slot.tested.clone())
    }

    /// The watch has ended: `text` is heard for `at_most` so long, or nothing is, and that is waited for.
    /// Nothing sounds after it.
    pub fn end(&self, text: Option<&str>, at_most: Span) {
        self.ask(|slot| slot.end = Some((text.map(str::to_owned), at_most)));
        let limit = Duration::from_millis(at_most.as_ms()) + Duration::from_secs(1);
        let _ = self.0.done.wait_timeout_while(self.0.lock(), limit, |slot| !slot.ended);
    }

    /// The next thing to tell.
    pub fn report(&self) -> Option<Report> {
        self.0.lock().reports.pop_front()
    }

    fn ask(&self, ask: impl FnOnce(&mut Slot)) {
        let mut slot = self.0.lock();
        ask(&mut slot);
        slot.rung = true;
        self.0.asked.notify_one();
    }
}

impl Shared {
    pub(super) fn lock(&self) -> MutexGuard<'_, Slot> {
        self.slot.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// Says that the thread is over.
struct Over(Arc<Shared>);

impl Drop for Over {
    fn drop(&mut self) {
        let mut slot = self.0.lock();
        slot.ended = true;
        if thread::panicking() {
            slot.reports.push_back(Report::Fails("a fault in the program itself ended it; restart the watch".into()));
        }
        self.0.done.notify_all();
    }
}
