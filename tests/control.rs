//! Whole-program tests: a running watch is spoken to, over a live line on loopback.

#[path = "common/live.rs"]
mod live;

use std::fs;
use std::io::BufRead;
use std::io::BufReader;
use std::io::Read;
use std::io::Write;
use std::net::TcpListener;
use std::os::unix::fs::PermissionsExt;
use std::os::unix::net::UnixListener;
use std::os::unix::net::UnixStream;
use std::process::Command;

use serde_json::Value;

use live::Folder;
use live::LONG;
use live::Watch;
use live::sentence;

fn ask(stream: &mut UnixStream, request: &[u8]) -> Value {
    stream.set_read_timeout(Some(LONG)).unwrap();
    stream.write_all(request).unwrap();
    let mut line = String::new();
    BufReader::new(stream).read_line(&mut line).unwrap();
    serde_json::from_str(&line).unwrap_or_else(|error| panic!("{error}: {line}"))
}

#[test]
fn every_verb_is_obeyed_and_says_what_happened() {
    let folder = Folder::new("verbs");
    let mut watch = Watch::new(&folder, &[]);
    let (code, said) = folder.run(&["steer", "here"]);
    assert_eq!(code, Some(2), "{said}");
    assert!(said.contains("not steering here: no heading has been heard yet"), "{said}");
    let (code, said) = folder.run(&["steer", "150C"]);
    assert_eq!(code, Some(0), "{said}");
    assert_eq!(said, "steering 150 C; NOT WATCHED just now: there is no heading that it can be compared with");

    watch.say("HCHDG,152.3,,,4.1,E");
    watch.until("the watch is kept by HCHDG");
    assert_eq!(folder.run(&["steer", "150C"]), (Some(0), "steering 150 C".into()));
    assert_eq!(folder.run(&["steer", "156M"]), (Some(0), "steering 156 M".into()));
    watch.until("ordered heading 156 M: ordered by the owner");
    assert_eq!(folder.run(&["steer", "here"]), (Some(0), "steering 152 C, the heading she has now".into()));
    watch.until("ordered heading 152 C: ordered by the owner");
    let (_, said) = folder.run(&["steer", "wind"]);
    assert_eq!(said, "steered by the wind: off-heading is not watched");
    watch.until("steered by the wind");
    let (_, said) = folder.run(&["steer", "hand"]);
    assert_eq!(said, "steered by hand: off-heading is not watched");
    assert_eq!(folder.run(&["steer", "HERE", "--control", "lubber.sock"]).0, Some(0), "in capitals too");
    let (_, said) = folder.run(&["steer", "cancel"]);
    assert_eq!(said, "the order is cancelled: no heading is ordered yet");
    let (code, said) = folder.run(&["steer", "150"]);
    assert!(code == Some(2) && said.contains("Example: lubber steer 150C"), "{said}");
    for (wrong, why) in
        [("400C", "400 is over 360"), ("-5C", "a heading is not negative, -5C"), ("150", "lacks the letter")]
    {
        let (code, said) = folder.run(&["steer", wrong]);
        assert!(code == Some(2) && said.contains(why), "{said}");
    }

    assert_eq!(folder.run(&["acknowledge"]).1, "nothing waits to be acknowledged");
    assert_eq!(folder.run(&["silence"]).1, "nothing sounds");

    // The line is cut: an alarm at once.
    watch.to = None;
    watch.until("ALARM input-lost");
    let (code, said) = folder.run(&["silence"]);
    assert!(code == Some(0) && said.starts_with("silenced for 30 s: input-lost tcp:127.0.0.1:"), "{said}");
    watch.until("active-silenced");
    let (code, said) = folder.run(&["acknowledge"]);
    assert!(code == Some(0) && said.starts_with("acknowledged: input-lost tcp:127.0.0.1:"), "{said}");
    watch.until("active-acknowledged");

    let (code, said) = folder.run(&["status"]);
    assert_eq!(code, Some(0), "{said}");
    for must in ["1 ALARM", "no heading is ordered yet", "ALARM input-lost tcp:", "active-acknowledged", "NOT WATCHED"]
    {
        assert!(said.contains(must), "{must:?} not in\n{said}");
    }
    assert!(said.lines().all(|line| line.chars().count() <= 80), "{said}");
    let (code, said) = folder.run(&["status", "--format", "json"]);
    let status: Value = serde_json::from_str(&said).unwrap();
    assert_eq!((code, &status["status"]["alerts"][0]["state"]), (Some(0), &"active-acknowledged".into()), "{said}");
    assert_eq!(status["status"]["sources"][0]["sentences"], 1);
}

