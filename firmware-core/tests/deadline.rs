//! A heading that stops is raised at the very moment it counts as stale, however the watch is woken.

use lubber_core::alert::AlertKind;
use lubber_core::arbiter::State;
use lubber_core::monitor::Event;
use lubber_core::monitor::Monitor;
use lubber_core::monitor::Settings;
use lubber_core::picture::Name;
use lubber_core::picture::SourceId;
use lubber_core::time::Instant;

const HDG: &str = "HCHDG,100.0,,,4.0,E";
const VOID: &str = "HCHDG,,,,,";
const HDT: &str = "GPHDT,104.0,T";
const RMC: &str = "GPRMC,120000,A,4950.000,N,01130.000,W,5.5,104.0,140726,,,A";

/// How the host comes to call the monitor.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Woken {
    /// Each time the monitor asks to be.
    AsAsked,
    /// Every millisecond, and each byte given by itself.
    Always,
    /// With the bytes alone, and once at the end.
    ByBytes,
}

/// One line: when, on which source, and what.
type Said<'a> = (u64, u8, &'a str);

/// What came of it: when by the alert itself, which, its state, and what it follows from.
type Raised = (u64, AlertKind, State, Option<AlertKind>);

fn watch(settings: Settings, said: &[Said<'_>], end_ms: u64, woken: Woken) -> Vec<Raised> {
    let mut monitor = Monitor::new(Instant::from_ms(0), settings);
    let mut raised = Vec::new();
    let mut hear = |event: Event<'_>| {
        if let Event::Alert(change) = event {
            raised.push((change.at.as_ms(), change.kind, change.state, change.follows));
        }
    };
    let mut before = 0;
    let end = (end_ms, 0, "");
    for (at_ms, source, body) in said.iter().chain([&end]) {
        let now = Instant::from_ms(*at_ms);
        match woken {
            Woken::AsAsked => {
                while monitor.wake_at() <= now {
                    let wake = monitor.wake_at();
                    monitor.tick(wake, &mut hear);
                    assert!(monitor.wake_at() > wake, "woken twice at {wake:?}");
                }
            }
            Woken::Always => (before..=*at_ms).for_each(|ms| monitor.tick(Instant::from_ms(ms), &mut hear)),
            Woken::ByBytes => {}
        }
        before = *at_ms;
        let sum = body.bytes().fold(0, |sum, byte| sum ^ byte);
        let line = if body.is_empty() { String::new() } else { format!("${body}*{sum:02X}\r\n") };
        let pieces = if woken == Woken::Always { 1 } else { line.len().max(1) };
        for piece in line.as_bytes().chunks(pieces) {
            monitor.bytes(now, SourceId(*source), piece, &mut hear);
        }
        monitor.tick(now, &mut hear);
    }
    raised
}

fn sources(count: u8) -> Settings {
    Settings { source_count: count, ..Settings::default() }
}

