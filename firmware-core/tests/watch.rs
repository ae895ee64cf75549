//! The watch over a small boat of its own: what it must raise, how soon, and when it must be quiet.

#[path = "watch/boat.rs"]
mod boat;
#[path = "watch/currents.rs"]
mod currents;

use boat::Boat;
use boat::Watch;
use boat::wrap;
use lubber_core::alert::AlertKind;
use lubber_core::alert::Evidence;
use lubber_core::alert::Why;
use lubber_core::arbiter::State;
use lubber_core::monitor::Event;
use lubber_core::monitor::Monitor;
use lubber_core::monitor::Settings;
use lubber_core::picture::Command;
use lubber_core::picture::SourceId;
use lubber_core::time::Instant;

/// The value that nine in ten are no larger than, and the median.
fn ninety_and_median(mut delays: Vec<u64>) -> (u64, u64) {
    delays.sort_unstable();
    (delays[delays.len() * 9 / 10 - 1], delays[delays.len() / 2])
}

/// Lets the compass turn false by 15 degrees over 20 s; seconds from the moment the boat's true
/// heading has changed by half of it to the alert.
fn false_compass(seed: u64, second: bool, sign: f64) -> Option<u64> {
    let mut boat = Boat::new(seed);
    boat.second = second;
    boat.yaw_rms = 1.0 + (seed % 6) as f64 * 0.5;
    // A current up to 1.5 kn from any side.
    let (drift, set) = (boat.uniform() * 1.5, boat.uniform() * 6.3);
    boat.current = (drift * set.cos(), drift * set.sin());
    let mut watch = Watch::new(boat);
    watch.run(300);
    assert_eq!(watch.raised(), [], "seed {seed}");
    let before = watch.boat.heading;
    let mut turned_at = None;
    for s in 0..240 {
        watch.boat.compass_error = sign * (s as f64 * 0.75).min(15.0);
        watch.run(1);
        if turned_at.is_none() && wrap(watch.boat.heading - before).abs() >= 7.5 {
            turned_at = Some(s);
        }
        if watch.raised().iter().any(|(_, name)| *name == "heading-disagreement") {
            // The display still reads on course all the while.
            assert!(watch.raised().iter().all(|(_, name)| *name == "heading-disagreement"), "{:?}", watch.raised());
            // A compass that shows too much lets the boat turn to port, and that is what is said.
            let Some(Evidence::Disagreement { by, .. }) = watch.alerts.last().map(|c| c.evidence) else { panic!() };
            assert!(f64::from(by.as_mdeg()) * sign < 0.0, "seed {seed}: {by:?} with an error of {sign}");
            return Some(turned_at.map_or(0, |at| s - at));
        }
    }
    None
}

#[test]
fn a_false_compass_is_found_by_the_second_heading() {
    let delays: Vec<u64> =
        (0..20).filter_map(|seed| false_compass(seed, true, if seed % 2 == 0 { 1.0 } else { -1.0 })).collect();
    assert_eq!(delays.len(), 20, "some were missed");
    let (ninety, median) = ninety_and_median(delays);
    println!("false compass, second heading: 90 % within {ninety} s, median {median} s");
    assert!(ninety <= 15, "90 % within {ninety} s");
}

#[test]
fn a_false_compass_is_found_by_the_course_over_the_ground_alone() {
    let delays: Vec<u64> =
        (0..40).filter_map(|seed| false_compass(seed, false, if seed % 2 == 0 { 1.0 } else { -1.0 })).collect();
    assert_eq!(delays.len(), 40, "some were missed");
    let (ninety, median) = ninety_and_median(delays);
    println!("false compass, GPS only: 90 % within {ninety} s, median {median} s");
    assert!(ninety <= 45, "90 % within {ninety} s");
}

