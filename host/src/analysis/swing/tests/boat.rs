//! A boat without chance: exact headings and velocities, to which a test adds what it is about.

use crate::analysis::swing::Collector;
use crate::analysis::swing::Refusal;
use crate::analysis::swing::Settings;
use crate::analysis::swing::Swing;
use crate::analysis::swing::analyse;

/// The boat's truth.
#[derive(Clone)]
pub(super) struct Boat {
    /// Deviation in degrees of the compass heading in degrees.
    pub(super) deviation: fn(f64) -> f64,
    pub(super) variation_deg: f64,
    pub(super) speed_mps: f64,
    pub(super) current_mps: (f64, f64),
    pub(super) lag_s: f64,
    /// Seconds and degrees a second of each stretch.
    pub(super) legs: Vec<(f64, f64)>,
    /// Added to the heading sample of a number, degrees, by the sense of the turn.
    pub(super) heading_error: fn(usize, f64) -> f64,
    /// Added to the velocity sample of a number, m/s.
    pub(super) ground_error: fn(usize) -> (f64, f64),
    /// Whether the velocity sample of a number is there.
    pub(super) ground_there: fn(usize) -> bool,
}

/// Small changes without chance: a fixed quarrel of three sines, of sigma 1 or so.
pub(super) fn ripple(at: usize) -> f64 {
    let x = at as f64;
    0.8 * ((x * 2.399_963).sin() + (x * 4.1 + 1.0).sin() + (x * 0.77 + 2.0).sin())
}

pub(super) fn five_terms(compass_deg: f64) -> f64 {
    let c = compass_deg.to_radians();
    1.0 + 5.0 * c.sin() - 3.0 * c.cos() + 1.5 * (2.0 * c).sin() - 0.5 * (2.0 * c).cos()
}

impl Boat {
    pub(super) fn both() -> Self {
        Self {
            deviation: five_terms,
            variation_deg: 4.0,
            speed_mps: 2.5,
            current_mps: (0.3, -0.4),
            lag_s: 1.0,
            legs: vec![(70.0, 0.0), (150.0, -2.5), (70.0, 0.0), (150.0, 2.5), (70.0, 0.0)],
            heading_error: |at, _| 0.2 * ripple(at + 1000),
            ground_error: |at| (0.03 * ripple(at), 0.03 * ripple(at + 500)),
            ground_there: |_| true,
        }
    }

    /// True heading and turn rate at a time, by the legs.
    fn way(&self, t: f64) -> (f64, f64) {
        let (mut heading, mut left) = (20.0, t);
        for &(time, rate) in &self.legs {
            if left < time {
                return (heading + rate * left, rate);
            }
            heading += rate * time;
            left -= time;
        }
        (heading, 0.0)
    }

    /// The compass heading of a true one: the C of C + deviation(C) + variation = true.
    fn compass(&self, true_deg: f64) -> f64 {
        let mut c = true_deg - self.variation_deg;
        for _ in 0..60 {
            c = true_deg - self.variation_deg - (self.deviation)(c);
        }
        c
    }

    pub(super) fn play(&self, collector: &mut Collector) {
        let end: f64 = self.legs.iter().map(|(time, _)| time).sum();
        for second in 0..end as usize {
            let t = second as f64;
            let (heading, rate) = self.way(t);
            let error = (self.heading_error)(second, rate);
            collector.heading(t, (self.compass(heading) + error).rem_euclid(360.0));
            if (self.ground_there)(second) {
                let at = t + 0.4;
                let (sin, cos) = self.way(at - self.lag_s).0.to_radians().sin_cos();
                let (north, east) = (self.ground_error)(second);
                let v = (self.speed_mps * cos + self.current_mps.0, self.speed_mps * sin + self.current_mps.1);
                collector.ground(at, v.0 + north, v.1 + east);
            }
        }
    }

    pub(super) fn settings(&self) -> Settings {
        Settings { variation_deg: self.variation_deg, ..Settings::default() }
    }

    pub(super) fn swing(&self) -> Result<Swing, Refusal> {
        let mut collector = Collector::new();
        self.play(&mut collector);
        analyse(&collector.finish(), &self.settings())
    }

    /// Rms over 36 headings of the card less the truth, degrees.
    pub(super) fn error(&self, found: &Swing) -> f64 {
        let square =
            |row: &crate::analysis::swing::CardRow| (row.deviation_deg - (self.deviation)(row.compass_deg)).powi(2);
        (found.card.iter().map(square).sum::<f64>() / found.card.len() as f64).sqrt()
    }
}

#[test]
fn both_circles_give_all_that_was_put_in() {
    let boat = Boat::both();
    let found = boat.swing().unwrap();
    assert!(boat.error(&found) <= 0.3, "{} {found:?}", boat.error(&found));
    assert_eq!((found.circles.port, found.circles.starboard), (1, 1));
    assert!((found.speed_kn.value - 2.5 / 0.514_444).abs() <= 0.1);
    assert!((found.drift_kn.value - 0.5 / 0.514_444).abs() <= 0.06, "{:?}", found.drift_kn);
    assert!((found.set_deg.unwrap().value - 306.87).abs() <= 6.0, "{:?}", found.set_deg);
    let lag = found.lag_s.unwrap();
    assert!((lag.value - 1.0).abs() <= 0.15 && lag.sigma <= 0.2, "{lag:?}");
    assert_eq!(found.sectors_covered, 36);
    assert!(found.variation.deg == 4.0 && found.residual_rms_deg > 0.1 && found.residual_rms_deg < 2.0);
}

