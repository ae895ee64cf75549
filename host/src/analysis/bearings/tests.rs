use super::*;

fn sight(compass_deg: f64, magnetic_deg: f64, sighting: Sighting) -> Sight {
    Sight { compass_deg, magnetic_deg, sighting, sigma_deg: sigma_deg(sighting, 0.0) }
}

#[test]
fn each_way_of_sighting() {
    // By hand. And *Sun's true bearing or azimuth tables* p. IV: azimuth N 125d34'E by N 140d30'E per
    // compass is an error of 14d56'W, which with 21 W of variation is 6d04'E of deviation.
    for (compass, magnetic, sighting, deviation) in [
        (100.0, 135.0, Sighting::Relative(30.0), 5.0),
        (355.0, 5.0, Sighting::Relative(8.0), 2.0),
        (181.0, 100.0, Sighting::Relative(275.0), 4.0),
        (178.0, 180.0, Sighting::Ahead, 2.0),
        (3.0, 180.0, Sighting::Astern, -3.0),
        (90.0, 125.0 + 34.0 / 60.0 + 21.0, Sighting::ByCompass(140.5), 6.0 + 4.0 / 60.0),
    ] {
        let got = sight(compass, magnetic, sighting).deviation_deg();
        assert!((got - deviation).abs() <= 1e-9, "{compass} {magnetic} {sighting:?}: {got}, not {deviation}");
    }
}

/// The eight-heading swing of the *Handbook of Magnetic Compass Adjustment* (NGA 2004), figure 501, as bearings.
#[test]
fn the_handbooks_swing() {
    let deviations = [10.5, 20.0, 11.5, -1.2, -5.5, -8.0, -12.5, -6.8];
    let sights: Vec<Sight> = deviations
        .iter()
        .enumerate()
        .map(|(at, deviation)| {
            let compass = 45.0 * at as f64;
            let object = 77.0;
            sight(compass, object, Sighting::Relative((object - compass - deviation).rem_euclid(360.0)))
        })
        .collect();
    let card = card(&sights, 0.0, &Limits::default()).unwrap();
    // Least squares of the same eight points, computed apart.
    for (got, want) in card.coefficients.0.iter().zip([1.0, 11.9397, 7.9598, 5.0, 1.5]) {
        assert!((got - want).abs() <= 0.0001, "{got}, not {want}");
    }
    assert_eq!(card.verdict, Verdict::Usable, "{:?}", card.reasons);
    assert!(card.reasons[0].contains("deviation up to 20"), "{:?}", card.reasons);
}

/// Published variances of a harmonic fit: with 8 even steps var A = s^2 / 8, others s^2 / 4, the curve
/// 5 s^2 / 8 at every heading; common errors go into A whole.
#[test]
fn the_sigmas_of_even_steps() {
    let sights: Vec<Sight> = (0..8)
        .map(|at| Sight { sigma_deg: 0.8, ..sight(45.0 * f64::from(at), 45.0 * f64::from(at), Sighting::Ahead) })
        .collect();
    let card = card(&sights, 0.4, &Limits::default()).unwrap();
    // The sights lie on the curve exactly: the estimate alone, weighed with three freedoms of no scatter.
    let variance = 0.64 * 5.0 / 8.0;
    assert!((card.covariance[0][0] - (variance / 8.0 + 0.16)).abs() <= 1e-9);
    assert!((card.covariance[1][1] - variance / 4.0).abs() <= 1e-9);
    for heading in [0.0, 33.0, 271.5] {
        let (deviation, sigma) = card.deviation(heading);
        assert!(deviation.abs() <= 1e-9 && (sigma - (variance * 5.0 / 8.0 + 0.16).sqrt()).abs() <= 1e-9);
    }
}

/// Seeded noise with a common error: two sigma hold the truth as often as they say.
#[test]
fn two_sigma_hold_the_truth() {
    let mut state = 0x1234_5678_9abc_def0_u64;
    let mut even = move || {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (state >> 11) as f64 / (1_u64 << 53) as f64
    };
    let mut normal = move || (0..12).map(|_| even()).sum::<f64>() - 6.0;
    let (mut held, mut asked) = (0, 0);
    for _ in 0..1500 {
        let truth = Coefficients([normal(), 3.0 * normal(), 3.0 * normal(), normal(), normal()]);
        let common = 0.5 * normal();
        let sights: Vec<Sight> = (0..8)
            .map(|at| {
                let compass = 45.0 * f64::from(at);
                let relative = 200.0 - compass - truth.deviation(compass) + common + 0.7 * normal();
                sight(compass, 200.0, Sighting::Relative(relative))
            })
            .collect();
        let card = card(&sights, 0.5, &Limits::default()).unwrap();
        for heading in [0.0, 70.0, 160.0, 250.0] {
            let (deviation, sigma) = card.deviation(heading);
            held += u32::from((deviation - truth.deviation(heading)).abs() <= 2.0 * sigma);
            asked += 1;
        }
    }
    let part = f64::from(held) / f64::from(asked);
    assert!((0.93..=0.97).contains(&part), "{part}");
}

#[test]
fn too_little_is_refused_and_gaps_and_slips_are_told() {
    let ahead = |heading: f64| sight(heading, heading, Sighting::Ahead);
    let few: Vec<Sight> = [0.0, 90.0, 180.0, 270.0].map(ahead).into();
    assert_eq!(card(&few, 0.3, &Limits::default()).unwrap_err(), NoCard::TooFew { sights: 4 });
    let half: Vec<Sight> = [0.0, 30.0, 60.0, 90.0, 120.0, 150.0, 180.0].map(ahead).into();
    let found = card(&half, 0.3, &Limits::default()).unwrap();
    assert_eq!(found.verdict, Verdict::NotUsable);
    assert!(found.reasons.iter().any(|r| r.contains("between compass 180 and 000")), "{:?}", found.reasons);
    let mut slip: Vec<Sight> = (0..12).map(|at| ahead(30.0 * f64::from(at))).collect();
    slip[4].magnetic_deg += 10.0;
    let found = card(&slip, 0.3, &Limits::default()).unwrap();
    assert!(found.reasons.iter().any(|r| r.contains("the sight on compass 120")), "{:?}", found.reasons);
}