/// Sails round all headings and half round again, so that two headings are known to be two, then lets something go wrong by
/// 0.75 degrees a second; who stands alone by what the watch says of it, and in which words.
fn accused(seed: u64, boat: Boat, wrong: impl Fn(&mut Boat, f64)) -> (Option<String>, String) {
    let mut watch = Watch::new(boat);
    watch.run(200);
    for leg in 1..=6 {
        watch.steer((135.0 + f64::from(leg) * 90.0) % 360.0);
        watch.run(150);
    }
    assert_eq!(watch.raised(), [], "seed {seed}");
    for s in 0..120 {
        wrong(&mut watch.boat, (f64::from(s) * 0.75).min(15.0));
        watch.run(1);
    }
    // A declared gyro is a witness by itself, and the first to say so as a caution, as like as not.
    watch.alerts.retain(|change| change.kind != AlertKind::TurnRateDisagreement);
    assert_eq!(watch.raised().iter().map(|r| r.1).collect::<Vec<_>>(), ["heading-disagreement"], "seed {seed}");
    // Named when it is raised or soon after, and told once more then.
    let first = watch.alerts.first().unwrap().at;
    let named = watch.alerts.iter().find(|change| change.evidence.stands_alone().is_some());
    assert!(named.is_none_or(|change| change.at.since(first).as_s() <= 20), "seed {seed}: {named:?}");
    assert!(watch.alerts.len() <= 2, "{:?}", watch.alerts);
    let last = watch.alerts.last().unwrap().evidence;
    (last.stands_alone().map(|origin| origin.to_string()), last.to_string())
}

#[test]
fn of_three_witnesses_the_one_that_stands_alone_is_named() {
    let boat = |seed: u64, second: bool, gyro: bool| {
        let yaw_rms = 1.0 + (seed % 5) as f64 * 0.6;
        Boat { second, gyro, yaw_rms, ..Boat::new(seed) }
    };
    for seed in 300..310 {
        let sign = if seed % 2 == 0 { 1.0 } else { -1.0 };
        let (who, words) = accused(seed, boat(seed, true, false), |b, error| b.compass_error = sign * error);
        assert_eq!(who.as_deref(), Some("HCHDG"), "seed {seed}: {words}");
        assert!(words.ends_with("; HCHDG stands alone: GPHDT and the track agree"), "{words}");
        let (who, words) = accused(seed, boat(seed, true, false), |b, error| b.second_error = sign * error);
        assert_eq!(who.as_deref(), Some("GPHDT"), "seed {seed}: {words}");
        assert!(words.ends_with("; GPHDT stands alone: HCHDG and the track agree"), "{words}");
        // A race of the tide turns the track and no heading.
        let race = |b: &mut Boat, error: f64| b.current = (0.6 + sign * 0.15 * error, -0.5);
        let (who, words) = accused(seed, boat(seed, true, false), race);
        assert_eq!(who.as_deref(), Some("GPRMC"), "seed {seed}: {words}");
        assert!(words.ends_with("; the track stands alone: HCHDG and GPHDT agree"), "{words}");
        // A gyro is the third where there is no second heading.
        let (who, words) = accused(seed, boat(seed, false, true), |b, error| b.compass_error = sign * error);
        assert_eq!(who.as_deref(), Some("HCHDG"), "seed {seed}: {words}");
        assert!(words.ends_with("; HCHDG stands alone: the track and the gyro agree"), "{words}");
        let (who, _) = accused(seed, boat(seed, false, true), race);
        assert_eq!(who.as_deref(), Some("GPRMC"), "seed {seed}");
        // Of two nobody can tell.
        let (who, words) = accused(seed, boat(seed, false, false), |b, error| b.compass_error = sign * error);
        assert_eq!(who, None, "seed {seed}: {words}");
    }
}

