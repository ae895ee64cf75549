//! Whole-program tests: watch.

use std::fs;
use std::io::BufRead;
use std::io::BufReader;
use std::io::Read;
use std::io::Write;
use std::net::TcpListener;
use std::net::UdpSocket;
use std::path::Path;
use std::path::PathBuf;
use std::process::Child;
use std::process::Command;
use std::process::Output;
use std::process::Stdio;

use lubber_core::alert::AlertKind;
use serde_json::Value;

/// The demo: 31 minutes of an invented boat, with what happened in the truth beside it.
const DEMO: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../fixtures/night-passage.nmea");
const TRUTH: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../fixtures/night-passage.truth.jsonl");

/// A folder of its own for each test, taken away with it: no boat file lies in it.
struct Folder(PathBuf);

impl Folder {
    fn new(name: &str) -> Self {
        let path = std::env::temp_dir().join(format!("lubber-watch-{}-{name}", std::process::id()));
        let _ = fs::remove_dir_all(&path);
        fs::create_dir_all(&path).unwrap();
        Self(path)
    }

    fn write(&self, name: &str, bytes: impl AsRef<[u8]>) -> String {
        let path = self.0.join(name);
        fs::write(&path, bytes).unwrap();
        path.to_str().unwrap().to_owned()
    }

    fn watch(&self) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_lubber"));
        // The usual control socket belongs to whoever runs the tests.
        command
            .arg("watch")
            .current_dir(&self.0)
            .env("XDG_RUNTIME_DIR", &self.0)
            .env("XDG_STATE_HOME", &self.0)
            .stdin(Stdio::null());
        command
    }

    fn run(&self, args: &[&str]) -> Output {
        self.watch().args(args).output().unwrap()
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        let _ = fs::remove_dir_all(&self.0);
    }
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8(bytes.to_vec()).unwrap()
}

fn lines(output: &Output) -> Vec<Value> {
    let read = |line: &str| serde_json::from_str(line).unwrap_or_else(|error| panic!("{error}: {line}"));
    text(&output.stdout).lines().map(read).collect()
}

fn sentence(body: &str) -> String {
    format!("${body}*{:02X}\r\n", body.bytes().fold(0, |sum, byte| sum ^ byte))
}

/// The first minutes of the demo, in which nothing is wrong.
fn calm() -> Vec<u8> {
    let demo = fs::read(DEMO).unwrap();
    let until = demo.len() / 8;
    let end = demo[..until].iter().rposition(|byte| *byte == b'\n').unwrap();
    demo[..=end].to_vec()
}

/// When the script made something begin or end, milliseconds from the start.
fn happened(event: &str, what: &str) -> u64 {
    let truth = fs::read_to_string(TRUTH).unwrap();
    let row = truth.lines().map(|line| serde_json::from_str::<Value>(line).unwrap());
    let row = row.into_iter().find(|row| row["event"] == event && row[what].is_string());
    row.unwrap_or_else(|| panic!("{event} {what}"))["since_start_ms"].as_u64().unwrap()
}

#[test]
fn the_night_passage_raises_what_happened_and_nothing_else() {
    let folder = Folder::new("night");
    let output = folder.run(&[DEMO, "--format", "jsonl"]);
    assert!(output.status.success());
    let lines = lines(&output);
    let raised: Vec<(String, u64)> = lines
        .iter()
        .filter(|line| line["state"] == "active-unacknowledged" || line["state"] == "active")
        .filter(|line| line["repeated"] != true && line["follows"].is_null())
        .map(|line| (line["alert"].as_str().unwrap().to_owned(), line["since_start_ms"].as_u64().unwrap()))
        .collect();
    let order: Vec<&str> = raised.iter().map(|(alert, _)| alert.as_str()).collect();
    assert_eq!(order, ["heading-disagreement", "off-heading", "position-lost", "input-damaged"]);
    let windows = [
        // One sensor and a receiver only: 45 s from the moment the boat has turned by half of it, which
        // she has within the 20 s in which the sensor goes wrong.
        (happened("false-compass", "begins"), happened("false-compass", "begins") + 20_000 + 45_000),
        (happened("pilot-lets-go", "begins"), happened("pilot-lets-go", "ends")),
        (happened("gps-lost", "begins"), happened("gps-lost", "ends")),
        (happened("line-noise", "begins"), happened("line-noise", "ends")),
    ];
    for ((alert, at), (from, to)) in raised.iter().zip(windows) {
        assert!((from..=to).contains(at), "{alert} at {at}, not from {from} to {to}");
    }
}

