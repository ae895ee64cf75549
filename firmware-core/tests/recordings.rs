//! Real logs of real boats, where they lie beside the project: framed in full, every byte accounted for.

use std::fs;
use std::path::Path;
use std::path::PathBuf;

use lubber_core::alert::AlertKind;
use lubber_core::arbiter::AlertChange;
use lubber_core::frame::ChecksumPolicy;
use lubber_core::frame::Counts;
use lubber_core::frame::Framer;
use lubber_core::frame::Refusal;
use lubber_core::monitor::Event;
use lubber_core::monitor::Monitor;
use lubber_core::monitor::Notice;
use lubber_core::monitor::Settings;
use lubber_core::picture::Command;
use lubber_core::picture::Kinship;
use lubber_core::picture::SourceId;
use lubber_core::time::Instant;

/// The folder, or `None` with one line that says so.
fn recordings() -> Option<PathBuf> {
    let folder = Path::new(concat!(env!("CARGO_MANIFEST_DIR"), "/../../shared/recordings"));
    if !folder.is_dir() {
        println!("no recordings beside the project: nothing checked");
        return None;
    }
    Some(folder.into())
}

/// The logs of a subfolder whose names begin with `name`.
fn logs(folder: &str, name: &str) -> Option<Vec<(String, Vec<u8>)>> {
    let mut logs: Vec<(String, Vec<u8>)> = fs::read_dir(recordings()?.join(folder))
        .unwrap()
        .map(|entry| entry.unwrap())
        .map(|entry| (entry.file_name().into_string().unwrap(), entry.path()))
        .filter(|(file, _)| file.starts_with(name))
        .map(|(file, path)| (file, fs::read(path).unwrap()))
        .collect();
    logs.sort();
    assert!(!logs.is_empty(), "{folder}/{name}* holds no log");
    Some(logs)
}

/// Frames a log in pieces as a reader would deliver them. There are as many events as the counters
/// say, and the byte account holds.
fn frame(log: &[u8], policy: ChecksumPolicy, piece: usize) -> Counts {
    let mut framer = Framer::new(policy);
    let mut events = 0;
    for piece in log.chunks(piece) {
        framer.feed(piece, &mut |_| events += 1);
    }
    framer.finish(&mut |_| events += 1);
    let counts = *framer.counts();
    assert_eq!(counts.bytes_in, log.len() as u64);
    assert_eq!(counts.bytes_in, counts.sentence_bytes + counts.refused_bytes + counts.between);
    assert_eq!(events, counts.sentences + counts.refused_total());
    counts
}

#[test]
fn the_keelboat_of_2014_is_read_without_a_refusal() {
    let Some(logs) = logs("keelboat", "2014") else { return };
    assert_eq!(logs.len(), 10);
    for (name, log) in logs {
        let counts = frame(&log, ChecksumPolicy::Required, 65_536);
        assert_eq!(counts.refused_total(), 0, "{name}: {counts:?}");
        assert_eq!(counts.sentences as usize, log.iter().filter(|&&byte| byte == b'$').count(), "{name}");
        assert_eq!(counts.between as usize, log.iter().filter(|byte| b"\r\n".contains(byte)).count(), "{name}");
    }
}

#[test]
fn frozen_checksums_are_read_only_where_checksums_are_ignored() {
    let Some(logs) = logs("damaged", "frozen") else { return };
    for (name, log) in logs {
        let started = log.iter().filter(|&&byte| byte == b'$').count() as u64;
        let ignored = frame(&log, ChecksumPolicy::Ignored, 65_536);
        assert_eq!((ignored.sentences, ignored.refused_total()), (started, 0), "{name}: {ignored:?}");
        let required = frame(&log, ChecksumPolicy::Required, 65_536);
        assert_eq!(required.refused[Refusal::ChecksumWrong as usize], required.refused_total());
        assert_eq!(required.sentences + required.refused_total(), started);
        assert!(required.refused_total() * 10 > started * 9, "nearly all: {required:?}");
    }
}

#[test]
fn every_log_in_every_policy() {
    for folder in ["keelboat", "damaged", "gateway"] {
        let Some(logs) = logs(folder, "") else { return };
        for (name, log) in logs {
            let whole = frame(&log, ChecksumPolicy::Required, log.len());
            assert!(whole.sentences > 0, "{name}");
            assert_eq!(frame(&log, ChecksumPolicy::Required, 4093), whole, "{name} in pieces");
            for policy in [ChecksumPolicy::Optional, ChecksumPolicy::Ignored] {
                assert!(frame(&log, policy, 65_536).sentences >= whole.sentences, "{name} {policy:?}");
            }
            // Pieces shorter than a line go through the state machine byte by byte; slow, so the first of it.
            let head = log.get(..50_000).unwrap_or(&log);
            let pieces = frame(head, ChecksumPolicy::Required, 37);
            assert_eq!(pieces, frame(head, ChecksumPolicy::Required, head.len()), "{name} in small pieces");
            println!("{folder}/{name}: {} lines, refused {:?}", whole.sentences, whole.refused);
        }
    }
}

/// Keeps watch over a log, ten lines a second, as its talkers send them; hand steering declared.
fn watch(log: &[u8]) -> (Monitor, Vec<AlertChange>, Vec<Notice>) {
    let settings = Settings { source_count: 1, ..Settings::default() };
    let mut monitor = Monitor::new(Instant::from_ms(0), settings);
    let (mut alerts, mut notices) = (Vec::new(), Vec::new());
    monitor.order(Instant::from_ms(0), Command::SteerHand, &mut |_| {});
    for (tenth, line) in (0..).zip(log.split_inclusive(|byte| *byte == b'\n')) {
        let now = Instant::from_ms(tenth * 100);
        monitor.bytes(now, SourceId(0), line, &mut |event| match event {
            Event::Alert(change) => alerts.push(change),
            Event::Notice(notice) => notices.push(notice),
            _ => {}
        });
    }
    (monitor, alerts, notices)
}

#[test]
fn hours_of_real_sailing_raise_no_false_alarm_and_the_copy_is_told() {
    let Some(logs) = logs("keelboat", "20") else { return };
    assert_eq!(logs.len(), 13);
    let mut hours = 0.0;
    for (name, log) in logs {
        let (monitor, alerts, notices) = watch(&log);
        // The spacing here is even, so the log's own gaps are closed; what a gap must raise is
        // checked with the log's own time, in the whole-program tests.
        let raised: Vec<&str> = alerts.iter().map(|change| change.kind.name()).collect();
        for kind in [AlertKind::HeadingDisagreement, AlertKind::HeadingFrozen, AlertKind::HeadingLost] {
            assert!(!raised.contains(&kind.name()), "{name}: {alerts:?}");
        }
        // VHW repeats the one sensor that this boat has, on every day and in every turn.
        let copies = notices.iter().filter(|notice| matches!(notice, Notice::OneSensor { .. })).count();
        let kinship = monitor.picture().kinship(0, 1);
        assert_eq!((copies, kinship), (1, Kinship::OneSensor), "{name}: {notices:?}");
        hours += log.iter().filter(|byte| **byte == b'\n').count() as f64 / 36_000.0;
    }
    println!("{hours:.1} hours of sailing");
    assert!(hours > 15.0);
}
