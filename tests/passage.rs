//! The journal and what is told from it: the whole program on the invented night passage, and with a disk that fails.

use std::fs;
use std::os::unix::process::CommandExt;
use std::path::Path;
use std::path::PathBuf;
use std::process::Command;
use std::process::Output;

use serde_json::Value;

/// A folder of its own for each test, taken away with it.
struct Folder(PathBuf);

impl Folder {
    fn new(name: &str) -> Self {
        let path = std::env::temp_dir().join(format!("lubber-passage-{}-{name}", std::process::id()));
        let _ = fs::remove_dir_all(&path);
        fs::create_dir_all(&path).unwrap();
        Self(path)
    }

    fn at(&self, name: &str) -> String {
        self.0.join(name).display().to_string()
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        let _ = fs::remove_dir_all(&self.0);
    }
}

fn fixtures() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../fixtures")
}

fn run(args: &[&str]) -> (Option<i32>, String, String) {
    done(Command::new(env!("CARGO_BIN_EXE_lubber")).args(args).current_dir(fixtures()).output().unwrap())
}

fn done(output: Output) -> (Option<i32>, String, String) {
    let text = |bytes| String::from_utf8(bytes).unwrap();
    (output.status.code(), text(output.stdout), text(output.stderr))
}

/// The night passage, watched with a journal; what the watch said.
fn watched(journal: &str) -> String {
    let (code, said, error) =
        run(&["watch", "night-passage.nmea", "--boat", "boat.toml", "--format", "jsonl", "--journal", journal]);
    assert_eq!((code, error.as_str()), (Some(0), ""));
    said
}

#[test]
fn the_night_is_told_as_the_watch_told_it() {
    let folder = Folder::new("night");
    let journal = folder.at("journal.sqlite");
    let said = watched(&journal);
    let (code, told, error) = run(&["passage", &journal, "--format", "json"]);
    assert_eq!((code, error.as_str()), (Some(0), ""));
    let told: Value = serde_json::from_str(&told).unwrap();
    assert_eq!((&told["schema"], &told["watches_in_journal"]), (&1.into(), &1.into()));
    let watch = &told["watches"][0];
    assert_eq!((&watch["boat"], &watch["ending"]), (&"Curlew".into(), &"inputs-ended".into()));
    assert_eq!(watch["began"], "2026-07-14T01:50:00.007Z");
    assert_eq!(watch["replayed"], true);
    assert_eq!(watch["cards"][0]["file"], "card.toml");
    assert_eq!(watch["cards"][0]["sha256"].as_str().map(str::len), Some(64));

    // Every change of an alert, to the millisecond and to the letter.
    let lines: Vec<Value> = said.lines().map(|line| serde_json::from_str(line).unwrap()).collect();
    let changes: Vec<&Value> = lines.iter().filter(|line| line.get("alert").is_some()).collect();
    let kept = watch["changes"].as_array().unwrap();
    assert!(changes.len() >= 8, "{}", changes.len());
    assert_eq!(kept.len(), changes.len());
    for (kept, change) in kept.iter().zip(&changes) {
        for key in ["at", "since_start_ms", "alert", "priority", "state", "instance", "occurrence", "text", "values"] {
            assert_eq!(kept[key], change[key], "{key}");
        }
    }

    // The account of one: raised and over as its changes say.
    let of = |state: &str| {
        let change = changes.iter().find(|change| change["alert"] == "off-heading" && change["state"] == state);
        change.unwrap()["since_start_ms"].as_f64().unwrap()
    };
    let stood = (of("rectified-unacknowledged") - of("active-unacknowledged")) / 1000.0;
    let account = watch["alerts"].as_array().unwrap().iter().find(|account| account["alert"] == "off-heading").unwrap();
    assert_eq!((&account["raised"], &account["answered"], &account["unanswered"]), (&1.into(), &0.into(), &1.into()));
    assert!((account["stood_s"].as_f64().unwrap() - stood).abs() <= 0.1, "{account}");

    // The simulator's own truth of the same night: 31 minutes, one source, the order 135 and then 150.
    let minutes = watch["minutes"].as_array().unwrap();
    assert_eq!(minutes.len(), 31);
    assert_eq!((&minutes[2]["ordered_deg"], &minutes[10]["ordered_deg"]), (&135.0.into(), &150.0.into()));
    let truth = fs::read_to_string(fixtures().join("night-passage.truth.jsonl")).unwrap();
    let truth = truth.lines().map(|line| serde_json::from_str::<Value>(line).unwrap());
    // Some lines are the script's own events.
    let truth: Vec<Value> = truth.filter(|at| at.get("speed_over_ground_kn").is_some()).collect();
    assert!(truth.len() > 180, "{}", truth.len());
    let speed = truth.iter().map(|at| at["speed_over_ground_kn"].as_f64().unwrap()).sum::<f64>() / truth.len() as f64;
    let total = &watch["course_keeping"]["total"];
    assert!((total["speed_kn"].as_f64().unwrap() - speed).abs() <= 0.1, "{total} {speed}");
    assert!((total["distance_nm"].as_f64().unwrap() - speed * 31.0 / 60.0).abs() <= 0.1, "{total} {speed}");
    // While the compass was said to be false nothing it read counts as course keeping.
    let false_s = changes
        .iter()
        .filter(|change| change["alert"] == "heading-disagreement")
        .map(|change| (change["state"].as_str().unwrap(), change["since_start_ms"].as_i64().unwrap() / 1000));
    let raised = false_s.clone().find(|(state, _)| *state == "active-unacknowledged").unwrap().1;
    let over = false_s.clone().find(|(state, _)| *state == "rectified-unacknowledged").map_or(31 * 60, |(_, s)| s);
    let doubted = total["doubted_s"].as_i64().unwrap();
    assert!((over - raised..=over - raised + 120).contains(&doubted), "{total}: {raised} to {over}");
    let rudder = truth.iter().map(|at| at["rudder_deg"].as_f64().unwrap()).sum::<f64>() / truth.len() as f64;
    assert!((total["rudder_deg"].as_f64().unwrap() - rudder).abs() <= 0.4, "{total} {rudder}");

    // The lines that the watch counted are the lines of the sources.
    let source = &watch["sources"][0];
    let counted = |key: &str| source[key].as_u64().unwrap();
    let summary = lines.iter().find_map(|line| line["summary"]["sources"].get(0)).unwrap();
    assert_eq!(counted("bytes"), summary["bytes"].as_u64().unwrap(), "{summary}");
    assert!(counted("sentences") > 17_000 && counted("refused") == 80, "{source}");
}

