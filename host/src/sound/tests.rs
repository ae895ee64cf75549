//! The sounder and the heartbeat with real processes.

use std::fs;
use std::path::PathBuf;
use std::time::Duration;

use lubber_core::alert::Priority;
use lubber_core::time::Span;

use super::*;
use crate::clock::Clock;

/// No answer for so long is a failure; an upper bound, never waited for otherwise.
const LONG: Span = Span::from_s(60);

/// A file that hooks write to, taken away with it.
struct Ear(PathBuf);

impl Ear {
    fn new(name: &str) -> Self {
        let path = std::env::temp_dir().join(format!("lubber-ear-{}-{name}", std::process::id()));
        let _ = fs::remove_file(&path);
        Self(path)
    }

    /// A hook that writes its name and what it is told, and then does `more`.
    fn hook(&self, name: &str, more: &str) -> Option<Hook> {
        let line =
            format!("echo \"{name} $LUBBER_ALERT $LUBBER_PRIORITY $LUBBER_TEXT\" >> {}; {more}", self.0.display());
        shell(&line)
    }

    fn said(&self) -> String {
        fs::read_to_string(&self.0).unwrap_or_default()
    }
}

impl Drop for Ear {
    fn drop(&mut self) {
        let _ = fs::remove_file(&self.0);
    }
}

fn shell(line: &str) -> Option<Hook> {
    Hook::new(vec!["sh".into(), "-c".into(), line.into()])
}

fn program(words: &[&str]) -> Option<Hook> {
    Hook::new(words.iter().map(|&word| word.to_owned()).collect())
}

fn start(alarm: Option<Hook>, warning: Option<Hook>, every: Span, timeout: Span) -> Sounder {
    let hooks = Hooks { alarm, warning, ..Hooks::default() };
    Sounder::start(Settings { hooks, every, timeout }).unwrap()
}

fn cue(priority: Priority, alert: &str) -> Option<Cue> {
    Some(Cue { priority, alert: alert.into(), text: "what is\nwrong".into() })
}

/// Waits until `seen` gives something.
#[track_caller]
fn until<T>(mut seen: impl FnMut() -> Option<T>) -> T {
    let clock = Clock::start();
    loop {
        if let Some(seen) = seen() {
            return seen;
        }
        assert!(clock.now().since(Default::default()) < LONG, "nothing within {} s", LONG.as_s());
        std::thread::park_timeout(Duration::from_millis(5));
    }
}

/// The children of this process that wait to be reaped, whose command begins with `name`.
fn zombies(name: &str) -> usize {
    let stats =
        fs::read_dir("/proc").unwrap().filter_map(|entry| fs::read_to_string(entry.ok()?.path().join("stat")).ok());
    let ours = format!(") Z {} ", std::process::id());
    stats.filter(|stat| stat.contains(&ours) && stat.contains(&format!("({name}"))).count()
}

#[test]
fn an_alarm_and_a_warning_are_told_apart_and_an_alarm_again_and_again() {
    let ear = Ear::new("apart");
    let sounder = start(ear.hook("A", ""), ear.hook("W", ""), Span::from_ms(50), LONG);
    sounder.standing(cue(Priority::Warning, "supply-low"), true);
    until(|| ear.said().contains("W supply-low warning what is wrong\n").then_some(()));
    sounder.standing(cue(Priority::Alarm, "off-heading"), true);
    until(|| (ear.said().matches("A off-heading alarm what is wrong\n").count() >= 3).then_some(()));
    assert_eq!(ear.said().matches("W ").count(), 1, "a warning is heard once: {}", ear.said());
    sounder.end(Some("over"), LONG);
    assert!(ear.said().ends_with("W end-of-watch warning over\n"), "{}", ear.said());
    assert_eq!(sounder.report(), None);
    let said = ear.said();
    sounder.standing(cue(Priority::Alarm, "off-heading"), true);
    assert_eq!(ear.said(), said, "after the end nothing sounds");
}

/// Whether the process still runs whose number stands behind `mark`, once it stands there.
fn runs(ear: &Ear, mark: &str) -> bool {
    let said = until(|| ear.said().split_once(&format!("number of {mark} ")).map(|(_, rest)| rest.to_owned()));
    let number = until(|| said.lines().next().and_then(|number| number.trim().parse().ok()));
    rustix::process::test_kill_process(rustix::process::Pid::from_raw(number).unwrap()).is_ok()
}

