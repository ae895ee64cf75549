//! The session fed by logs made here, and a sink that writes down everything.

use std::io;
use std::path::PathBuf;

use lubber_core::angle::Turn;
use lubber_core::heading::Variation;
use lubber_core::monitor::Event;
use lubber_core::monitor::ModelVariation;
use lubber_core::monitor::Monitor;
use lubber_core::monitor::Settings;
use lubber_core::picture::Command;
use lubber_core::time::Instant;
use lubber_core::time::Span;
use lubber_core::unit::Position;

use crate::input::Replay;
use crate::input::ReplayOptions;
use crate::input::Source;
use crate::session::Ending;
use crate::session::Interrupt;
use crate::session::Legacy;
use crate::session::Moment;
use crate::session::Orders;
use crate::session::Pace;
use crate::session::Remark;
use crate::session::SessionError;
use crate::session::Sink;
use crate::session::Words;
use crate::session::replay;

/// 2026-07-14T00:00:00Z.
const BEGIN_MS: i64 = 1_783_987_200_000;
const DAY_MS: i64 = 86_400_000;

#[derive(Default)]
struct Written {
    events: Vec<(u64, String)>,
    remarks: Vec<(u64, String)>,
    looks: u64,
    next: Instant,
    last: Instant,
    fail_at: Option<u64>,
    ended: Option<(Moment, Ending)>,
}

impl Written {
    fn at(&mut self, moment: Moment) {
        assert!(moment.now >= self.last, "time went back from {:?} to {:?}", self.last, moment.now);
        self.last = moment.now;
    }
}

impl Sink for Written {
    fn event(&mut self, moment: Moment, event: &Event<'_>) -> io::Result<()> {
        self.at(moment);
        let text = match event {
            Event::Sentence { line, .. } => format!("{}{}", line.talker(), line.formatter()),
            Event::Alert(change) => format!("{} {}", change.kind, change.state.word()),
            Event::Notice(notice) => format!("{notice:?}"),
            Event::Command(command) => format!("{command:?}"),
            Event::Malformed { .. } | Event::Refused { .. } => "bad".into(),
        };
        self.events.push((moment.now.as_ms(), text));
        match self.fail_at {
            Some(at) if moment.now.as_ms() >= at => Err(io::ErrorKind::BrokenPipe.into()),
            _ => Ok(()),
        }
    }

    fn remark(&mut self, moment: Moment, remark: Remark<'_>) -> io::Result<()> {
        self.at(moment);
        self.remarks.push((moment.now.as_ms(), format!("{remark:?}")));
        Ok(())
    }

    fn due(&self) -> Instant {
        self.next
    }

    fn look(&mut self, moment: Moment, _: &Monitor) -> io::Result<()> {
        self.at(moment);
        assert!(moment.now >= self.next, "looked before it was due");
        self.looks += 1;
        self.next = moment.now + Span::from_s(1);
        Ok(())
    }

    fn progress(&mut self, _: u64, _: Option<u64>) {}

    fn end(&mut self, moment: Moment, _: &Monitor, ending: Ending) -> io::Result<()> {
        self.at(moment);
        self.ended = Some((moment, ending));
        Ok(())
    }
}

/// A log in a file of its own, taken away with it.
struct Log(PathBuf);

impl Drop for Log {
    fn drop(&mut self) {
        let _ = std::fs::remove_file(&self.0);
    }
}

fn with_checksum(body: &str) -> String {
    format!("${body}*{:02X}", body.bytes().fold(0, |sum, byte| sum ^ byte))
}

/// A stamped line: a TAG block with the time in milliseconds, as `record` would write it.
fn stamped(utc_ms: i64, body: &str) -> String {
    let tag = format!("c:{utc_ms}");
    let sum = tag.bytes().fold(0, |sum, byte| sum ^ byte);
    format!("\\{tag}*{sum:02X}\\{}\r\n", with_checksum(body))
}

