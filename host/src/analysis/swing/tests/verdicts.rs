//! What the verdict says, and the word that must be in it.

use super::boat::Boat;
use super::boat::five_terms;
use super::boat::ripple;
use crate::analysis::swing::Collector;
use crate::analysis::swing::Settings;
use crate::analysis::swing::Swing;
use crate::analysis::swing::Verdict;
use crate::analysis::swing::Wind;
use crate::analysis::swing::analyse;

fn says(found: &Swing, words: &str) -> bool {
    found.reasons.iter().any(|reason| reason.contains(words))
}

#[test]
fn a_sound_swing_is_good_and_states_its_assumption() {
    let found = Boat::both().swing().unwrap();
    assert_eq!(found.verdict, Verdict::Good, "{:?}", found.reasons);
    assert_eq!(found.reasons.len(), 1);
    assert!(says(&found, "calm is assumed") && says(&found, "0.7 degrees"));
}

#[test]
fn a_misaligned_sensor_is_to_be_turned() {
    let mut boat = Boat::both();
    boat.deviation = |c| five_terms(c) + 5.0;
    let found = boat.swing().unwrap();
    assert_eq!(found.verdict, Verdict::Usable);
    assert!(says(&found, "turn it clockwise, seen from above, by "), "{:?}", found.reasons);
    boat.deviation = |c| five_terms(c) - 9.0;
    assert!(says(&boat.swing().unwrap(), "turn it anticlockwise"));
}

#[test]
fn a_bad_place_and_a_folded_card_are_not_usable() {
    let mut boat = Boat::both();
    boat.deviation = |c| 43.0 * c.to_radians().sin();
    let found = boat.swing().unwrap();
    assert_eq!(found.verdict, Verdict::NotUsable);
    assert!(says(&found, "no card mends this"), "{:?}", found.reasons);
    boat.deviation = |c| 26.0 * (2.0 * c.to_radians()).sin();
    let found = boat.swing().unwrap();
    assert_eq!(found.verdict, Verdict::NotUsable);
    assert!(says(&found, "folded near") && says(&found, "above 20 degrees"), "{:?}", found.reasons);
    boat.deviation = |c| 13.0 * c.to_radians().sin();
    let found = boat.swing().unwrap();
    assert_eq!(found.verdict, Verdict::Usable);
    assert!(says(&found, "better compensated"), "{:?}", found.reasons);
}

#[test]
fn something_very_near_shows_as_a_third_harmonic() {
    let mut boat = Boat::both();
    boat.deviation = |c| five_terms(c) + 2.5 * (3.0 * c.to_radians()).cos();
    let found = boat.swing().unwrap();
    assert!(says(&found, "something magnetic is very near"), "{:?}", found.reasons);
    assert!(!says(&Boat::both().swing().unwrap(), "very near"));
}

/// A compass that heels in the turn: its error on east and west changes sign with the turn.
#[test]
fn circles_that_disagree_are_told() {
    let mut boat = Boat::both();
    boat.heading_error = |at, rate| {
        // By the heading of the boat's own way, well enough for a disturbance.
        let t = at as f64 - 70.0;
        let along = if t < 220.0 { 20.0 - 2.5 * t.min(150.0) } else { 5.0 + 2.5 * (t - 220.0) };
        0.2 * ripple(at) + 1.8 * rate * (2.0 * along.to_radians()).sin()
    };
    let found = boat.swing().unwrap();
    assert!(says(&found, "do not agree"), "{:?}", found.reasons);
    assert!(found.verdict >= Verdict::Usable);
}

#[test]
fn wind_widens_the_card_across_it_and_no_other_way() {
    let boat = Boat::both();
    let with = |wind| {
        let mut collector = Collector::new();
        boat.play(&mut collector);
        analyse(&collector.finish(), &Settings { wind, ..boat.settings() }).unwrap()
    };
    let calm = with(Some(Wind { speed_mps: 0.0, from_true_deg: Some(90.0) }));
    let windy = with(Some(Wind { speed_mps: 5.0, from_true_deg: Some(90.0) }));
    assert_eq!((calm.verdict, windy.verdict), (Verdict::Good, Verdict::Usable));
    assert!(says(&windy, "true wind 10 kn"), "{:?}", windy.reasons);
    // 5 m/s on a boat of 2.5 m/s: 2 degrees on the beam, that is on north and south true, nothing
    // head to wind. True north is 355 compass there, A being 1 and the variation 4.
    let (beam, ahead) = (windy.deviation(355.0).sigma_deg, windy.deviation(85.0).sigma_deg);
    assert!((beam - calm.deviation(355.0).sigma_deg.hypot(2.0)).abs() <= 0.05, "{beam}");
    assert!((ahead - calm.deviation(85.0).sigma_deg).abs() <= 0.02, "{ahead}");
    let anywhere = with(Some(Wind { speed_mps: 5.0, from_true_deg: None }));
    assert!((anywhere.deviation(85.0).sigma_deg - ahead.hypot(2.0_f64.sqrt())).abs() <= 0.05);
}

#[test]
fn fast_slow_and_partial_are_told() {
    let mut boat = Boat::both();
    boat.legs = vec![(70.0, 0.0), (45.0, -8.0), (70.0, 0.0), (45.0, 8.0), (70.0, 0.0)];
    assert!(says(&boat.swing().unwrap(), "the turn is fast"));
    let mut boat = Boat::both();
    boat.speed_mps = 1.2;
    assert!(says(&boat.swing().unwrap(), "too slow through the water"));
    let mut boat = Boat::both();
    boat.legs = vec![(70.0, 0.0), (88.0, -2.5), (70.0, 0.0), (88.0, 2.5), (70.0, 0.0)];
    let found = boat.swing().unwrap();
    assert!(says(&found, "of 36 sectors"), "{:?}", found.reasons);
    let mut boat = Boat::both();
    boat.ground_error = |at| (0.5 * ripple(at / 4), 0.5 * ripple(at / 4 + 500));
    assert!(says(&boat.swing().unwrap(), "too much noise"));
}

#[test]
fn the_variations_sigma_goes_into_a_whole() {
    let boat = Boat::both();
    let with = |variation_sigma_deg| {
        let mut collector = Collector::new();
        boat.play(&mut collector);
        analyse(&collector.finish(), &Settings { variation_sigma_deg, ..boat.settings() }).unwrap()
    };
    let (none, much) = (with(0.0), with(3.0));
    assert!((much.coefficients.a.sigma_deg - none.coefficients.a.sigma_deg.hypot(3.0)).abs() <= 1e-9);
    assert_eq!(much.coefficients.b, none.coefficients.b);
    assert_eq!(much.verdict, Verdict::NotUsable);
    assert!(says(&much, "the variation is the uncertain part"), "{:?}", much.reasons);
}