#[test]
fn a_sound_that_was_put_in_the_background_falls_silent_too() {
    let ear = Ear::new("background");
    let behind = |mark: &str| format!("sleep 600 & echo \"number of {mark} $!\" >> {}", ear.0.display());
    let sounder = start(ear.hook("A", &behind("a")), ear.hook("W", &behind("w")), LONG, Span::from_min(60));
    sounder.standing(cue(Priority::Warning, "supply-low"), true);
    assert!(runs(&ear, "w"));
    // The hook has long ended when an alarm takes its place.
    sounder.standing(cue(Priority::Alarm, "off-heading"), true);
    until(|| (!runs(&ear, "w")).then_some(()));
    assert!(runs(&ear, "a"));
    // Answered.
    sounder.standing(None, false);
    until(|| (!runs(&ear, "a")).then_some(()));
    assert_eq!(sounder.report(), None);
}

#[test]
fn a_sound_in_the_background_lasts_no_longer_than_a_hook_may() {
    let ear = Ear::new("behind-long");
    let behind = format!("sleep 600 & echo \"number of a $!\" >> {}", ear.0.display());
    let sounder = start(ear.hook("A", &behind), None, LONG, Span::from_ms(300));
    sounder.standing(cue(Priority::Alarm, "off-heading"), true);
    until(|| (!runs(&ear, "a")).then_some(()));
    assert_eq!(sounder.report(), None, "that it was cut off is no fault");
}

#[test]
fn an_alarm_waits_for_no_warning_and_what_is_answered_falls_silent() {
    let ear = Ear::new("waits");
    let sounder = start(ear.hook("A", "exec sleep 600"), ear.hook("W", "exec sleep 600"), LONG, Span::from_min(60));
    sounder.standing(cue(Priority::Warning, "supply-low"), true);
    until(|| ear.said().contains("W supply-low").then_some(()));
    sounder.standing(cue(Priority::Alarm, "off-heading"), true);
    until(|| ear.said().contains("A off-heading").then_some(()));
    // Answered: the sound is cut off, and what is raised next is heard at once.
    sounder.standing(None, false);
    sounder.standing(cue(Priority::Warning, "position-lost"), true);
    until(|| ear.said().contains("W position-lost").then_some(()));
    // To be cut off is no failure.
    sounder.end(None, Span::ZERO);
    assert_eq!(sounder.report(), None);
    assert!(!ear.said().contains("end-of-watch"));
}

#[test]
fn every_way_to_fail_is_reported_once_and_tried_again() {
    for (hook, part) in [
        (program(&["/no/such/program"]), "there is no program `/no/such/program`"),
        (program(&["no-such-program-at-all", "x"]), "[sounder] in the boat file"),
        (program(&["/etc/passwd"]), "there is no program `/etc/passwd` that this watch may run"),
        (program(&["/bin/false"]), "ended with exit status 1; run it by hand"),
        (shell("echo one >&2; echo the card is busy >&2; exit 3"), "exit status 3, saying \"the card is busy\""),
        (shell("kill -9 $$"), "was ended by signal 9"),
        (program(&["sleep", "600"]), "did not end within 1 s and was killed"),
    ] {
        let sounder = start(hook, program(&["/bin/true"]), Span::from_ms(20), Span::from_s(1));
        sounder.standing(cue(Priority::Alarm, "off-heading"), true);
        let report = until(|| sounder.report());
        assert!(
            matches!(&report, Report::Fails(why) if why.starts_with("alarm: ") && why.contains(part)),
            "{report:?}"
        );
        // That the warning's hook works does not mend the alarm's.
        sounder.standing(cue(Priority::Warning, "watch-impaired"), true);
        sounder.standing(None, false);
        sounder.end(None, Span::ZERO);
        assert_eq!(sounder.report(), None, "{part}");
    }
}

#[test]
fn it_works_again_and_a_test_tells_which_hook_does() {
    let ear = Ear::new("again");
    let flag = Ear::new("flag");
    let mends = shell(&format!("test -e {}", flag.0.display()));
    let sounder = start(mends, ear.hook("W", "exec sleep 600"), LONG, LONG);
    sounder.test();
    let tested = sounder.tested(Duration::from_secs(60)).unwrap();
    assert!(
        matches!(&tested[..], [("alarm", Err(why)), ("warning", Ok(()))] if why.contains("exit status 1")),
        "{tested:?}"
    );
    assert!(ear.said().starts_with("W sound-test warning a test of the sounder"), "{}", ear.said());
    assert!(matches!(until(|| sounder.report()), Report::Fails(_)));
    fs::write(&flag.0, "").unwrap();
    sounder.test();
    assert!(sounder.tested(Duration::from_secs(60)).unwrap().iter().all(|(_, outcome)| outcome.is_ok()));
    assert_eq!(until(|| sounder.report()), Report::Works);
    sounder.end(None, Span::ZERO);
}

