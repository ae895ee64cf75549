//! The watch for a long time, under a full line: nothing lost, nothing that grows.
//!
//! 1. Accelerated: so many simulated hours of a full line of 38 400 baud (3840 bytes a second) through
//!    `watch --journal` and through `record`.
//! 2. In real time: the same line for so many minutes over a pseudo-terminal, with journal, recording and
//!    page on and five browsers reading; and for fewer minutes with fifty.
//!
//! Every sixth sentence or so carries a number of its own; all of them must be found again. Bars: 12 MB
//! resident with five browsers, 16 MB with fifty, and flat; 1 % of one core with five; no sentence lost.
//!
//! `cargo bench -p lubber --bench soak -- HOURS MINUTES CROWDED`: 24, 20 and 2 minutes unless given, and a part
//! of which nothing is wanted is left out; `.ci/soak` runs it.

// A soak lasts by the clock.
#![allow(clippy::disallowed_methods)]

use std::fs;
use std::io::BufRead;
use std::io::BufReader;
use std::io::Read;
use std::io::Write;
use std::net::TcpStream;
use std::path::Path;
use std::path::PathBuf;
use std::process::Child;
use std::process::Command;
use std::process::ExitCode;
use std::process::Stdio;
use std::sync::Arc;
use std::sync::atomic::AtomicUsize;
use std::sync::atomic::Ordering;
use std::thread;
use std::time::Duration;
use std::time::Instant;

use lubber::page::Lock;
use lubber::simulate::Heard;
use lubber::simulate::Settings;
use lubber::simulate::Stamps;
use lubber::simulate::Voyage;
use serialport::SerialPort;
use serialport::TTYPort;

/// A full line of 38 400 baud, eight bits with start and stop.
const BYTES_A_SECOND: usize = 3840;
const MEMORY_KIB: u64 = 12 * 1024;
const SHARE_OF_A_CORE: f64 = 0.01;
const BROWSERS: usize = 5;
/// A crowd: more than any boat has screens, and fewer than the page has seats.
const CROWD: usize = 50;
const CROWDED_KIB: u64 = 16 * 1024;

fn main() -> ExitCode {
    let numbers: Vec<u64> = std::env::args().skip(1).filter_map(|arg| arg.parse().ok()).collect();
    let [hours, minutes, crowded] = [24, 20, 2].map({
        let mut given = numbers.into_iter();
        move |usual| given.next().unwrap_or(usual)
    });
    let folder = std::env::temp_dir().join(format!("lubber-soak-{}", std::process::id()));
    fs::create_dir_all(&folder).unwrap();
    let mut good = true;
    let mut say = |what: &str, met: bool, text: String| {
        println!("{} {what:<36} {text}", if met { "met   " } else { "MISSED" });
        good &= met;
    };
    if hours > 0 {
        accelerated_watch(&folder, hours, &mut say);
        accelerated_record(&folder, hours, &mut say);
    }
    if minutes > 0 {
        real_time(&folder, minutes, (BROWSERS, MEMORY_KIB), &mut say);
    }
    if crowded > 0 {
        real_time(&folder, crowded, (CROWD, CROWDED_KIB), &mut say);
    }
    fs::remove_dir_all(&folder).unwrap();
    if good { ExitCode::SUCCESS } else { ExitCode::FAILURE }
}

/// The line: the invented boat's sentences, and numbered ones until each second is full.
struct Line {
    voyage: Voyage,
    numbered: u64,
    sentences: u64,
}

impl Line {
    fn new(hours: u64) -> Self {
        let settings = Settings { length_ms: hours * 3_600_000, ..Settings::default() };
        Self { voyage: Voyage::new(settings).unwrap(), numbered: 0, sentences: 0 }
    }

    /// The next second of it; none after its end.
    fn second(&mut self, stamps: Stamps, to: &mut Vec<u8>) -> bool {
        to.clear();
        let mut plain = 0;
        let mut last = 0;
        for _ in 0..10 {
            let sentences = &mut self.sentences;
            let more = self.voyage.step(&mut |heard| {
                if let Heard::Line { unix_ms, bytes } = heard {
                    stamps.write(unix_ms, bytes, to);
                    plain += bytes.len();
                    last = unix_ms;
                    *sentences += 1;
                }
            });
            if more.is_none() {
                return false;
            }
        }
        while plain + 32 < BYTES_A_SECOND {
            let body = format!("IIXDR,G,{},,SEQ", self.numbered);
            let sum = body.bytes().fold(0, |sum, byte| sum ^ byte);
            let line = format!("${body}*{sum:02X}\r\n");
            stamps.write(last, line.as_bytes(), to);
            plain += line.len();
            self.numbered += 1;
            self.sentences += 1;
        }
        true
    }
}