#[test]
fn spikes_and_gaps_do_little() {
    let mut boat = Boat::both();
    let clean = boat.swing().unwrap();
    boat.heading_error = |at, _| if at % 41 == 7 { 140.0 } else { 0.2 * ripple(at + 1000) };
    boat.ground_error = |at| if at % 53 == 11 { (6.0, -9.0) } else { (0.03 * ripple(at), 0.03 * ripple(at + 500)) };
    boat.ground_there = |at| !(120..135).contains(&at) && at % 17 != 3;
    let found = boat.swing().unwrap();
    let differ: f64 =
        clean.card.iter().zip(&found.card).map(|(a, b)| (a.deviation_deg - b.deviation_deg).powi(2)).sum();
    assert!((differ / 36.0).sqrt() <= 0.25, "{}", (differ / 36.0).sqrt());
}

#[test]
fn whole_degrees_are_good_enough() {
    let mut boat = Boat::both();
    boat.heading_error = |_, _| 0.0;
    let mut collector = Collector::new();
    boat.play(&mut collector);
    let exact = analyse(&collector.finish(), &boat.settings()).unwrap();
    let mut collector = Collector::new();
    // The same log again, its headings rounded.
    for second in 0..500_usize {
        let t = second as f64;
        collector.heading(t, boat.compass(boat.way(t).0).round().rem_euclid(360.0));
        let (sin, cos) = boat.way(t + 0.4 - boat.lag_s).0.to_radians().sin_cos();
        let (north, east) = (boat.ground_error)(second);
        collector.ground(t + 0.4, 2.5 * cos + 0.3 + north, 2.5 * sin - 0.4 + east);
    }
    let rounded = analyse(&collector.finish(), &boat.settings()).unwrap();
    assert!((boat.error(&exact) - boat.error(&rounded)).abs() <= 0.1);
}

#[test]
fn two_logs_pool_with_a_current_each_and_a_sharper_card() {
    let one = Boat::both();
    let mut other = Boat::both();
    other.current_mps = (-0.2, 0.5);
    other.speed_mps = 2.2;
    let single = one.swing().unwrap();
    let mut collector = Collector::new();
    one.play(&mut collector);
    collector.next_log();
    other.play(&mut collector);
    let pooled = analyse(&collector.finish(), &one.settings()).unwrap();
    assert_eq!((pooled.circles.port, pooled.circles.starboard), (2, 2));
    assert_eq!(pooled.currents.len(), 2);
    for (current, truth) in pooled.currents.iter().zip([(0.3, -0.4), (-0.2, 0.5)]) {
        assert!((current.flow_mps[0] - truth.0).abs() <= 0.05 && (current.flow_mps[1] - truth.1).abs() <= 0.05);
    }
    assert!(pooled.scatter_covariance[1][1] < 0.8 * single.scatter_covariance[1][1]);
    assert!(one.error(&pooled) <= 0.3);
}

#[test]
fn one_way_only_leaves_a_open_and_says_so() {
    let mut boat = Boat::both();
    boat.legs = vec![(150.0, -2.5)];
    boat.lag_s = 2.5;
    let found = boat.swing().unwrap();
    let a = found.coefficients.a;
    assert!((a.deg - 1.0).abs() <= 2.0 * a.sigma_deg, "{a:?}");
    // The bar: no larger than 1.3 x turn rate x prior spread of the lag; and it cannot be much smaller.
    assert!(a.sigma_deg <= 1.3 * 2.5 * 1.44 && a.sigma_deg >= 0.8 * 2.5 * 1.44, "{a:?}");
    // B to E do not suffer from it.
    assert!(found.coefficients.d.sigma_deg <= 0.5 && (found.coefficients.d.deg - 1.5).abs() <= 0.6);
    boat.legs = vec![(70.0, 0.0), (150.0, -2.5), (70.0, 0.0)];
    let better = boat.swing().unwrap();
    assert!(better.coefficients.a.sigma_deg <= 0.5 * a.sigma_deg, "a straight minute helps: {better:?}");
    assert!(better.reasons.iter().any(|reason| reason.contains("circles to port only")));
}

/// The keys of the JSON of `swing`, but for those that only the caller knows.
#[test]
fn serialized_it_has_the_keys_of_the_contract() {
    let found = Boat::both().swing().unwrap();
    let json = serde_json::to_value(&found).unwrap();
    let keys: Vec<&str> = json.as_object().unwrap().keys().map(String::as_str).collect();
    let expected = [
        "circles",
        "sectors_covered",
        "coefficients",
        "card",
        "greatest_deviation",
        "residual_rms_deg",
        "speed_kn",
        "set_deg",
        "drift_kn",
        "lag_s",
        "variation",
        "verdict",
        "reasons",
    ];
    assert_eq!(keys, expected);
    assert_eq!(json["card"].as_array().unwrap().len(), 36);
    assert_eq!(json["card"][9]["compass_deg"], 90.0);
    assert!(json["coefficients"]["E"]["sigma_deg"].as_f64().unwrap() > 0.0);
    assert_eq!((&json["verdict"], &json["circles"]["port"]), (&"good".into(), &1.into()));
}