#[test]
fn every_line_of_json_is_as_designed() {
    let folder = Folder::new("json");
    let output = folder.run(&[DEMO, "--format", "jsonl", "--every", "10s"]);
    let lines = lines(&output);
    let alert = lines.iter().find(|line| line["alert"] == "off-heading" && line["state"].is_string()).unwrap();
    let keys: Vec<&str> = alert.as_object().unwrap().keys().map(String::as_str).collect();
    assert_eq!(
        keys,
        ["at", "since_start_ms", "alert", "priority", "state", "instance", "occurrence", "text", "values"]
    );
    assert_eq!((&alert["instance"], &alert["occurrence"]), (&"HCHDG".into(), &1.into()));
    let values: Vec<&str> = alert["values"].as_object().unwrap().keys().map(String::as_str).collect();
    assert_eq!(values, ["heading_compass_deg", "ordered_deg", "ordered_reference", "ordered_by"]);
    let log = fs::read(DEMO).unwrap();
    let stamp = |line: &[u8]| text(line.strip_prefix(b"\\c:")?.split(|byte| *byte == b'*').next()?).parse::<u64>().ok();
    let stamps: Vec<u64> = log.split(|byte| *byte == b'\n').filter_map(stamp).collect();
    // The log gives its own times from the first line on: every line knows its UTC.
    for line in &lines[1..] {
        assert!(line["at"].as_str().is_some_and(|at| at.starts_with("2026-07-14T0")), "{line}");
    }
    let status: Vec<&Value> = lines.iter().filter(|line| line["status"].is_object()).collect();
    // 30 min 59 s, one each ten seconds.
    assert_eq!(status.len(), 185);
    for line in &status {
        assert_eq!(line["since_start_ms"].as_u64().unwrap() % 10_000, 0);
        assert_eq!(line["status"]["judging"].as_object().unwrap().len(), AlertKind::ALL.len());
        assert_eq!(line["status"]["heading"]["correction"], "uncorrected");
    }
    let summary = &lines.last().unwrap()["summary"];
    let source = &summary["sources"][0];
    let parts: u64 =
        ["sentence_bytes", "refused_bytes", "between_bytes"].iter().map(|key| source[key].as_u64().unwrap()).sum();
    assert_eq!(parts, fs::metadata(DEMO).unwrap().len());
    assert_eq!(summary["covered_ms"], stamps.last().unwrap() - stamps.first().unwrap());
}

#[test]
fn the_text_fits_80_columns_and_has_no_colour_in_a_pipe() {
    let folder = Folder::new("text");
    // By a short name: where this repository lies must not decide where lines break.
    folder.write("night-passage.nmea", std::fs::read(DEMO).unwrap());
    let output = folder.run(&["night-passage.nmea"]);
    assert!(output.status.success());
    let text = text(&output.stdout);
    assert!(!text.contains('\u{1b}') && !text.contains('\u{7}'));
    for line in text.lines() {
        assert!(line.chars().count() <= 80, "{line}");
    }
    for must in [
        "An aid, not certified equipment. It does not replace a look-out (COLREG Rule 5)",
        "2026-07-14 UTC",
        "the watch is kept by HCHDG, uncorrected",
        "01:55:00  no alert  ",
        " ALARM heading-disagreement HCHDG: active-unacknowledged",
        " ALARM off-heading HCHDG: active-unacknowledged",
        " WARNING position-lost boat: active-unacknowledged",
        " caution input-damaged ",
        "Watched for",
        "  HCHDG        3 703",
    ] {
        assert!(text.contains(must), "{must:?} not in\n{text}");
    }
    // A minute of log time, a status line.
    let minutes = text.lines().filter(|line| line.get(5..10) == Some(":00  ")).count();
    assert_eq!(minutes, 30, "{text}");
}