fn hdg(utc_ms: i64, compass: f64) -> String {
    stamped(utc_ms, &format!("HCHDG,{compass:.1},,,4.1,E"))
}

/// A position on the meridian of 18 E, `minutes` north of 36 N.
fn gga(utc_ms: i64, minutes: u32) -> String {
    let s = utc_ms.rem_euclid(DAY_MS) / 1000;
    let (h, m, s) = (s / 3600, s / 60 % 60, s % 60);
    stamped(utc_ms, &format!("GPGGA,{h:02}{m:02}{s:02},36{minutes:02}.000,N,01800.000,E,1,08,1.0,1.0,M,,M,,"))
}

fn log(name: &str, text: &str) -> (Log, Replay) {
    let path = std::env::temp_dir().join(format!("lubber-session-{}-{name}.nmea", std::process::id()));
    std::fs::write(&path, text).expect("the temporary folder can be written");
    let replay = Replay::open(&[Source::File(path.clone())], &ReplayOptions::default()).expect("it is a log");
    (Log(path), replay)
}

struct Asked(Vec<(Position, i64)>);

fn run(
    replay_of: Replay,
    steer: Option<Command>,
    interrupt: &Interrupt,
    pace: Option<Pace>,
    written: &mut Written,
) -> (Result<Ending, SessionError>, Asked) {
    let mut asked = Asked(Vec::new());
    let mut model = |position, utc_ms| {
        asked.0.push((position, utc_ms));
        let variation = Variation(Turn::from_mdeg(4_200));
        Ok(ModelVariation { variation, sigma: Turn::from_mdeg(300), horizontal_nt: 28_000 })
    };
    let settings = Settings { source_count: 1, ..Settings::default() };
    let orders =
        Orders { settings, steer, legacy: Legacy::default(), model: &mut model, interrupt, words: Words::default() };
    let ended = replay(replay_of, orders, pace, written);
    (ended, asked)
}

#[test]
fn a_night_is_told_in_order_and_looked_at_every_second() {
    let mut text = String::new();
    for s in 0..300 {
        text.push_str(&hdg(BEGIN_MS + s * 1000, 135.0 + (s % 5) as f64));
    }
    let (_file, logs) = log("night", &text);
    let mut written = Written::default();
    let (ended, _) = run(logs, None, &Interrupt::default(), None, &mut written);
    assert_eq!(ended.ok(), Some(Ending::InputsEnded));
    assert_eq!(written.events.iter().filter(|(_, text)| text == "HCHDG").count(), 300);
    // The first look is at zero, the last second is not over when the log ends.
    assert_eq!(written.looks, 299);
    let end = Moment { now: Instant::from_ms(299_000), utc_ms: Some(BEGIN_MS + 299_000) };
    assert_eq!(written.ended, Some((end, Ending::InputsEnded)));
}

#[test]
fn a_gap_of_forty_days_is_watched_through_for_a_day() {
    let mut text = String::new();
    for s in 0..120 {
        text.push_str(&hdg(BEGIN_MS + s * 1000, 135.0 + (s % 5) as f64));
    }
    for s in 0..120 {
        text.push_str(&hdg(BEGIN_MS + 40 * DAY_MS + s * 1000, 135.0 + (s % 5) as f64));
    }
    let (_file, logs) = log("gap", &text);
    let mut written = Written::default();
    let (ended, _) = run(logs, None, &Interrupt::default(), None, &mut written);
    assert_eq!(ended.ok(), Some(Ending::InputsEnded));
    let day = 86_400;
    assert!((day..day + 300).contains(&written.looks), "{} looks", written.looks);
    let lost = written.events.iter().find(|(_, text)| text == "heading-lost active-unacknowledged");
    assert!(lost.is_some_and(|(at, _)| (119_000..180_000).contains(at)), "{lost:?}");
    let skipped: Vec<_> = written.remarks.iter().filter(|(_, text)| text.starts_with("GapSkipped")).collect();
    assert_eq!(skipped.len(), 1, "{:?}", written.remarks);
}