#[test]
fn a_caution_is_heard_once_if_it_has_a_hook_and_nothing_louder_sounds() {
    let ear = Ear::new("caution");
    let hooks = Hooks {
        alarm: ear.hook("A", ""),
        warning: ear.hook("W", ""),
        caution: ear.hook("C", ""),
        end: ear.hook("E", ""),
    };
    let sounder = Sounder::start(Settings { hooks, every: LONG, timeout: LONG }).unwrap();
    sounder.once(cue(Priority::Caution, "input-damaged").unwrap());
    until(|| ear.said().contains("C input-damaged caution").then_some(()));
    sounder.standing(cue(Priority::Alarm, "input-lost"), true);
    until(|| ear.said().contains("A input-lost").then_some(()));
    sounder.once(cue(Priority::Caution, "rudder-lost").unwrap());
    sounder.end(Some("over"), LONG);
    assert!(!ear.said().contains("rudder-lost"), "{}", ear.said());
    assert!(ear.said().ends_with("E end-of-watch warning over\n"), "{}", ear.said());
}

#[test]
fn a_hook_sees_little_of_the_environment_and_no_input() {
    let ear = Ear::new("env");
    let env = shell(&format!("env > {0}.new; cat >> {0}.new; mv {0}.new {0}", ear.0.display()));
    let sounder = start(env, program(&["true"]), LONG, LONG);
    sounder.standing(cue(Priority::Alarm, "off-heading"), true);
    let said = until(|| Some(ear.said()).filter(|said| !said.is_empty()));
    sounder.end(None, Span::ZERO);
    assert!(said.contains("LUBBER_ALERT=off-heading\n") && said.contains("PATH="), "{said}");
    // What the test's own environment is full of.
    assert!(!said.contains("CARGO"), "{said}");
}

#[test]
fn no_zombies_are_left() {
    // Under a name of its own, for other tests run beside this one.
    let name = std::env::temp_dir().join(format!("lz{}", std::process::id()));
    fs::copy("/bin/true", &name).unwrap();
    let hook = || program(&[name.to_str().unwrap()]);
    let short = name.file_name().unwrap().to_str().unwrap();
    let sounder = start(hook(), hook(), Span::from_ms(1), LONG);
    for _ in 0..20 {
        sounder.test();
        assert_eq!(sounder.tested(Duration::from_secs(60)), Some(vec![("alarm", Ok(())), ("warning", Ok(()))]));
    }
    until(|| (zombies(short) == 0).then_some(()));
    sounder.end(None, Span::ZERO);
    assert_eq!(zombies(short), 0);
    fs::remove_file(&name).unwrap();
}

#[test]
fn a_heart_beats_only_when_it_is_told_to_and_its_failure_is_told_once() {
    let ear = Ear::new("heart");
    let heart = Heartbeat::start(ear.hook("B", "").unwrap(), LONG).unwrap();
    heart.beat();
    until(|| (ear.said() == "B heartbeat  the watch lives\n").then_some(()));
    heart.beat();
    until(|| (ear.said().lines().count() == 2).then_some(()));
    assert_eq!(heart.report(), None);

    let flag = Ear::new("heart-flag");
    let mends = shell(&format!("test -e {}", flag.0.display())).unwrap();
    let heart = Heartbeat::start(mends, LONG).unwrap();
    let beaten = |heart: &Heartbeat| {
        until(|| {
            heart.beat();
            heart.report()
        })
    };
    assert!(matches!(beaten(&heart), Report::Fails(why) if why.contains("exit status 1")));
    fs::write(&flag.0, "").unwrap();
    assert_eq!(beaten(&heart), Report::Works);

    let hangs = Heartbeat::start(program(&["sleep", "600"]).unwrap(), Span::from_s(1)).unwrap();
    assert!(matches!(beaten(&hangs), Report::Fails(why) if why.contains("did not end within 1 s")));
}

#[test]
fn a_program_is_found_without_being_run() {
    assert_eq!(program(&["sh"]).unwrap().find(), Ok(()));
    assert_eq!(program(&["/bin/sh"]).unwrap().find(), Ok(()));
    for missing in ["/bin", "/etc/passwd", "no-such-program-at-all"] {
        assert!(program(&[missing]).unwrap().find().is_err_and(|why| why.contains(missing)));
    }
    assert_eq!(program(&[]), None);
    assert_eq!(program(&[""]), None);
}