#[test]
fn a_pace_gives_the_same_alerts_at_the_same_moments() {
    let folder = Folder::new("pace");
    let mut log = calm();
    log.truncate(log.len() / 4);
    let log = folder.write("short.nmea", &log);
    let args = [log.as_str(), "--format", "jsonl", "--every", "5s"];
    let fast = folder.run(&args);
    let paced = folder.run(&[&args[..], &["--pace", "1000", "--no-control"]].concat());
    assert!(fast.status.success() && paced.status.success());
    assert!(lines(&fast).len() > 10);
    assert_eq!(text(&fast.stdout), text(&paced.stdout));
}

#[test]
fn two_logs_of_one_night_are_merged_by_their_times() {
    let folder = Folder::new("merge");
    let demo = fs::read(DEMO).unwrap();
    let (mut pilot, mut rest) = (Vec::new(), Vec::new());
    for line in demo.split_inclusive(|byte| *byte == b'\n') {
        let pilots = line.windows(5).any(|word| word == b"HCHDG" || word == b"APHTD");
        if pilots { &mut pilot } else { &mut rest }.extend_from_slice(line);
    }
    let (pilot, rest) = (folder.write("pilot.nmea", pilot), folder.write("rest.nmea", rest));
    let raised = |output: &Output| -> Vec<(Value, Value)> {
        let alerts = ["heading-disagreement", "off-heading", "position-lost"];
        let alert = |line: &Value| line["alert"].as_str().is_some_and(|alert| alerts.contains(&alert));
        let lines = lines(output).into_iter().filter(|line| line["state"].is_string() && alert(line));
        lines.map(|line| (line["alert"].clone(), line["at"].clone())).collect()
    };
    let one = folder.run(&[DEMO, "--format", "jsonl"]);
    let two = folder.run(&[&pilot, &rest, "--format", "jsonl"]);
    assert!(raised(&one).len() >= 5);
    assert_eq!(raised(&one), raised(&two));
    let off = lines(&two).into_iter().find(|line| line["alert"] == "off-heading" && line["state"].is_string());
    assert_eq!(off.unwrap()["source"], pilot.as_str());
}

#[test]
fn the_card_is_used_and_shown() {
    let folder = Folder::new("card");
    let points: Vec<String> = (0..8).map(|n| format!("{{ compass = {}, deviation = 2.0 }}", n * 45)).collect();
    let card = format!("sensor = \"HCHDG\"\ndate = 2026-06-14\npoints = [ {} ]\n", points.join(", "));
    let card = folder.write("card.toml", card);
    let calm = folder.write("calm.nmea", calm());
    let output = folder.run(&[&calm, "--card", &card, "--format", "jsonl", "--every", "30s"]);
    assert!(output.status.success(), "{}", text(&output.stderr));
    let lines = lines(&output);
    let heading = lines.iter().find(|line| line["status"].is_object()).unwrap()["status"]["heading"].clone();
    assert_eq!(heading["correction"], "card");
    // Tenths, so that the sum is of whole numbers.
    let tenths = |key: &str| (heading[key].as_f64().unwrap() * 10.0).round() as i64;
    assert_eq!(tenths("magnetic_deg") - tenths("compass_deg"), 20);
}