#[test]
fn steer_here_waits_for_a_heading() {
    let mut text = String::new();
    for s in 0..20 {
        let body = if s < 10 { "IIMTW,18.0,C" } else { "HCHDG,135.0,,,4.1,E" };
        text.push_str(&stamped(BEGIN_MS + s * 1000, body));
    }
    let (_file, logs) = log("here", &text);
    let mut written = Written::default();
    let _ = run(logs, Some(Command::SteerHere), &Interrupt::default(), None, &mut written);
    let told = written.events.iter().find(|(_, text)| text.starts_with("Steering"));
    let here = |(at, text): &(u64, String)| {
        (10_000..12_000).contains(at) && text.contains("Bearing(135000)") && text.contains("by: Owner")
    };
    assert!(told.is_some_and(here), "{told:?}");
}

#[test]
fn the_model_is_asked_for_the_first_position_and_again_when_it_has_moved() {
    let mut text = String::new();
    for s in 0..400 {
        let now = BEGIN_MS + s * 1000;
        // 20 miles north at once, after 200 s.
        text.push_str(&hdg(now, 135.0));
        text.push_str(&gga(now, if s < 200 { 0 } else { 20 }));
    }
    let (_file, logs) = log("model", &text);
    let mut written = Written::default();
    let (_, asked) = run(logs, None, &Interrupt::default(), None, &mut written);
    let latitudes: Vec<i32> = asked.0.iter().map(|(position, _)| position.lat_e7).collect();
    assert_eq!(latitudes, [360_000_000, 363_333_333]);
    let first = asked.0.first().map(|(_, utc_ms)| *utc_ms - BEGIN_MS);
    assert!(first.is_some_and(|after| (0..=2_000).contains(&after)), "{first:?}");
}

#[test]
fn an_output_that_breaks_ends_the_watch_and_nothing_is_written_after() {
    let text: String = (0..100).map(|s| hdg(BEGIN_MS + s * 1000, 135.0)).collect();
    let (_file, logs) = log("broken", &text);
    let mut written = Written { fail_at: Some(50_000), ..Written::default() };
    let (ended, _) = run(logs, None, &Interrupt::default(), None, &mut written);
    assert!(matches!(ended, Err(SessionError::Output(error)) if error.kind() == io::ErrorKind::BrokenPipe));
    assert_eq!(written.events.iter().filter(|(at, _)| *at >= 50_000).count(), 1);
    assert_eq!(written.ended, None);
}

#[test]
fn the_keyboard_ends_a_replay_that_would_last_for_days() {
    let text: String = (0..100).map(|s| hdg(BEGIN_MS + s * 10_000_000, 135.0)).collect();
    let (_file, logs) = log("keyboard", &text);
    let interrupt = Interrupt::default();
    interrupt.set();
    let mut written = Written::default();
    let pace = "1".parse().ok();
    let (ended, _) = run(logs, None, &interrupt, pace, &mut written);
    assert_eq!(ended.ok(), Some(Ending::Interrupted));
    assert!(written.ended.is_some_and(|(_, ending)| ending == Ending::Interrupted));
}

#[test]
fn a_pace_changes_no_moment_of_any_event() {
    let text: String = (0..200).map(|s| hdg(BEGIN_MS + s * 1000, if s < 100 { 135.0 } else { 175.0 })).collect();
    let steer = Some(Command::SteerHere);
    let (_file, logs) = log("fast", &text);
    let mut fast = Written::default();
    let _ = run(logs, steer, &Interrupt::default(), None, &mut fast);
    let (_file, logs) = log("paced", &text);
    let mut paced = Written::default();
    let _ = run(logs, steer, &Interrupt::default(), "100000".parse().ok(), &mut paced);
    assert_eq!(fast.events, paced.events);
    assert!(fast.events.iter().any(|(_, text)| text == "off-heading active-unacknowledged"));
}