/// Who said what to the watches in `journal`: who, what and the words, as they came.
fn kept(folder: &Folder, journal: &str) -> Vec<[String; 3]> {
    let (code, told) = folder.run(&["passage", journal, "--format", "json"]);
    assert_eq!(code, Some(0), "{told}");
    let told: Value = serde_json::from_str(&told).unwrap();
    let watches = told["watches"].as_array().unwrap().iter();
    let words = watches.flat_map(|watch| watch["words"].as_array().unwrap());
    let text = |word: &Value, key: &str| word[key].as_str().unwrap().to_owned();
    let words = words.map(|word| ["who", "what", "text"].map(|key| text(word, key)));
    words.filter(|[_, what, _]| what == "order" || what == "acknowledge" || what == "silence").collect()
}

#[test]
fn the_journal_says_who_ordered_and_who_answered() {
    let folder = Folder::new("who");
    let mut watch = Watch::new(&folder, &["--journal", "journal.sqlite", "--steer", "140C"]);
    assert_eq!(folder.run(&["steer", "150C"]).0, Some(0));
    // The same once more is a word as well, and so is an order taken back.
    assert_eq!(folder.run(&["steer", "150C"]).0, Some(0));
    assert_eq!(folder.run(&["steer", "cancel"]).0, Some(0));
    watch.to = None;
    watch.until("ALARM input-lost");
    assert_eq!(folder.run(&["silence"]).0, Some(0));
    assert_eq!(folder.run(&["acknowledge"]).0, Some(0));
    let pid = watch.child.id().to_string();
    assert!(Command::new("kill").args(["-INT", &pid]).status().unwrap().success());
    assert_eq!(watch.child.wait().unwrap().code(), Some(130));
    let kept = kept(&folder, "journal.sqlite");
    let kept: Vec<[&str; 3]> = kept.iter().map(|word| word.each_ref().map(String::as_str)).collect();
    assert_eq!(
        kept,
        [
            ["owner", "order", "ordered heading 140 C: ordered by the owner"],
            ["control", "order", "ordered heading 150 C: ordered by the owner"],
            ["control", "order", "steer 150 C"],
            ["watch", "order", "no heading is ordered yet"],
            ["control", "order", "steer cancel"],
            ["control", "silence", "silenced by the owner (control)"],
            ["control", "acknowledge", "acknowledged by the owner (control)"],
        ]
    );
    let (_, told) = folder.run(&["passage", "journal.sqlite"]);
    assert!(told.contains("steer cancel (control)") && told.contains("acknowledged by the owner (control)"), "{told}");
}

#[test]
fn whoever_acknowledges_where_nothing_stands_answers_the_watchkeeper() {
    let folder = Folder::new("answer");
    let watch = Watch::new(&folder, &["--watchkeeper", "3min"]);
    for verb in ["acknowledge", "silence"] {
        let answered = "answered; the watchkeeper's time begins again".to_owned();
        assert_eq!(folder.run(&[verb]), (Some(0), answered));
        let (_, said) = folder.run(&["status", "--format", "json"]);
        let status: Value = serde_json::from_str(&said).unwrap();
        let left = status["status"]["watchkeeper"]["remaining_s"].as_f64().unwrap();
        assert!(left > 0.0 && left <= 180.0, "{said}");
    }
    let (_, said) = folder.run(&["status"]);
    assert!(said.contains("answer in "), "{said}");
    drop(watch);
}

