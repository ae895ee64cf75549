//! What makes alerts heard by the owner's hooks, and the end of a watch however it ends.

use std::io::IsTerminal;
use std::io::Write;
use std::thread;

use lubber_core::alert::AlertKind;
use lubber_core::alert::Instance;
use lubber_core::alert::Part;
use lubber_core::alert::Priority;
use lubber_core::arbiter::AlertChange;
use lubber_core::arbiter::State;
use lubber_core::monitor::Event;
use lubber_core::monitor::Monitor;
use lubber_core::time::Instant;
use lubber_core::time::Span;

use super::company::Companion;
use super::standing::Alerts;
use crate::boat;
use crate::exit::Failure;
use crate::session::Ending;
use crate::session::Heard;
use crate::session::Moment;
use crate::session::Report;
use crate::session::Word;
use crate::sound;
use crate::sound::Cue;
use crate::sound::Hook;
use crate::sound::Hooks;
use crate::sound::Settings;
use crate::sound::Sounder;
use crate::view::Sources;
use crate::view::alert;

/// The sounder of a watch. Dropped before the watch has ended in good order, it sounds the end all the same.
pub(super) struct Sounding {
    /// None where the owner has no hooks.
    sounder: Option<Sounder>,
    sources: Sources,
    live: bool,
    /// How long the end may sound where nobody wanted it.
    timeout: Span,
    alerts: Alerts,
    loudest: Option<(AlertKind, Instance, Priority)>,
    next_look: Instant,
    ended: bool,
}

/// How often it is seen what follows from another alert by now, and what the sounder has to tell.
const LOOK: Span = Span::from_s(1);
/// The end that somebody wants is heard so long, and then they have their prompt again.
const SHORTLY: Span = Span::from_s(3);

/// Why nothing can be heard, and what to do about it.
pub(super) const NOTHING_SOUNDS: &str = "nothing sounds, for there is no terminal whose bell could be rung and no hook; \
write [sounder] with alarm and warning in the boat file";

/// The owner's hooks, started; none where there are none.
pub(super) fn start(of: &boat::sounder::Sounder) -> Result<Option<Sounder>, Failure> {
    let hook = |words: &Option<Vec<String>>| words.clone().and_then(Hook::new);
    let hooks =
        Hooks { alarm: hook(&of.alarm), warning: hook(&of.warning), caution: hook(&of.caution), end: hook(&of.end) };
    if hooks.alarm.is_none() {
        return Ok(None);
    }
    let settings = Settings { hooks, every: of.every, timeout: of.timeout };
    let failed = |error| Failure::new(format!("the system gives no thread for the sounder: {error}"));
    Sounder::start(settings).map(Some).map_err(failed)
}

/// What sounds, in words; `bell`: this terminal's does too.
pub(super) fn words(of: &boat::sounder::Sounder, bell: bool) -> String {
    let hooks = [("alarm", &of.alarm), ("warning", &of.warning), ("caution", &of.caution), ("end", &of.end)];
    let hooks: Vec<&str> = hooks.iter().filter(|(_, hook)| hook.is_some()).map(|(name, _)| *name).collect();
    let bell = bell.then_some("the bell of this terminal");
    let hooks = (!hooks.is_empty()).then(|| format!("hooks for {}", boat::listed(&hooks)));
    match (hooks, bell) {
        (Some(hooks), Some(bell)) => format!("{hooks}, and {bell}"),
        (Some(hooks), None) => hooks,
        (None, Some(bell)) => bell.to_owned(),
        (None, None) => format!("NONE: {NOTHING_SOUNDS}"),
    }
}

impl Sounding {
    /// The sounder of a watch that begins; a live one is heard once, shortly.
    pub(super) fn new(sounder: Option<Sounder>, timeout: Span, sources: Sources, live: bool) -> Self {
        if let Some(sounder) = sounder.as_ref().filter(|_| live) {
            sounder.test();
        }
        Self {
            sounder,
            sources,
            live,
            timeout,
            alerts: Alerts::default(),
            loudest: None,
            next_look: Instant::default(),
            ended: false,
        }
    }

    fn cue(&self, change: &AlertChange) -> Cue {
        let about = alert::instance(change.instance, &self.sources);
        Cue {
            priority: change.priority,
            alert: change.kind.name().to_owned(),
            text: format!("{} {about}: {}", change.kind, alert::words(change, &self.sources)),
        }
    }

