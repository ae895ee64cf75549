//! The sensors and what is wrong with each: heading, satellite receiver, wind, log, rudder.

use super::chance::Chance;
use super::chance::Wander;
use super::exact;
use super::settings::Gear;
use super::weather::Vector;

/// The heading sensor.
#[derive(Clone, Debug)]
pub(crate) struct Compass {
    deviation: [f64; 5],
    variation_deg: f64,
    lag_s: f64,
    step_s: f64,
    noise: Wander,
    drift: Wander,
    damped_deg: f64,
    /// What a faultless sensor at this place would read, counted on through north.
    pub(crate) faultless_deg: f64,
    /// What it makes of that, counted on through north.
    pub(crate) reading_deg: f64,
    /// The error that the script has put on it, in degrees.
    pub(crate) error_deg: f64,
    target_deg: f64,
    error_dps: f64,
}

impl Compass {
    pub(crate) fn new(gear: &Gear, variation_deg: f64, heading_deg: f64, seed: u64, step_s: f64) -> Self {
        let mut compass = Self {
            deviation: gear.deviation,
            variation_deg,
            lag_s: gear.heading_lag_s,
            step_s,
            noise: Wander::new(Chance::new(seed, 20), gear.heading_noise_deg, 0.5, step_s),
            drift: Wander::new(Chance::new(seed, 21), gear.heading_noise_deg, 900.0, step_s),
            damped_deg: 0.0,
            faultless_deg: heading_deg - variation_deg,
            reading_deg: 0.0,
            error_deg: 0.0,
            target_deg: 0.0,
            error_dps: 0.0,
        };
        compass.damped_deg = compass.faultless(heading_deg);
        compass.step(heading_deg);
        compass
    }

    /// Deviation at a compass heading, in degrees.
    pub(crate) fn deviation(&self, compass_deg: f64) -> f64 {
        let [a, b, c, d, e] = self.deviation;
        let (sine, cosine) = exact::sin_cos(compass_deg);
        a + b * sine + c * cosine + d * 2.0 * sine * cosine + e * (cosine * cosine - sine * sine)
    }

    /// The compass heading of a true heading: `compass + deviation(compass) = true - variation`.
    fn faultless(&self, heading_deg: f64) -> f64 {
        let magnetic = heading_deg - self.variation_deg;
        let mut compass = self.faultless_deg;
        // Each round leaves at most the slope of the curve, 0.1 for the usual ones, of the error.
        for _ in 0..6 {
            compass = magnetic - self.deviation(compass);
        }
        compass
    }

    /// Makes the error run to `error_deg` within `over_ms`.
    pub(crate) fn go_wrong(&mut self, error_deg: f64, over_ms: u64) {
        self.target_deg = error_deg;
        self.error_dps = (error_deg - self.error_deg).abs() / (over_ms as f64 / 1000.0).max(self.step_s);
    }

    /// One step on, at a true heading counted on through north.
    pub(crate) fn step(&mut self, heading_deg: f64) {
        let most = self.error_dps * self.step_s;
        self.error_deg += (self.target_deg - self.error_deg).clamp(-most, most);
        self.faultless_deg = self.faultless(heading_deg);
        let share = self.step_s / self.lag_s.max(self.step_s);
        self.damped_deg += (self.faultless_deg - self.damped_deg) * share;
        self.reading_deg = self.damped_deg + self.error_deg + self.noise.step() + self.drift.step();
    }
}

/// The satellite receiver: where it believes to be, and how it believes to move.
#[derive(Clone, Debug)]
pub(crate) struct Receiver {
    lag_s: f64,
    step_s: f64,
    noise: [Wander; 2],
    walk: [Wander; 2],
    damped: Option<Vector>,
    /// Velocity over the ground, as it says.
    pub(crate) velocity: Vector,
    /// How far its position is out, in metres.
    pub(crate) out_by_m: Vector,
}

/// Error of the position, each component: 2.5 m rms that wanders within minutes. Chosen.
const WALK_M: f64 = 2.5;
const WALK_S: f64 = 300.0;

impl Receiver {
    pub(crate) fn new(gear: &Gear, seed: u64, step_s: f64) -> Self {
        let noise = |stream| Wander::new(Chance::new(seed, stream), gear.gps_noise_mps, 1.0, step_s);
        let walk = |stream| Wander::new(Chance::new(seed, stream), WALK_M, WALK_S, step_s);
        Self {
            lag_s: gear.gps_lag_s,
            step_s,
            noise: [noise(30), noise(31)],
            walk: [walk(32), walk(33)],
            damped: None,
            velocity: Vector::default(),
            out_by_m: Vector::default(),
        }
    }

    /// One step on, the antenna moving with `velocity`.
    pub(crate) fn step(&mut self, velocity: Vector) {
        let share = self.step_s / self.lag_s.max(self.step_s);
        let before = self.damped.unwrap_or(velocity);
        let damped = Vector {
            north: before.north + (velocity.north - before.north) * share,
            east: before.east + (velocity.east - before.east) * share,
        };
        self.damped = Some(damped);
        self.velocity = damped + Vector { north: self.noise[0].step(), east: self.noise[1].step() };
        self.out_by_m = Vector { north: self.walk[0].step(), east: self.walk[1].step() };
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::simulate::settings::Gear;

    fn quiet() -> Gear {
        Gear { heading_noise_deg: 0.0, gps_noise_mps: 0.0, ..Gear::default() }
    }

    #[test]
    fn a_faultless_reading_and_its_deviation_make_the_magnetic_heading() {
        let mut compass = Compass::new(&quiet(), 4.1, 0.0, 1, 0.1);
        for heading in -10..=730 {
            let heading = f64::from(heading);
            compass.step(heading);
            let magnetic = compass.faultless_deg + compass.deviation(compass.faultless_deg);
            assert!((magnetic + 4.1 - heading).abs() <= 1e-5, "{heading}");
        }
        // The deviation on compass north is A + C + E, by hand.
        assert!((compass.deviation(360.0) - (0.4 - 2.1 - 0.2)).abs() <= 1e-9);
    }

    #[test]
    fn an_error_arrives_when_it_should() {
        let mut compass = Compass::new(&quiet(), 0.0, 90.0, 1, 0.1);
        compass.go_wrong(-15.0, 20_000);
        for step in 1..=300 {
            compass.step(90.0);
            let expected = (-0.075 * f64::from(step)).max(-15.0);
            assert!((compass.error_deg - expected).abs() <= 1e-9, "{step}: {}", compass.error_deg);
        }
        compass.go_wrong(3.0, 0);
        compass.step(90.0);
        assert!((compass.error_deg - 3.0).abs() <= 1e-9);
    }
}
