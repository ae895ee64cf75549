//! Logs of which no card can be made, each refused with what is missing.

use super::boat::Boat;
use crate::analysis::swing::Collector;
use crate::analysis::swing::Refusal;
use crate::analysis::swing::Settings;
use crate::analysis::swing::Verdict;
use crate::analysis::swing::analyse;

fn analysed(fill: impl FnOnce(&mut Collector)) -> Result<crate::analysis::swing::Swing, Refusal> {
    let mut collector = Collector::new();
    fill(&mut collector);
    analyse(&collector.finish(), &Settings::default())
}

#[test]
fn what_is_missing_is_named() {
    assert_eq!(analysed(|_| {}), Err(Refusal::NoHeading));
    assert_eq!(analysed(|c| c.course(0.0, 2.0, 90.0)), Err(Refusal::NoHeading));
    assert_eq!(analysed(|c| c.heading(0.0, 90.0)), Err(Refusal::NoGround));
    let anchored = analysed(|c| {
        for t in 0..900 {
            c.heading(f64::from(t), f64::from(t));
            c.course(f64::from(t), 0.1, f64::from(t * 7 % 360));
        }
    });
    let Err(Refusal::NoWay { greatest_kn }) = anchored else { panic!("{anchored:?}") };
    assert!((greatest_kn - 0.194).abs() <= 0.01);
    assert!(Refusal::NoWay { greatest_kn }.to_string().contains("circle each way"));
}

#[test]
fn a_straight_leg_and_a_half_turn_without_course_are_refused() {
    let straight = analysed(|c| {
        for t in 0..900 {
            c.heading(f64::from(t), 123.0);
            c.course(f64::from(t), 2.5, 121.0);
        }
    });
    assert_eq!(straight, Err(Refusal::NoTurn { legs: 4 }));
    let mut boat = Boat::both();
    boat.ground_there = |at| at < 60;
    assert!(matches!(boat.swing(), Err(Refusal::NoTurn { .. } | Refusal::TooLittle)), "{:?}", boat.swing());
}

#[test]
fn numbers_that_are_none_are_ignored() {
    let boat = Boat::both();
    let mut collector = Collector::new();
    for bad in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
        collector.heading(bad, 10.0);
        collector.heading(0.0, bad);
        collector.ground(bad, 1.0, 1.0);
        collector.ground(0.0, bad, 1.0);
    }
    boat.play(&mut collector);
    let found = analyse(&collector.finish(), &boat.settings()).unwrap();
    assert_eq!(found, boat.swing().unwrap());
}

/// The headings of one boat, the track of another.
#[test]
fn two_boats_mixed_never_make_a_good_card() {
    let mut other = Boat::both();
    other.legs = vec![(100.0, 0.0), (90.0, 4.0), (50.0, 0.0), (120.0, -3.0), (150.0, 0.0)];
    let mut tracks = Collector::new();
    other.play(&mut tracks);
    let mut collector = Collector::new();
    let tracks = tracks.finish();
    let mut ground: Vec<_> = tracks.turns.iter().flat_map(|block| block.ground.clone()).collect();
    ground.dedup();
    for second in 0..510_usize {
        let t = second as f64;
        let heading = if second < 70 { 20.0 } else { 20.0 - 2.4 * (t - 70.0).min(150.0) };
        collector.heading(t, heading.rem_euclid(360.0));
        for (_, north, east) in ground.iter().filter(|(at, ..)| (t..t + 1.0).contains(at)) {
            collector.ground(t + 0.5, *north, *east);
        }
    }
    match analyse(&collector.finish(), &Settings::default()) {
        Ok(found) => assert_eq!(found.verdict, Verdict::NotUsable, "{:?}", found.reasons),
        Err(refusal) => assert!(!refusal.to_string().is_empty()),
    }
}