    /// Tells the sounder what is the loudest now; `presented` was raised or presented again just now.
    fn update(&mut self, presented: Option<&AlertChange>) {
        let Some(sounder) = &self.sounder else { return };
        let sounding = self.alerts.iter().filter(|change| alert::sounds(change));
        let loudest = sounding.max_by_key(|change| change.priority);
        let key = loudest.map(|change| (change.kind, change.instance, change.priority));
        let presented = presented.is_some_and(|change| loudest.is_some_and(|l| l.priority == change.priority));
        // A warning under an alarm is heard once the alarm is answered.
        let next = key != self.loudest && loudest.is_some_and(|change| change.priority != Priority::Alarm);
        if key != self.loudest || presented {
            sounder.standing(loudest.map(|change| self.cue(change)), presented || next);
            self.loudest = key;
        }
    }

    fn end_now(&mut self, text: &str, at_most: Span) {
        if std::mem::replace(&mut self.ended, true) {
            return;
        }
        if let Some(sounder) = &self.sounder {
            sounder.end(self.live.then_some(text), at_most);
        }
    }
}

impl Companion for Sounding {
    fn event(&mut self, _: Moment, event: &Event<'_>) {
        let Event::Alert(change) = event else { return };
        self.alerts.take(change);
        // A caution asks for no answer, so it is heard once and never again.
        if change.state == State::Active
            && change.follows.is_none()
            && let Some(sounder) = &self.sounder
        {
            sounder.once(self.cue(change));
        }
        self.update(Some(change).filter(|change| alert::sounds(change)));
    }

    fn heard(&mut self, _: Moment, heard: &Heard) {
        if let (Word::SoundTest, Some(sounder)) = (heard.word, &self.sounder) {
            sounder.test();
        }
    }

    fn due(&self) -> Instant {
        self.next_look
    }

    fn look(&mut self, moment: Moment, monitor: &Monitor) {
        self.next_look = moment.now + LOOK;
        if self.sounder.is_some() {
            // That an alert follows from another is learned without a change of it.
            self.alerts.set(&monitor.status(moment.now).alerts);
            self.update(None);
        }
    }

    fn report(&mut self) -> Option<Report> {
        let (works, why) = match self.sounder.as_ref()?.report()? {
            sound::Report::Works => (true, String::new()),
            sound::Report::Fails(why) => (false, why),
        };
        Some(Report { part: Part::Sounder, works, why })
    }

    fn end(&mut self, _: Moment, _: &Monitor, ending: Ending) {
        let (why, at_most) = match ending {
            Ending::Interrupted => ("interrupted", SHORTLY),
            Ending::InputsEnded => ("the inputs have ended", self.timeout),
        };
        self.end_now(&format!("END OF THE WATCH, {why}: nobody keeps watch now"), at_most);
    }
}

impl Drop for Sounding {
    fn drop(&mut self) {
        if self.ended {
            return;
        }
        // The output is gone or the program itself is at fault: what can still be heard is heard.
        if self.live {
            let mut errors = std::io::stderr();
            if thread::panicking() {
                let _ = writeln!(
                    errors,
                    "lubber: END OF THE WATCH, a fault in the program itself: nobody keeps watch now; start it again"
                );
            }
            if errors.is_terminal() {
                let _ = errors.write_all(b"\x07\x07\x07");
            }
        }
        self.end_now("END OF THE WATCH, by a failure: nobody keeps watch now", self.timeout);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::fs;
    use std::panic::AssertUnwindSafe;

    /// A sounder whose every hook writes which alert it was run for.
    fn written(path: &std::path::Path) -> Sounder {
        let line = format!("echo \"$LUBBER_ALERT $LUBBER_TEXT\" >> {}", path.display());
        let hook = Hook::new(vec!["sh".into(), "-c".into(), line]);
        let hooks = Hooks { alarm: hook.clone(), warning: hook, ..Hooks::default() };
        Sounder::start(Settings { hooks, every: Span::from_s(600), timeout: Span::from_s(30) }).unwrap()
    }

    #[test]
    fn the_end_is_heard_by_a_panic_too() {
        let path = std::env::temp_dir().join(format!("lubber-panic-{}", std::process::id()));
        let _ = fs::remove_file(&path);
        let panicked = std::panic::catch_unwind(AssertUnwindSafe(|| {
            let mut sounding = Sounding::new(Some(written(&path)), Span::from_s(30), Sources::default(), true);
            sounding.next_look = Instant::from_ms(1);
            std::panic::resume_unwind(Box::new("a fault"));
        }));
        assert!(panicked.is_err());
        let said = fs::read_to_string(&path).unwrap();
        assert!(said.lines().last().unwrap().starts_with("end-of-watch END OF THE WATCH, by a failure"), "{said}");
        fs::remove_file(&path).unwrap();

        // A replay that ends is no watch that ends.
        drop(Sounding::new(Some(written(&path)), Span::from_s(30), Sources::default(), false));
        assert!(!path.exists());
    }
}
