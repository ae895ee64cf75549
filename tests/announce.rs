//! Whole-program tests: what is announced, and that nothing else ever leaves the program.

#[path = "common/live.rs"]
mod live;

use std::fs;
use std::net::UdpSocket;
use std::process::Stdio;
use std::sync::mpsc::Receiver;
use std::sync::mpsc::channel;

use lubber_core::alert::AlertKind;
use lubber_core::frame::ChecksumPolicy;
use lubber_core::frame::Framed;
use lubber_core::frame::Framer;
use lubber_core::sentence;
use lubber_core::sentence::Field;
use lubber_core::sentence::Sentence;
use serde_json::Value;

use live::Folder;
use live::LONG;
use live::Watch;
use live::sentence as framed;

const DEMO: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../fixtures/night-passage.nmea");
const BOAT: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../fixtures/boat.toml");

/// The datagrams that come to a port of our own, until one that says it is the last.
struct Ear {
    socket: UdpSocket,
    heard: Receiver<Vec<u8>>,
}

const LAST: &[u8] = b"that was all";

impl Ear {
    fn new() -> Self {
        let socket = UdpSocket::bind("127.0.0.1:0").unwrap();
        let ear = socket.try_clone().unwrap();
        let (to, heard) = channel();
        std::thread::spawn(move || {
            let mut buffer = [0; 2048];
            while let Ok(count) = ear.recv(&mut buffer) {
                if &buffer[..count] == LAST || to.send(buffer[..count].to_vec()).is_err() {
                    return;
                }
            }
        });
        Self { socket, heard }
    }

    fn sink(&self) -> String {
        format!("udp:{}", self.socket.local_addr().unwrap())
    }

    /// All that came.
    fn all(self) -> Vec<Vec<u8>> {
        let from = UdpSocket::bind("127.0.0.1:0").unwrap();
        from.send_to(LAST, self.socket.local_addr().unwrap()).unwrap();
        self.heard.iter().collect()
    }

    /// The next that begins so.
    fn until(&self, begin: &str) -> String {
        // Signs of life go on coming: only so many are passed over.
        for _ in 0..100 {
            let text = String::from_utf8(self.heard.recv_timeout(LONG).unwrap()).unwrap();
            if text.starts_with(begin) {
                return text;
            }
        }
        panic!("{begin} never came");
    }
}

/// Reads one datagram, which must be one whole sentence of ours with a right checksum.
fn read(datagram: &[u8], see: impl FnOnce(&Sentence<'_>)) {
    let mut framer = Framer::new(ChecksumPolicy::Required);
    let (mut see, mut refused) = (Some(see), 0);
    framer.feed(datagram, &mut |framed| match framed {
        Framed::Line(line) => {
            assert!(line.raw.len() <= 80 && datagram.ends_with(b"\r\n"), "{line:?}");
            (see.take().expect("one sentence a datagram"))(&sentence::decode(&line).unwrap().sentence);
        }
        Framed::Refused(_) => refused += 1,
    });
    assert!(see.is_none() && refused == 0, "{}", String::from_utf8_lossy(datagram));
}

#[test]
fn every_change_of_the_night_is_announced_and_no_other_formatter_leaves_the_program() {
    let folder = Folder::new("night");
    let ear = Ear::new();
    let sink = ear.sink();
    let args = ["watch", DEMO, "--boat", BOAT, "--pace", "500", "--format", "jsonl", "--no-control"];
    let output = folder.lubber(&[&args[..], &["--announce", &sink, "--announce-alr"]].concat()).output().unwrap();
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));

    // What the watch itself says happened, in its order.
    let said = String::from_utf8(output.stdout).unwrap();
    let lines = said.lines().map(|line| serde_json::from_str::<Value>(line).unwrap());
    let letter = |state: &str| match state {
        "active" | "active-acknowledged" => b'A',
        "active-unacknowledged" => b'V',
        "active-silenced" => b'S',
        "rectified-unacknowledged" => b'U',
        "normal" => b'N',
        other => panic!("{other}"),
    };
    let changes: Vec<(u32, u8)> = lines
        .filter(|line| line["alert"].is_string() && line["state"].is_string() && line["repeated"].is_null())
        .map(|line| {
            let kind = AlertKind::ALL.into_iter().find(|kind| kind.name() == line["alert"]).unwrap();
            (kind.number(), letter(line["state"].as_str().unwrap()))
        })
        .collect();
    assert!(changes.len() >= 8, "{changes:?}");

    let (mut announced, mut alarms, mut lists, mut beats) = (Vec::new(), 0, 0, 0);
    for datagram in ear.all() {
        read(&datagram, |sentence| match sentence {
            Sentence::Alf(alf) if alf.number == Field::Known(1) => {
                announced.push((alf.alert.known().unwrap(), alf.state.known().unwrap()));
                assert!(alf.time.known().is_some() && alf.text.len() <= 16 && alf.manufacturer.is_empty());
            }
            Sentence::Alf(alf) => assert_eq!((alf.total, alf.number), (Field::Known(2), Field::Known(2))),
            Sentence::Alc(_) => lists += 1,
            Sentence::Alr(_) => alarms += 1,
            Sentence::Hbt(hbt) => {
                assert_eq!((hbt.interval_ms, hbt.healthy), (Field::Known(60_000), Field::Known(true)));
                beats += 1;
            }
            other => panic!("this must never be sent: {other:?}"),
        });
    }
    assert_eq!(announced, changes);
    assert_eq!(alarms, changes.len());
    // 31 minutes: one a minute and two a minute, the first at once; a list may take several sentences.
    assert!((30..=32).contains(&beats), "{beats}");
    assert!((60..=200).contains(&lists), "{lists}");
}

