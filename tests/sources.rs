//! Inputs with their real parts: files on disk, pseudo-terminals, TCP and UDP on loopback.

use std::fs::File;
use std::io::Write;
use std::net::TcpListener;
use std::net::UdpSocket;
use std::path::PathBuf;
use std::sync::mpsc::Receiver;
use std::sync::mpsc::sync_channel;
use std::time::Duration;

use lubber::clock::Clock;
use lubber::input::InputError;
use lubber::input::Live;
use lubber::input::LiveOptions;
use lubber::input::LiveSource;
use lubber::input::Replay;
use lubber::input::ReplayOptions;
use lubber::input::Source;
use lubber::input::Stop;
use lubber_core::frame::ChecksumPolicy;
use lubber_core::picture::SourceId;

const HDG: &[u8] = b"$HCHDG,150.2,,,4.1,W*38\r\n";

/// No answer for so long is a failure; an upper bound, never waited for otherwise.
const LONG: Duration = Duration::from_secs(30);

/// A file of its own for one test, removed afterwards.
struct Scratch(PathBuf);

impl Scratch {
    fn new(name: &str) -> Self {
        Self(std::env::temp_dir().join(format!("lubber-{}-{name}", std::process::id())))
    }

    fn source(&self) -> Source {
        Source::File(self.0.clone())
    }
}

impl Drop for Scratch {
    fn drop(&mut self) {
        let _ = std::fs::remove_file(&self.0);
        let _ = std::fs::remove_dir_all(&self.0);
    }
}

fn refusal(source: Source) -> InputError {
    Replay::open(&[source], &ReplayOptions::default()).expect_err("it is no log")
}

#[test]
fn four_gibibytes_without_a_line_are_refused_at_the_first() {
    let scratch = Scratch::new("sparse.nmea");
    File::create(&scratch.0).and_then(|file| file.set_len(4 << 30)).expect("a sparse file");
    let error = refusal(scratch.source());
    assert!(matches!(error, InputError::NotALog { looked_at: ..=1_100_000, .. }), "{error}");
}

#[test]
fn a_cut_of_power_leaves_zeros_and_they_cost_nothing_but_themselves() {
    let scratch = Scratch::new("zeros.nmea");
    let mut file = File::create(&scratch.0).expect("a file");
    let line = |s: u32| format!("17840232{s:02}.0 $HCHDG,150.2,,,4.1,W*38\r\n");
    file.write_all((0..30).map(line).collect::<String>().as_bytes()).expect("written");
    let length = 64 << 20;
    file.set_len(length).expect("a sparse end");
    let mut replay = Replay::open(&[scratch.source()], &ReplayOptions::default()).expect("a log");
    let (mut bytes, mut last) = (0, 0);
    while let Some(piece) = replay.next().expect("readable") {
        bytes += piece.bytes.len() as u64;
        last = piece.at.as_ms();
        assert!(piece.bytes.len() <= 256 << 10, "held {} bytes", piece.bytes.len());
    }
    assert_eq!((bytes, last), (length, 29_000));
}

#[test]
fn what_is_not_there_or_a_folder_says_so() {
    assert!(refusal(Source::File("/no/such/night.nmea".into())).to_string().contains("there is no such file"));
    let folder = Scratch::new("no-logs");
    std::fs::create_dir_all(&folder.0).expect("a folder");
    assert!(refusal(folder.source()).to_string().contains("it is a folder without logs"));
    std::fs::remove_dir(&folder.0).expect("it is empty");
}

