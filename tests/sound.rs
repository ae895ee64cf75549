//! Whole-program tests: what makes a watch heard, what is told of it, and what outlasts it.

#[path = "common/live.rs"]
mod live;

use std::fs;
use std::io::Read;
use std::io::Write;
use std::net::TcpListener;
use std::process::Command;
use std::process::Stdio;
use std::thread;
use std::time::Duration;

use serde_json::Value;

use live::Folder;
use live::LONG;
use live::Watch;
use live::sentence;

/// A hook that writes its name and what it is told into the file `heard`.
fn hook(name: &str) -> String {
    format!("{name} = [\"sh\", \"-c\", 'echo \"{name} $LUBBER_ALERT $LUBBER_TEXT\" >> heard']\n")
}

fn hooks() -> String {
    ["[sounder]\nevery = \"1 s\"\n", &hook("alarm"), &hook("warning"), &hook("end")].concat()
}

impl Folder {
    fn boat(&self, text: &str) {
        fs::write(self.0.join("boat.toml"), text).unwrap();
    }

    fn heard(&self) -> String {
        fs::read_to_string(self.0.join("heard")).unwrap_or_default()
    }

    /// How many lines that hold `what` were heard.
    fn count(&self, what: &str) -> usize {
        self.heard().lines().filter(|line| line.contains(what)).count()
    }

    /// Waits until so many lines that hold `what` were heard.
    fn until_heard(&self, what: &str, times: usize) {
        until(what, || self.count(what) >= times);
    }
}

/// Waits until `seen`, which cannot be waited for otherwise; a deadline ends it.
fn until(what: &str, seen: impl Fn() -> bool) {
    const PIECE: Duration = Duration::from_millis(10);
    for _ in 0..LONG.as_millis() / PIECE.as_millis() {
        if seen() {
            return;
        }
        thread::park_timeout(PIECE);
    }
    panic!("{what:?} did not come within {} s", LONG.as_secs());
}

/// The children of `parent` that nobody has reaped.
fn zombies(parent: u32) -> usize {
    let parent = format!(") Z {parent} ");
    let stats = fs::read_dir("/proc").unwrap().filter_map(|entry| entry.ok());
    stats.filter(|entry| fs::read_to_string(entry.path().join("stat")).is_ok_and(|stat| stat.contains(&parent))).count()
}

fn end(watch: &mut Watch, signal: &str) -> Option<i32> {
    assert!(Command::new("kill").args([signal, &watch.child.id().to_string()]).status().unwrap().success());
    watch.child.wait().unwrap().code()
}

#[test]
fn an_alarm_is_heard_again_and_again_until_it_is_silenced_and_the_end_is_heard() {
    let folder = Folder::new("heard");
    // The heartbeat is a clock that knows how long nothing was heard.
    let heartbeat = "heartbeat = [\"sh\", \"-c\", 'echo $LUBBER_ALERT >> beats']\nheartbeat_every = \"1 s\"\n";
    folder.boat(&[&hooks(), heartbeat].concat());
    let mut watch = Watch::new(&folder, &[]);
    // A test at the start, and one when asked.
    folder.until_heard("alarm sound-test a test of the sounder: nothing is wrong", 1);
    folder.until_heard("warning sound-test", 1);
    let (code, said) = folder.run(&["sound-test"]);
    let works = "the hook for end works\nthe hook for alarm works\nthe hook for warning works\nno terminal, no bell";
    assert_eq!((code, said.as_str()), (Some(0), works));
    assert_eq!((folder.count("alarm sound-test"), folder.count("warning sound-test")), (2, 2));

    watch.say("HCHDG,152.3,,,4.1,E");
    watch.until("the watch is kept by HCHDG");
    watch.to = None;
    watch.until("ALARM input-lost");
    folder.until_heard("alarm input-lost input-lost tcp:127.0.0.1:", 3);
    assert_eq!(folder.run(&["silence"]).0, Some(0));
    watch.until("active-silenced");
    let quiet = |what: &str| {
        let beats = || fs::read_to_string(folder.0.join("beats")).unwrap_or_default().lines().count();
        let (before, first) = (folder.count("input-lost"), beats());
        until("heartbeat", || beats() >= first + 4);
        // One may have been on its way.
        assert!(folder.count("input-lost") <= before + 1, "{what}: {}", folder.heard());
    };
    quiet("silenced");
    assert_eq!(folder.run(&["acknowledge"]).0, Some(0));
    quiet("acknowledged");
    assert_eq!(folder.count("warning input-lost"), 0, "{}", folder.heard());
    until("no zombie", || zombies(watch.child.id()) == 0);

    // The history knows who it was.
    assert_eq!(folder.run(&["steer", "hand"]).0, Some(0));
    let (code, said) = folder.run(&["status", "--history"]);
    assert_eq!(code, Some(0), "{said}");
    let places = ["sound-test, by control", "ALARM input-lost", "silence, by control", "acknowledge, by control"]
        .map(|part| said.find(part).unwrap_or_else(|| panic!("{part:?} not in\n{said}")));
    assert!(places.is_sorted(), "{said}");
    let (_, said) = folder.run(&["status", "--history", "--format", "json"]);
    let history: Value = serde_json::from_str(&said).unwrap();
    let last = history["history"].as_array().unwrap().last().unwrap();
    assert_eq!((&last["said"], &last["by"], &last["heeded"]), (&"steer hand".into(), &"control".into(), &true.into()));

    assert_eq!(end(&mut watch, "-INT"), Some(130));
    assert!(folder.heard().ends_with("end end-of-watch END OF THE WATCH, interrupted: nobody keeps watch now\n"));
}