#[test]
fn a_creeping_compass_is_found_before_twelve_degrees_by_a_second_heading() {
    for seed in 400..410 {
        let mut boat = Boat::new(seed);
        boat.second = true;
        boat.yaw_rms = 1.0 + (seed % 6) as f64 * 0.5;
        let mut watch = Watch::new(boat);
        watch.run(300);
        let sign = if seed % 2 == 0 { 1.0 } else { -1.0 };
        let found = (1..=300).find(|s| {
            watch.boat.compass_error = sign * f64::from(*s) * 0.06;
            watch.run(1);
            watch.raised().iter().any(|(_, name)| *name == "heading-disagreement")
        });
        // Never below half the limit either: so much is quiet.
        let error = found.map(|s| f64::from(s) * 0.06);
        assert!(error.is_some_and(|deg| (4.0..12.0).contains(&deg)), "seed {seed}: {error:?}");
    }
}

#[test]
fn a_disagreement_stands_until_somebody_answers_and_may_then_be_a_current() {
    let mut watch = Watch::new(Boat::new(11));
    watch.run(300);
    watch.boat.compass_error = 15.0;
    watch.run(1800);
    let state = |watch: &Watch| watch.alerts.last().map(|c| (c.kind, c.state));
    let kind = AlertKind::HeadingDisagreement;
    assert_eq!(state(&watch), Some((kind, State::ActiveUnacknowledged)), "{:?}", watch.raised());
    let (now, alerts) = (watch.now(), &mut watch.alerts);
    watch.monitor.acknowledge(now, &mut |event| {
        if let Event::Alert(change) = event {
            alerts.push(change);
        }
    });
    watch.run(590);
    assert_eq!(state(&watch), Some((kind, State::ActiveAcknowledged)));
    watch.run(100);
    assert_eq!(state(&watch), Some((kind, State::Normal)));
}

#[test]
fn a_pilot_that_lets_go_is_found_soon_after_the_limit() {
    let mut delays = Vec::new();
    for seed in 0..20u64 {
        let mut boat = Boat::new(seed);
        boat.yaw_rms = 1.0 + (seed % 6) as f64 * 0.5;
        let mut watch = Watch::new(boat);
        watch.run(150);
        assert_eq!(watch.raised(), []);
        watch.boat.pilot = false;
        let began = watch.boat.heading;
        let mut passed = None;
        for s in 0..200u64 {
            watch.boat.heading += if seed % 2 == 0 { 0.6 } else { -0.6 };
            watch.run(1);
            if passed.is_none() && wrap(watch.boat.heading - began).abs() >= 15.0 {
                passed = Some(s);
            }
            if watch.raised().iter().any(|(_, name)| *name == "off-heading") {
                delays.push(passed.map_or(0, |at| s - at));
                break;
            }
        }
    }
    assert_eq!(delays.len(), 20, "some were missed");
    let worst = *delays.iter().max().unwrap();
    println!("pilot let go: worst {worst} s after the limit");
    assert!(worst <= 20, "{delays:?}");
}

#[test]
fn quiet_hours_in_a_seaway_with_ordered_courses() {
    for seed in 0..4 {
        let mut boat = Boat::new(100 + seed);
        boat.yaw_rms = 3.5;
        boat.second = seed % 2 == 0;
        let mut watch = Watch::new(boat);
        watch.run(120);
        for leg in 0..8u64 {
            let change = [40.0, -90.0, 15.0, 170.0, -25.0, 60.0, -120.0, 10.0][leg as usize];
            let course = (watch.boat.course + change).rem_euclid(360.0);
            watch.steer(course);
            // Gusts: the speed changes by a third in ten seconds.
            for gust in 0..9 {
                watch.boat.speed = if gust % 3 == 1 { 4.0 } else { 6.0 };
                watch.run(100);
            }
        }
        assert_eq!(watch.raised(), [], "seed {seed}");
        assert_eq!(watch.judging(AlertKind::HeadingDisagreement), Ok(()));
    }
}

