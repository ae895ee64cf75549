//! `lubber listen` as a user runs it: what is on the data line, and what to do about it.

use std::collections::BTreeMap;
use std::fs;
use std::io::Write;
use std::path::Path;
use std::path::PathBuf;
use std::process::Command;
use std::process::Output;
use std::process::Stdio;

use serde_json::Value;

const FIXTURES: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../fixtures");
const RECORDINGS: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../../shared/recordings");

fn lubber(arguments: &[&str]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_lubber"));
    // No boat file of somebody else's, no colour.
    command.arg("listen").args(arguments).current_dir(env!("CARGO_TARGET_TMPDIR")).env_remove("CLICOLOR_FORCE");
    command
}

fn run(arguments: &[&str]) -> Output {
    lubber(arguments).stdin(Stdio::null()).output().unwrap()
}

fn piped(arguments: &[&str], input: &[u8]) -> Output {
    let mut child =
        lubber(arguments).stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap();
    let mut stdin = child.stdin.take().unwrap();
    let input = input.to_vec();
    let writer = std::thread::spawn(move || {
        // A reader that has seen enough closes the pipe.
        let _ = stdin.write_all(&input);
    });
    let output = child.wait_with_output().unwrap();
    writer.join().unwrap();
    output
}

fn text(output: &Output) -> String {
    let text = String::from_utf8(output.stdout.clone()).unwrap();
    assert!(text.bytes().all(|b| b == b'\n' || (b' '..=b'~').contains(&b)), "something steers the terminal:\n{text}");
    text
}

fn stderr(output: &Output) -> String {
    String::from_utf8(output.stderr.clone()).unwrap()
}

fn code(output: &Output) -> i32 {
    output.status.code().expect("it ended by itself")
}

fn fixture(name: &str) -> String {
    format!("{FIXTURES}/{name}")
}

/// The JSON of a run that must succeed.
fn json(arguments: &[&str]) -> Value {
    let output = run(&[arguments, &["--format", "json"]].concat());
    assert_eq!(code(&output), 0, "{}", stderr(&output));
    let value: Value = serde_json::from_slice(&output.stdout).unwrap();
    assert_eq!(value["schema"], 1);
    for source in value["sources"].as_array().unwrap() {
        let sum: u64 = ["sentence_bytes", "refused_bytes", "between_bytes", "pending_bytes"]
            .map(|key| source[key].as_u64().unwrap())
            .iter()
            .sum();
        assert_eq!(source["bytes"].as_u64(), Some(sum), "every byte has its place");
    }
    value
}

fn findings(value: &Value) -> Vec<(&str, &str)> {
    value["findings"]
        .as_array()
        .unwrap()
        .iter()
        .map(|finding| (finding["kind"].as_str().unwrap(), finding["level"].as_str().unwrap()))
        .collect()
}

/// The text of the finding of `kind`.
fn finding<'a>(value: &'a Value, kind: &str) -> &'a str {
    let found = value["findings"].as_array().unwrap().iter().find(|finding| finding["kind"] == kind);
    found.unwrap_or_else(|| panic!("no {kind} in {:?}", findings(value)))["text"].as_str().unwrap()
}

fn sentence<'a>(value: &'a Value, name: &str) -> &'a Value {
    value["sentences"].as_array().unwrap().iter().find(|row| row["name"] == name).unwrap_or_else(|| panic!("no {name}"))
}

/// A file of the test's own.
fn scratch(name: &str, bytes: &[u8]) -> PathBuf {
    let path = Path::new(env!("CARGO_TARGET_TMPDIR")).join(name);
    fs::write(&path, bytes).unwrap();
    path
}

/// Counts by name, the obvious way: whole lines whose checksum is right.
fn naive(bytes: &[u8]) -> BTreeMap<String, u64> {
    let mut counts = BTreeMap::new();
    for line in bytes.split(|&b| b == b'\n') {
        let line = line.strip_suffix(b"\r").unwrap_or(line);
        // The TAG block that stands before it, if it is whole.
        let sentence = match line.iter().rposition(|&b| b == b'\\') {
            Some(end) if line.starts_with(b"\\") => &line[end + 1..],
            _ => line,
        };
        let Ok(sentence) = std::str::from_utf8(sentence) else { continue };
        let Some((body, sum)) = sentence.strip_prefix('$').and_then(|rest| rest.split_once('*')) else { continue };
        let right = u8::from_str_radix(sum, 16).is_ok_and(|sum| sum == body.bytes().fold(0, |x, b| x ^ b));
        let named = body
            .split(',')
            .next()
            .is_some_and(|name| name.len() == 5 && name.bytes().all(|b| b.is_ascii_uppercase() || b.is_ascii_digit()));
        // A start character within is the start of another line.
        if right && sum.len() == 2 && named && !body.contains(['$', '!', '\\']) {
            *counts.entry(body[..5].to_owned()).or_insert(0) += 1;
        }
    }
    counts
}

