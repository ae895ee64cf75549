//! The sensors and what is wrong with each: heading, satellite receiver, wind, log, rudder.

use super::chance::Chance;
use super::chance::Wander;
use super::exact;
use super::ramp::Ramp;
use super::settings::Gear;
use super::weather::Vector;

/// The heading sensor.
#[derive(Clone, Debug)]
pub(crate) struct Compass {
    deviation: [f64; 5],
    heel_error: f64,
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
    pub(crate) error: Ramp,
    /// What a magnet that the script brought near adds to B and C, in degrees.
    pub(crate) magnet: [Ramp; 2],
    /// The variation where she is, degrees east plus.
    pub(crate) variation_deg: f64,
    /// How far she heels, starboard down plus, in degrees.
    pub(crate) heel_deg: f64,
}

impl Compass {
    pub(crate) fn new(gear: &Gear, variation_deg: f64, heading_deg: f64, seed: u64, step_s: f64) -> Self {
        let mut compass = Self {
            deviation: gear.deviation,
            heel_error: gear.heel_error,
            lag_s: gear.heading_lag_s,
            step_s,
            noise: Wander::new(Chance::new(seed, 20), gear.heading_noise_deg, 0.5, step_s),
            drift: Wander::new(Chance::new(seed, 21), gear.heading_noise_deg, 900.0, step_s),
            damped_deg: 0.0,
            faultless_deg: heading_deg - variation_deg,
            reading_deg: 0.0,
            error: Ramp::new(0.0, step_s),
            magnet: [Ramp::new(0.0, step_s); 2],
            variation_deg,
            heel_deg: 0.0,
        };
        compass.damped_deg = compass.faultless(heading_deg);
        compass.step(heading_deg);
        compass
    }

    /// Deviation at a compass heading as she heels now, in degrees. What heel adds goes with the
    /// cosine: most on north and south, none on east and west.
    pub(crate) fn deviation(&self, compass_deg: f64) -> f64 {
        let [a, b, c, d, e] = self.deviation;
        let (b, c) = (b + self.magnet[0].value, c + self.magnet[1].value + self.heel_error * self.heel_deg);
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

    /// One step on, at a true heading counted on through north.
    pub(crate) fn step(&mut self, heading_deg: f64) {
        self.error.step();
        self.magnet.iter_mut().for_each(|part| _ = part.step());
        self.faultless_deg = self.faultless(heading_deg);
        let share = self.step_s / self.lag_s.max(self.step_s);
        self.damped_deg += (self.faultless_deg - self.damped_deg) * share;
        self.reading_deg = self.damped_deg + self.error.value + self.noise.step() + self.drift.step();
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
    /// How far its course is out, in degrees, by the script.
    pub(crate) error: Ramp,
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
            error: Ramp::new(0.0, step_s),
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
        let error = self.error.step();
        if error != 0.0 {
            self.velocity = Vector::towards(self.velocity.direction() + error, self.velocity.length());
        }
        self.out_by_m = Vector { north: self.walk[0].step(), east: self.walk[1].step() };
    }
}

/// The gyro that ROT comes from, where there is one.
#[derive(Clone, Debug)]
pub(crate) struct Gyro {
    noise: Wander,
    /// How far it is out by the script, in degrees a second.
    pub(crate) bias: Ramp,
    /// What it says, in degrees a second.
    pub(crate) says_dps: f64,
}

impl Gyro {
    pub(crate) fn new(gear: &Gear, seed: u64, step_s: f64) -> Self {
        let noise = Wander::new(Chance::new(seed, 51), gear.gyro_noise_dps, 0.3, step_s);
        Self { noise, bias: Ramp::new(0.0, step_s), says_dps: 0.0 }
    }

    /// One step on, the boat turning at `turn_dps`.
    pub(crate) fn step(&mut self, turn_dps: f64, stuck: bool) {
        let wrong = self.noise.step() + self.bias.step();
        if !stuck {
            self.says_dps = turn_dps + wrong;
        }
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
    fn a_magnet_and_heel_change_the_card() {
        let gear = Gear { heel_error: 0.2, ..quiet() };
        let mut compass = Compass::new(&gear, 0.0, 0.0, 1, 0.1);
        let before = [0.0, 90.0, 180.0].map(|heading| compass.deviation(heading));
        compass.magnet[0].run(4.0, 0);
        compass.magnet[1].run(-3.0, 0);
        compass.step(0.0);
        compass.heel_deg = 10.0;
        // By hand: B adds on east, C and 0.2 a degree of heel on north, and the other way on south.
        for ((heading, before), more) in [0.0, 90.0, 180.0].into_iter().zip(before).zip([-1.0, 4.0, 1.0]) {
            assert!((compass.deviation(heading) - before - more).abs() <= 1e-9, "{heading}");
        }
    }

    #[test]
    fn a_receiver_gone_wrong_turns_the_course_and_keeps_the_speed() {
        let mut receiver = Receiver::new(&quiet(), 1, 0.1);
        receiver.error.run(15.0, 0);
        receiver.step(Vector::towards(90.0, 3.0));
        let (course, speed) = (receiver.velocity.direction(), receiver.velocity.length());
        assert!((course - 105.0).abs() <= 1e-9 && (speed - 3.0).abs() <= 1e-9, "{course} {speed}");
    }
}
