//! `lubber record`, `watch --record`, and compressed logs: the whole program on real files and loopback.

#[path = "common/live.rs"]
mod live;

use std::collections::BTreeMap;
use std::fs;
use std::io::BufRead;
use std::io::BufReader;
use std::io::Read;
use std::io::Write;
use std::net::TcpListener;
use std::net::TcpStream;
use std::path::Path;
use std::path::PathBuf;
use std::process::Child;
use std::process::Command;
use std::process::Stdio;
use std::sync::mpsc::Receiver;
use std::sync::mpsc::channel;
use std::time::Duration;

use live::Folder;
use live::LONG;
use live::Watch;
use live::sentence;
use rustix::process::Pid;
use rustix::process::Resource;
use rustix::process::Rlimit;
use rustix::process::Signal;
use serde_json::Value;

fn fixture(name: &str) -> String {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../fixtures").join(name).to_str().unwrap().to_owned()
}

/// Looks again and again until `look` finds something.
fn until<T>(what: &str, mut look: impl FnMut() -> Option<T>) -> T {
    for _ in 0..LONG.as_millis() / 10 {
        if let Some(found) = look() {
            return found;
        }
        std::thread::park_timeout(Duration::from_millis(10));
    }
    panic!("never: {what}");
}

/// The recordings of a folder by their names, unpacked.
fn recordings(folder: &Path) -> BTreeMap<String, String> {
    let mut all = BTreeMap::new();
    for entry in fs::read_dir(folder).into_iter().flatten() {
        let path = entry.unwrap().path();
        let name = path.file_name().unwrap().to_str().unwrap().to_owned();
        // A file that is being compressed is none yet.
        if !name.contains(".nmea") || name.ends_with(".tmp") {
            continue;
        }
        // It may be gone meanwhile.
        let Ok(bytes) = fs::read(&path) else { continue };
        let text = if name.ends_with(".zst") { zstd::stream::decode_all(bytes.as_slice()).unwrap() } else { bytes };
        all.insert(name, String::from_utf8(text).unwrap());
    }
    all
}

/// Every recorded line of a folder without its TAG block.
fn lines(folder: &Path) -> Vec<String> {
    let bare = |line: &str| line.rsplit('\\').next().unwrap().to_owned();
    recordings(folder).values().flat_map(|text| text.split_inclusive('\n').map(bare).collect::<Vec<_>>()).collect()
}

/// A recorder of a line of our own.
struct Recorder {
    child: Child,
    to: Option<TcpStream>,
    says: Receiver<String>,
}

impl Recorder {
    fn new(folder: &Folder, args: &[&str]) -> Self {
        Self::by(folder, args, |command| command)
    }

    fn by(folder: &Folder, args: &[&str], how: impl Fn(Command) -> Command) -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").unwrap();
        let source = format!("tcp:{}", listener.local_addr().unwrap());
        let all = [&["record", &source, "--to", "log", "--floor", "0B"], args].concat();
        let mut command = how(folder.lubber(&all));
        let mut child = command.stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap();
        let (to, _) = listener.accept().unwrap();
        let from = BufReader::new(child.stdout.take().unwrap());
        let (send, says) = channel();
        std::thread::spawn(move || from.lines().map_while(Result::ok).try_for_each(|line| send.send(line)));
        Self { child, to: Some(to), says }
    }

    fn say(&mut self, body: &str) {
        self.to.as_mut().unwrap().write_all(sentence(body).as_bytes()).unwrap();
    }

    fn until(&self, must: &str) -> String {
        let mut seen = String::new();
        loop {
            let line = self.says.recv_timeout(LONG).unwrap_or_else(|_| panic!("{must:?} not in\n{seen}"));
            if line.contains(must) {
                return line;
            }
            seen += &format!("{line}\n");
        }
    }

    fn pid(&self) -> Pid {
        Pid::from_child(&self.child)
    }

    /// Ctrl-C; the exit status and all that it says then.
    fn end(mut self) -> (Option<i32>, String) {
        rustix::process::kill_process(self.pid(), Signal::INT).unwrap();
        let status = self.child.wait().unwrap().code();
        let mut words: String = self.says.iter().map(|line| line + "\n").collect();
        self.child.stderr.take().unwrap().read_to_string(&mut words).unwrap();
        (status, words)
    }
}