fn lubber(folder: &Path, args: &[&str]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_lubber"));
    command.args(args).current_dir(folder).env("XDG_RUNTIME_DIR", folder).env("XDG_STATE_HOME", folder);
    command.stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::null());
    command
}

/// Resident memory now, in KiB.
fn resident(child: &Child) -> u64 {
    let status = fs::read_to_string(format!("/proc/{}/status", child.id())).unwrap_or_default();
    let line = status.lines().find(|line| line.starts_with("VmRSS:"));
    line.and_then(|line| line.split_whitespace().nth(1)?.parse().ok()).unwrap_or(0)
}

/// Processor time, user and system; the clock of it ticks every 10 ms.
fn processor_time(child: &Child) -> Duration {
    let stat = fs::read_to_string(format!("/proc/{}/stat", child.id())).unwrap_or_default();
    let fields = stat.rsplit(')').next().unwrap_or("");
    let ticks: u64 = fields.split_whitespace().skip(11).take(2).filter_map(|field| field.parse::<u64>().ok()).sum();
    Duration::from_millis(ticks * 10)
}

/// Feeds `child` the whole line; its memory after a third, when a day's first file has been compressed and
/// everything has been used once, and at the end.
fn feed(child: &mut Child, hours: u64) -> (Line, u64, u64) {
    let mut line = Line::new(hours);
    let mut to = child.stdin.take().unwrap();
    let (mut early, mut late, mut second) = (0, 0, 0);
    let mut bytes = Vec::new();
    while line.second(Stamps::Tag, &mut bytes) {
        to.write_all(&bytes).unwrap();
        second += 1;
        if second == hours * 1200 {
            early = resident(child);
        }
        if second % 600 == 0 {
            late = resident(child);
        }
    }
    (line, early, late)
}

fn accelerated_watch(folder: &Path, hours: u64, say: &mut impl FnMut(&str, bool, String)) {
    let args = ["watch", "-", "--log", "--journal", "journal.sqlite", "--format", "jsonl", "--every", "600s"];
    let mut child = lubber(folder, &[&args[..], &["--no-control"]].concat()).spawn().unwrap();
    let from = BufReader::new(child.stdout.take().unwrap());
    let reader = thread::spawn(move || {
        let mut heard = 0;
        for line in from.lines().map_while(Result::ok) {
            let value: serde_json::Value = serde_json::from_str(&line).unwrap();
            // The account at the end counts all of them.
            heard = value.pointer("/summary/sentences").and_then(serde_json::Value::as_u64).unwrap_or(heard);
        }
        heard
    });
    let (line, early, late) = feed(&mut child, hours);
    let ended = child.wait().unwrap();
    let heard = reader.join().unwrap();
    say(
        "watch, accelerated: none lost",
        ended.success() && heard == line.sentences,
        format!("{hours} h, {} sentences sent, {heard} heard", line.sentences),
    );
    memory("watch, accelerated: memory", (early, late, MEMORY_KIB), say);
}

fn memory(what: &str, (early, late, bar): (u64, u64, u64), say: &mut impl FnMut(&str, bool, String)) {
    // Flat: not a quarter of a megabyte more than after the first third.
    let met = late <= bar && late <= early + 256;
    let mb = |kib: u64| kib as f64 / 1024.0;
    say(
        what,
        met,
        format!("{:.1} MB after a third, {:.1} MB at the end; bar {} and flat", mb(early), mb(late), mb(bar)),
    );
}

fn accelerated_record(folder: &Path, hours: u64, say: &mut impl FnMut(&str, bool, String)) {
    let args = ["record", "-", "--log", "--to", "recorded", "--floor", "1MB"];
    let mut child = lubber(folder, &args).stdout(Stdio::null()).spawn().unwrap();
    let (line, early, late) = feed(&mut child, hours);
    let ended = child.wait().unwrap();
    let found = numbered(&folder.join("recorded"));
    say(
        "record, accelerated: none lost",
        ended.success() && found == Ok(line.numbered),
        format!("{} numbered, found again: {found:?}", line.numbered),
    );
    memory("record, accelerated: memory", (early, late, MEMORY_KIB), say);
}

/// How many numbered sentences the recordings hold, if they are all there once and in their order.
fn numbered(folder: &Path) -> Result<u64, String> {
    let mut files: Vec<PathBuf> = fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()).collect();
    files.retain(|path| path.to_string_lossy().contains(".nmea"));
    files.sort();
    let mut next = 0;
    for path in files {
        let file = fs::File::open(&path).unwrap();
        let from: Box<dyn Read> = if path.extension().is_some_and(|end| end == "zst") {
            Box::new(zstd::stream::Decoder::new(file).unwrap())
        } else {
            Box::new(file)
        };
        for line in BufReader::new(from).lines() {
            let line = line.map_err(|error| error.to_string())?;
            let Some((_, rest)) = line.split_once("XDR,G,") else { continue };
            let number: u64 = rest.split(',').next().unwrap_or_default().parse().map_err(|_| line.clone())?;
            if number != next {
                return Err(format!("{next} expected in {}, {number} found", path.display()));
            }
            next += 1;
        }
    }
    Ok(next)
}

