//! The heading against the course over the ground, where the current changes.

use lubber_core::alert::AlertKind;
use lubber_core::alert::Evidence;
use lubber_core::alert::Why;
use lubber_core::arbiter::State;

use crate::boat::Boat;
use crate::boat::Watch;

/// Lets the current run to another that is `across` knots more to starboard of her, within `minutes`.
fn set_across(watch: &mut Watch, across: f64, minutes: u32) {
    let (north, east) = watch.boat.current;
    let abeam = (watch.boat.course + 90.0).to_radians();
    for s in 1..=minutes * 60 {
        let part = across * f64::from(s) / f64::from(minutes * 60);
        watch.boat.current = (north + part * abeam.cos(), east + part * abeam.sin());
        watch.run(1);
    }
}

#[test]
fn a_current_that_changes_as_currents_do_is_no_fault_and_the_status_says_what_it_cannot_tell() {
    for seed in 500..508 {
        let mut boat = Boat::new(seed);
        boat.yaw_rms = 1.0 + (seed % 6) as f64 * 0.5;
        let mut watch = Watch::new(boat);
        watch.run(300);
        // 1.7 knots in ten minutes: her course turns by 17 degrees.
        let across = if seed % 2 == 0 { 1.7 } else { -1.7 };
        set_across(&mut watch, across, 10);
        assert_eq!(watch.raised(), [], "seed {seed}");
        let judging = watch.judging(AlertKind::HeadingDisagreement);
        let Err(Why::TrackMoves { by }) = judging else { panic!("seed {seed}: {judging:?}") };
        assert!((f64::from(by.as_mdeg()) * across).is_sign_positive() && by.size().as_mdeg() > 9000, "{by:?}");
        watch.run(1500);
        assert_eq!((watch.raised(), watch.judging(AlertKind::HeadingDisagreement)), (vec![], Ok(())), "seed {seed}");
        // The same within three minutes is more than a current does.
        set_across(&mut watch, -across, 3);
        watch.run(20);
        assert_eq!(watch.raised().iter().map(|r| r.1).collect::<Vec<_>>(), ["heading-disagreement"], "seed {seed}");
    }
}

#[test]
fn a_current_goes_on_changing_while_there_is_no_fix_or_no_way_on() {
    for (seed, speed, gps) in [(520, 5.5, false), (521, 5.5, false), (522, 0.6, true), (523, 0.6, true)] {
        let mut watch = Watch::new(Boat { current: (0.2, -0.1), ..Boat::new(seed) });
        watch.run(300);
        (watch.boat.speed, watch.boat.gps) = (speed, gps);
        set_across(&mut watch, 1.0, 7);
        (watch.boat.speed, watch.boat.gps) = (5.5, true);
        watch.run(600);
        let raised: Vec<_> = watch.raised().iter().map(|r| r.1).filter(|name| *name != "position-lost").collect();
        assert!(raised.is_empty(), "seed {seed}: {raised:?}");
    }
}

#[test]
fn a_compass_that_turns_false_while_there_is_no_fix_is_found_after() {
    for seed in 530..534 {
        let mut watch = Watch::new(Boat::new(seed));
        watch.run(300);
        watch.boat.gps = false;
        watch.boat.compass_error = 20.0;
        watch.run(120);
        watch.boat.gps = true;
        let found = watch.until_raised(AlertKind::HeadingDisagreement, 90);
        assert!(found.is_some(), "seed {seed}: {:?}", watch.raised());
    }
}

#[test]
fn a_boat_about_the_least_speed_is_not_judged_by_the_moments_at_which_she_seems_faster() {
    for seed in 540..544 {
        let mut boat = Boat::new(seed);
        // She makes 1.1 knots good, and the sea on the beam throws the antenna about by as much.
        (boat.speed, boat.current, boat.yaw_rms, boat.sway) = (1.1, (0.0, 0.0), 3.5, 1.2);
        let mut watch = Watch::new(boat);
        watch.run(120);
        for s in 0..600 {
            watch.run(1);
            let judging = watch.judging(AlertKind::HeadingDisagreement);
            assert!(matches!(judging, Err(Why::TooSlow { .. })), "seed {seed}, second {s}: {judging:?}");
        }
    }
}

#[test]
fn a_creeping_compass_is_found_by_the_course_over_the_ground_alone_though_late() {
    let mut degrees: Vec<u64> = (600..620)
        .map(|seed| {
            let mut boat = Boat::new(seed);
            boat.yaw_rms = 1.0 + (seed % 6) as f64 * 0.5;
            let mut watch = Watch::new(boat);
            watch.run(300);
            let sign = if seed % 2 == 0 { 1.0 } else { -1.0 };
            let found = (1..=1200_u64).find(|s| {
                watch.boat.compass_error = sign * *s as f64 * 0.06;
                watch.run(1);
                watch.raised().iter().any(|(_, name)| *name == "heading-disagreement")
            });
            found.unwrap_or_else(|| panic!("seed {seed}: missed")) * 6 / 100
        })
        .collect();
    degrees.sort_unstable();
    println!("creeping compass, GPS only: median {} deg, worst {}", degrees[10], degrees[19]);
    assert!(degrees[19] <= 25, "{degrees:?}");
}

#[test]
fn a_compass_that_is_out_by_half_a_circle_is_found_while_she_sails_the_other_way() {
    for (seed, from) in [(560, 300), (561, 300), (562, 0)] {
        let mut watch = Watch::new(Boat::new(seed));
        watch.run(from);
        watch.boat.compass_error = 180.0;
        let found = watch.until_raised(AlertKind::HeadingDisagreement, 240);
        assert!(found.is_some(), "seed {seed}: {:?}", watch.raised());
        let by = watch.alerts.iter().find_map(|change| match change.evidence {
            Evidence::Disagreement { by, .. } => Some(by),
            _ => None,
        });
        assert!(by.is_some_and(|by| by.size().as_mdeg() > 100_000), "seed {seed}: {by:?}");
        watch.run(1200);
        let over = watch.alerts.iter().any(|c| c.kind == AlertKind::HeadingDisagreement && c.state == State::Normal);
        assert!(!over, "seed {seed}: it stands until somebody answers");
    }
}

#[test]
fn a_boat_that_backs_out_of_her_berth_or_is_set_back_by_a_tide_is_no_fault() {
    for (seed, speed, current) in [(570, -2.0, 0.0), (571, 0.8, -3.2)] {
        let mut boat = Boat::new(seed);
        // Along her course of 135 degrees.
        boat.current = (-0.707 * current, 0.707 * current);
        let mut watch = Watch::new(boat);
        watch.run(300);
        watch.boat.speed = speed;
        watch.run(300);
        assert_eq!(watch.raised(), [], "seed {seed}");
    }
}

#[test]
fn a_minute_and_a_half_after_an_ordered_change_a_false_compass_is_found_again() {
    for seed in 700..712 {
        let mut boat = Boat::new(seed);
        boat.yaw_rms = 1.0 + (seed % 6) as f64 * 0.5;
        let mut watch = Watch::new(boat);
        watch.run(300);
        watch.steer(200.0);
        watch.run(90);
        let sign = if seed % 2 == 0 { 1.0 } else { -1.0 };
        for s in 0..90 {
            watch.boat.compass_error = sign * (f64::from(s) * 0.75).min(15.0);
            watch.run(1);
        }
        assert_eq!(watch.raised().iter().map(|r| r.1).collect::<Vec<_>>(), ["heading-disagreement"], "seed {seed}");
    }
}