#[test]
fn without_a_watch_every_verb_names_the_remedy() {
    let folder = Folder::new("none");
    for args in [&["steer", "150C"][..], &["acknowledge"], &["silence"], &["status"]] {
        let (code, said) = folder.run(args);
        assert_eq!(code, Some(2), "{said}");
        assert!(said.contains("no watch is running") && said.contains("lubber watch SOURCE"), "{said}");
        let named = [args, &["--control", "elsewhere.sock"]].concat();
        let (code, said) = folder.run(&named);
        assert!(code == Some(2) && said.contains("elsewhere.sock") && said.contains("no watch is running"), "{said}");
    }
}

#[test]
fn the_socket_is_the_users_alone_and_is_taken_away() {
    let folder = Folder::new("mode");
    let mut watch = Watch::new(&folder, &[]);
    let mode = fs::symlink_metadata(folder.0.join("lubber.sock")).unwrap().permissions().mode();
    assert_eq!(mode & 0o777, 0o600);
    assert!(Command::new("kill").arg(watch.child.id().to_string()).status().unwrap().success());
    watch.until("END OF THE WATCH");
    assert_eq!(watch.child.wait().unwrap().code(), Some(130));
    assert!(!folder.0.join("lubber.sock").exists());
}

/// What a watch keeps of its own.
const OWN: &[&str] = &["--journal", "j.sqlite", "--record", "record"];

#[test]
fn a_second_watch_is_refused_and_a_dead_ones_socket_is_replaced() {
    let folder = Folder::new("second");
    let mut first = Watch::new(&folder, &[]);
    let listener = TcpListener::bind("127.0.0.1:0").unwrap();
    let source = format!("tcp:{}", listener.local_addr().unwrap());
    let (code, said) = folder.run(&["watch", &source]);
    assert_eq!(code, Some(2), "{said}");
    assert!(said.contains("another watch is running already") && said.contains("--control PATH"), "{said}");
    assert_eq!(folder.run(&["acknowledge"]).0, Some(0), "the first is still spoken to");

    // Refused, it has left no track: no key in the place of the other's, no watch in a journal, no record.
    let (code, said) = folder.run(
        &[&["watch", &source, "--page", "127.0.0.1:0", "--page-new-key", "--page-key", "page.key"][..], OWN].concat(),
    );
    assert!(code == Some(2) && !said.contains("page: http"), "{said}");
    for file in ["page.key", "j.sqlite", "record", "lubber/page.key"] {
        assert!(!folder.0.join(file).exists(), "{file}");
    }

    // With a place of its own, and without any, a second one keeps watch.
    let own = Watch::new(&folder, &["--control", "own.sock"]);
    assert_eq!(folder.run(&["acknowledge", "--control", "own.sock"]).0, Some(0));
    let mute = Watch::new(&folder, &["--no-control"]);
    drop((own, mute));

    // Killed, it leaves its socket behind.
    first.child.kill().unwrap();
    first.child.wait().unwrap();
    assert!(folder.0.join("lubber.sock").exists());
    assert!(folder.run(&["status"]).1.contains("no watch is running"));
    let _next = Watch::new(&folder, &[]);
    assert_eq!(folder.run(&["status"]).0, Some(0));
}

#[test]
fn what_is_not_ours_is_left_alone() {
    let folder = Folder::new("foreign");
    fs::write(folder.0.join("notes"), "mine").unwrap();
    let demo = concat!(env!("CARGO_MANIFEST_DIR"), "/../fixtures/night-passage.nmea");
    let (code, said) = folder.run(&["watch", demo, "--control", "notes"]);
    assert!(code == Some(2) && said.contains("no control socket"), "{said}");
    assert_eq!(fs::read(folder.0.join("notes")).unwrap(), b"mine");
    let (code, said) = folder.run(&["watch", demo, "--control", "no/such/folder/x"]);
    assert!(code == Some(2) && said.contains("--control PATH"), "{said}");
    let long = "x".repeat(200);
    let (code, said) = folder.run(&["watch", demo, "--control", &long]);
    assert!(code == Some(2) && said.contains("--control PATH"), "{said}");
    // A log as fast as it goes opens none: a watch beside it keeps the usual place.
    let _other = UnixListener::bind(folder.0.join("lubber.sock")).unwrap();
    assert_eq!(folder.run(&["watch", demo]).0, Some(0));
}

