//! The whole program over a recorded log, beside the floor in the same run.
//!
//! The floor reads the same file, splits it into lines, XORs each body and compares with its
//! checksum, on one thread. The bar: `watch --format jsonl` with every alert on does at least a
//! tenth of that, in under 12 MB that do not grow with the file.
//!
//! `cargo bench -p lubber --bench whole` makes logs of about 100 and 25 MB and prints the ratios.

use std::fs;
use std::fs::File;
use std::io::Read;
use std::io::Write;
use std::path::Path;
use std::process::Command;
use std::process::Stdio;
use std::time::Duration;

use lubber::simulate::Heard;
use lubber::simulate::Settings;
use lubber::simulate::Stamps;
use lubber::simulate::Voyage;

const ROUNDS: usize = 5;
/// The clock of processor time ticks every 10 ms: the floor is run so often to be measurable.
const FLOORS: u32 = 10;

fn main() {
    let folder = std::env::temp_dir().join(format!("lubber-whole-{}", std::process::id()));
    fs::create_dir_all(&folder).unwrap();
    println!(
        "{:<16} {:>8} {:>9} {:>9} {:>9} {:>7} {:>9}",
        "log", "MB", "lines", "floor ns", "watch ns", "ratio", "peak MB"
    );
    for (name, hours, stamps) in
        [("48 h, stamped", 48, Stamps::Tag), ("12 h, stamped", 12, Stamps::Tag), ("48 h, plain", 48, Stamps::None)]
    {
        let path = folder.join("passage.nmea");
        let lines = write_log(&path, hours, stamps);
        let bytes = fs::metadata(&path).unwrap().len();
        // Processor time, so that what else the machine does matters less; turn about, so that a
        // machine that slows down slows both; the best of each counts.
        let (mut floor, mut watch, mut peak) = (Duration::MAX, Duration::MAX, 0);
        for _ in 0..ROUNDS {
            let before = processor_time("self");
            for _ in 0..FLOORS {
                assert!(right_lines(&path) >= lines);
            }
            floor = floor.min((processor_time("self") - before) / FLOORS);
            let (time, memory) = run_watch(&path);
            watch = watch.min(time);
            peak = peak.max(memory);
        }
        let each = |d: Duration| d.as_nanos() as f64 / lines as f64;
        println!(
            "{name:<16} {:>8.1} {lines:>9} {:>9.1} {:>9.1} {:>7.3} {:>9.1}",
            bytes as f64 / 1e6,
            each(floor),
            each(watch),
            each(floor) / each(watch),
            peak as f64 / 1024.0
        );
    }
    fs::remove_dir_all(&folder).unwrap();
}

fn write_log(path: &Path, hours: u64, stamps: Stamps) -> u64 {
    let mut voyage = Voyage::new(Settings { length_ms: hours * 3_600_000, ..Settings::default() }).unwrap();
    let mut file = std::io::BufWriter::new(File::create(path).unwrap());
    let mut line = Vec::new();
    let mut lines = 0;
    while voyage
        .step(&mut |heard| {
            if let Heard::Line { unix_ms, bytes } = heard {
                line.clear();
                stamps.write(unix_ms, bytes, &mut line);
                file.write_all(&line).unwrap();
                lines += 1;
            }
        })
        .is_some()
    {}
    file.flush().unwrap();
    lines
}

/// The processor time that a process has used, user and system.
fn processor_time(process: &str) -> Duration {
    let stat = fs::read_to_string(format!("/proc/{process}/stat")).unwrap_or_default();
    // After the name in parentheses, the 12th and 13th fields, in hundredths of a second.
    let fields = stat.rsplit(')').next().unwrap_or("");
    let ticks: u64 = fields.split_whitespace().skip(11).take(2).filter_map(|f| f.parse::<u64>().ok()).sum();
    Duration::from_millis(ticks * 10)
}

/// The floor: lines whose checksum is right.
fn right_lines(path: &Path) -> u64 {
    let mut file = File::open(path).unwrap();
    let mut buffer = vec![0; 256 * 1024];
    let (mut held, mut right) = (0, 0);
    loop {
        let read = file.read(&mut buffer[held..]).unwrap();
        if read == 0 {
            return right;
        }
        let full = held + read;
        let mut start = 0;
        while let Some(end) = memchr::memchr(b'\n', &buffer[start..full]) {
            right += u64::from(is_right(&buffer[start..start + end]));
            start += end + 1;
        }
        buffer.copy_within(start..full, 0);
        held = full - start;
    }
}

fn is_right(line: &[u8]) -> bool {
    let Some(dollar) = memchr::memchr(b'$', line) else { return false };
    let Some(star) = memchr::memrchr(b'*', line) else { return false };
    let sum = line[dollar + 1..star].iter().fold(0, |sum, byte| sum ^ byte);
    let digit = |byte: u8| (byte as char).to_digit(16).unwrap_or(99);
    line.len() >= star + 3 && digit(line[star + 1]) * 16 + digit(line[star + 2]) == u32::from(sum)
}

/// Runs the program; its processor time, and its peak resident memory in KiB.
fn run_watch(path: &Path) -> (Duration, u64) {
    let mut child = Command::new(env!("CARGO_BIN_EXE_lubber"))
        .args(["watch", "--format", "jsonl"])
        .arg(path)
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn()
        .unwrap();
    let process = child.id().to_string();
    let (mut time, mut peak) = (Duration::ZERO, 0);
    // Both only grow, so the last reading before the end is near enough to it.
    loop {
        let text = fs::read_to_string(format!("/proc/{process}/status")).unwrap_or_default();
        let line = text.lines().find(|line| line.starts_with("VmHWM:"));
        peak = line.and_then(|l| l.split_whitespace().nth(1)?.parse().ok()).unwrap_or(peak);
        time = time.max(processor_time(&process));
        if let Some(status) = child.try_wait().unwrap() {
            assert!(status.success());
            return (time, peak);
        }
        std::thread::park_timeout(Duration::from_millis(2));
    }
}
