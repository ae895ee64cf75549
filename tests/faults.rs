//! What can befall the watch itself: the table in DEVELOPERS.md against the tests that inject it, and those that
//! have no better place.

#[path = "common/live.rs"]
mod live;

use std::collections::BTreeSet;
use std::fs;
use std::net::UdpSocket;
use std::os::unix::net::UnixListener;
use std::path::Path;
use std::path::PathBuf;
use std::process::Command;
use std::sync::Arc;
use std::sync::atomic::AtomicBool;
use std::sync::atomic::Ordering;

use serde_json::Value;

use live::Folder;
use live::Watch;
use live::sentence;

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("..")
}

/// Every function behind a `#[test]` below `folder`.
fn tests_below(folder: &Path, found: &mut BTreeSet<String>) {
    for entry in fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()) {
        if entry.is_dir() && !entry.ends_with("target") {
            tests_below(&entry, found);
        } else if entry.extension().is_some_and(|end| end == "rs") {
            let text = fs::read_to_string(&entry).unwrap();
            for after in text.split("#[test]").skip(1) {
                let name = after.split("fn ").nth(1).and_then(|rest| rest.split('(').next());
                found.extend(name.map(str::to_owned));
            }
        }
    }
}

/// The rows of the table under "What can befall the watch itself", a cell each.
fn rows() -> Vec<Vec<String>> {
    let text = fs::read_to_string(root().join("DEVELOPERS.md")).unwrap();
    let (_, section) = text.split_once("## What can befall the watch itself").expect("the section");
    let section = section.split("\n## ").next().unwrap();
    let rows = section.lines().filter(|line| line.starts_with("| ") && !line.starts_with("| fault |"));
    let cells = |line: &str| line.trim_matches('|').split(" | ").map(|cell| cell.trim().to_owned()).collect();
    // A row in bold only parts the table.
    rows.filter(|line| !line.starts_with("| **")).map(cells).collect()
}

/// What stands in backticks.
fn quoted(cell: &str) -> Vec<&str> {
    cell.split('`').skip(1).step_by(2).collect()
}

#[test]
fn every_fault_in_the_table_has_its_tests_or_says_why_not() {
    let mut tests = BTreeSet::new();
    for folder in ["tests", "host", "firmware-core"] {
        tests_below(&root().join(folder), &mut tests);
    }
    assert!(tests.len() > 400, "{} tests found", tests.len());
    let rows = rows();
    assert!(rows.len() > 40, "{} rows", rows.len());
    for row in &rows {
        let [fault, does, injected] = row.as_slice() else { panic!("a row of three cells: {row:?}") };
        assert!(!fault.is_empty() && !does.is_empty(), "{row:?}");
        let names = quoted(injected);
        assert!(!names.is_empty() || injected.starts_with("none: "), "{fault}: neither a test nor why there is none");
        for name in names.iter().filter(|name| **name != "clock.rs") {
            assert!(tests.contains(*name), "{fault}: there is no test {name}");
        }
    }
}

#[test]
fn a_flood_of_datagrams_delays_no_alert_of_another_source() {
    let folder = Folder::new("flood");
    // The port is free at this moment; that another takes it in between is not likely.
    let port = UdpSocket::bind("127.0.0.1:0").unwrap().local_addr().unwrap().port();
    let mut watch = Watch::new(&folder, &[&format!("udp:127.0.0.1:{port}")]);
    watch.say("HCHDG,152.3,,,4.1,E");
    watch.until("the watch is kept by HCHDG");
    let done = Arc::new(AtomicBool::new(false));
    let flood = std::thread::spawn({
        let done = Arc::clone(&done);
        move || {
            let from = UdpSocket::bind("127.0.0.1:0").unwrap();
            // As long as a datagram may be, full of lines that are all refused; and good ones of no use between them.
            let refused = b"$HCHDG,99.9,,,,*00\r\n".repeat(3_000);
            let useless = sentence("IIXDR,G,1,,SEQ").repeat(2_000);
            while !done.load(Ordering::Relaxed) {
                // Whatever finds no room is the sender's loss.
                let _ = from.send_to(&refused, ("127.0.0.1", port));
                let _ = from.send_to(useless.as_bytes(), ("127.0.0.1", port));
            }
        }
    });
    let status = || -> Value {
        let (code, said) = folder.run(&["status", "--format", "json"]);
        assert_eq!(code, Some(0), "{said}");
        serde_json::from_str(&said).unwrap()
    };
    // More than any queue holds has come before anything is asked of it.
    while status()["status"]["sources"][1]["refused"].as_u64().unwrap() < 100_000 {}
    watch.until("caution input-damaged udp");
    watch.to = None;
    watch.until("ALARM input-lost tcp");
    assert_eq!(folder.run(&["acknowledge"]).0, Some(0));
    watch.until("active-acknowledged");
    let memory = fs::read_to_string(format!("/proc/{}/status", watch.child.id())).unwrap();
    let resident = memory.lines().find_map(|line| line.strip_prefix("VmRSS:")).unwrap();
    let kib: u64 = resident.split_whitespace().next().unwrap().parse().unwrap();
    done.store(true, Ordering::Relaxed);
    flood.join().unwrap();
    // A queue of 256 pieces of 64 KiB and as much again: what it holds is bounded, whatever comes.
    assert!(kib < 64 * 1024, "{kib} KiB resident");
}

#[test]
fn a_socket_that_is_stolen_stops_no_watch_and_is_not_taken_back() {
    let folder = Folder::new("stolen");
    let mut watch = Watch::new(&folder, &[]);
    let socket = folder.0.join("lubber.sock");
    fs::remove_file(&socket).unwrap();
    let (code, said) = folder.run(&["status"]);
    assert!(code == Some(2) && said.contains("no watch is running"), "{said}");
    let _another = UnixListener::bind(&socket).unwrap();
    watch.to = None;
    watch.until("ALARM input-lost");
    assert!(Command::new("kill").args(["-INT", &watch.child.id().to_string()]).status().unwrap().success());
    assert_eq!(watch.child.wait().unwrap().code(), Some(130));
    assert!(socket.exists(), "the other one's is left to it");
}