#[test]
fn garbage_is_refused_and_harms_nothing() {
    let folder = Folder::new("garbage");
    let mut watch = Watch::new(&folder, &[]);
    let connect = || UnixStream::connect(folder.0.join("lubber.sock")).unwrap();
    for garbage in [&b"\n"[..], b"hello\n", b"{\"verb\":\"sail\"}\n", b"\xff\x00\xfe\n", b"{\"verb\":\"steer\"}\n"] {
        let mut stream = connect();
        let reply = ask(&mut stream, garbage);
        assert_eq!(reply["done"], false, "{reply}");
        assert!(reply["text"].as_str().unwrap().contains("Example: "), "{reply}");
        // The same connection is still answered.
        assert_eq!(ask(&mut stream, b"{\"verb\":\"silence\"}\n")["done"], true);
    }
    let mut stream = connect();
    let reply = ask(&mut stream, &[b'x'; 5000]);
    assert!(reply["text"].as_str().unwrap().contains("longer than 4096 bytes"), "{reply}");
    // The connection is over; either way of telling so will do.
    let mut rest = Vec::new();
    assert!(!matches!(stream.read_to_end(&mut rest), Ok(1..)));
    watch.say("HCHDG,152.3,,,4.1,E");
    watch.until("the watch is kept by HCHDG");
}

#[test]
fn fifty_silent_clients_delay_no_alert() {
    let folder = Folder::new("silent");
    let mut watch = Watch::new(&folder, &[]);
    let mut crowd: Vec<UnixStream> =
        (0..50).map(|_| UnixStream::connect(folder.0.join("lubber.sock")).unwrap()).collect();
    for stream in &mut crowd {
        // Half a request each, and nobody reads what comes back.
        let _ = stream.write_all(b"{\"verb\":");
    }
    // Those that find no room are told so; the watch has then met them all.
    let mut refusal = String::new();
    let last = crowd.last_mut().unwrap();
    last.set_read_timeout(Some(LONG)).unwrap();
    BufReader::new(last).read_line(&mut refusal).unwrap();
    assert!(refusal.contains("others are connected to the watch already"), "{refusal}");
    watch.say("HCHDG,152.3,,,4.1,E");
    watch.until("the watch is kept by HCHDG");
    watch.to = None;
    // Lost at whole half seconds of the watch's own time: the stamps say whether it was held up.
    let works = watch.until("does not work");
    let lost = watch.until("ALARM input-lost");
    let second = |line: &str| {
        let clock = line.split_whitespace().next().unwrap().trim_start_matches('+').to_owned();
        clock.split(':').fold(0, |sum, part| sum * 60 + part.parse::<u64>().unwrap())
    };
    assert!(second(&lost) - second(&works) <= 1, "{works}\n{lost}");
    // When they go there is room again.
    drop(crowd);
    while folder.run(&["acknowledge"]).0 != Some(0) {}
    watch.until("active-acknowledged");
}

/// A watch on a terminal of its own: the master end, what is printed, and the slave to look at.
mod keys {
    use super::*;
    use rustix::termios::LocalModes;
    use rustix::termios::OptionalActions;
    use serialport::TTYPort;
    use std::fs::File;
    use std::fs::OpenOptions;

    const EDITED: LocalModes = LocalModes::ICANON.union(LocalModes::ECHO);

    fn local_modes(terminal: &File) -> LocalModes {
        rustix::termios::tcgetattr(terminal).unwrap().local_modes
    }

    /// As a shell leaves it: lines, with echo.
    fn terminal() -> (TTYPort, File) {
        let (mut ours, theirs) = TTYPort::pair().unwrap();
        let name = serialport::SerialPort::name(&theirs).unwrap();
        let slave = OpenOptions::new().read(true).write(true).open(name).unwrap();
        let mut mode = rustix::termios::tcgetattr(&slave).unwrap();
        mode.local_modes.insert(EDITED);
        rustix::termios::tcsetattr(&slave, OptionalActions::Now, &mode).unwrap();
        serialport::SerialPort::set_timeout(&mut ours, LONG).unwrap();
        drop(theirs);
        (ours, slave)
    }

