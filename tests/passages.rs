//! The watch over the invented boat: the demo's night, quiet hours, and each fault.

#[path = "common/passage.rs"]
mod passage;
#[path = "../host/benches/detection/scenarios.rs"]
#[expect(dead_code, reason = "shared with the benchmark, which alone counts delays and days")]
mod scenarios;

use lubber::simulate::Event;
use lubber::simulate::Happening;
use lubber::simulate::Heard;
use lubber::simulate::Second;
use lubber::simulate::Settings as Boat;
use lubber::simulate::Steering;
use lubber::simulate::Voyage;
use lubber_core::alert::AlertKind;
use lubber_core::arbiter::State;
use lubber_core::monitor::Monitor;
use lubber_core::monitor::Settings as Watch;
use lubber_core::picture::Command;
use lubber_core::picture::Kinship;
use lubber_core::picture::SourceId;
use lubber_core::time::Instant;
use passage::at;
use passage::boat;
use passage::sail;
use passage::sail_under;
use scenarios::Fault;

#[test]
fn the_demo_night() {
    let night = sail(Boat::demo(), None, |_| false);
    let seen: Vec<String> =
        night.raised.iter().map(|(ms, kind, text)| format!("{} {kind}: {text}", ms / 1000)).collect();
    let kinds: Vec<AlertKind> = night.raised.iter().map(|r| r.1).collect();
    assert_eq!(
        kinds,
        [
            AlertKind::HeadingDisagreement,
            AlertKind::OffHeading,
            // The pilot that lets go leaves the rudder where it is.
            AlertKind::RudderUnanswered,
            AlertKind::PositionLost,
            AlertKind::InputDamaged
        ],
        "{seen:#?}"
    );
    // The compass turns false at 900 s; the boat has turned by half of it some 10 s later.
    let half = night.turned_at(900_000, 7.5).unwrap();
    assert!(night.raised[0].0 <= half + 45_000, "{seen:#?}");
}

#[test]
fn quiet_hours() {
    for (seed, second) in [(1001, Second::None), (1002, Second::Copy), (1003, Second::Independent)] {
        let mut quiet = boat(seed, second);
        quiet.length_ms = 4 * 3_600_000;
        quiet.waters.yaw_rms_deg = 3.5;
        let turns = [30.0, 310.0, 80.0, 200.0, 190.0, 5.0, 355.0];
        quiet.events = (1..).zip(turns).map(|(n, course)| at(n * 1_900_000, Happening::Order(course))).collect();
        let hours = sail(quiet, None, |_| false);
        assert_eq!(hours.raised, [], "seed {seed}");
        // It was not quiet because nothing was judged.
        let off = hours.judged_s[AlertKind::OffHeading as usize];
        let disagreement = hours.judged_s[AlertKind::HeadingDisagreement as usize];
        assert!(off > 14_000 && disagreement > 13_000, "judged {off} s and {disagreement} s of 14400");
    }
}

#[test]
fn each_fault_is_found() {
    for seed in 2001..2007 {
        let second = if seed % 2 == 0 { Second::Independent } else { Second::None };
        let sign = if seed % 4 < 2 { 1.0 } else { -1.0 };
        let fault = 600_000;
        let run = |kind: AlertKind, happening: Happening| {
            let mut faulty = boat(seed, second);
            faulty.length_ms = fault + 240_000;
            faulty.events = vec![at(fault, happening)];
            sail(faulty, None, |c| c.kind == kind && c.state == State::ActiveUnacknowledged)
        };
        let kind = AlertKind::HeadingDisagreement;
        let false_compass = run(kind, Happening::FalseCompass { error_deg: 15.0 * sign, over_ms: 20_000 });
        let found = false_compass.first(kind, fault).unwrap();
        let half = false_compass.turned_at(fault, 7.5).unwrap_or(found);
        let allowed = if second == Second::None { 45_000 } else { 15_000 };
        assert!(found <= half + allowed, "seed {seed}: {} s after half", (found - half) / 1000);

        let let_go = run(AlertKind::OffHeading, Happening::PilotLetsGo);
        let found = let_go.first(AlertKind::OffHeading, fault).unwrap();
        let passed = let_go.turned_at(fault, 15.0).unwrap();
        assert!(found <= passed + 20_000, "seed {seed}: {} s after the limit", (found - passed) / 1000);
    }
}