#[test]
fn tacks_by_the_wind_are_quiet_and_off_heading_says_why_it_is_not_judged() {
    let mut boat = Boat::new(7);
    boat.yaw_rms = 3.0;
    let mut watch = Watch::new(boat);
    watch.order(Command::SteerWind);
    for tack in 0..20 {
        watch.boat.course = if tack % 2 == 0 { 45.0 } else { 315.0 };
        watch.boat.speed = 5.0;
        watch.run(240);
    }
    assert_eq!(watch.raised(), []);
    assert_eq!(watch.judging(AlertKind::OffHeading), Err(Why::SteeredByWind));
}

#[test]
fn an_unordered_change_of_course_is_off_heading() {
    let mut watch = Watch::new(Boat::new(3));
    watch.run(150);
    watch.boat.course = 180.0;
    let took = watch.until_raised(AlertKind::OffHeading, 60);
    assert!(took.is_some_and(|s| s <= 25), "{took:?}");
}

#[test]
fn a_heading_that_stops_is_lost_within_three_seconds_of_being_missed() {
    let mut watch = Watch::new(Boat::new(4));
    watch.run(100);
    watch.boat.heading_sent = false;
    let took = watch.until_raised(AlertKind::HeadingLost, 20);
    // Stale after 3 s, and that is when it is raised.
    assert!(took.is_some_and(|s| (3..=4).contains(&s)), "{took:?}");
    assert_eq!(watch.judging(AlertKind::OffHeading), Err(Why::NoHeading));
    watch.boat.heading_sent = true;
    watch.run(10);
    assert_eq!(watch.alerts.last().map(|c| c.state), Some(State::RectifiedUnacknowledged));
}

#[test]
fn a_lost_receiver_is_position_lost_and_nothing_else() {
    let mut watch = Watch::new(Boat::new(5));
    watch.run(400);
    watch.boat.gps = false;
    watch.run(200);
    assert_eq!(watch.raised().iter().map(|r| r.1).collect::<Vec<_>>(), ["position-lost"]);
    assert_eq!(watch.judging(AlertKind::HeadingDisagreement), Err(Why::NoWitness));
    watch.boat.gps = true;
    watch.run(100);
    assert_eq!(watch.raised().len(), 1, "{:?}", watch.raised());
}

#[test]
fn a_frozen_heading_is_found_by_its_lost_yaw_and_by_a_turn() {
    // The yaw is gone from a fine sensor.
    let mut watch = Watch::new(Boat::new(6));
    watch.run(300);
    watch.boat.stuck = Some(131.3);
    let took = watch.until_raised(AlertKind::HeadingFrozen, 60);
    assert!(took.is_some_and(|s| (10..=20).contains(&s)), "{took:?}");
    // The boat turns under a frozen heading while another sensor and the course show it.
    for second in [false, true] {
        let mut boat = Boat::new(8);
        boat.second = second;
        let mut watch = Watch::new(boat);
        watch.run(300);
        watch.boat.stuck = Some(131.3);
        watch.boat.course = 200.0;
        let took = watch.until_raised(AlertKind::HeadingFrozen, 60);
        assert!(took.is_some_and(|s| (8..=20).contains(&s)), "second {second}: {took:?}");
    }
}

#[test]
fn the_same_bytes_chopped_anyhow_give_the_same_alerts() {
    let run = |chop: usize| {
        let mut boat = Boat::new(9);
        let mut monitor = Monitor::new(Instant::from_ms(0), Settings { source_count: 1, ..Settings::default() });
        let mut seen = Vec::new();
        for half in 0..900 {
            if half == 400 {
                boat.course = 170.0;
            }
            if half == 700 {
                boat.heading_sent = false;
            }
            let lines = boat.step();
            for piece in lines.as_bytes().chunks(chop) {
                monitor.bytes(Instant::from_ms(boat.now_ms), SourceId(0), piece, &mut |event| {
                    if let Event::Alert(change) = event {
                        seen.push(format!("{change:?}"));
                    }
                });
            }
        }
        seen
    };
    let whole = run(usize::MAX);
    assert!(whole.len() >= 2, "{whole:?}");
    for chop in [1, 2, 7, 50] {
        assert_eq!(run(chop), whole, "chopped by {chop}");
    }
}