    /// Reads until what was printed since the last time holds `must`.
    fn until(from: &mut TTYPort, printed: &mut String, must: &str) {
        let mut piece = [0; 1024];
        while !printed.contains(must) {
            let count = from.read(&mut piece).unwrap_or_else(|error| panic!("{must:?}: {error}, in\n{printed}"));
            printed.push_str(&String::from_utf8_lossy(&piece[..count]));
        }
        let end = printed.find(must).unwrap() + must.len();
        printed.drain(..end);
    }

    #[test]
    fn each_key_does_what_its_verb_does_and_the_terminal_is_put_back() {
        let folder = Folder::new("keys");
        for ending in ["q", "-TERM", "-HUP"] {
            let (mut ours, slave) = terminal();
            let listener = TcpListener::bind("127.0.0.1:0").unwrap();
            let source = format!("tcp:{}", listener.local_addr().unwrap());
            let mut child = folder
                .lubber(&["watch", &source, "--heading", "HCHDG", "--journal", "journal.sqlite"])
                .stdin(slave.try_clone().unwrap())
                .stdout(slave.try_clone().unwrap())
                .spawn()
                .unwrap();
            let (mut line, _) = listener.accept().unwrap();
            let mut printed = String::new();
            until(&mut ours, &mut printed, "a acknowledge, s silence,");
            ours.write_all(b"c").unwrap();
            until(&mut ours, &mut printed, "not steering here");
            line.write_all(sentence("HCHDG,152.3,,,4.1,E").as_bytes()).unwrap();
            until(&mut ours, &mut printed, "the watch is kept by HCHDG");
            ours.write_all(b"c").unwrap();
            until(&mut ours, &mut printed, "ordered heading 152 C: ordered by the owner");
            ours.write_all(b"w").unwrap();
            until(&mut ours, &mut printed, "steered by the wind");
            ours.write_all(b"h").unwrap();
            until(&mut ours, &mut printed, "steered by hand");
            ours.write_all(b"t").unwrap();
            until(&mut ours, &mut printed, "a test of the sounder: nothing is wrong");
            until(&mut ours, &mut printed, "\x07\x07\x07");
            ours.write_all(b"a").unwrap();
            until(&mut ours, &mut printed, "nothing waits to be acknowledged");
            drop(line);
            until(&mut ours, &mut printed, "input-lost");
            // It rings at once.
            until(&mut ours, &mut printed, "\x07\x07\x07");
            ours.write_all(b"s").unwrap();
            until(&mut ours, &mut printed, "active-silenced");
            ours.write_all(b"a").unwrap();
            until(&mut ours, &mut printed, "active-acknowledged");
            assert!(!local_modes(&slave).intersects(EDITED), "keys come one by one, unseen");
            if ending == "q" {
                ours.write_all(b"q").unwrap();
            } else {
                assert!(Command::new("kill").args([ending, &child.id().to_string()]).status().unwrap().success());
            }
            until(&mut ours, &mut printed, "END OF THE WATCH");
            assert_eq!(child.wait().unwrap().code(), Some(130), "{ending}");
            assert!(local_modes(&slave).contains(EDITED), "{ending}: the terminal is as it was");
            // The watch before had another source: its order is not this one's.
            let kept = kept(&folder, "journal.sqlite");
            let by_key: Vec<&str> = kept.iter().filter(|[who, ..]| who == "key").map(|[_, what, _]| &**what).collect();
            assert_eq!(by_key, ["order", "order", "order", "silence", "acknowledge"], "{kept:?}");
            let earlier = kept.iter().filter(|[who, ..]| who == "earlier-watch").count();
            assert_eq!((earlier, kept.len()), (0, by_key.len()), "{kept:?}");
        }
    }
}