#[test]
fn recorded_logs_replay_in_order_and_last_as_long_as_they_lasted() {
    // Time of the first and the last RMC of each, read off the files.
    let logs = [
        ("2008-05-21_0000", 163_002, 181_534),
        ("2008-05-28_0000", 164_800, 181_458),
        ("2008-06-26_0000", 180_054, 183_416),
        ("2014-06-11_0048", 165_919, 181_014),
        ("2014-06-18_0001", 163_646, 174_103),
        ("2014-06-19_0002", 164_406, 171_429),
        ("2014-06-19_0003", 171_438, 174_640),
        ("2014-06-20_0005", 163_830, 180_202),
        ("2014-06-25_0006", 164_536, 180_810),
        ("2014-06-27_0000", 104_626, 130_958),
        ("2014-06-27_0001", 132_220, 153_701),
        ("2014-06-28_0000", 114_711, 145_413),
        ("2014-06-29_0001", 95_333, 130_056),
    ];
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/../../shared/recordings/keelboat");
    if !std::path::Path::new(folder).is_dir() {
        println!("no recordings at {folder}: nothing checked");
        return;
    }
    let seconds = |hhmmss: i64| hhmmss / 10_000 * 3600 + hhmmss / 100 % 100 * 60 + hhmmss % 100;
    for (name, first, last) in logs {
        let source = Source::File(format!("{folder}/{name}.nmea").into());
        let mut replay = Replay::open(&[source], &ReplayOptions::default()).unwrap_or_else(|e| panic!("{e}"));
        let (mut at, mut bytes, mut fixes) = (0, 0, Vec::new());
        while let Some(piece) = replay.next().expect("readable") {
            assert!(piece.at.as_ms() >= at, "{name} goes back at {at}");
            at = piece.at.as_ms();
            bytes += piece.bytes.len() as u64;
            // Minutes of lines stand before the first time and after the last: the receiver was off,
            // or said the same second over and over.
            if piece.bytes.starts_with(format!("$IIRMC,{:06}", if fixes.is_empty() { first } else { last }).as_bytes())
            {
                fixes.push((at as i64, piece.utc_ms.expect("a date")));
            }
        }
        assert_eq!(Some(bytes), replay.progress().total, "{name}");
        let [(from, _), (to, utc), ..] = fixes[..] else { panic!("{name}: {fixes:?}") };
        let expected = (seconds(last) - seconds(first)) * 1000;
        assert!((to - from - expected).abs() <= 3_000, "{name} lasts {}, not {expected}", to - from);
        assert!((utc % 86_400_000 - seconds(last) * 1000).abs() <= 3_000, "{name} ends at {utc}");
        let day = name[..4].parse::<i64>().expect("a year");
        let year = 1970 + utc / 31_556_952_000;
        assert_eq!(year, day, "{name}: an old log is not mended");
    }
}

#[test]
fn damaged_recordings_replay_or_say_why_not() {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/../../shared/recordings");
    let Ok(damaged) = std::fs::read_dir(format!("{folder}/damaged")) else {
        println!("no recordings at {folder}: nothing checked");
        return;
    };
    let mut paths: Vec<PathBuf> = damaged.map(|entry| entry.expect("an entry").path()).collect();
    paths.push(format!("{folder}/gateway/moored.nmea").into());
    for path in paths {
        let open = |checksum| {
            let options = ReplayOptions { checksums: vec![checksum], ..ReplayOptions::default() };
            Replay::open(&[Source::File(path.clone())], &options)
        };
        let mut replay = match open(ChecksumPolicy::Required) {
            Ok(replay) => replay,
            Err(error) => {
                assert!(path.ends_with("frozen-checksums.nmea"), "{error}");
                assert!(
                    matches!(
                        error,
                        InputError::NoTime { .. }
                            | InputError::NoTrustedTime { .. }
                            | InputError::NoRightChecksum { .. }
                    ),
                    "{error}"
                );
                open(ChecksumPolicy::Ignored).unwrap_or_else(|e| panic!("{e}"))
            }
        };
        let (mut at, mut bytes) = (0, 0);
        while let Some(piece) = replay.next().expect("readable") {
            assert!(piece.at.as_ms() >= at, "{} goes back at {at}", path.display());
            at = piece.at.as_ms();
            bytes += piece.bytes.len() as u64;
        }
        assert_eq!(Some(bytes), replay.progress().total);
        // None of these lasted longer than four hours.
        assert!((1..=4 * 3_600_000).contains(&at), "{} lasts {at}: {:?}", path.display(), replay.take_notes());
    }
}

/// Options with waits short enough for a test.
fn quick() -> LiveOptions {
    LiveOptions {
        listen_for: Duration::from_millis(50),
        retry_first: Duration::from_millis(10),
        retry_at_most: Duration::from_millis(40),
        ..LiveOptions::default()
    }
}

fn spawn(source: &str) -> (Receiver<Live>, Stop) {
    spawn_with(source, &quick())
}

fn spawn_with(source: &str, options: &LiveOptions) -> (Receiver<Live>, Stop) {
    let source: Source = source.parse().expect("a source");
    let live = LiveSource::open(&source, ChecksumPolicy::Required, options).unwrap_or_else(|e| panic!("{e}"));
    let (to, from) = sync_channel(64);
    let stop = Stop::new();
    live.spawn(SourceId(2), to, Clock::start(), stop.clone());
    (from, stop)
}

fn refused(source: &str) -> String {
    let source: Source = source.parse().expect("a source");
    LiveSource::open(&source, ChecksumPolicy::Required, &quick()).expect_err("it cannot be opened").to_string()
}

/// Takes what is told until `wanted` bytes have come; fails after [`LONG`].
fn bytes(from: &Receiver<Live>, wanted: usize) -> Vec<u8> {
    let mut all = Vec::new();
    while all.len() < wanted {
        if let Live::Bytes { bytes, source, .. } = from.recv_timeout(LONG).expect("bytes") {
            assert_eq!(source, SourceId(2));
            all.extend(bytes);
        }
    }
    all
}

