//! The analysis over boats with a known truth: the quick version of the report `cargo bench --bench swing`.

use super::Case;
use super::Plan;
use crate::analysis::swing::Collector;
use crate::analysis::swing::Swing;
use crate::analysis::swing::analyse;

fn swung(seed: u64, case: Case) -> (Plan, Swing) {
    let plan = Plan::drawn(seed, case);
    let log = plan.run();
    let mut collector = Collector::new();
    log.play(&mut collector);
    let found = analyse(&collector.finish(), &log.settings()).unwrap_or_else(|refusal| panic!("{seed}: {refusal}"));
    (plan, found)
}

/// Rms card error without the variation's, and how many of 36 headings hold the truth in two sigma.
fn judged(plan: &Plan, found: &Swing) -> (f64, u32) {
    let told = plan.variation_true_deg - plan.variation_told_deg;
    let errors = found.card.iter().map(|row| row.deviation_deg - plan.deviation(row.compass_deg));
    let square: f64 = errors.clone().map(|error| (error - told).powi(2)).sum();
    let within = errors.zip(&found.card).filter(|(error, row)| error.abs() <= 2.0 * row.sigma_deg).count();
    ((square / 36.0).sqrt(), within as u32)
}

/// Bounds on either side: a sigma too large is as wrong as one too small, and a median too good
/// would say that the simulator has lost its errors.
#[test]
fn sixty_boats_with_both_circles() {
    let boats: Vec<(f64, u32)> = (0..60)
        .map(|seed| {
            let (plan, found) = swung(10_000 + seed, Case::Both);
            assert_eq!((found.circles.port, found.circles.starboard), (1, 1), "{seed}");
            judged(&plan, &found)
        })
        .collect();
    let mut errors: Vec<f64> = boats.iter().map(|boat| boat.0).collect();
    errors.sort_by(f64::total_cmp);
    let within = f64::from(boats.iter().map(|boat| boat.1).sum::<u32>()) / (36.0 * 60.0);
    println!("60 boats: median {:.3}, 90 % {:.3}, within {:.1} %", errors[30], errors[54], 100.0 * within);
    assert!((0.12..=0.32).contains(&errors[30]), "{}", errors[30]);
    assert!((0.25..=0.55).contains(&errors[54]), "{}", errors[54]);
    assert!((0.89..=0.995).contains(&within), "{within}");
}

#[test]
fn one_circle_to_port_alone_never_knows_a_too_well() {
    let mut outside = 0;
    for seed in 0..30 {
        let (plan, found) = swung(20_000 + seed, Case::PortOnly);
        let a = found.coefficients.a;
        outside += u32::from((a.deg - plan.coefficients[0]).abs() > 2.0 * a.sigma_deg);
        let unit = plan.turn_rate_dps * 1.44;
        assert!(a.sigma_deg <= 1.3 * unit && a.sigma_deg >= 0.7 * unit, "{seed}: {a:?} {unit}");
        assert!(found.lag_s.is_some_and(|lag| lag.sigma >= 1.0));
    }
    // 93 % must be inside.
    assert!(outside <= 2, "{outside} of 30");
}

#[test]
fn steady_legs_make_a_card_too() {
    let (mut worst, mut within) = (0.0_f64, 0);
    for seed in 0..10 {
        let (plan, found) = swung(30_000 + seed, Case::Legs);
        assert_eq!(found.lag_s, None);
        let (error, inside) = judged(&plan, &found);
        worst = worst.max(error);
        within += inside;
    }
    assert!(worst <= 0.9, "{worst}");
    assert!(within >= 300, "{within} of 360");
}
