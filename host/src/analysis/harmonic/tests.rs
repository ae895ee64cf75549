//! The fit against published swings, and the drawing against what it promises.

use super::*;

fn points(rows: &[(f64, f64)]) -> Vec<Point> {
    rows.iter().map(|&(compass_deg, deviation_deg)| Point { compass_deg, deviation_deg }).collect()
}

fn near(got: &[f64], want: &[f64], tolerance: f64) {
    assert_eq!(got.len(), want.len());
    for (got_one, want_one) in got.iter().zip(want) {
        assert!((got_one - want_one).abs() <= tolerance, "{got:?}, not {want:?}");
    }
}

/// Handbook of Magnetic Compass Adjustment (NGA, 2004), art. 501, data of figure 501.
const HANDBOOK: [(f64, f64); 8] = [
    (0.0, 10.5),
    (45.0, 20.0),
    (90.0, 11.5),
    (135.0, -1.2),
    (180.0, -5.5),
    (225.0, -8.0),
    (270.0, -12.5),
    (315.0, -6.8),
];

#[test]
fn the_handbook_swing() {
    let fit = fit(&points(&HANDBOOK)).unwrap();
    // Least squares of the published data, computed independently with numpy.
    near(&fit.coefficients.0, &[1.0, 11.9397, 7.9598, 5.0, 1.5], 6e-5);
    near(&fit.residuals, &[0.040, -0.071, 0.060, -0.014, -0.040, 0.071, -0.060, 0.014], 6e-4);
    assert!((fit.sigma_deg.unwrap() - 0.084).abs() <= 6e-4, "{:?}", fit.sigma_deg);
    assert_eq!(fit.determined, [true; 5]);
    // The handbook's own formulas, A = sum / 8 to E = ((N+S) - (E+W)) / 4, give 1, 12, 8, 5, 1.5.
    near(&fit.coefficients.0, &[1.0, 12.0, 8.0, 5.0, 1.5], 0.07);
}

#[test]
fn the_twelve_heading_gyro_swing() {
    // USCG deck examination question (readings from seatrials.net): psc and deviation derived from pgc,
    // gyro error 2 W, variation 8 W. Coefficients and residuals computed independently with numpy.
    let swing = points(&[
        (30.5, -0.5),
        (61.5, -1.5),
        (92.0, -2.0),
        (122.5, -2.5),
        (152.0, -2.0),
        (181.0, -1.0),
        (210.0, 0.0),
        (239.5, 0.5),
        (269.0, 1.0),
        (298.0, 2.0),
        (327.5, 2.5),
        (358.5, 1.5),
    ]);
    let fit = fit(&swing).unwrap();
    near(&fit.coefficients.0, &[-0.1666, -1.8583, 1.2126, -0.2022, 0.3340], 6e-5);
    let want = [-0.420, 0.073, 0.385, -0.157, -0.245, 0.020, 0.296, 0.020, -0.329, -0.024, 0.321, 0.062];
    near(&fit.residuals, &want, 6e-4);
    assert!((fit.sigma_deg.unwrap() - 0.3204).abs() <= 6e-5);
}

#[test]
fn three_worksheets_of_soft_iron_only() {
    // Aircraft compass compensation worksheets Q1 to Q3 (pdfslide.us, pdfcoffee.com): (magnetic, compass)
    // of the check swings, whole degrees. Coefficients and s computed independently with numpy.
    type Swing = ([(f64, f64); 8], [f64; 5], f64);
    let swings: [Swing; 3] = [
        (
            [
                (317., 316.),
                (360., 358.),
                (47., 42.),
                (93., 89.),
                (135., 134.),
                (179., 177.),
                (225., 220.),
                (273., 269.),
            ],
            [3.062, -0.024, -0.021, 2.072, -0.874],
            0.037,
        ),
        (
            [(318., 316.), (1., 0.), (49., 47.), (92., 89.), (137., 135.), (182., 181.), (229., 227.), (276., 273.)],
            [1.987, -0.006, 0.006, -0.043, -1.000],
            0.024,
        ),
        (
            [
                (317., 316.),
                (360., 358.),
                (48., 47.),
                (89., 89.),
                (136., 135.),
                (183., 181.),
                (224., 223.),
                (270., 270.),
            ],
            [0.996, 0.031, 0.019, 0.009, 1.000],
            0.042,
        ),
    ];
    for (readings, coefficients, sigma) in swings {
        let rows: Vec<(f64, f64)> = readings.iter().map(|&(magnetic, compass)| (compass, magnetic - compass)).collect();
        let fit = fit(&points(&rows)).unwrap();
        near(&fit.coefficients.0, &coefficients, 6e-4);
        assert!((fit.sigma_deg.unwrap() - sigma).abs() <= 6e-4, "{:?}", fit.sigma_deg);
    }
}

#[test]
fn the_inverse_of_the_handbook_curve() {
    // Fixed point C = M - deviation(C) with A 1, B 12, C 8, D 5, E 1.5: computed independently.
    let curve = Coefficients([1.0, 12.0, 8.0, 5.0, 1.5]);
    for (magnetic, compass, deviation) in [
        (0.0, 352.486, 7.514),
        (45.0, 26.576, 18.424),
        (90.0, 73.843, 16.157),
        (135.0, 136.448, -1.448),
        (180.0, 185.693, -5.693),
        (225.0, 234.134, -9.134),
        (270.0, 282.458, -12.458),
        (315.0, 320.187, -5.187),
    ] {
        assert!((curve.deviation(compass) - deviation).abs() <= 0.001);
        assert!(apart(compass + curve.deviation(compass), magnetic) <= 0.001);
    }
}