/// Takes what is told until it is whether the source works.
fn works(from: &Receiver<Live>) -> (bool, String) {
    loop {
        if let Live::Works { works, why, .. } = from.recv_timeout(LONG).expect("whether it works") {
            return (works, why);
        }
    }
}

#[test]
fn tcp_is_read_and_connected_again() {
    let listener = TcpListener::bind("127.0.0.1:0").expect("a port");
    let address = listener.local_addr().expect("an address");
    let (from, stop) = spawn(&format!("tcp:{address}"));
    assert_eq!(works(&from), (true, String::new()));
    let (mut peer, _) = listener.accept().expect("a client");
    peer.write_all(HDG).expect("sent");
    assert_eq!(bytes(&from, HDG.len()), HDG);
    drop(peer);
    let (does, why) = works(&from);
    assert!(!does && why.contains("closed the connection"), "{why}");
    assert_eq!(works(&from), (true, String::new()));
    let (mut peer, _) = listener.accept().expect("the client again");
    peer.write_all(HDG).expect("sent");
    assert_eq!(bytes(&from, HDG.len()), HDG);
    stop.stop();
    assert!(std::iter::from_fn(|| from.recv_timeout(LONG).ok()).all(|live| !matches!(live, Live::Ended { .. })));
}

#[test]
fn tcp_without_a_server_says_so_at_the_start() {
    let port = TcpListener::bind("127.0.0.1:0").expect("a port").local_addr().expect("an address").port();
    let why = refused(&format!("tcp:127.0.0.1:{port}"));
    assert!(why.contains("cannot connect to tcp:127.0.0.1") && why.contains("nothing answers at that port"), "{why}");
}

#[test]
fn datagrams_are_read_whole_and_their_line_end_is_mended() {
    // The port is free at this moment; that another takes it in between is not likely.
    let port = UdpSocket::bind("127.0.0.1:0").expect("a port").local_addr().expect("an address").port();
    let (from, _stop) = spawn(&format!("udp:127.0.0.1:{port}"));
    assert!(works(&from).0);
    let sender = UdpSocket::bind("127.0.0.1:0").expect("a port");
    let send = |bytes: &[u8]| sender.send_to(bytes, ("127.0.0.1", port)).expect("sent");
    send(HDG);
    send(b"");
    send(HDG.trim_ascii_end());
    send(b"$HCHDG,15");
    let expected = [HDG, HDG, b"$HCHDG,15"].concat();
    assert_eq!(bytes(&from, expected.len()), expected);
    let why = refused(&format!("udp:127.0.0.1:{port}"));
    assert!(why.contains("another program on this machine listens"), "{why}");
    assert!(refused("udp:192.0.2.1:10110").contains("0.0.0.0 stands for all of them"));
}

#[cfg(unix)]
mod pseudo_terminals {
    use super::*;
    use serialport::SerialPort;
    use serialport::TTYPort;

    /// A pseudo-terminal: our end, and the name of the other.
    fn pair() -> (TTYPort, String) {
        let (ours, theirs) = TTYPort::pair().expect("a pseudo-terminal");
        let name = theirs.name().expect("its name");
        (ours, name)
    }

    #[test]
    fn a_serial_line_is_read_lost_and_opened_again() {
        let (mut ours, name) = pair();
        // A name that outlasts the device, as /dev/serial/by-id gives.
        let link = Scratch::new("by-id");
        std::os::unix::fs::symlink(&name, &link.0).expect("a link");
        let (from, _stop) = spawn(&format!("serial:{}?baud=4800", link.0.display()));
        assert!(works(&from).0);
        ours.write_all(HDG).expect("sent");
        assert_eq!(bytes(&from, HDG.len()), HDG);
        drop(ours);
        let (does, why) = works(&from);
        assert!(!does && why.contains("plug it in again"), "{why}");
        let (mut ours, name) = pair();
        std::fs::remove_file(&link.0).and_then(|()| std::os::unix::fs::symlink(&name, &link.0)).expect("a new link");
        assert!(works(&from).0);
        ours.write_all(HDG).expect("sent");
        assert_eq!(bytes(&from, HDG.len()), HDG);
    }

    #[test]
    fn the_speed_is_found_by_listening_and_no_good_byte_is_lost() {
        let (mut ours, name) = pair();
        let (from, _stop) = spawn(&format!("serial:{name}"));
        let (does, why) = works(&from);
        assert!(!does && why.contains("silent"), "{why}");
        ours.write_all(HDG).expect("sent");
        let mut baud = None;
        let heard = loop {
            match from.recv_timeout(LONG).expect("the speed, then bytes") {
                Live::BaudFound { baud: found, .. } => baud = Some(found),
                Live::Bytes { bytes, .. } => break bytes,
                Live::Works { works, .. } => assert!(works && baud.is_some()),
                Live::Ended { .. } => panic!("ended"),
            }
        };
        assert_eq!(heard, HDG);
        assert!(lubber::input::SEARCHED_BAUDS.contains(&baud.expect("a speed")));
        ours.write_all(b"$HC").expect("sent");
        assert_eq!(bytes(&from, 3), b"$HC");
    }