#[test]
fn the_text_of_the_night() {
    let folder = Folder::new("text");
    let journal = folder.at("journal.sqlite");
    watched(&journal);
    let page = folder.at("passage.svg");
    let (code, text, error) = run(&["passage", &journal, "--plot", &page]);
    assert_eq!((code, error.as_str()), (Some(0), ""));
    for must in [
        "WATCH 1 of Curlew, a log replayed",
        "2026-07-14 01:50 to 2026-07-14 02:20 UTC, 31 min; ended with its",
        "01:54:01 ordered heading 150 C: ordered by APHTD (wire)",
        "02:05:28 ALARM heading-disagreement HCHDG: active-unacknowledged",
        "WARNING position-lost                     1  1 min 23 s  1 min 23 s  -",
        "replayed: nobody was asked",
        "NOT COUNTED in the first four: ",
        "COURSE KEEPING (within: within 15 degrees of the order)",
        "supply-low                     31 min  never heard",
    ] {
        assert!(text.contains(must), "{must:?} not in\n{text}");
    }
    let wide: Vec<&str> = text.lines().filter(|line| line.chars().count() > 80).collect();
    assert_eq!(wide, [""; 0]);
    assert!(!text.contains('\x1b'), "no colour in a pipe");
    assert!(!text.contains("NOBODY ANSWERED"), "a log asks nobody: {text}");
    let page = fs::read_to_string(page).unwrap();
    for must in [
        "Passage of Curlew",
        "3.1 nautical miles",
        "class=\"alarm-shade\"",
        "heading-disagreement",
        "class=\"refused\"",
        "course over the ground",
        "class=\"course\"",
    ] {
        assert!(page.contains(must), "{must:?} not in the page");
    }
    // A page that is there is not written over.
    let (code, _, error) = run(&["passage", &journal, "--plot", &folder.at("passage.svg")]);
    assert!(code == Some(2) && error.contains("is there already"), "{error}");
    let (code, _, _) = run(&["passage", &journal, "--check"]);
    assert_eq!(code, Some(1), "an alarm was raised");
    let (code, text, _) = run(&["passage", &journal, "--to", "2026-07-14T02:00:00Z", "--check"]);
    assert_eq!(code, Some(0), "not before two\n{text}");
    assert!(text.contains("none was raised") && !text.contains("02:05"), "{text}");
}

#[test]
fn several_watches_and_what_there_is_not() {
    let folder = Folder::new("several");
    let journal = folder.at("journal.sqlite");
    watched(&journal);
    watched(&journal);
    let (code, text, _) = run(&["passage", &journal]);
    assert!(code == Some(0) && text.contains("WATCH 2 of Curlew") && !text.contains("WATCH 1"), "{text}");
    assert!(text.contains("1 of the 2 watches in it"), "{text}");
    let (_, text, _) = run(&["passage", &journal, "--watch", "all"]);
    assert!(text.contains("WATCH 1 of Curlew") && text.contains("WATCH 2 of Curlew"), "{text}");
    for (args, must) in [
        (vec!["passage", &journal, "--watch", "3"], "there is no such watch; there are 2, the last is 2"),
        (vec!["passage", &journal, "--from", "2027-01-01T00:00:00Z"], "no watch was kept in that time"),
        (vec!["passage", "night-passage.nmea"], "is no journal of lubber; a log is read by: lubber watch"),
        (vec!["passage", "nowhere.sqlite"], "there is no such journal"),
        (vec!["passage", &journal, "--watch", "0"], "Example: --watch 3"),
    ] {
        let (code, _, error) = run(&args);
        assert!(code == Some(2) && error.contains(must), "{args:?}: {error}");
    }
}