fn real_time(folder: &Path, minutes: u64, (browsers, bar): (usize, u64), say: &mut impl FnMut(&str, bool, String)) {
    let folder = &folder.join(format!("{browsers}-browsers"));
    fs::create_dir_all(folder).unwrap();
    let (mut ours, theirs) = TTYPort::pair().unwrap();
    let source = format!("serial:{}?baud=38400", theirs.name().unwrap());
    drop(theirs);
    let (_, key) = Lock::keep(&folder.join("page.key"), true).unwrap();
    let key = key.unwrap();
    // A port that is free now; nobody else takes it in the next moment.
    let free = std::net::TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap().to_string();
    let args = ["watch", &source, "--journal", "live.sqlite", "--record", "live", "--page", &free];
    let rest = ["--page-key", "page.key", "--format", "jsonl", "--every", "60s", "--no-control"];
    let mut child = lubber(folder, &[&args[..], &rest].concat()).spawn().unwrap();
    let from = BufReader::new(child.stdout.take().unwrap());
    let reader = thread::spawn(move || {
        let mut heard = 0;
        for line in from.lines().map_while(Result::ok) {
            let value: serde_json::Value = serde_json::from_str(&line).unwrap();
            heard = value.pointer("/summary/sentences").and_then(serde_json::Value::as_u64).unwrap_or(heard);
        }
        heard
    });
    let mut line = Line::new(minutes / 60 + 1);
    let mut bytes = Vec::new();
    let begun = Instant::now();
    let (mut early, mut late, mut processor) = (0, 0, Duration::ZERO);
    let reading = Arc::new(AtomicUsize::new(0));
    for second in 0..minutes * 60 {
        // The browsers come when the page is there.
        if second == 3 {
            for _ in 0..browsers {
                browse(&free, key.text(), Arc::clone(&reading));
            }
        }
        line.second(Stamps::None, &mut bytes);
        // A line brings its bytes over the whole second.
        for piece in bytes.chunks(bytes.len() / 10 + 1) {
            ours.write_all(piece).unwrap();
            thread::sleep(Duration::from_millis(80));
        }
        thread::sleep((begun + Duration::from_secs(second + 1)).saturating_duration_since(Instant::now()));
        if second == minutes * 20 {
            early = resident(&child);
            processor = processor_time(&child);
        }
        late = resident(&child);
    }
    let used = processor_time(&child).saturating_sub(processor).as_secs_f64();
    let share = used / (minutes as f64 * 40.0);
    let read_on = reading.load(Ordering::Relaxed);
    drop(ours);
    // The last second is on disk when it has ended.
    rustix::process::kill_process(rustix::process::Pid::from_child(&child), rustix::process::Signal::INT).unwrap();
    child.wait().unwrap();
    let heard = reader.join().unwrap();
    let found = numbered(&folder.join("live"));
    let what = |what: &str| format!("real time, {browsers} browsers: {what}");
    say(
        &what("none lost"),
        found == Ok(line.numbered) && heard == line.sentences && read_on == browsers,
        format!(
            "{minutes} min, {} sentences, {heard} heard; {} numbered, found again: {found:?}; {read_on} browsers read \
             to the end",
            line.sentences, line.numbered
        ),
    );
    memory(&what("memory"), (early, late, bar), say);
    let (percent, most) = (share * 100.0, SHARE_OF_A_CORE * 100.0);
    if browsers > BROWSERS {
        say(&what("processor"), true, format!("{percent:.2} % of one core; no bar"));
    } else {
        say(&what("processor"), share <= SHARE_OF_A_CORE, format!("{percent:.2} % of one core; bar {most:.0} %"));
    }
}

/// Reads the stream of the page until it ends; counted in `reading` from its first byte on. Returns with that:
/// from one address only a few may wait at once that have not yet shown the key.
fn browse(at: &str, key: &str, reading: Arc<AtomicUsize>) {
    let mut stream = TcpStream::connect(at).unwrap();
    write!(stream, "GET /stream HTTP/1.1\r\nHost: {at}\r\nAuthorization: Bearer {key}\r\n\r\n").unwrap();
    let mut piece = [0; 4096];
    let mut more = move || stream.read(&mut piece).is_ok_and(|count| count > 0);
    if more() {
        reading.fetch_add(1, Ordering::Relaxed);
        thread::spawn(move || {
            while more() {}
            reading.fetch_sub(1, Ordering::Relaxed);
        });
    }
}