    #[test]
    fn an_adapter_that_comes_back_under_another_name_is_found_by_its_identity() {
        let folder = Scratch::new("identities");
        std::fs::create_dir_all(&folder.0).expect("a folder");
        let link = folder.0.join("usb-Maker_Cable_A1-if00");
        let (mut ours, name) = pair();
        std::os::unix::fs::symlink(&name, &link).expect("a link");
        let options = LiveOptions { by_id: folder.0.clone(), ..quick() };
        // Named by the device, not by the link.
        let (from, _stop) = spawn_with(&format!("serial:{name}?baud=4800"), &options);
        assert!(works(&from).0);
        ours.write_all(HDG).expect("sent");
        assert_eq!(bytes(&from, HDG.len()), HDG);
        // The other end is opened first, so that it cannot get the old name.
        let (mut again, other) = pair();
        assert_ne!(name, other);
        std::fs::remove_file(&link).and_then(|()| std::os::unix::fs::symlink(&other, &link)).expect("a new link");
        drop(ours);
        assert!(!works(&from).0);
        assert!(works(&from).0);
        again.write_all(HDG).expect("sent");
        assert_eq!(bytes(&from, HDG.len()), HDG);
    }

    #[test]
    fn swapped_wires_on_a_line_of_known_speed_are_said_and_text_takes_it_back() {
        let (mut ours, name) = pair();
        let (from, _stop) = spawn(&format!("serial:{name}?baud=4800"));
        assert!(works(&from).0);
        // What a receiver makes of a line upside down: every bit the other way round, framing errors as nulls.
        let noise: Vec<u8> = HDG.iter().map(|byte| !byte).chain([0, 0]).collect();
        let hear = || {
            ours.write_all(&noise).expect("sent");
            from.recv_timeout(Duration::from_millis(200))
        };
        let why = std::iter::repeat_with(hear).take(200_000).find_map(|heard| match heard {
            Ok(Live::Works { works, why, .. }) => {
                assert!(!works);
                Some(why)
            }
            _ => None,
        });
        let why = why.expect("it is said");
        assert!(why.contains("wires (A and B) are swapped") && why.contains("leave out ?baud="), "{why}");
        ours.write_all(HDG).expect("sent");
        loop {
            match from.recv_timeout(LONG).expect("it works again") {
                Live::Works { works, .. } => break assert!(works),
                Live::Bytes { .. } => {}
                other => panic!("{other:?}"),
            }
        }
    }

    #[test]
    fn a_line_that_is_not_there_yet_is_lost_and_comes_when_it_is_plugged_in() {
        let link = Scratch::new("not-yet");
        let source = format!("serial:{}?baud=4800", link.0.display());
        let options = LiveOptions { keep_trying: true, ..quick() };
        let (from, _stop) = spawn_with(&source, &options);
        let (does, why) = works(&from);
        assert!(!does && why.contains("plug the adapter in"), "{why}");
        let (mut ours, name) = pair();
        std::os::unix::fs::symlink(&name, &link.0).expect("a link");
        assert!(works(&from).0);
        ours.write_all(HDG).expect("sent");
        assert_eq!(bytes(&from, HDG.len()), HDG);
    }

    #[test]
    fn what_is_no_serial_line_says_so_at_the_start() {
        assert!(refused("serial:/dev/no-such-adapter").contains("plug the adapter in"));
        let log = Scratch::new("night.nmea");
        std::fs::write(&log.0, HDG).expect("a file");
        let why = refused(&format!("serial:{}", log.0.display()));
        assert!(why.contains("a recorded log is named without `serial:`"), "{why}");
    }

    #[test]
    fn a_serial_line_that_another_program_holds_says_so() {
        let (_ours, name) = pair();
        let (_from, _stop) = spawn(&format!("serial:{name}?baud=4800"));
        let why = refused(&format!("serial:{name}?baud=4800"));
        assert!(why.contains("another program has it open"), "{why}");
    }
}

#[test]
fn the_list_of_ports_is_one_json_object() {
    let out = std::process::Command::new(env!("CARGO_BIN_EXE_lubber")).args(["ports", "--format", "json"]).output();
    let out = out.expect("the program runs");
    assert_eq!(out.status.code(), Some(0), "{}", String::from_utf8_lossy(&out.stderr));
    let list: serde_json::Value = serde_json::from_slice(&out.stdout).expect("JSON");
    assert_eq!(list["schema"], 1);
    for port in list["ports"].as_array().expect("a list") {
        assert!(port["source"].as_str().is_some_and(|source| source.parse::<Source>().is_ok()), "{port}");
    }
}
