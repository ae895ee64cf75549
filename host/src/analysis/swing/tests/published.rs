//! Published swings and formulas, through the path of steady legs.

use super::boat::Boat;
use super::boat::ripple;

/// Handbook of Magnetic Compass Adjustment, NGA, Bethesda 2004, chapter V, figure 501: deviation on
/// eight compass headings.
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

/// Legs of two minutes on the eight compass headings, in a current.
#[test]
fn the_handbooks_eight_headings_as_steady_legs() {
    let mut collector = crate::analysis::swing::Collector::new();
    let mut t = 0.0;
    for (at, (compass, deviation)) in HANDBOOK.into_iter().enumerate() {
        let (sin, cos) = (compass + deviation - 3.0_f64).to_radians().sin_cos();
        for second in 0..135_usize {
            collector.heading(t, compass);
            let noise = |shift: usize| 0.05 * ripple(137 * at + second / 3 + shift);
            collector.ground(t + 0.5, 2.5 * cos + 0.25 + noise(0), 2.5 * sin + 0.1 + noise(911));
            t += 1.0;
        }
        for step in 0..15 {
            collector.heading(t, (compass + 3.0 * f64::from(step)).rem_euclid(360.0));
            t += 1.0;
        }
    }
    let settings = crate::analysis::swing::Settings { variation_deg: -3.0, ..Default::default() };
    let found = crate::analysis::swing::analyse(&collector.finish(), &settings).unwrap();
    let c = found.coefficients;
    // Least squares of the eight printed deviations (a separate calculation): the legs must give the
    // same, but for the quarter of a degree that the current leaves to B and C.
    for (term, expected, tolerance) in
        [(c.a, 1.0, 0.12), (c.b, 11.9397, 0.25), (c.c, 7.9598, 0.25), (c.d, 5.0, 0.12), (c.e, 1.5, 0.12)]
    {
        assert!((term.deg - expected).abs() <= tolerance, "{expected}: {c:?}");
    }
    assert_eq!(found.lag_s, None, "nothing turned");
    assert!((found.drift_kn.value - 0.25_f64.hypot(0.1) / 0.514_444).abs() <= 0.05);
}

/// Variances of a harmonic fit of N equal steps: A s^2/N, D and E 2 s^2/N, covariances 0 (a standard
/// result of orthogonal functions; no page was at hand, computed apart). B and C share their evidence
/// with the current, whose two parts cost as much again: 4 s^2/N with the speed steady, and more as far as it is not known to be.
#[test]
fn variances_of_equal_steps() {
    let mut boat = Boat::both();
    boat.deviation = |_| 0.0;
    boat.current_mps = (0.0, 0.0);
    boat.ground_error = |at| (0.15 * ripple(at), 0.15 * ripple(at + 500));
    boat.legs = (0..12).flat_map(|_| [(135.0, 0.0), (10.0, 3.0)]).collect();
    let found = boat.swing().unwrap();
    let v = found.scatter_covariance;
    for (ratio, expected, tolerance) in
        [(v[3][3] / v[0][0], 2.0, 0.2), (v[4][4] / v[0][0], 2.0, 0.2), (v[1][1] / v[2][2], 1.0, 0.2)]
    {
        assert!((ratio - expected).abs() <= tolerance, "{ratio} is not {expected}: {v:?}");
    }
    assert!(v[1][1] / v[0][0] >= 3.6 && v[1][1] / v[0][0] <= 7.0, "{}", v[1][1] / v[0][0]);
    for (i, j) in [(0, 1), (0, 3), (3, 4), (1, 2)] {
        assert!(v[i][j].abs() <= 0.12 * (v[i][i] * v[j][j]).sqrt(), "{i} {j}: {v:?}");
    }
}