#[test]
fn which_terms_the_points_determine() {
    let on = |headings: &[f64]| -> Vec<Point> {
        let curve = Coefficients([1.0, 2.0, -1.5, 0.7, 0.4]);
        headings.iter().map(|&c| Point { compass_deg: c, deviation_deg: curve.deviation(c) }).collect()
    };
    let determined = |headings: &[f64]| fit(&on(headings)).map(|fit| fit.determined);
    assert_eq!(determined(&[0.0, 120.0, 240.0]), Some([true, true, true, false, false]));
    assert_eq!(determined(&[0.0, 90.0, 180.0, 270.0]), Some([true, true, true, false, true]));
    assert_eq!(determined(&[45.0, 135.0, 225.0, 315.0]), Some([true, true, true, true, false]));
    assert_eq!(determined(&[0.0, 72.0, 144.0, 216.0, 288.0]), Some([true; 5]));
    // A fifth point beside a cardinal one says almost nothing of D.
    assert_eq!(determined(&[0.0, 3.0, 90.0, 180.0, 270.0]), Some([true, true, true, false, true]));
    // An arc of 40 degrees cannot even tell A from C.
    assert_eq!(determined(&[0.0, 10.0, 20.0, 30.0, 40.0]), None);
    assert_eq!(determined(&[0.0, 180.0]), None);
    // Where all five are determined and the points lie on a curve, it is found.
    let found = fit(&on(&[0.0, 72.0, 144.0, 216.0, 288.0])).unwrap();
    near(&found.coefficients.0, &[1.0, 2.0, -1.5, 0.7, 0.4], 1e-9);
    assert_eq!(found.sigma_deg, None);
}

#[test]
fn straight_lines_between_eight_points_err_by_two_degrees_and_between_72_by_three_hundredths() {
    let curve = Coefficients([1.0, 12.0, 8.0, 5.0, 1.5]);
    let worst = |every: usize| {
        let card: Vec<Point> = (0..360)
            .step_by(every)
            .map(|c| Point { compass_deg: c as f64, deviation_deg: curve.deviation(c as f64) })
            .collect();
        (0..3600)
            .map(|tenth| tenth as f64 / 10.0)
            .map(|c| (straight(&card, c) - curve.deviation(c)).abs())
            .fold(0.0, f64::max)
    };
    // The design figures, on the handbook's curve: 2.3 and 0.03 degrees.
    assert!((worst(45) - 2.3).abs() <= 0.05, "{}", worst(45));
    assert!((worst(5) - 0.03).abs() <= 0.005, "{}", worst(5));
}

#[test]
fn a_drawn_card_has_72_points_and_passes_through_every_one_of_the_owners() {
    let odd: Vec<(f64, f64)> =
        vec![(30.5, -0.5), (61.5, 4.0), (62.5, -2.0), (152.0, -2.0), (210.0, 0.0), (269.0, 1.0), (327.5, 2.5)];
    for own in [points(&HANDBOOK), points(&odd)] {
        let drawn = draw(&own);
        assert!(matches!(drawn.how, How::FiveTerm(_)), "{:?}", drawn.how);
        assert_eq!(drawn.points.len(), FULL);
        assert!(drawn.points.windows(2).all(|pair| pair[0].compass_deg < pair[1].compass_deg));
        for point in &own {
            assert!((straight(&drawn.points, point.compass_deg) - point.deviation_deg).abs() < 1e-12);
        }
        // Never more than two steps of the grid between neighbours.
        assert!(widest_gap(&drawn.points).unwrap().2 <= 10.0);
    }
}

#[test]
fn between_the_points_a_drawn_card_follows_the_curve() {
    let curve = Coefficients([1.0, 12.0, 8.0, 5.0, 1.5]);
    let exact: Vec<Point> =
        (0..8).map(|i| i as f64 * 45.0).map(|c| Point { compass_deg: c, deviation_deg: curve.deviation(c) }).collect();
    let drawn = draw(&exact);
    let worst = (0..3600)
        .map(|tenth| tenth as f64 / 10.0)
        .map(|c| (straight(&drawn.points, c) - curve.deviation(c)).abs())
        .fold(0.0, f64::max);
    assert!(worst > 0.0 && worst <= 0.035, "{worst}");
}

#[test]
fn when_lines_are_drawn_instead() {
    let how = |headings: &[f64]| {
        draw(&headings.iter().map(|&c| Point { compass_deg: c, deviation_deg: 1.0 }).collect::<Vec<_>>()).how
    };
    let every = |step: f64| -> Vec<f64> { (0..(360.0 / step) as usize).map(|i| i as f64 * step).collect() };
    assert_eq!(how(&every(90.0)), How::Straight(Straight::TooFew(4)));
    assert_eq!(how(&every(10.0)), How::Straight(Straight::Dense(36)));
    assert!(matches!(how(&every(15.0)), How::FiveTerm(_)));
    assert_eq!(
        how(&[0.0, 45.0, 90.0, 135.0, 180.0, 225.0]),
        How::Straight(Straight::Gap { from_deg: 225.0, to_deg: 0.0 })
    );
    assert_eq!(how(&[0.0, 3.0, 90.0, 180.0, 270.0]), How::Straight(Straight::Bunched));
    // A dense card with a hole says that it has a hole.
    let hole: Vec<f64> = (0..26).map(|i| i as f64 * 10.0).collect();
    assert_eq!(how(&hole), How::Straight(Straight::Gap { from_deg: 250.0, to_deg: 0.0 }));
}