/// A watch of so many hours from 20:00 UTC on the last of December, with all that is on board.
fn new_years_eve(seed: u64, hours: u64, events: &[&str]) -> (Boat, Watch) {
    let mut boat = boat(seed, Second::Independent);
    // 2026-12-31T20:00:00Z.
    boat.start_unix_ms = 1_798_747_200_000;
    boat.length_ms = hours * 3_600_000;
    boat.events = events.iter().map(|event| event.parse::<Event>().unwrap()).collect();
    boat.waters.variation_gradient = [0.4, -0.6];
    boat.waters.tide_kn = 0.6;
    boat.gear.pilot_trim_s = 20.0;
    (boat.boat.heel_deg, boat.boat.gust_response, boat.waters.gust_rms) = (12.0, 0.8, 0.12);
    (boat, Watch { source_count: 1, ..Watch::default() })
}

/// Ordered turns, a sea that grows and falls, squalls, a current that turns, a lull, midnight with a
/// leap second, and a fjord without satellites: only for the last is there anything to say.
#[test]
fn a_night_with_everything_but_a_fault() {
    let (boat, watch) = new_years_eve(
        1010,
        7,
        &[
            "order@00:30:00=60",
            "sea@00:40:00=3.5/20m",
            "current@01:00:00=310,0.9/40m",
            "order@01:30:00=200",
            "gust@01:50:00=1.5/5m",
            "order@02:20:00=330",
            "gust@03:00:00=0.4/30m",
            "speed@03:00:00=1.1/4m",
            "speed@03:30:00=6/4m",
            "leap-second@04:00:00",
            "sea@04:10:00=1.5/20m",
            "order@04:30:00=90",
            "gps-lost@05:00:00/10m",
            "order@05:40:00=350",
            "current@06:00:00=100,0.5/30m",
            "order@06:30:00=10",
        ],
    );
    let night = sail_under(boat, watch, None, |_| false);
    // After five minutes unanswered the warning becomes an alarm.
    let raised: Vec<AlertKind> = night.raised.iter().map(|raised| raised.1).collect();
    assert_eq!(raised, [AlertKind::PositionLost; 2], "{:#?}", night.raised);
    let lost_s = night.raised[0].0 / 1000;
    assert!((18_000..18_060).contains(&lost_s), "{lost_s}");
    // It was not quiet because nothing was judged: off-heading pauses while she turns, the rest in the lull.
    for kind in [AlertKind::OffHeading, AlertKind::HeadingDisagreement, AlertKind::HeadingFrozen] {
        let judged = night.judged_s[kind as usize];
        assert!(judged > 6 * 3600, "{kind} judged {judged} s of 7 h");
    }
}

#[test]
fn tacks_by_the_wind_in_gusts_are_no_alert() {
    let tacks = ["tack@00:40:00", "tack@01:40:00", "tack@02:40:00", "gust@01:00:00=1.6/5m", "gust@02:00:00=0.5/15m"];
    let (mut boat, watch) = new_years_eve(1011, 4, &tacks);
    boat.steering = Steering::Wind(45.0);
    let beat = sail_under(boat, watch, Some(Command::SteerWind), |_| false);
    assert_eq!(beat.raised, []);
    assert!(beat.judged_s[AlertKind::HeadingDisagreement as usize] > 3 * 3600, "{:?}", beat.judged_s);
    assert_eq!(beat.judged_s[AlertKind::OffHeading as usize], 0);
}