#[test]
fn the_demo_night_is_counted_as_the_obvious_way_counts_it() {
    let path = fixture("night-passage.nmea");
    let value = json(&[&path]);
    let naive = naive(&fs::read(&path).unwrap());
    let counted: BTreeMap<String, u64> = value["sentences"]
        .as_array()
        .unwrap()
        .iter()
        .map(|row| {
            (
                row["name"].as_str().unwrap().to_owned(),
                row["count"].as_u64().unwrap() + row["malformed"].as_u64().unwrap(),
            )
        })
        .filter(|(_, count)| *count > 0)
        .collect();
    assert_eq!(counted, naive);
    assert_eq!(value["bytes"].as_u64(), Some(fs::metadata(&path).unwrap().len()));
    assert_eq!(value["from"], "2026-07-14T01:50:00.007Z");

    let hdg = sentence(&value, "HCHDG");
    // Two a second; the few that were damaged leave one interval in two hundred twice as long.
    assert!((hdg["interval_s"].as_f64().unwrap() - 0.5).abs() <= 0.005, "{}", hdg["interval_s"]);
    assert_eq!(hdg["rate_per_s"].as_f64().map(|rate| (rate * 10.0).round()), Some(20.0));
    // The order of 150 after 135, four minutes from the start.
    let jump = &sentence(&value, "APHTD")["greatest_jump"];
    assert_eq!((&jump["value"], &jump["unit"]), (&15.0.into(), &"deg".into()));
    assert!(jump["at"]["at"].as_str().unwrap().starts_with("2026-07-14T01:54:00"), "{jump}");
    // The receiver has no fix from 27:00 to 28:30.
    assert!(finding(&value, "void").contains("the longest for 90"), "{}", finding(&value, "void"));
    assert!(value["refused"].as_array().unwrap().iter().all(|row| row["example"].is_string()));
}

#[test]
fn the_text_fits_eighty_columns_and_says_what_the_json_says() {
    let path = fixture("night-passage.nmea");
    let output = run(&[&path]);
    assert_eq!(code(&output), 0, "{}", stderr(&output));
    let text = text(&output);
    for line in text.lines() {
        assert!(line.len() <= 80 || line.contains(FIXTURES), "{line}");
    }
    for must in ["On the data line", "2026-07-14 01:50:00 to 02:20:59", "HCHDG     3 ", "wrong checksum", "Findings:"] {
        assert!(text.contains(must), "{must:?} not in\n{text}");
    }
    assert_eq!(text, self::text(&run(&[&path])), "the same log gives the same text");
}