#[test]
fn the_watchkeeper_is_asked_in_the_stages_of_the_standard() {
    let folder = Folder::new("watchkeeper");
    let output = folder.run(&[DEMO, "--watchkeeper", "3min", "--format", "jsonl", "--every", "60s"]);
    let lines = lines(&output);
    let asked: Vec<(u64, u64, &str)> = lines
        .iter()
        .filter(|line| line["alert"] == "watchkeeper-silent")
        .map(|line| {
            let values = &line["values"];
            assert_eq!(line["priority"], "alarm");
            let ms = line["since_start_ms"].as_u64().unwrap();
            (ms / 1000, values["stage"].as_u64().unwrap(), line["state"].as_str().unwrap())
        })
        .collect();
    // MSC.128(75) 4.1.2: visual at the end of the dormant period, audible 15 s later, 15 s later, 90 s later.
    let stands = "active-unacknowledged";
    assert_eq!(asked, [(180, 1, stands), (195, 2, stands), (210, 3, stands), (300, 4, stands)]);
    let status: Vec<&Value> = lines.iter().filter(|line| line["status"].is_object()).collect();
    let watchkeeper = |at: usize, key: &str| status[at]["status"]["watchkeeper"][key].as_f64().unwrap();
    assert_eq!((watchkeeper(0, "remaining_s"), watchkeeper(0, "stage")), (120.0, 0.0));
    assert_eq!((watchkeeper(9, "remaining_s"), watchkeeper(9, "stage")), (0.0, 4.0));
    // The boat file's is for a watch that somebody can answer: a log that is only read asks nobody.
    let boat = folder.write("boat.toml", "[watchkeeper]\nafter = \"3 min\"\n");
    let output = folder.run(&[DEMO, "--boat", &boat, "--format", "jsonl", "--every", "60s"]);
    assert!(!text(&output.stdout).contains(r#""alert":"watchkeeper-silent""#));
    assert!(text(&output.stdout).contains(r#""watchkeeper":null"#));
    let output = folder.run(&[DEMO, "--watchkeeper", "2min"]);
    assert_eq!(output.status.code(), Some(2));
    assert!(text(&output.stderr).contains("3 to 12 min"), "{}", text(&output.stderr));
}

#[test]
fn the_rudder_and_the_battery_are_watched() {
    let folder = Folder::new("gear");
    // Ten minutes: the battery of the boat file's name falls by 0.2 V a minute from 12.8 V, another one is
    // empty all the time, and the rudder angle goes after five minutes.
    let mut log = String::new();
    for s in 0..600_u64 {
        let (hour, minute, second) = (2, s / 60, s % 60);
        let stamp = format!("2026-07-14T{hour:02}:{minute:02}:{second:02}Z ");
        let mut say = |body: &str| log.push_str(&format!("{stamp}{}", sentence(body)));
        say("HCHDG,135.0,,,4.0,E");
        let centivolts = 1_280 - s / 60 * 20;
        say(&format!("IIXDR,U,9.00,V,BATT1,U,{}.{:02},V,BATT2", centivolts / 100, centivolts % 100));
        if s < 300 {
            say("IIRSA,1.5,A,,V");
        }
    }
    let log = folder.write("gear.nmea", log);
    let boat = folder.write(
        "boat.toml",
        "[limits.supply-low]\nlimit = \"11.9 V\"\nname = \"BATT2\"\n[limits.rudder-lost]\ndelay = \"20 s\"\n",
    );
    let output = folder.run(&[&log, "--boat", &boat, "--steer", "hand", "--format", "jsonl", "--every", "60s"]);
    let lines = lines(&output);
    let raised: Vec<(u64, &str, &str)> = lines
        .iter()
        .filter(|line| line["alert"].is_string() && line["repeated"].is_null())
        .map(|line| {
            let ms = line["since_start_ms"].as_u64().unwrap();
            (ms / 1000, line["alert"].as_str().unwrap(), line["priority"].as_str().unwrap())
        })
        .collect();
    // Last heard at 299 s, stale after a little more than four seconds, 20 s of patience. 11.8 V from 300 s on
    // is below 11.9 V, for 30 s.
    assert_eq!(raised.len(), 2, "{raised:?}");
    let (rudder, battery) = (raised[0], raised[1]);
    assert!((322..=328).contains(&rudder.0) && (rudder.1, rudder.2) == ("rudder-lost", "caution"), "{rudder:?}");
    assert!((330..=331).contains(&battery.0) && (battery.1, battery.2) == ("supply-low", "warning"), "{battery:?}");
    let status: Vec<&Value> = lines.iter().filter(|line| line["status"].is_object()).collect();
    assert_eq!(status[0]["status"]["supply"]["volts"], 12.6, "after a minute");
    let rudder = &status[7]["status"]["rudder"];
    assert!(rudder["deg"] == 1.5 && rudder["age_s"].as_f64().unwrap() > 100.0, "{rudder}");
    let output = folder.run(&[&log, "--boat", &boat]);
    let said = text(&output.stdout);
    assert!(said.contains("battery at 11.8 V, below 11.9 V for 30 s"), "{said}");
}

#[test]
fn check_says_whether_an_alarm_was_raised() {
    let folder = Folder::new("check");
    assert_eq!(folder.run(&[DEMO, "--check"]).status.code(), Some(1));
    let calm = folder.write("calm.nmea", calm());
    let output = folder.run(&[&calm, "--check"]);
    assert_eq!(output.status.code(), Some(0), "{}", text(&output.stdout));
    assert!(text(&output.stdout).contains("none was raised"));
}

#[test]
fn steered_by_hand_is_shown_and_off_heading_is_not_raised() {
    let folder = Folder::new("hand");
    let output = folder.run(&[DEMO, "--steer", "hand"]);
    let text = text(&output.stdout);
    assert!(text.contains("steered by hand: off-heading is not watched"), "{text}");
    assert!(text.contains("by hand  ") && !text.contains("ALARM off-heading"), "{text}");
}

#[test]
fn bad_input_is_refused_with_its_remedy() {
    let folder = Folder::new("bad");
    let empty = folder.write("empty.nmea", "");
    let binary: Vec<u8> = (0..40_000_u32).map(|n| (n.wrapping_mul(2_654_435_761) >> 13) as u8).collect();
    let binary = folder.write("binary.nmea", binary);
    let timeless = folder.write("timeless.nmea", sentence("HCHDG,135.0,,,4.1,E").repeat(200));
    // A folder of logs is read; this one has none.
    let here = folder.0.join("no-logs");
    fs::create_dir(&here).unwrap();
    let here = here.to_str().unwrap().to_owned();
    let calm = folder.write("calm.nmea", calm());
    // Every time has a wrong checksum, and some headings are sound.
    let wrong = sentence("GPRMC,020000,A,3600.0,N,01800.0,E,6.0,135.0,140726,4.1,E").replace('*', "*0");
    let spoilt = folder.write("spoilt.nmea", wrong.repeat(12) + &sentence("HCHDG,135.0,,,4.1,E").repeat(3));
    let no_card = folder.write("no-card.toml", "[heading]\ncard = \"nosuch.toml\"\n");
    let no_source = folder.write("no-source.toml", "[[source]]\nfrom = \"serial:\"\n");
    let strange = folder.write("strange.toml", "[[source]]\nfrom = \"bluetooth:xx\"\n");
    for (args, must) in [
        (vec!["nowhere.nmea"], "there is no such file"),
        (vec![here.as_str()], "it is a folder"),
        (vec![&empty], "is empty"),
        (vec![&binary], "is not a log of NMEA 0183"),
        (vec![&timeless], "--start"),
        (vec!["serial:/dev/ttyNOTHERE"], "there is no such device"),
        (vec![], "or a [[source]] in boat.toml"),
        (vec![&calm, "udp:127.0.0.1:0"], "1 to 65535"),
        (vec![&calm, "udp:127.0.0.1:50999"], "is live"),
        (vec![&calm, &calm, &calm, &calm, &calm], "at most 4"),
        (vec![&calm, "--boat", "none.toml"], "none.toml"),
        (vec![&calm, "--steer", "135"], "--steer 135C"),
        (vec![&calm, "--steer", "400C"], "400 is over 360"),
        (vec![&spoilt], "every one of the 12 that tell the time among them"),
        (vec![&calm, "--boat", &no_card], "no-card.toml:2: card: "),
        // Whether or not the boat file's own source is the one that is used.
        (vec!["--boat", &no_source], "no-source.toml:2: from = \"serial:\": after `serial:`"),
        (vec![&calm, "--boat", &no_source], "no-source.toml:2: from = \"serial:\": after `serial:`"),
        (vec![&calm, "--boat", &strange], "the kinds of input are file:, serial:, tcp: and udp:"),
        (vec![&calm, "--pace", "0"], "--pace 60"),
    ] {
        let output = folder.run(&args);
        let said = text(&output.stderr);
        assert_eq!(output.status.code(), Some(2), "{args:?}: {said}");
        assert!(said.contains(must), "{args:?}: {said}");
        assert!(!said.contains("panicked"), "{args:?}: {said}");
        assert!(output.stdout.is_empty(), "{args:?}");
    }
}

#[test]
fn a_port_that_is_taken_is_refused() {
    let folder = Folder::new("taken");
    let holder = UdpSocket::bind("127.0.0.1:0").unwrap();
    let output = folder.run(&[&format!("udp:{}", holder.local_addr().unwrap())]);
    assert_eq!(output.status.code(), Some(2));
    assert!(text(&output.stderr).contains("listens at port"), "{}", text(&output.stderr));
}

#[test]
fn a_port_that_is_open_is_not_said_to_be_heard_before_a_byte_has_come() {
    let folder = Folder::new("open");
    let free = UdpSocket::bind("127.0.0.1:0").unwrap().local_addr().unwrap();
    let args = [&format!("udp:{free}"), "--format", "jsonl", "--no-control", "--no-state"];
    let mut child = folder.watch().args(args).stdout(Stdio::piped()).spawn().unwrap();
    let mut from = BufReader::new(child.stdout.take().unwrap());
    let mut input = || loop {
        let mut line = String::new();
        assert_ne!(from.read_line(&mut line).unwrap(), 0, "it ended");
        let line: Value = serde_json::from_str(&line).unwrap();
        if line["notice"] == "input" {
            break (line["works"].clone(), line["heard"].clone(), line["text"].as_str().unwrap().to_owned());
        }
    };
    assert_eq!(input(), (true.into(), false.into(), format!("udp:{free} is open, nothing heard yet")));
    let to = UdpSocket::bind("127.0.0.1:0").unwrap();
    to.send_to(sentence("HCHDG,135.0,,,4.1,E").as_bytes(), free).unwrap();
    assert_eq!(input(), (true.into(), true.into(), format!("udp:{free} is heard")));
    child.kill().unwrap();
    child.wait().unwrap();
}

#[test]
fn a_log_without_time_is_replayed_with_start_and_rate() {
    let folder = Folder::new("rate");
    let log = folder.write("timeless.nmea", sentence("HCHDG,135.0,,,4.1,E").repeat(200));
    let output = folder.run(&[&log, "--start", "2026-07-14T02:00:00Z", "--rate", "10", "--format", "jsonl"]);
    assert!(output.status.success(), "{}", text(&output.stderr));
    let lines = lines(&output);
    let covered = lines.last().unwrap()["summary"]["covered_ms"].as_u64().unwrap();
    assert!((19_800..=20_000).contains(&covered), "{covered}");
}

#[test]
fn the_boat_file_names_the_source_and_an_ignored_checksum_stays_visible() {
    let folder = Folder::new("boat");
    folder.write("calm.nmea", calm());
    folder.write(
        "boat.toml",
        "[boat]\nname = \"Curlew\"\n\n[[source]]\nname = \"pilot\"\nfrom = \"calm.nmea\"\nchecksum = \"ignored\"\n",
    );
    let output = folder.run(&[]);
    let said = text(&output.stdout);
    assert!(output.status.success(), "{}", text(&output.stderr));
    for must in ["Curlew", "boat.toml", "pilot, CHECKSUM IGNORED: damaged lines pass", "  CHECKSUM IGNORED  "] {
        assert!(said.contains(must), "{must:?} not in\n{said}");
    }
}

#[test]
fn a_reader_that_has_seen_enough_is_no_failure() {
    let folder = Folder::new("pipe");
    for format in ["text", "jsonl"] {
        // Far more than a pipe holds, so that the writer meets the closed end.
        let mut child = folder
            .watch()
            .args([DEMO, "--format", format, "--every", "1s"])
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        let mut first = [0; 16];
        child.stdout.take().unwrap().read_exact(&mut first).unwrap();
        let output = child.wait_with_output().unwrap();
        assert_eq!(output.status.code(), Some(0), "{format}: {}", text(&output.stderr));
        assert!(output.stderr.is_empty(), "{format}: {}", text(&output.stderr));
    }
}

/// A watch on a line of our own.
struct Line {
    child: Child,
    to: std::net::TcpStream,
    from: BufReader<std::process::ChildStdout>,
}

impl Line {
    fn new(folder: &Folder, format: &str) -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").unwrap();
        let source = format!("tcp:{}", listener.local_addr().unwrap());
        let mut child = folder.watch().args([&source, "--format", format]).stdout(Stdio::piped()).spawn().unwrap();
        let (to, _) = listener.accept().unwrap();
        let from = BufReader::new(child.stdout.take().unwrap());
        Self { child, to, from }
    }

    /// The first line that holds `must`.
    fn until(&mut self, must: &str) -> String {
        let mut seen = String::new();
        loop {
            let mut line = String::new();
            assert_ne!(self.from.read_line(&mut line).unwrap(), 0, "{must:?} not in\n{seen}");
            if line.contains(must) {
                return line;
            }
            seen.push_str(&line);
        }
    }
}

#[test]
fn an_interrupt_ends_a_live_watch_cleanly_and_says_that_nobody_keeps_watch() {
    let folder = Folder::new("interrupt");
    for (signal, format, end) in
        [("-INT", "text", "END OF THE WATCH, interrupted: nobody keeps watch now"), ("-TERM", "jsonl", "\"summary\"")]
    {
        let mut line = Line::new(&folder, format);
        line.to.write_all(sentence("HCHDG,135.0,,,4.1,E").repeat(3).as_bytes()).unwrap();
        line.until("HCHDG");
        let kill = Command::new("kill").args([signal, &line.child.id().to_string()]).status().unwrap();
        assert!(kill.success());
        line.until(end);
        assert_eq!(line.child.wait().unwrap().code(), Some(130), "{signal}");
    }
}

#[test]
fn live_json_has_no_utc_until_a_talker_gives_it() {
    let folder = Folder::new("utc");
    let mut line = Line::new(&folder, "jsonl");
    // No variation on the wire, so that the model's is news as soon as place and date are known.
    line.to.write_all(sentence("HCHDG,135.0,,,,").as_bytes()).unwrap();
    let first: Value = serde_json::from_str(&line.until("heading-source")).unwrap();
    assert!(first["at"].is_null() && first["since_start_ms"].is_u64(), "{first}");
    line.to.write_all(sentence("GPRMC,021109.30,A,3600.000,N,01800.000,E,5.2,139.0,140726,,,A").as_bytes()).unwrap();
    let then: Value = serde_json::from_str(&line.until(r#""notice":"variation""#)).unwrap();
    assert!(then["at"].as_str().is_some_and(|at| at.starts_with("2026-07-14T02:1")), "{then}");
    assert_eq!(then["from"], "model");
    line.child.kill().unwrap();
    line.child.wait().unwrap();
}

#[test]
fn standard_input_that_ends_ends_a_live_watch() {
    let folder = Folder::new("stdin");
    let mut child = folder.watch().args(["-", "--live"]).stdin(Stdio::piped()).stdout(Stdio::piped()).spawn().unwrap();
    child.stdin.take().unwrap().write_all(sentence("HCHDG,135.0,,,4.1,E").repeat(5).as_bytes()).unwrap();
    let output = child.wait_with_output().unwrap();
    let said = text(&output.stdout);
    assert_eq!(output.status.code(), Some(0), "{said}");
    assert!(said.contains("END OF THE WATCH, the inputs have ended: nobody keeps watch now"), "{said}");
}

#[test]
fn what_another_watch_left_is_told_and_alarms_nobody() {
    let folder = Folder::new("left");
    let lost =
        r#"{"alert":"input-lost","priority":"alarm","state":"active-unacknowledged","source":"boat","text":"silent"}"#;
    let left = format!(r#"{{"schema":1,"order":"135.000C","sources":["boat"],"alerts":[{lost}]}}"#);
    let state = folder.write("state.json", left);
    let run = |args: &[&str]| {
        let mut command = folder.watch();
        command.args(["--live", "--no-control", "--state", &state]).args(args);
        let mut child = command.stdin(Stdio::piped()).stdout(Stdio::piped()).spawn().unwrap();
        child.stdin.take().unwrap().write_all(sentence("HCHDG,150.2,,,4.1,W").as_bytes()).unwrap();
        let told = text(&child.wait_with_output().unwrap().stdout);
        told.split_whitespace().collect::<Vec<&str>>().join(" ")
    };
    let told = run(&["-"]);
    assert!(told.contains("listens to (boat)") && told.contains("NOT carried over"), "{told}");
    assert!(!told.contains("PRESENTED AGAIN") && !told.contains("times, first"), "{told}");
    // The watch that listens to it presents it, and counts it as what it is.
    let boat = folder.write("boat.toml", "[[source]]\nname = \"boat\"\nfrom = \"-\"\n");
    let told = run(&["--boat", &boat]);
    assert!(told.contains("PRESENTED AGAIN") && told.contains("input-lost boat: carried over from"), "{told}");
}

#[test]
fn the_demo_is_where_the_readme_says() {
    assert!(Path::new(DEMO).is_file());
}