#[test]
fn a_hook_that_is_missing_is_an_alert_and_the_other_one_is_heard() {
    let folder = Folder::new("missing");
    folder.boat(&["[sounder]\nalarm = [\"./no-such-program\"]\n", &hook("warning")].concat());
    let mut watch = Watch::new(&folder, &[]);
    watch.until("the sounder DOES NOT WORK: alarm: there is no program");
    watch.until("WARNING watch-impaired sounder: active-unacknowledged");
    folder.until_heard("warning watch-impaired watch-impaired sounder: does not work: alarm: there is no program", 1);
    let (code, said) = folder.run(&["sound-test"]);
    // While it sounds itself, that is the test; answered, each hook is tried.
    assert!(code == Some(0) || said.contains("DOES NOT WORK"), "{said}");
    assert_eq!(folder.run(&["acknowledge"]).0, Some(0));
    let (code, said) = folder.run(&["sound-test"]);
    assert_eq!(code, Some(2), "{said}");
    assert!(said.contains("alarm DOES NOT WORK: there is no program") && said.contains("warning works"), "{said}");
    // An alarm that cannot be heard is no second alert.
    watch.to = None;
    watch.until("ALARM input-lost");
    let (_, said) = folder.run(&["status"]);
    assert_eq!(said.matches("watch-impaired sounder").count(), 1, "{said}");
    // Mended, it is found out by a test.
    assert_eq!(folder.run(&["acknowledge"]).0, Some(0));
    Command::new("cp").args(["/bin/true", "no-such-program"]).current_dir(&folder.0).status().unwrap();
    assert_eq!(folder.run(&["sound-test"]).0, Some(0));
    watch.until("the sounder works");
    watch.until("over (warning) watch-impaired sounder");
}

#[test]
fn a_heartbeat_that_fails_is_an_alert() {
    let folder = Folder::new("heartbeat");
    folder.boat("[sounder]\nheartbeat = [\"false\"]\nheartbeat_every = \"1 s\"\n");
    let mut watch = Watch::new(&folder, &[]);
    watch.until("the heartbeat DOES NOT WORK: `false` ended with exit status 1");
    watch.until("WARNING watch-impaired heartbeat");
    watch.until("does not work: `false` ended with exit status 1");
    let (_, said) = folder.run(&["status"]);
    assert!(said.contains("`false` ended with exit status 1"), "{said}");
    let (_, said) = folder.run(&["status", "--format", "json"]);
    let status: serde_json::Value = serde_json::from_str(&said).unwrap();
    let text = status["status"]["alerts"][0]["text"].as_str().unwrap();
    assert!(text.contains(": `false` ended with exit status 1"), "{said}");
    let (code, said) = folder.run(&["sound-test"]);
    assert!(code == Some(2) && said.contains("nothing sounds") && said.contains("[sounder]"), "{said}");
}

#[test]
fn the_end_is_heard_however_it_comes() {
    for gone in [false, true] {
        let folder = Folder::new(if gone { "end-gone" } else { "end-input" });
        folder.boat(&hooks());
        let mut command = folder.lubber(&["watch", "-", "--live", "--format", "jsonl", "--every", "1s"]);
        command.stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::piped());
        let mut child = command.spawn().unwrap();
        folder.until_heard("sound-test", 2);
        let mut stdin = child.stdin.take().unwrap();
        stdin.write_all(sentence("HCHDG,152.3,,,4.1,E").as_bytes()).unwrap();
        let (code, why) = if gone {
            // Nobody reads any more; the next status finds that out.
            drop(child.stdout.take());
            (Some(2), "END OF THE WATCH, by a failure: nobody keeps watch now\n")
        } else {
            drop(stdin);
            (Some(0), "END OF THE WATCH, the inputs have ended: nobody keeps watch now\n")
        };
        assert_eq!(child.wait().unwrap().code(), code, "{}", folder.heard());
        assert!(folder.heard().ends_with(&format!("end end-of-watch {why}")), "{}", folder.heard());
        if gone {
            let mut said = String::new();
            child.stderr.take().unwrap().read_to_string(&mut said).unwrap();
            assert!(said.contains("END OF THE WATCH"), "{said}");
        }
    }
}