#[test]
fn each_matter_is_found_in_its_own_log() {
    for (name, kind, level, part) in [
        ("one-sensor", "one-sensor", "note", "HCHDG and HCHDT are one sensor"),
        ("variation-late", "variation-late", "note", "HCHDG variation empty until 19:41:00"),
        (
            "frozen-checksum",
            "frozen-checksum",
            "advice",
            "All checksums of IIHDG are the same (4B): the talker's checksum is broken.",
        ),
        ("dates-behind", "dates-behind", "advice", "are 1024 weeks old"),
        ("deviation", "deviation-on-wire", "note", "HCHDG carries a deviation of 2.0 E"),
        ("heading-still", "heading-still", "advice", "HCHDG stood still for 99.0 s from 19:41:20"),
        ("not-to-be-used", "half-present", "advice", "HCHDG has a variation without E or W"),
        ("not-to-be-used", "heading-not-measured", "advice", "HETHS says 60 times"),
        ("not-to-be-used", "void", "advice", "IIRSA says that its rudder angle is not valid (status V) in 100 %"),
        ("two-receivers", "two-receivers", "advice", "185 m apart on average"),
        ("two-receivers", "variation-off", "advice", "GPRMC says that the variation is 14.1 W"),
        ("no-time", "no-time", "note", "There is no time in this log"),
        ("no-time", "no-position", "advice", "No position comes"),
        ("no-time", "no-ground", "advice", "No course and speed over ground come"),
        ("no-time", "no-rudder", "note", "No rudder angle comes"),
        ("no-checksum", "no-checksum", "advice", "have no checksum"),
        ("silences", "gaps", "advice", "IIRSA was silent for 31.0 s from 19:41:59"),
        ("silences", "stopped", "advice", "IIRSA stopped at 19:42:59"),
        ("silences", "heading-slow", "advice", "HCHDG comes every 2.00 s"),
        ("two-compasses", "headings-differ", "advice", "HCHDG and IIHDG differ by 7.0 degrees"),
        ("two-compasses", "kinship-unknown", "note", "cannot be told yet"),
        ("two-compasses", "makers", "note", "6 sentences are makers' own (PXYZ)"),
        ("two-compasses", "damaged", "advice", "a byte that is not printable ASCII"),
    ] {
        let value = json(&[&fixture(&format!("listen/{name}.nmea"))]);
        assert!(findings(&value).contains(&(kind, level)), "{name}: {kind} {level} not in {:?}", findings(&value));
        assert!(finding(&value, kind).contains(part), "{name}: {}", finding(&value, kind));
    }
}

#[test]
fn a_sound_line_gives_none_of_the_faults() {
    let value = json(&[&fixture("listen/deviation.nmea")]);
    assert_eq!(
        findings(&value),
        [("deviation-on-wire", "note"), ("no-rudder", "note"), ("no-order", "note"), ("no-second-heading", "note")]
    );
}

#[test]
fn a_card_beside_a_deviation_calls_for_a_decision() {
    let (log, card) = (fixture("listen/deviation.nmea"), fixture("card.toml"));
    let value = json(&[&log, "--card", &card]);
    assert_eq!(
        finding(&value, "deviation-and-card"),
        "HCHDG carries a deviation of 2.0 E and a card is configured: the sensor's is used, the card is not."
    );
    assert_eq!(code(&run(&[&log, "--card", &card, "--check"])), 1);
    let boat = scratch(
        "decided.toml",
        format!("[heading]\nprimary = \"HCHDG\"\ncard = \"{card}\"\ndeviation = \"card\"\n").as_bytes(),
    );
    let value = json(&[&log, "--boat", boat.to_str().unwrap()]);
    assert!(finding(&value, "deviation-and-card").contains("the card is used, as the boat file says"));
    assert_eq!(code(&run(&[&log, "--boat", boat.to_str().unwrap(), "--check"])), 0, "a note is no reason to say no");
}

#[test]
fn the_remedy_for_a_frozen_checksum_reads_the_log_and_stays_visible() {
    let log = fixture("listen/frozen-checksum.nmea");
    let strict = json(&[&log]);
    assert_eq!(sentence(&strict, "IIHDG")["count"], 0);
    let lax = json(&[&log, "--checksum", "ignored"]);
    assert_eq!(sentence(&lax, "IIHDG")["count"], 60);
    assert!(finding(&lax, "frozen-checksum").contains("(4B)"), "it is still broken");
    // By chance one of them may be right: 1 in 256.
    assert!(finding(&lax, "checksum-ignored").contains("with a wrong one passed"));
    // Where a long path breaks the line is not the question.
    let words = text(&run(&[&log, "--checksum", "ignored"])).split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(words.contains("CHECKSUM IGNORED"), "{words}");
    let reads = json(&[&fixture("listen/no-checksum.nmea"), "--checksum", "optional"]);
    assert_eq!(sentence(&reads, "HCHDG")["count"], 60);
}

#[test]
fn bytes_from_the_wire_are_escaped_in_every_form() {
    let log = fixture("listen/two-compasses.nmea");
    // `text` refuses every control character.
    assert!(text(&run(&[&log])).contains(r"$IITXT,\x1b"));
    let value = json(&[&log]);
    assert_eq!(value["refused"][0]["example"], r"$IITXT,\x1b");
    assert_eq!(value["refused"][0]["count"], 6);
}

