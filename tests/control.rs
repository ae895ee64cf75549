//! Whole-program tests: a running watch is spoken to, over a live line on loopback.

use std::fs;
use std::io::BufRead;
use std::io::BufReader;
use std::io::Read;
use std::io::Write;
use std::net::TcpListener;
use std::net::TcpStream;
use std::os::unix::fs::PermissionsExt;
use std::os::unix::net::UnixListener;
use std::os::unix::net::UnixStream;
use std::path::PathBuf;
use std::process::Child;
use std::process::Command;
use std::process::Output;
use std::process::Stdio;
use std::sync::mpsc::Receiver;
use std::sync::mpsc::channel;
use std::time::Duration;

use serde_json::Value;

/// No answer for so long is a failure; an upper bound, never waited for otherwise.
const LONG: Duration = Duration::from_secs(60);

/// A folder of its own for each test, taken away with it.
struct Folder(PathBuf);

impl Folder {
    fn new(name: &str) -> Self {
        let path = std::env::temp_dir().join(format!("lubber-control-{}-{name}", std::process::id()));
        let _ = fs::remove_dir_all(&path);
        fs::create_dir_all(&path).unwrap();
        Self(path)
    }

    /// The program, whose usual socket lies in this folder.
    fn lubber(&self, args: &[&str]) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_lubber"));
        command.args(args).current_dir(&self.0).env("XDG_RUNTIME_DIR", &self.0).stdin(Stdio::null());
        command
    }

    fn run(&self, args: &[&str]) -> (Option<i32>, String) {
        let Output { status, stdout, stderr } = self.lubber(args).output().unwrap();
        (status.code(), String::from_utf8([stdout, stderr].concat()).unwrap().trim_end().to_owned())
    }

    fn socket(&self) -> PathBuf {
        self.0.join("lubber.sock")
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        let _ = fs::remove_dir_all(&self.0);
    }
}

fn sentence(body: &str) -> String {
    format!("${body}*{:02X}\r\n", body.bytes().fold(0, |sum, byte| sum ^ byte))
}

/// A watch on a line of our own, ended with it.
struct Watch {
    child: Child,
    to: Option<TcpStream>,
    lines: Receiver<String>,
}

impl Watch {
    fn new(folder: &Folder, args: &[&str]) -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").unwrap();
        let source = format!("tcp:{}", listener.local_addr().unwrap());
        let all = [&["watch", &source, "--heading", "HCHDG"], args].concat();
        let mut child = folder.lubber(&all).stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap();
        let (to, _) = listener.accept().unwrap();
        let from = BufReader::new(child.stdout.take().unwrap());
        let (send, lines) = channel();
        std::thread::spawn(move || from.lines().map_while(Result::ok).try_for_each(|line| send.send(line)));
        let mut watch = Self { child, to: Some(to), lines };
        // All that is told at the start has been told, and the socket is open.
        watch.until("lubber keeps watch");
        watch
    }

    fn say(&mut self, body: &str) {
        self.to.as_mut().unwrap().write_all(sentence(body).as_bytes()).unwrap();
    }

    /// The next line that holds `must`.
    fn until(&mut self, must: &str) -> String {
        let mut seen = String::new();
        loop {
            let line = self.lines.recv_timeout(LONG).unwrap_or_else(|_| panic!("{must:?} not in\n{seen}"));
            if line.contains(must) {
                return line;
            }
            seen += &format!("{line}\n");
        }
    }
}

impl Drop for Watch {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

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
    let (_, said) = folder.run(&["steer", "cancel"]);
    assert_eq!(said, "the order is cancelled: no heading is ordered yet");
    let (code, said) = folder.run(&["steer", "150"]);
    assert!(code == Some(2) && said.contains("Example: lubber steer 150C"), "{said}");

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
    let mode = fs::symlink_metadata(folder.socket()).unwrap().permissions().mode();
    assert_eq!(mode & 0o777, 0o600);
    assert!(Command::new("kill").arg(watch.child.id().to_string()).status().unwrap().success());
    watch.until("END OF THE WATCH");
    assert_eq!(watch.child.wait().unwrap().code(), Some(130));
    assert!(!folder.socket().exists());
}

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

    // With a place of its own, and without any, a second one keeps watch.
    let own = Watch::new(&folder, &["--control", "own.sock"]);
    assert_eq!(folder.run(&["acknowledge", "--control", "own.sock"]).0, Some(0));
    let mute = Watch::new(&folder, &["--no-control"]);
    drop((own, mute));

    // Killed, it leaves its socket behind.
    first.child.kill().unwrap();
    first.child.wait().unwrap();
    assert!(folder.socket().exists());
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
    let _other = UnixListener::bind(folder.socket()).unwrap();
    assert_eq!(folder.run(&["watch", demo]).0, Some(0));
}

#[test]
fn garbage_is_refused_and_harms_nothing() {
    let folder = Folder::new("garbage");
    let mut watch = Watch::new(&folder, &[]);
    let connect = || UnixStream::connect(folder.socket()).unwrap();
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
    let mut crowd: Vec<UnixStream> = (0..50).map(|_| UnixStream::connect(folder.socket()).unwrap()).collect();
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
    let mut stream = UnixStream::connect(folder.socket()).unwrap();
    while ask(&mut stream, b"{\"verb\":\"acknowledge\"}\n")["done"] == false {
        stream = UnixStream::connect(folder.socket()).unwrap();
    }
    watch.until("active-acknowledged");
}