#[test]
fn what_stood_when_the_watch_was_killed_is_presented_again() {
    let folder = Folder::new("again");
    let listener = TcpListener::bind("127.0.0.1:0").unwrap();
    let source = format!("[[source]]\nname = \"nav\"\nfrom = \"tcp:{}\"\n", listener.local_addr().unwrap());
    folder.boat(&[&source, &hooks()[..]].concat());
    let mut first = Watch::start(&folder, &["watch", "--heading", "HCHDG"], &listener);
    first.until("lubber keeps watch");
    assert_eq!(folder.run(&["steer", "150.2M"]).0, Some(0));
    // A port that nobody listens at cannot be connected to again.
    drop(listener);
    first.to = None;
    first.until("ALARM input-lost nav");
    let file = folder.0.join("lubber/standing.json");
    let kept = || fs::read_to_string(&file).unwrap_or_default();
    until("standing.json", || kept().contains("input-lost") && kept().contains("150.200M"));
    first.child.kill().unwrap();
    first.child.wait().unwrap();
    assert_eq!(folder.count("end-of-watch"), 0, "nobody could: {}", folder.heard());
    fs::remove_file(folder.0.join("heard")).unwrap();

    let listener = TcpListener::bind("127.0.0.1:0").unwrap();
    let source = format!("[[source]]\nname = \"nav\"\nfrom = \"tcp:{}\"\n", listener.local_addr().unwrap());
    folder.boat(&[&source, &hooks()[..]].concat());
    let mut next = Watch::start(&folder, &["watch", "--heading", "HCHDG"], &listener);
    next.until("PRESENTED AGAIN, unanswered when the last watch ended");
    next.until("steer 150 M; lubber");
    next.until("ALARM input-lost nav: active-unacknowledged");
    next.until("presented again: it stood when the last watch ended");
    folder.until_heard("alarm input-lost input-lost nav: presented again", 2);
    let (_, said) = folder.run(&["status"]);
    assert!(said.contains("1 ALARM") && said.contains("ordered heading 150 M: ordered by the owner"), "{said}");
    assert!(folder.run(&["status", "--history"]).1.contains("steer 150 M, by earlier-watch"));

    // Nothing is lost by a second crash before anybody answered; then jsonl says it too.
    next.child.kill().unwrap();
    next.child.wait().unwrap();
    let mut command = folder.lubber(&["watch", "--heading", "HCHDG", "--format", "jsonl"]);
    let mut third = command.stdout(Stdio::piped()).spawn().unwrap();
    folder.until_heard("presented again", 3);
    let (code, said) = folder.run(&["acknowledge"]);
    assert_eq!((code, said.as_str()), (Some(0), "acknowledged: input-lost nav"));
    until("standing.json", || !kept().contains("input-lost"));
    third.kill().unwrap();
    let mut told = String::new();
    third.stdout.take().unwrap().read_to_string(&mut told).unwrap();
    third.wait().unwrap();
    let lines: Vec<Value> = told.lines().map(|line| serde_json::from_str(line).unwrap()).collect();
    let said =
        |line: &&Value| line["presented_again"].as_str().is_some_and(|text| text.contains("alarm input-lost nav"));
    assert!(lines.iter().any(|line| said(&line)), "{told}");
    let alert = lines.iter().find(|line| line["alert"] == "input-lost").unwrap();
    assert_eq!((&alert["presented_again"], &alert["instance"]), (&true.into(), &"nav".into()), "{told}");

    // Answered, it is not presented again; the order still holds.
    let mut last = Watch::start(&folder, &["watch", "--heading", "HCHDG"], &listener);
    last.until("steer 150 M; lubber");
    let (_, said) = folder.run(&["status"]);
    assert!(!said.contains("input-lost nav: active"), "{said}");
    assert_eq!(folder.run(&["steer", "cancel"]).0, Some(0));
    assert_eq!(end(&mut last, "-TERM"), Some(130));
    assert!(kept().contains("\"order\":null"), "{}", kept());
}

#[test]
fn a_damaged_memory_is_moved_aside_and_said_and_the_watch_is_kept() {
    let folder = Folder::new("damaged");
    fs::create_dir_all(folder.0.join("lubber")).unwrap();
    fs::write(folder.0.join("lubber/standing.json"), "{\"schema\":1,\"or").unwrap();
    let mut watch = Watch::new(&folder, &[]);
    watch.until("is damaged");
    assert!(folder.0.join("lubber/standing.json.damaged").exists());
    // A second watch leaves the first one's alone, unless it is told where its own is.
    let mut second = Watch::new(&folder, &["--no-control"]);
    second.until("another watch keeps");
    let listener = TcpListener::bind("127.0.0.1:0").unwrap();
    let source = format!("tcp:{}", listener.local_addr().unwrap());
    let (code, said) = folder.run(&["watch", &source, "--no-control", "--state", "lubber/standing.json"]);
    assert!(code == Some(2) && said.contains("another watch") && said.contains("--state FILE"), "{said}");
    // A log keeps nothing unless it is told to.
    let demo = concat!(env!("CARGO_MANIFEST_DIR"), "/../fixtures/night-passage.nmea");
    let (code, said) = folder.run(&["watch", demo, "--state", "log.json"]);
    assert_eq!(code, Some(0), "{said}");
    assert!(fs::read_to_string(folder.0.join("log.json")).unwrap().starts_with("{\"schema\":1,"));
}