/// `body` on `source` every `every_ms` from `first_ms` up to `last_ms`.
fn every(source: u8, body: &'static str, first_ms: u64, every_ms: u64, last_ms: u64) -> Vec<Said<'static>> {
    (first_ms..=last_ms).step_by(usize::try_from(every_ms).unwrap()).map(|ms| (ms, source, body)).collect()
}

fn in_turn(mut parts: Vec<Vec<Said<'static>>>) -> Vec<Said<'static>> {
    let mut all: Vec<_> = parts.drain(..).flatten().collect();
    all.sort_by_key(|(ms, ..)| *ms);
    all
}

fn first(raised: &[Raised], kind: AlertKind) -> Option<(u64, Option<AlertKind>)> {
    let new = |state| state == State::ActiveUnacknowledged;
    raised.iter().find(|(_, k, state, _)| *k == kind && new(*state)).map(|(at, _, _, follows)| (*at, *follows))
}

#[test]
fn a_heading_that_stops_is_lost_three_seconds_after_its_last_value() {
    // The last value at any place of the half second that everything else is judged by.
    for last in [70_000, 70_013, 70_250, 70_499, 70_500] {
        let said = in_turn(vec![every(0, HDG, last % 100, 100, last), every(0, RMC, 40, 1000, 80_000)]);
        let raised = watch(sources(1), &said, 80_000, Woken::AsAsked);
        assert_eq!(first(&raised, AlertKind::HeadingLost), Some((last + 3000, None)), "last at {last}: {raised:?}");
        assert_eq!(raised.len(), 1, "{raised:?}");
    }
}

#[test]
fn a_heading_that_comes_void_is_lost_as_soon() {
    let said = in_turn(vec![
        every(0, HDG, 30, 100, 70_030),
        every(0, VOID, 70_130, 100, 80_000),
        every(0, RMC, 40, 1000, 80_000),
    ]);
    let raised = watch(sources(1), &said, 80_000, Woken::AsAsked);
    assert_eq!(first(&raised, AlertKind::HeadingLost), Some((73_030, None)), "{raised:?}");
}

#[test]
fn a_slower_heading_is_given_its_four_intervals_to_the_millisecond() {
    let said = in_turn(vec![every(0, HDG, 130, 1000, 70_130), every(0, RMC, 40, 500, 80_000)]);
    let raised = watch(sources(1), &said, 80_000, Woken::AsAsked);
    assert_eq!(first(&raised, AlertKind::HeadingLost), Some((74_131, None)), "{raised:?}");
    // One that comes back in time is not lost, nor is it at the last moment of its time.
    let late = in_turn(vec![every(0, HDG, 130, 1000, 70_130), every(0, HDG, 74_130, 1000, 80_000)]);
    assert_eq!(watch(sources(1), &late, 80_000, Woken::AsAsked), []);
}

#[test]
fn every_heading_with_a_part_has_its_own_moment() {
    let settings = Settings { second: Name::parse("GPHDT"), primary: Name::parse("HCHDG"), ..sources(2) };
    let said = in_turn(vec![
        every(0, HDG, 0, 100, 70_000),
        every(1, HDT, 20, 200, 70_220),
        every(0, RMC, 40, 1000, 80_000),
        every(1, RMC, 40, 1000, 80_000),
    ]);
    let raised = watch(settings, &said, 80_000, Woken::AsAsked);
    let lost: Vec<_> = raised.iter().filter(|(_, kind, ..)| *kind == AlertKind::HeadingLost).map(|r| r.0).collect();
    assert_eq!(lost, [73_000, 73_220], "{raised:?}");
}

#[test]
fn what_is_pulled_out_is_one_alarm_and_the_heading_follows_from_it() {
    // The source falls silent with the heading, or some milliseconds and lines after it.
    for after in [0, 10, 40, 90] {
        let last = 70_470;
        let said = in_turn(vec![every(0, HDG, 70, 100, last), every(0, HDT, 70 + after, 100, last + after)]);
        let raised = watch(sources(1), &said, 80_000, Woken::AsAsked);
        assert_eq!(first(&raised, AlertKind::InputLost), Some((last + after + 3000, None)), "{after}: {raised:?}");
        let follows = Some(AlertKind::InputLost);
        assert_eq!(first(&raised, AlertKind::HeadingLost), Some((last + after + 3000, follows)), "{after}: {raised:?}");
    }
}

#[test]
fn a_source_that_only_pauses_does_not_hold_a_lost_heading_back_for_long() {
    // The heading stops, the rest of its source pauses just after it, and speaks again in time.
    let said = in_turn(vec![
        every(0, HDG, 70, 100, 70_470),
        every(0, HDT, 10, 100, 70_510),
        every(0, HDT, 73_480, 100, 80_000),
    ]);
    let raised = watch(sources(1), &said, 80_000, Woken::AsAsked);
    let (at, follows) = first(&raised, AlertKind::HeadingLost).expect("it is lost");
    assert!((73_470..=73_570).contains(&at) && follows.is_none(), "{raised:?}");
    assert_eq!(first(&raised, AlertKind::InputLost), None);
}

#[test]
fn however_the_watch_is_woken_it_says_the_same_at_the_same_moments() {
    let settings = || Settings { second: Name::parse("GPHDT"), ..sources(2) };
    let mut said = in_turn(vec![
        every(0, HDG, 0, 130, 70_000),
        every(1, HDT, 20, 330, 80_220),
        every(0, RMC, 40, 1000, 120_000),
        every(0, HDG, 90_010, 130, 110_000),
        every(1, HDT, 95_001, 330, 110_000),
    ]);
    let asked = watch(settings(), &said, 130_000, Woken::AsAsked);
    assert_eq!(asked.iter().filter(|(_, kind, ..)| *kind == AlertKind::HeadingLost).count(), 5, "{asked:?}");
    assert_eq!(watch(settings(), &said, 130_000, Woken::Always), asked);
    // Woken by bytes alone it judges the rest late, but what became stale it dates by when it did.
    said.extend(every(0, RMC, 121_040, 1000, 130_000));
    let lost = |raised: &[Raised]| {
        raised
            .iter()
            .filter(|r| r.1 == AlertKind::HeadingLost && r.2 == State::ActiveUnacknowledged)
            .map(|r| r.0)
            .collect::<Vec<_>>()
    };
    let (asked, by_bytes) =
        (watch(settings(), &said, 130_000, Woken::AsAsked), watch(settings(), &said, 130_000, Woken::ByBytes));
    assert_eq!(lost(&by_bytes), lost(&asked));
}