/// The alerts that `watch` tells, but those about the journal itself.
fn alerts(said: &str) -> Vec<String> {
    let lines = said.lines().filter(|line| line.contains("\"state\":") && !line.contains("watch-impaired"));
    let lines = lines.filter(|line| !line.contains("\"summary\":"));
    lines.map(str::to_owned).collect()
}

#[test]
fn a_disk_that_takes_no_more_raises_an_alert_and_the_watch_goes_on() {
    let folder = Folder::new("limit");
    let sound = watched(&folder.at("sound.sqlite"));
    // Files may not grow over 16 KiB: less than an empty journal has. The signal is ignored, so that a write fails.
    let script = "trap '' XFSZ; ulimit -f 32; exec \"$0\" \"$@\"";
    let journal = folder.at("journal.sqlite");
    let output = Command::new("sh")
        .args(["-c", script, env!("CARGO_BIN_EXE_lubber"), "watch", "night-passage.nmea", "--boat", "boat.toml"])
        .args(["--format", "jsonl", "--journal", &journal])
        .current_dir(fixtures())
        .output()
        .unwrap();
    let (code, said, _) = done(output);
    assert_eq!(code, Some(0));
    assert_eq!(alerts(&said), alerts(&sound), "nothing of the watch is lost");
    let impaired = said.lines().find(|line| line.contains("\"alert\":\"watch-impaired\"")).expect("an alert");
    let impaired: Value = serde_json::from_str(impaired).unwrap();
    assert_eq!((&impaired["instance"], &impaired["priority"]), (&"journal".into(), &"warning".into()));
    // And why: in the notice, and in the alert that stands after it.
    let notice = said.lines().find(|line| line.contains("the journal DOES NOT WORK: ")).expect("a notice");
    let notice: Value = serde_json::from_str(notice).unwrap();
    let why = notice["text"].as_str().unwrap().strip_prefix("the journal DOES NOT WORK: ").unwrap();
    assert_eq!(impaired["values"]["why"], why);
    assert_eq!(impaired["text"], format!("does not work: {why}"));
}

#[test]
fn a_file_and_a_folder_that_may_not_be_written_raise_an_alert() {
    use std::os::unix::fs::PermissionsExt;
    let folder = Folder::new("readonly");
    let sound = watched(&folder.at("journal.sqlite"));
    let before = fs::read(folder.at("journal.sqlite")).unwrap();
    fs::set_permissions(folder.at("journal.sqlite"), fs::Permissions::from_mode(0o444)).unwrap();
    fs::set_permissions(&folder.0, fs::Permissions::from_mode(0o555)).unwrap();
    for name in ["journal.sqlite", "new.sqlite"] {
        let mut command = Command::new(env!("CARGO_BIN_EXE_lubber"));
        command.args(["watch", "night-passage.nmea", "--boat", "boat.toml", "--format", "jsonl", "--journal"]);
        command.arg(folder.at(name)).current_dir(fixtures());
        // Permissions mean nothing to root: then it is done as nobody.
        if rustix::process::getuid().is_root() {
            command.uid(65_534).gid(65_534);
        }
        let (code, said, _) = done(command.output().unwrap());
        assert_eq!(code, Some(0));
        assert_eq!(alerts(&said), alerts(&sound));
        assert!(said.contains("\"alert\":\"watch-impaired\""), "{name}");
        assert!(said.contains("see the permissions of the file and of its folder"), "{name}");
    }
    assert_eq!(fs::read(folder.at("journal.sqlite")).unwrap(), before);
    // It can still be told from.
    let mut command = Command::new(env!("CARGO_BIN_EXE_lubber"));
    command.args(["passage", &folder.at("journal.sqlite")]);
    if rustix::process::getuid().is_root() {
        command.uid(65_534).gid(65_534);
    }
    let (code, text, error) = done(command.output().unwrap());
    assert!(code == Some(0) && text.contains("WATCH 1 of Curlew"), "{error}");
    fs::set_permissions(&folder.0, fs::Permissions::from_mode(0o755)).unwrap();
}

#[test]
fn a_damaged_journal_is_moved_aside_and_said() {
    let folder = Folder::new("damaged");
    let journal = folder.at("journal.sqlite");
    let sound = watched(&journal);
    let mut bytes = fs::read(&journal).unwrap();
    bytes[4096..12_288].fill(0x5a);
    fs::write(&journal, &bytes).unwrap();
    let (code, _, error) = run(&["passage", &journal]);
    assert!(code == Some(2) && error.contains("is damaged"), "{error}");
    let said = watched(&journal);
    assert_eq!(alerts(&said), alerts(&sound));
    assert!(said.contains("\"alert\":\"watch-impaired\"") && said.contains("was damaged and lies in"), "told");
    assert_eq!(fs::read(folder.at("journal.sqlite.damaged-1")).unwrap(), bytes, "never deleted");
    let (code, told, _) = run(&["passage", &journal, "--format", "json"]);
    assert!(code == Some(0) && told.contains("a new journal is begun"), "{told}");
}