/// One voyage for each fault of the benchmark: it is found, and nothing else is said.
#[test]
fn one_fault_one_alert() {
    const HOUR_MS: u64 = 3_600_000;
    let mut tried = 0;
    // What takes hours to show is left to the benchmark.
    let sure = |fault: &Fault| fault.within_ms < HOUR_MS;
    for fault in scenarios::faults().into_iter().filter(sure) {
        let seed = 2012;
        let (at_ms, sailing) = (Fault::at_ms(seed), fault.sailing(seed));
        let passage = sail_under(sailing.boat, sailing.watch, sailing.command, |change| {
            change.kind == fault.kind && change.at.as_ms() >= at_ms && change.state != State::Normal
        });
        if passage.judged_s[fault.kind as usize] == 0 {
            println!("{}: {} is not judged yet", fault.name, fault.kind);
            continue;
        }
        tried += 1;
        assert!(passage.first(fault.kind, at_ms).is_some(), "{}: missed", fault.name);
        let others = passage.raised.iter().filter(|(_, kind, _)| *kind != fault.kind && !fault.also.contains(kind));
        assert_eq!(others.count(), 0, "{}: {:#?}", fault.name, passage.raised);
    }
    assert!(tried >= 15, "only {tried} faults were judged at all");
}

/// What was ever known, on two hours of new courses in the sea of the seed, of HDG and a true heading by a talker
/// of its own: where there is no second sensor, the log's copy of HDG under another name.
fn kinships(seed: u64, second: Second) -> Vec<Kinship> {
    let mut boat = Boat { length_ms: 7_200_000, ..boat(seed, second) };
    let mut course = 135.0;
    for turn in 1..24 {
        course += [70.0, -100.0, 50.0, 120.0, -60.0][(seed as usize + turn) % 5];
        boat.events.push(at(turn as u64 * 300_000, Happening::Order(f64::rem_euclid(course, 360.0))));
    }
    let start = boat.start_unix_ms;
    let mut voyage = Voyage::new(boat).unwrap();
    let mut monitor = Monitor::new(Instant::from_ms(0), Watch { source_count: 1, ..Watch::default() });
    let mut told = Vec::new();
    while voyage
        .step(&mut |heard| {
            let Heard::Line { unix_ms, bytes } = heard else { return };
            let now = Instant::from_ms(u64::try_from(unix_ms - start).unwrap());
            monitor.bytes(now, SourceId(0), bytes, &mut |_| {});
            let text = std::str::from_utf8(bytes).unwrap();
            if second == Second::None
                && let Some(heading) = text.strip_prefix("$IIVHW,").and_then(|rest| rest.split(',').next())
            {
                let body = format!("GPHDT,{heading},T");
                let sum = body.bytes().fold(0, |sum, byte| sum ^ byte);
                monitor.bytes(now, SourceId(0), format!("${body}*{sum:02X}\r\n").as_bytes(), &mut |_| {});
            }
        })
        .is_some()
    {
        let picture = monitor.picture();
        let place = |name: &str| picture.headings().iter().position(|channel| channel.origin.to_string() == name);
        if let (Some(hdg), Some(hdt)) = (place("HCHDG"), place("GPHDT"))
            && told.last() != Some(&picture.kinship(hdg, hdt))
        {
            told.push(picture.kinship(hdg, hdt));
        }
        if let (Some(hdg), Some(vhw)) = (place("HCHDG"), place("IIVHW")) {
            assert_ne!(picture.kinship(hdg, vhw), Kinship::Two, "seed {seed}");
        }
    }
    told
}

/// A quiet day on which the watch once said of a disagreement that "HCHDG and IIVHW agree": the log repeats what
/// HDG says, up to 600 ms later.
#[test]
fn the_heading_of_the_log_is_no_second_witness_in_any_sea() {
    for seed in 60_000..60_006 {
        let told = kinships(seed, Second::None);
        assert_eq!(told, [Kinship::Unknown, Kinship::OneSensor], "seed {seed}");
    }
}

#[test]
fn a_second_sensor_is_a_second_witness() {
    for seed in 60_000..60_006 {
        let told = kinships(seed, Second::Independent);
        assert_eq!(told, [Kinship::Unknown, Kinship::Two], "seed {seed}");
    }
}