#[test]
fn several_logs_are_told_apart() {
    let (one, two) = (fixture("listen/one-sensor.nmea"), fixture("listen/silences.nmea"));
    let value = json(&[&one, &two]);
    let rows: Vec<&Value> =
        value["sentences"].as_array().unwrap().iter().filter(|row| row["name"] == "HCHDG").collect();
    assert_eq!(rows.len(), 2);
    assert_eq!((&rows[0]["source"], &rows[0]["count"]), (&one.as_str().into(), &240.into()));
    assert_eq!((&rows[1]["source"], &rows[1]["count"]), (&two.as_str().into(), &90.into()));
    assert!(finding(&value, "stopped").contains(&format!("IIRSA on {two}")));
}

#[test]
fn a_log_without_time_is_counted_and_says_so() {
    let log = fixture("listen/no-time.nmea");
    let value = json(&[&log]);
    let hdg = sentence(&value, "HCHDG");
    assert_eq!(hdg["count"], 60);
    for unknown in ["interval_s", "rate_per_s", "age_s", "longest_gap", "first", "last"] {
        assert!(hdg[unknown].is_null(), "{unknown}: {}", hdg[unknown]);
    }
    assert!(value["covered_s"].is_null());
    let timed = json(&[&log, "--rate", "2", "--start", "2026-07-14T02:00:00Z"]);
    assert_eq!(sentence(&timed, "HCHDG")["interval_s"], 0.5);
    assert_eq!(timed["from"], "2026-07-14T02:00:00.000Z");
    assert!(!findings(&timed).contains(&("no-time", "note")));
    // Through a pipe it is the same.
    let piped = piped(&["-", "--log", "--format", "json"], &fs::read(&log).unwrap());
    let piped: Value = serde_json::from_slice(&piped.stdout).unwrap();
    assert_eq!(sentence(&piped, "HCHDG")["count"], 60);
    assert!(finding(&piped, "no-time").contains("no time"));
}

#[test]
fn a_stamped_log_on_standard_input_keeps_its_own_time() {
    let bytes = fs::read(fixture("listen/silences.nmea")).unwrap();
    let output = piped(&["-", "--format", "json"], &bytes);
    assert_eq!(code(&output), 0, "{}", stderr(&output));
    let value: Value = serde_json::from_slice(&output.stdout).unwrap();
    assert_eq!(sentence(&value, "HCHDG")["interval_s"], 2.0);
    assert_eq!(value["from"], "2026-07-13T19:41:00.000Z");
}

#[test]
fn noise_on_a_live_line_is_told_from_silence() {
    let noise: Vec<u8> = (0..3000_u32).map(|n| (n.wrapping_mul(2_654_435_761) >> 24) as u8 | 0x80).collect();
    let heard = |input: &[u8]| {
        let output = piped(&["-", "--live", "--format", "json", "--check"], input);
        assert_eq!(code(&output), 1, "{}", stderr(&output));
        serde_json::from_slice::<Value>(&output.stdout).unwrap()
    };
    assert!(finding(&heard(&noise), "noise").contains("3 000 bytes and not one sentence"));
    assert!(finding(&heard(b""), "silent").contains("not one byte"));
}

#[test]
fn a_live_line_is_listened_to_for_as_long_as_was_said() {
    let listener = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
    let source = format!("tcp:127.0.0.1:{}", listener.local_addr().unwrap().port());
    let bytes = fs::read(fixture("listen/dates-behind.nmea")).unwrap();
    let server = std::thread::spawn(move || {
        let (mut line, _) = listener.accept().unwrap();
        line.write_all(&bytes).unwrap();
        // Silent, but open, until the other end has heard enough.
        let _ = std::io::Read::read(&mut line, &mut [0]);
    });
    let output = run(&[&source, "--for", "1s", "--format", "json"]);
    server.join().unwrap();
    assert_eq!(code(&output), 0, "{}", stderr(&output));
    let value: Value = serde_json::from_slice(&output.stdout).unwrap();
    assert_eq!(sentence(&value, "HCHDG")["count"], 60);
    // The date received is mended before it dates anything.
    assert!(value["to"].as_str().unwrap().starts_with("2026-07-13T19:4"), "{}", value["to"]);
    assert!(finding(&value, "dates-behind").contains("1024 weeks old"));
}

