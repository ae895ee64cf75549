//! The thread of the sounder: which hook sounds now, one at a time.

use std::collections::BTreeMap;
use std::collections::VecDeque;
use std::sync::Arc;
use std::time::Duration;

use lubber_core::alert::Priority;
use lubber_core::time::Instant;
use lubber_core::time::Span;

use crate::clock::Clock;
use crate::sound::Cue;
use crate::sound::Hook;
use crate::sound::Hooks;
use crate::sound::Report;
use crate::sound::Settings;
use crate::sound::Tested;
use crate::sound::hook::Run;
use crate::sound::hook::Told;
use crate::sound::sounder::Shared;

/// How often a hook that runs is looked at.
const POLL: Duration = Duration::from_millis(20);
/// Nothing to do: the thread wakes only when it is asked.
const IDLE: Duration = Duration::from_secs(3600);
/// A hook that is tested may sound so long; an alarm's whole sound is no short test.
const TEST_LASTS: Span = Span::from_ms(1500);
/// Reports that nobody fetches; more would be the same again.
const REPORTS: usize = 8;
/// Hooks that were killed and have not died: more than these hang in a driver for good.
const DYING: usize = 4;

/// What a hook that runs is run for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum For {
    Alert(Priority),
    Test(&'static str),
    End,
}

/// A hook that runs.
struct Playing {
    run: Run,
    what: For,
    /// The name of its hook.
    hook: &'static str,
    until: Instant,
}

/// The thread.
pub(super) struct Player {
    settings: Settings,
    pub(super) shared: Arc<Shared>,
    clock: Clock,
    playing: Option<Playing>,
    dying: Vec<Run>,
    /// Hooks that have ended and left something in the background that still sounds.
    behind: Vec<Playing>,
    standing: Option<Cue>,
    once: Option<Cue>,
    /// When the standing one is to be heard next.
    due: Option<Instant>,
    to_test: VecDeque<(&'static str, Hook)>,
    /// What came of the test so far, and which one it is.
    tested: Option<Tested>,
    test: u64,
    /// The hooks that failed the last time they were run.
    failing: BTreeMap<&'static str, String>,
    ending: bool,
}

impl Player {
    pub(super) fn new(settings: Settings, shared: Arc<Shared>) -> Self {
        Self {
            settings,
            shared,
            clock: Clock::start(),
            playing: None,
            dying: Vec::new(),
            behind: Vec::new(),
            standing: None,
            once: None,
            due: None,
            to_test: VecDeque::new(),
            tested: None,
            test: 0,
            failing: BTreeMap::new(),
            ending: false,
        }
    }

    /// Sounds what is asked until the watch has ended.
    pub(super) fn run(mut self) {
        while !(self.ending && self.playing.is_none()) {
            self.reap();
            self.hear();
            self.start_next();
            self.finish_test();
            self.wait();
        }
    }

    /// Looks whether what runs has ended or has run too long.
    fn reap(&mut self) {
        self.dying.retain_mut(|run| run.ended().is_none());
        let now = self.clock.now();
        self.behind.retain_mut(|playing| {
            if now >= playing.until {
                playing.run.kill();
            }
            now < playing.until && playing.run.lingers()
        });
        let Some(playing) = &mut self.playing else { return };
        let outcome = match playing.run.ended() {
            Some(outcome) => outcome,
            None if now < playing.until => return,
            // That it sounds for longer is no fault of its own in a test or at an end that is cut short.
            None => match playing.what {
                For::Test(_) | For::End => Ok(()),
                For::Alert(_) => Err(playing.run.too_long(self.settings.timeout.as_s())),
            },
        };
        let (what, hook) = (playing.what, playing.hook);
        if playing.run.lingers() {
            self.behind.extend(self.playing.take());
        }
        self.stop();
        self.note(what, hook, outcome);
    }

    /// Takes what is asked.
    fn hear(&mut self) {
        let mut slot = self.shared.lock();
        slot.rung = false;
        let standing = slot.standing.clone();
        let afresh = std::mem::take(&mut slot.afresh);
        let once = slot.once.take();
        let asked = slot.tests_asked;
        let end = slot.end.take();
        drop(slot);
        if let Some((text, at_most)) = end {
            return self.end(text.as_deref(), at_most);
        }
        self.once = once.or_else(|| self.once.take());
        let now = self.clock.now();
        match &standing {
            None => self.due = None,
            Some(cue) if afresh || (cue.priority == Priority::Alarm && self.due.is_none()) => self.due = Some(now),
            Some(cue) if cue.priority != Priority::Alarm && self.standing.as_ref() != Some(cue) => self.due = None,
            Some(_) => {}
        }
        self.standing = standing;
        // What was answered falls silent, an alarm does not wait for a warning to end, and nothing
        // waits for a test.
        let standing = self.standing.as_ref().map(|cue| cue.priority);
        let stops = |playing: &Playing| match playing.what {
            For::Alert(Priority::Caution) | For::Test(_) => standing.is_some(),
            For::Alert(priority) => standing != Some(priority),
            For::End => false,
        };
        self.hush(stops);
        if self.playing.as_ref().is_some_and(stops) {
            self.stop();
        }
        if asked != self.test {
            self.test = asked;
            self.begin_test();
        }
    }