#[test]
fn without_the_option_nothing_is_sent_and_a_log_needs_a_pace() {
    let folder = Folder::new("quiet");
    let (code, said) = folder.run(&["watch", DEMO, "--announce", "udp:127.0.0.1:10110"]);
    assert!(code == Some(2) && said.contains("--pace 1"), "{said}");
    let (code, said) = folder.run(&["watch", DEMO, "--announce", "tcp:127.0.0.1:10110", "--pace", "1000"]);
    assert!(code == Some(2) && said.contains("udp:192.168.4.255:10110"), "{said}");
    let (code, said) = folder.run(&["watch", DEMO, "--announce", "serial:/no/such/device", "--pace", "1000"]);
    assert!(code == Some(2) && said.contains("check the device"), "{said}");
}

#[test]
fn a_command_from_the_wire_is_refused_by_arc_unless_the_source_may() {
    let folder = Folder::new("acn");
    let ear = Ear::new();
    let mut watch = Watch::new(&folder, &["--announce", &ear.sink(), "--heartbeat", "1s"]);
    ear.until("$IIALC,01,01,00,00*");
    assert!(ear.until("$IIHBT").starts_with("$IIHBT,1,A,0*"));
    watch.say("RAACN,,,10973,1,A,C");
    watch.until("RAACN wants an alert acknowledged or silenced, but its source may not");
    assert_eq!(ear.until("$IIARC"), framed("IIARC,,,10973,1,A"));
    // Another maker's alert is none of our business; ours is refused each time.
    watch.say("RAACN,,TCK,10973,1,A,C");
    watch.say("VRACK,973");
    assert_eq!(ear.until("$IIARC"), framed("IIARC,,,10973,,A"));
}

#[test]
fn a_source_that_may_acknowledges_what_it_names() {
    let folder = Folder::new("may");
    let ear = Ear::new();
    // The address of the line is known only when it listens: the boat file names the source by it.
    let listener = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
    let from = format!("tcp:{}", listener.local_addr().unwrap());
    let boat = format!("[[source]]\nname = \"panel\"\nfrom = \"{from}\"\nmay_acknowledge = true\n");
    fs::write(folder.0.join("boat.toml"), boat).unwrap();
    let args = ["watch", "--heading", "HCHDG", "--announce", &ear.sink()];
    let mut child = folder.lubber(&args).stdout(Stdio::piped()).spawn().unwrap();
    let (mut line, _) = listener.accept().unwrap();
    let mut say = |body: &str| std::io::Write::write_all(&mut line, framed(body).as_bytes()).unwrap();
    say("HCHDG,152.3,,,4.1,E");
    // The heading falls silent while other sentences go on: lost after 3 s.
    let alert = loop {
        say("GPTXT,01,01,02,still here");
        if let Ok(heard) = ear.heard.recv_timeout(std::time::Duration::from_millis(200)) {
            let text = String::from_utf8(heard).unwrap();
            if text.starts_with("$IIALF,2,1,") {
                break text;
            }
        }
    };
    assert!(alert.contains(",B,A,V,,10973,1,1,0,heading lost*"), "{alert}");
    say("RAACN,,,10973,1,S,C");
    assert!(ear.until("$IIALF,2,1,").contains(",B,A,S,,10973,1,2,0,heading lost*"));
    say("VRACK,973");
    assert!(ear.until("$IIALF,2,1,").contains(",B,A,A,,10973,1,3,0,heading lost*"));
    child.kill().unwrap();
    child.wait().unwrap();
}