#[test]
fn check_says_no_where_something_is_to_be_done_and_only_then() {
    assert_eq!(code(&run(&[&fixture("listen/two-receivers.nmea"), "--check"])), 1);
    assert_eq!(code(&run(&[&fixture("listen/two-receivers.nmea")])), 0);
    assert_eq!(code(&run(&[&fixture("listen/one-sensor.nmea"), "--check"])), 0);
}

#[test]
fn bad_input_is_refused_with_its_remedy() {
    let empty = scratch("empty.nmea", b"");
    let binary: Vec<u8> = (0..100_000_u32).map(|n| (n.wrapping_mul(2_654_435_761) >> 24) as u8).collect();
    let binary = scratch("binary.nmea", &binary);
    for (arguments, part) in [
        (vec!["/no/such/log.nmea"], "there is no such file"),
        (vec![concat!(env!("CARGO_MANIFEST_DIR"), "/src")], "it is a folder without logs"),
        (vec![empty.to_str().unwrap()], "is empty"),
        (vec![binary.to_str().unwrap()], "is not a log of NMEA 0183"),
        (vec![], "no input was named"),
        (vec!["serial:/dev/no-such-port"], "/dev/no-such-port"),
        (vec![&fixture("listen/deviation.nmea"), "--for", "10s"], "--for is for a live line"),
        (vec!["-", "--live", "--rate", "10"], "--rate is for recorded logs"),
        (vec![&fixture("listen/deviation.nmea"), "--card", "/no/card.toml"], "/no/card.toml"),
    ] {
        let output = run(&arguments);
        assert_eq!(code(&output), 2, "{arguments:?}: {}", text(&output));
        assert!(stderr(&output).contains(part), "{arguments:?}: {}", stderr(&output));
        assert!(output.stdout.is_empty(), "{arguments:?}");
    }
    assert_eq!(code(&run(&["--for", "soon"])), 2);
}

#[test]
fn a_log_cut_in_mid_line_accounts_for_every_byte() {
    let bytes = fs::read(fixture("listen/deviation.nmea")).unwrap();
    let cut = scratch("cut.nmea", &bytes[..bytes.len() - 20]);
    let value = json(&[cut.to_str().unwrap()]);
    assert_eq!(value["refused"][0]["reason"], "the input ended in mid-line");
    assert_eq!(value["bytes"].as_u64(), Some(bytes.len() as u64 - 20));
}

fn recording(name: &str) -> Option<String> {
    let path = format!("{RECORDINGS}/{name}");
    if Path::new(&path).exists() {
        return Some(path);
    }
    println!("no recordings here: {name} was not listened to");
    None
}

#[test]
fn the_recordings_of_2014_have_not_one_refused_line() {
    let Some(folder) = recording("keelboat") else { return };
    let mut seen = 0;
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        let path = path.to_str().unwrap();
        if !path.contains("/2014") {
            continue;
        }
        seen += 1;
        let value = json(&[path]);
        assert_eq!(value["refused"].as_array().map(Vec::len), Some(0), "{path}");
        assert_eq!(value["malformed"].as_array().map(Vec::len), Some(0), "{path}");
        let naive = naive(&fs::read(path).unwrap());
        assert_eq!(sentence(&value, "IIHDG")["count"].as_u64(), naive.get("IIHDG").copied(), "{path}");
    }
    assert!(seen > 5, "{seen}");
}

#[test]
fn what_is_known_of_the_other_recordings_is_found() {
    if let Some(path) = recording("damaged/frozen-checksums.nmea") {
        let value = json(&[&path]);
        assert!(finding(&value, "frozen-checksum").contains("IIHDG"));
        assert!(!findings(&value).contains(&("no-heading", "advice")), "it comes, and is refused");
        let lax = json(&[&path, "--checksum", "ignored"]);
        assert_eq!(lax["refused"].as_array().map(Vec::len), Some(0));
    }
    if let Some(path) = recording("gateway/moored.nmea") {
        let value = json(&[&path]);
        assert!(finding(&value, "no-date").contains("are of 1970 (all of 87)"));
        assert!(finding(&value, "deviation-zero").contains("YDHDG"));
    }
    if let Some(path) = recording("damaged/scrambled-headers_0.nmea") {
        let value = json(&[&path]);
        assert!(finding(&value, "odd-names").contains("GPHDG"));
    }
}