impl Drop for Recorder {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

fn alerts(folder: &Folder, source: &str) -> Vec<Value> {
    let (status, text) = folder.run(&["watch", source, "--format", "jsonl", "--heading", "HCHDG"]);
    assert_eq!(status, Some(0), "{text}");
    let all = text.lines().map(|line| {
        let mut line = serde_json::from_str::<Value>(line).unwrap();
        // An alert about the source itself names it.
        if line["instance"] == source {
            line["instance"] = "the source".into();
        }
        line
    });
    all.filter(|line| line.get("alert").is_some()).collect()
}

#[test]
fn a_recording_raises_the_same_alerts_as_what_it_was_made_of() {
    let folder = Folder::new("same-alerts");
    let passage = fixture("night-passage.nmea");
    let args = ["record", &passage, "--to", "log", "--size", "300kB", "--floor", "0B", "--format", "json"];
    let (status, text) = folder.run(&args);
    assert_eq!(status, Some(0), "{text}");
    let summary: Value = serde_json::from_str(text.lines().last().unwrap()).unwrap();
    let original = fs::read_to_string(&passage).unwrap();
    assert_eq!(summary["lines"], original.lines().count());
    assert_eq!(
        (&summary["lost_lines"], &summary["lost_bytes"], &summary["failures"]),
        (&0.into(), &0.into(), &0.into())
    );
    let names: Vec<_> = recordings(&folder.0.join("log")).into_keys().collect();
    assert!(names.len() > 3 && names.iter().all(|name| name.ends_with("Z.nmea.zst")), "{names:?}");
    let bare =
        |text: &str| text.split_inclusive('\n').map(|l| l.rsplit('\\').next().unwrap().to_owned()).collect::<Vec<_>>();
    assert_eq!(lines(&folder.0.join("log")), bare(&original));
    let raised = alerts(&folder, &passage);
    assert!(raised.len() > 5);
    assert_eq!(alerts(&folder, "log"), raised);
}

#[test]
fn a_live_line_is_kept_as_it_came_and_corrected_by_the_first_date() {
    let folder = Folder::new("live");
    let mut recorder = Recorder::new(&folder, &[]);
    let sent = [
        sentence("HCHDG,150.2,,,4.1,W"),
        "$HCHDG,damaged*00\r\n".to_owned(),
        "\\g:1-2-3*5A\\".to_owned() + &sentence("HCHDG,150.3,,,4.1,W"),
        sentence("GPRMC,020000.00,A,5741.1,N,01153.1,E,5.0,300.0,140726,,,A"),
    ];
    recorder.to.as_mut().unwrap().write_all(sent.concat().as_bytes()).unwrap();
    let log = folder.0.join("log");
    until("the first lines are on disk", || (lines(&log).len() == 4).then_some(()));
    recorder.say("HCHDG,151.0,,,4.1,W");
    // The stamps of before are moved, and so is the name.
    until("the date is in use", || recordings(&log).keys().any(|n| n.starts_with("2026-07-14T0")).then_some(()));
    let (status, words) = recorder.end();
    assert_eq!(status, Some(130), "{words}");
    assert!(words.contains("Recorded 5 lines") && !words.contains("LOST"), "{words}");
    let all: Vec<String> =
        recordings(&log).values().flat_map(|text| text.lines().map(str::to_owned).collect::<Vec<_>>()).collect();
    assert_eq!(all.len(), 5);
    for (line, sent) in all.iter().zip(&sent) {
        let (tag, rest) = line.strip_prefix("\\s:127.0.0.1").unwrap().split_once('\\').unwrap();
        assert_eq!(rest, sent.trim_end());
        // From a minute before to an hour after 2026-07-14T02:00:00Z: `date -u -d @1783994400`.
        let ms: i64 = tag.split_once(",c:").unwrap().1.split_once('*').unwrap().0.parse().unwrap();
        assert!((1_783_994_340_000..1_783_998_000_000).contains(&ms), "{line}");
    }
    assert!(recordings(&log).keys().all(|name| name.ends_with("Z.nmea.zst")));
}

#[test]
fn small_files_are_closed_compressed_and_the_oldest_dropped() {
    let folder = Folder::new("rotation");
    let passage = fixture("night-passage.nmea");
    let args = ["record", &passage, "--to", "log", "--size", "20kB", "--keep", "60kB", "--floor", "0B"];
    let (status, text) = folder.run(&args);
    assert_eq!(status, Some(0), "{text}");
    assert!(text.contains("old files dropped"), "{text}");
    assert!(text.lines().all(|line| line.chars().count() <= 80), "{text}");
    let log = folder.0.join("log");
    let total: u64 = fs::read_dir(&log).unwrap().map(|entry| entry.unwrap().metadata().unwrap().len()).sum();
    assert!(total <= 80_000, "{total}");
    let original = fs::read_to_string(&passage).unwrap();
    let kept = lines(&log);
    assert!(kept.len() > 500);
    let bare: Vec<_> = original.split_inclusive('\n').map(|line| line.rsplit('\\').next().unwrap()).collect();
    assert!(bare.ends_with(&kept.iter().map(String::as_str).collect::<Vec<_>>()), "the newest are there, in order");
}

#[test]
fn a_killed_recorder_leaves_all_but_the_last_second_and_the_next_one_tidies_up() {
    let folder = Folder::new("killed");
    let log = folder.0.join("log");
    let mut recorder = Recorder::new(&folder, &[]);
    (0..50).for_each(|n| recorder.say(&format!("HCHDG,{n}.0,,,4.1,W")));
    until("they are on disk", || (lines(&log).len() == 50).then_some(()));
    recorder.child.kill().unwrap();
    recorder.child.wait().unwrap();
    // What a cut of power may add: a torn line, and zeros that a block left.
    let name = recordings(&log).into_keys().next().unwrap();
    let mut file = fs::OpenOptions::new().append(true).open(log.join(&name)).unwrap();
    file.write_all(b"\\s:a,c:1783994400000*00\\$HCHDG,1").and_then(|()| file.write_all(&[0; 700])).unwrap();
    drop(file);
    fs::write(log.join("2020-01-01T000000Z.nmea.zst.tmp"), b"half").unwrap();
    let mut recorder = Recorder::new(&folder, &[]);
    recorder.say("HCHDG,99.0,,,4.1,W");
    until("the old one is compressed", || (!log.join(&name).exists()).then_some(()));
    until("the new line is on disk", || (lines(&log).len() == 51).then_some(()));
    let (_, words) = recorder.end();
    assert!(words.contains("1 line torn by a cut of power left out"), "{words}");
    let names: Vec<_> = recordings(&log).into_keys().collect();
    assert!(names.len() == 2 && names.iter().all(|name| name.ends_with(".nmea.zst")), "{names:?}");
    assert_eq!(lines(&log).last(), Some(&sentence("HCHDG,99.0,,,4.1,W")));
}

/// A soft limit on how long a file may grow, as `ulimit -f` sets it; the signal that comes with it is not heard.
fn limited(command: Command) -> Command {
    let mut shell = Command::new("sh");
    shell.args(["-c", "trap '' XFSZ; ulimit -S -f 0; exec \"$0\" \"$@\""]).arg(command.get_program());
    shell.args(command.get_args()).current_dir(command.get_current_dir().unwrap()).stdin(Stdio::null());
    shell
}

#[test]
fn a_disk_that_takes_nothing_is_told_and_when_it_does_again_nothing_was_lost() {
    let folder = Folder::new("no-room");
    let mut recorder = Recorder::by(&folder, &[], limited);
    recorder.say("HCHDG,1.0,,,4.1,W");
    let told = recorder.until("NOT RECORDED");
    assert!(told.contains("log"), "{told}");
    recorder.say("HCHDG,2.0,,,4.1,W");
    let any = Rlimit { current: None, maximum: None };
    rustix::process::prlimit(Some(recorder.pid()), Resource::Fsize, any).unwrap();
    recorder.until("recording works again; nothing was lost");
    recorder.say("HCHDG,3.0,,,4.1,W");
    let log = folder.0.join("log");
    until("all three are on disk", || (lines(&log).len() == 3).then_some(()));
    let (status, words) = recorder.end();
    assert_eq!(status, Some(130), "{words}");
    let numbers = ["1.0", "2.0", "3.0"].map(|n| sentence(&format!("HCHDG,{n},,,4.1,W")));
    assert_eq!(lines(&log), numbers);
}

#[test]
fn a_folder_that_is_taken_away_is_told_and_begun_anew() {
    let folder = Folder::new("gone");
    let log = folder.0.join("log");
    let mut recorder = Recorder::new(&folder, &[]);
    recorder.say("HCHDG,1.0,,,4.1,W");
    until("it is on disk", || (lines(&log).len() == 1).then_some(()));
    fs::remove_dir_all(&log).unwrap();
    recorder.until("NOT RECORDED");
    recorder.say("HCHDG,2.0,,,4.1,W");
    fs::create_dir(&log).unwrap();
    recorder.until("recording works again");
    let second = sentence("HCHDG,2.0,,,4.1,W");
    until("the second is on disk", || (lines(&log).last() == Some(&second)).then_some(()));
    let (_, words) = recorder.end();
    assert!(words.contains("Recorded 2 lines"), "{words}");
}

#[test]
fn what_cannot_be_recorded_says_so_at_the_start() {
    let folder = Folder::new("refused");
    let log = fixture("swing.nmea");
    let refused = |to: &str, more: &[&str]| {
        let (status, words) = folder.run(&[&["record", &log, "--to", to], more].concat());
        assert_eq!(status, Some(2), "{words}");
        words
    };
    assert!(refused("no/such/folder", &[]).contains("the folder is not there"));
    fs::write(folder.0.join("file"), "").unwrap();
    assert!(refused("file", &[]).contains("it is no folder; name another"));
    assert!(refused("log", &["--keep", "100MB"]).contains("--keep must have room for two files"));
    assert!(refused("log", &["--size", "many"]).contains("Example: 64MB"));
    // Where even the system's own user may not write: a folder of the kernel's.
    let sealed =
        if rustix::process::geteuid().is_root() { PathBuf::from("/proc/self") } else { folder.0.join("sealed") };
    if !sealed.exists() {
        let mode = std::os::unix::fs::PermissionsExt::from_mode(0o555);
        fs::create_dir(&sealed).and_then(|()| fs::set_permissions(&sealed, mode)).unwrap();
    }
    let words = refused(sealed.to_str().unwrap(), &[]);
    assert!(words.contains("cannot record in"), "{words}");
    // Two in one folder would mend each other's files.
    let recorder = Recorder::new(&folder, &[]);
    recorder.until("lubber records");
    assert!(refused("log", &["--floor", "0B"]).contains("another lubber records there"));
}

#[test]
fn a_watch_records_and_says_when_it_does_not() {
    let folder = Folder::new("watch");
    let log = folder.0.join("log");
    fs::create_dir(&log).unwrap();
    let mut watch = Watch::new(&folder, &["--record", "log", "--no-control"]);
    watch.say("HCHDG,1.0,,,4.1,W");
    until("it is on disk", || (lines(&log).len() == 1).then_some(()));
    fs::remove_dir_all(&log).unwrap();
    let told = watch.until("watch-impaired");
    assert!(told.contains("record"), "{told}");
    fs::create_dir(&log).unwrap();
    watch.say("HCHDG,2.0,,,4.1,W");
    let second = sentence("HCHDG,2.0,,,4.1,W");
    until("it works again", || (lines(&log).last() == Some(&second)).then_some(()));
    let (status, words) = folder.run(&["watch", &fixture("swing.nmea"), "--record", "log2"]);
    assert_eq!(status, Some(2));
    assert!(words.contains("a log is recorded already"), "{words}");
}

#[test]
fn a_watch_keeps_to_the_sizes_of_the_boat_file_and_so_does_the_recorder() {
    let folder = Folder::new("sizes");
    let boat = |text: &str| fs::write(folder.0.join("boat.toml"), text).unwrap();
    boat("[record]\nsize = \"20kB\"\nkeep = \"60kB\"\nfloor = \"0B\"\n");
    let log = folder.0.join("log");
    let mut watch = Watch::new(&folder, &["--record", "log", "--no-control"]);
    for number in 0..4_000 {
        watch.say(&format!("IIXDR,G,{number},,SEQ"));
    }
    let last = sentence("IIXDR,G,3999,,SEQ");
    until("the last one is on disk", || lines(&log).contains(&last).then_some(()));
    let kept = lines(&log).len();
    assert!(kept < 4_000, "the oldest are dropped");
    drop(watch);
    let total = || fs::read_dir(&log).unwrap().map(|entry| entry.unwrap().metadata().unwrap().len()).sum::<u64>();
    assert!(total() <= 80_000, "{}", total());

    // What is typed outranks the boat file.
    let swing = fixture("swing.nmea");
    let (status, text) = folder.run(&["record", &swing, "--to", "typed", "--size", "30kB"]);
    assert_eq!(status, Some(0), "{text}");
    let flat = text.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(flat.contains("files of 30.0 kB at most") && flat.contains("60.0 kB in all"), "{text}");

    boat("[record]\nkeep = \"100MB\"\n");
    for args in [&["watch", &swing][..], &["record", &swing, "--to", "log"]] {
        let (status, words) = folder.run(args);
        assert_eq!(status, Some(2), "{words}");
        assert!(words.contains("under [record] in the boat file"), "{words}");
    }
    boat("[record]\nkeep = 100\n");
    let (status, words) = folder.run(&["watch", &swing]);
    assert_eq!(status, Some(2), "{words}");
    assert!(words.contains("boat.toml:2: keep = 100: expected a size in kB, MB or GB"), "{words}");
}

#[test]
fn compressed_logs_are_read_like_any_other() {
    let folder = Folder::new("packed");
    let pack = |name: &str, to: &str| {
        let packed = zstd::stream::encode_all(fs::read(fixture(name)).unwrap().as_slice(), 3).unwrap();
        fs::write(folder.0.join(to), &packed).unwrap();
        packed
    };
    // Known by its first bytes and not by its name.
    let packed = pack("night-passage.nmea", "night.log");
    assert_eq!(alerts(&folder, "night.log"), alerts(&folder, &fixture("night-passage.nmea")));
    pack("swing.nmea", "swing.nmea.zst");
    let swing = |log: &str| folder.run(&["swing", log, "--format", "json"]);
    let (plain, from_packed) = (swing(&fixture("swing.nmea")), swing("swing.nmea.zst"));
    assert_eq!(
        (plain.0, plain.1.replace(&fixture("swing.nmea"), "")),
        (from_packed.0, from_packed.1.replace("swing.nmea.zst", ""))
    );
    let listen = |log: &str| folder.run(&["listen", log, "--format", "json"]);
    let (plain, from_packed) = (listen(&fixture("swing.nmea")), listen("swing.nmea.zst"));
    assert_eq!(
        (plain.0, plain.1.replace(&fixture("swing.nmea"), "")),
        (from_packed.0, from_packed.1.replace("swing.nmea.zst", ""))
    );
    // From a pipe too.
    let mut child = folder.lubber(&["listen", "-", "--format", "json"]);
    let mut child = child.stdin(Stdio::piped()).stdout(Stdio::piped()).spawn().unwrap();
    child.stdin.take().unwrap().write_all(&fs::read(folder.0.join("swing.nmea.zst")).unwrap()).unwrap();
    let piped = String::from_utf8(child.wait_with_output().unwrap().stdout).unwrap();
    assert_eq!(piped.trim_end().replace("\"-\"", "\"\""), plain.1.replace(&fixture("swing.nmea"), ""));
    // One that a crash has cut counts as far as it goes.
    fs::write(folder.0.join("cut.zst"), &packed[..packed.len() * 3 / 4]).unwrap();
    let (status, words) = folder.run(&["watch", "cut.zst", "--heading", "HCHDG"]);
    assert_eq!(status, Some(0), "{words}");
    assert!(words.contains("damaged or not complete"), "{words}");
    let some = alerts(&folder, "cut.zst");
    assert!(!some.is_empty() && alerts(&folder, "night.log").starts_with(&some[..1]));
}