    fn end(&mut self, text: Option<&str>, at_most: Span) {
        self.hush(|_| true);
        self.stop();
        (self.standing, self.once, self.due) = (None, None, None);
        self.to_test.clear();
        self.ending = true;
        let Some(text) = text else { return };
        let hooks = &self.settings.hooks;
        let hook = hooks.end.clone().map(|hook| ("end", hook));
        let hook = hook.or_else(|| hooks.warning.clone().map(|hook| ("warning", hook)));
        if let Some((name, hook)) = hook.or_else(|| hooks.alarm.clone().map(|hook| ("alarm", hook))) {
            let told = Told { alert: "end-of-watch", priority: Priority::Warning.word(), text };
            self.start(name, &hook, For::End, told, at_most);
        }
    }

    fn begin_test(&mut self) {
        let Hooks { alarm, warning, caution, end } = self.settings.hooks.clone();
        // One that is under way begins anew.
        if self.playing.as_ref().is_some_and(|playing| matches!(playing.what, For::Test(_))) {
            self.stop();
        }
        self.tested = Some(Tested::new());
        // The end of the watch is not sounded while it lasts: it is only looked for.
        if let Some(end) = end {
            self.note(For::Test("end"), "end", end.find());
        }
        let named = [("alarm", alarm), ("warning", warning), ("caution", caution)];
        let hooks = named.into_iter().filter_map(|(name, hook)| Some((name, hook?)));
        self.to_test = hooks.collect();
    }

    /// Starts what is next, if nothing runs.
    fn start_next(&mut self) {
        let now = self.clock.now();
        if self.playing.is_some() || self.ending {
            return;
        }
        if let Some(cue) = self.standing.clone() {
            // An alert is a test of its own, and what is quieter is seen and not heard.
            self.to_test.clear();
            self.once = None;
            if self.due.is_some_and(|due| due <= now) {
                let again = cue.priority == Priority::Alarm;
                self.due = again.then(|| now + self.settings.every);
                self.sound(&cue);
            }
        } else if let Some(cue) = self.once.take() {
            self.sound(&cue);
        } else if let Some((name, hook)) = self.to_test.pop_front() {
            let text = "a test of the sounder: nothing is wrong";
            self.start(name, &hook, For::Test(name), Told { alert: "sound-test", priority: name, text }, TEST_LASTS);
        }
    }

    fn sound(&mut self, cue: &Cue) {
        let hooks = &self.settings.hooks;
        let (name, hook) = match cue.priority {
            Priority::Alarm => ("alarm", &hooks.alarm),
            Priority::Warning => ("warning", &hooks.warning),
            Priority::Caution => ("caution", &hooks.caution),
        };
        if let Some(hook) = hook.clone() {
            // One that sounds again does not sound twice at once.
            self.hush(|_| true);
            let told = Told { alert: &cue.alert, priority: cue.priority.word(), text: &cue.text };
            self.start(name, &hook, For::Alert(cue.priority), told, self.settings.timeout);
        }
    }

    fn start(&mut self, name: &'static str, hook: &Hook, what: For, told: Told<'_>, lasts: Span) {
        let started = if self.dying.len() >= DYING {
            Err(format!("`{}` hangs and cannot be killed: see what the sound card does", hook.program()))
        } else {
            Run::start(hook, told)
        };
        match started {
            Ok(run) => {
                let until = self.clock.now() + lasts;
                self.playing = Some(Playing { run, what, hook: name, until });
            }
            Err(why) => self.note(what, name, Err(why)),
        }
    }

    /// Kills what sounds on behind a hook that has ended, where that is `meant`.
    fn hush(&mut self, meant: impl Fn(&Playing) -> bool) {
        for mut playing in self.behind.extract_if(.., |playing| meant(playing)) {
            playing.run.kill();
        }
    }

    /// Kills what runs; it is reaped as soon as it has died.
    fn stop(&mut self) {
        if let Some(Playing { mut run, .. }) = self.playing.take() {
            run.kill();
            if run.ended().is_none() {
                self.dying.push(run);
            }
        }
    }

    /// Notes how a hook ended, and reports what changed by it.
    fn note(&mut self, what: For, hook: &'static str, outcome: Result<(), String>) {
        if let (For::Test(name), Some(tested)) = (what, &mut self.tested) {
            tested.push((name, outcome.clone()));
        }
        let failed = !self.failing.is_empty();
        let why = match outcome {
            Ok(()) => {
                self.failing.remove(hook);
                None
            }
            Err(why) => {
                self.failing.insert(hook, why.clone());
                Some(why)
            }
        };
        let report = match (failed, why) {
            // Told once: what fails again is tried again, and is no news.
            (false, Some(why)) => Report::Fails(format!("{hook}: {why}")),
            (true, None) if self.failing.is_empty() => Report::Works,
            _ => return,
        };
        let mut slot = self.shared.lock();
        if slot.reports.len() < REPORTS {
            slot.reports.push_back(report);
        }
    }

    fn finish_test(&mut self) {
        let testing = self.playing.as_ref().is_some_and(|playing| matches!(playing.what, For::Test(_)));
        if testing || !self.to_test.is_empty() {
            return;
        }
        if let Some(tested) = self.tested.take() {
            let mut slot = self.shared.lock();
            slot.tests_done = self.test;
            slot.tested = tested;
            self.shared.done.notify_all();
        }
    }

    fn wait(&self) {
        let wait = if self.playing.is_some() || !self.dying.is_empty() || !self.behind.is_empty() {
            POLL
        } else if self.ending || !self.to_test.is_empty() || self.once.is_some() {
            return;
        } else {
            let due = self.due.map(|due| Duration::from_millis(due.since(self.clock.now()).as_ms()));
            due.unwrap_or(IDLE)
        };
        let _ = self.shared.asked.wait_timeout_while(self.shared.lock(), wait, |slot| !slot.rung);
    }
}
