//! The grammar, and a sink that fails and works again.

use super::*;
use lubber_core::monitor::Announcer;
use serialport::TTYPort;
use std::io::Read;
use std::net::UdpSocket;
use std::time::Duration;

/// No answer for so long is a failure; never waited for otherwise.
const LONG: Duration = Duration::from_secs(60);

fn beat() -> Outgoing {
    let mut made = None;
    Announcer::default().heartbeat(Span::from_s(60), &mut |outgoing| made = Some(outgoing));
    made.expect("a heartbeat is one sentence")
}

#[test]
fn every_form_reads_and_prints_back() {
    for text in ["udp:192.168.4.255:10110", "udp:plotter.local:2000", "udp:[fe80::1]:10110", "serial:/dev/ttyUSB1"] {
        assert_eq!(text.parse::<Sink>().expect(text).to_string(), text);
    }
    let slow: Sink = "serial:/dev/ttyUSB1?baud=38400".parse().expect("a sink");
    assert_eq!(slow, Sink::Serial { device: "/dev/ttyUSB1".into(), baud: 38_400 });
    for wrong in [
        "",
        "udp",
        "udp:",
        "udp:10110",
        "udp::10110",
        "udp:h:0",
        "udp:h:x",
        "udp:fe80::1:1",
        "serial:",
        "serial:a?baud=x",
    ] {
        assert!(wrong.parse::<Sink>().is_err_and(|error| error.to_string().contains("Example: ")), "{wrong}");
    }
    assert!("tcp:h:1".parse::<Sink>().is_err() && "serial:a?speed=1".parse::<Sink>().is_err());
}

#[test]
fn a_datagram_is_one_whole_sentence_and_nobody_listening_is_no_failure() {
    let listener = UdpSocket::bind("127.0.0.1:0").expect("a port");
    listener.set_read_timeout(Some(LONG)).expect("a limit");
    let address = listener.local_addr().expect("its address");
    let mut announce = Announce::open(&format!("udp:{address}").parse().expect("a sink")).expect("open");
    announce.send(beat());
    let mut buffer = [0; 200];
    let count = listener.recv(&mut buffer).expect("a datagram");
    assert_eq!(&buffer[..count], beat().as_bytes());
    drop(listener);
    for _ in 0..10 {
        announce.send(beat());
    }
    let again = UdpSocket::bind(address).expect("the same port");
    again.set_read_timeout(Some(LONG)).expect("a limit");
    announce.send(beat());
    again.recv(&mut buffer).expect("it still sends");
    assert_eq!(announce.report(), None);
}

#[test]
fn a_serial_line_that_is_unplugged_is_told_once_and_the_watch_does_not_wait() {
    let (mut ours, theirs) = TTYPort::pair().expect("a pseudo-terminal");
    let device = serialport::SerialPort::name(&theirs).expect("its name");
    drop(theirs);
    let mut announce = Announce::open(&Sink::Serial { device, baud: 4800 }).expect("open");
    announce.send(beat());
    serialport::SerialPort::set_timeout(&mut ours, LONG).expect("a limit");
    let mut line = vec![0; beat().as_bytes().len()];
    ours.read_exact(&mut line).expect("a sentence");
    assert_eq!(line, beat().as_bytes());
    drop(ours);
    // More than the queue holds: sending never waits.
    for _ in 0..2 * QUEUE {
        announce.send(beat());
    }
    let report = loop {
        match announce.report() {
            Some(Report::Fails(why)) if why.contains("plug it in again") => break why,
            _ => std::thread::yield_now(),
        }
    };
    assert!(report.contains("the adapter takes nothing"), "{report}");
    announce.send(beat());
    while let Some(report) = announce.report() {
        assert!(!matches!(&report, Report::Fails(why) if why.contains("plug it in")), "told once: {report:?}");
    }
    let error = Announce::open(&Sink::Serial { device: "/no/such/device".into(), baud: 4800 }).map(|_| ());
    assert!(error.is_err_and(|error| error.to_string().contains("check the device")));
}
