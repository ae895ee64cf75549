//! Whole-program tests: the watch as a service of the system.

// The watch of a test's own line is for others.
#[allow(dead_code)]
#[path = "common/live.rs"]
mod live;

use std::fs;
use std::os::unix::net::UnixDatagram;
use std::process::Command;
use std::process::Stdio;

use live::Folder;
use live::LONG;

#[test]
fn the_manager_is_told_that_the_watch_is_ready_lives_and_stops() {
    let folder = Folder::new("notify");
    let socket = folder.0.join("manager");
    let manager = UnixDatagram::bind(&socket).unwrap();
    manager.set_read_timeout(Some(LONG)).unwrap();
    let mut watch = folder
        .lubber(&["watch", "-", "--live"])
        .stdin(Stdio::piped())
        .stdout(Stdio::null())
        .env("NOTIFY_SOCKET", &socket)
        .env("WATCHDOG_USEC", "300000")
        .spawn()
        .unwrap();
    let next = || {
        let mut told = [0; 512];
        let count = loop {
            match manager.recv(&mut told) {
                // A machine that is halted and goes on interrupts a wait.
                Err(error) if error.kind() == std::io::ErrorKind::Interrupted => {}
                received => break received.unwrap(),
            }
        };
        String::from_utf8(told[..count].to_vec()).unwrap()
    };
    let first = next();
    assert!(first.contains("READY=1\n") && first.contains("WATCHDOG=1\n") && first.contains("STATUS="), "{first}");
    for _ in 0..3 {
        let sign = next();
        assert!(sign.contains("WATCHDOG=1\n") && !sign.contains("READY=1"), "{sign}");
    }
    drop(watch.stdin.take());
    let last = std::iter::repeat_with(next).find(|told| !told.contains("WATCHDOG=1"));
    assert_eq!(last.as_deref(), Some("STOPPING=1\n"));
    assert!(watch.wait().unwrap().success());
}

#[test]
fn the_unit_is_one_that_the_system_understands() {
    let folder = Folder::new("unit");
    fs::write(folder.0.join("boat.toml"), "[[source]]\nfrom = \"serial:/dev/ttyUSB0?baud=4800\"\n").unwrap();
    let written = folder.0.join("lubber.service");
    let place = folder.0.display().to_string();
    let (code, said) = folder.run(&["install-service", "--write", &place, "--user", "root", "--writes", "log"]);
    assert_eq!(code, Some(0), "{said}");
    assert!(said.contains("MISSING the service would run as root"), "{said}");
    assert!(said.contains("MISSING the folder") && said.lines().all(|line| line.chars().count() <= 100), "{said}");
    let unit = fs::read_to_string(&written).unwrap();
    // What the watch is to write it may write, without being told so again.
    let kept = ["install-service", "--", "-", "--record", "kept", "--journal", "/var/lib/boat/journal.sqlite"];
    let (_, said) = folder.run(&kept);
    for must in [format!("ReadWritePaths={place}/kept\n"), "ReadWritePaths=/var/lib/boat\n".into()] {
        assert!(said.contains(&must), "{must} not in\n{said}");
    }
    assert!(
        unit.contains("Type=notify\n") && unit.contains("/boat.toml --control /run/lubber/lubber.sock\n"),
        "{unit}"
    );

    let (code, said) = folder.run(&["install-service", "--write", &place]);
    assert!(code == Some(2) && said.contains("--replace"), "{said}");
    let (code, said) = folder.run(&["install-service", "--check", "--user", "nobody-of-that-name"]);
    assert!(code == Some(1) && said.contains("there is no user"), "{said}");

    match Command::new("systemd-analyze").args(["verify", "--recursive-errors=no"]).arg(&written).output() {
        Ok(output) => {
            let said = String::from_utf8_lossy(&output.stderr).into_owned();
            // What it says of other units of this machine is none of ours.
            let ours: Vec<&str> = said.lines().filter(|line| line.contains("lubber.service")).collect();
            assert!(ours.is_empty(), "{said}");
        }
        Err(_) => eprintln!("skipped: there is no systemd-analyze here to read the unit"),
    }
}

#[test]
fn what_would_be_refused_at_each_start_is_refused_at_once() {
    let folder = Folder::new("refused");
    let (code, said) = folder.run(&["install-service", "--", "serial:/dev/ttyUSB0", "--steer", "north"]);
    assert!(code == Some(2) && said.contains("would refuse") && said.contains("north"), "{said}");
    let (code, said) = folder.run(&["install-service", "--user", "a\nExecStart=b", "--", "-"]);
    assert!(code == Some(2) && said.contains("cannot stand in a unit"), "{said}");
    let nothing = || {
        let (code, said) = folder.run(&["install-service"]);
        assert!(code == Some(2) && said.contains("nothing says what to listen to"), "{said}");
    };
    nothing();
    fs::write(folder.0.join("boat.toml"), "[boat]\nname = \"Curlew\"\n").unwrap();
    nothing();
    fs::write(folder.0.join("boat.toml"), "[boat]\nnames = 1\n").unwrap();
    let (code, said) = folder.run(&["install-service"]);
    assert!(code == Some(2) && said.contains("boat.toml:2"), "{said}");
}
