//! The boat in the water: how she answers her rudder, how fast she goes, where she slides.
//!
//! Turning by Nomoto's first-order model, `T r' + r = K delta`: K. Nomoto, T. Taguchi, K. Honda,
//! S. Hirano, *On the steering qualities of ships*, International Shipbuilding Progress 4 (35),
//! 1957 (from memory). K grows and T shrinks with the speed, as both are non-dimensional by it.

use super::chance::Chance;
use super::chance::Wander;
use super::exact;
use super::ramp::Ramp;
use super::settings::Boat;
use super::weather::KNOT;
use super::weather::Vector;
use super::weather::Weather;

/// The speed at which K and T are given.
const REFERENCE_MPS: f64 = 6.0 * KNOT;

/// How fast a rudder that nobody holds trails amidships, in degrees a second. Chosen.
const TRAILING_DPS: f64 = 2.0;

/// How long she takes to gather or lose way, in seconds. Chosen.
const WAY_S: f64 = 8.0;

/// She spills her wind beyond this heel, in degrees. Chosen.
const MOST_HEEL_DEG: f64 = 40.0;

/// How long her track through the water lags behind her heading in a turn, in seconds: the drift
/// angle is the turn rate times this. Chosen.
const TRACK_LAG_S: f64 = 0.8;

/// What moves the rudder.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Drive {
    /// The drive turns it to so many degrees.
    Holds(f64),
    /// Nobody holds it: it trails.
    Free,
    /// It is jammed.
    Stuck,
    /// The drive turns the quadrant to so many degrees, and the rudder is not on it any more.
    Parted(f64),
}

/// The hull and its rudder.
#[derive(Clone, Debug)]
pub(crate) struct Hull {
    boat: Boat,
    step_s: f64,
    waves_on_rudder: Wander,
    puffs: Wander,
    /// Heading without the sea's yaw, degrees true, counted on through north.
    steady_deg: f64,
    /// Turn rate without the sea's yaw, degrees a second.
    turn_dps: f64,
    track_deg: f64,
    /// Heading, degrees true, counted on through north.
    pub(crate) heading_deg: f64,
    /// The rudder, starboard plus, in degrees.
    pub(crate) rudder_deg: f64,
    /// The quadrant the drive moves and the rudder sensor sits on: the rudder's angle while they hold together.
    pub(crate) quadrant_deg: f64,
    /// How far she heels, starboard down plus, in degrees.
    pub(crate) heel_deg: f64,
    /// Her speed off the wind, in knots.
    pub(crate) speed_kn: Ramp,
    /// Speed through the water.
    pub(crate) speed_mps: f64,
    /// Velocity over the ground.
    pub(crate) over_ground: Vector,
}

impl Hull {
    pub(crate) fn new(boat: Boat, heading_deg: f64, seed: u64, step_s: f64) -> Self {
        Self {
            boat,
            step_s,
            waves_on_rudder: Wander::new(Chance::new(seed, 10), 0.35, 12.0, step_s),
            puffs: Wander::new(Chance::new(seed, 11), 0.03, 25.0, step_s),
            steady_deg: heading_deg,
            turn_dps: 0.0,
            track_deg: heading_deg,
            heading_deg,
            rudder_deg: 0.0,
            quadrant_deg: 0.0,
            heel_deg: 0.0,
            speed_kn: Ramp::new(boat.speed_kn, step_s),
            speed_mps: boat.speed_kn * KNOT,
            over_ground: Vector::default(),
        }
    }

    /// One step on.
    pub(crate) fn step(&mut self, drive: Drive, weather: &Weather) {
        let step = self.step_s;
        let limit = self.boat.rudder_limit_deg;
        let driven = |order: f64| (order.clamp(-limit, limit), self.boat.rudder_rate_dps);
        let trailing = (0.0, TRAILING_DPS);
        let (quadrant, rudder) = match drive {
            Drive::Holds(order) => (driven(order), driven(order)),
            Drive::Free => (trailing, trailing),
            Drive::Stuck => ((self.quadrant_deg, 0.0), (self.rudder_deg, 0.0)),
            Drive::Parted(order) => (driven(order), trailing),
        };
        let moved = |from: f64, (wanted, rate): (f64, f64)| from + (wanted - from).clamp(-rate * step, rate * step);
        (self.quadrant_deg, self.rudder_deg) = (moved(self.quadrant_deg, quadrant), moved(self.rudder_deg, rudder));

        // From where the wind blows, seen from the bow: starboard plus. Weather helm turns her to
        // it and dies with the wind ahead.
        let wind_deg = exact::fold(weather.wind_from_deg - self.steady_deg);
        let (abeam, ahead) = exact::sin_cos(wind_deg);
        // What a gust does to heel, helm and leeway alike.
        let press = 1.0 + self.boat.gust_response * (weather.pressure - 1.0);
        self.heel_deg = (-self.boat.heel_deg * abeam * press).clamp(-MOST_HEEL_DEG, MOST_HEEL_DEG);
        let helm = self.boat.weather_helm_deg * abeam * press + self.waves_on_rudder.step();

        let way = (self.speed_mps / REFERENCE_MPS).max(0.05);
        let (k, t) = (self.boat.nomoto_k * way, self.boat.nomoto_t_s / way);
        let settled = k * (self.rudder_deg + helm);
        self.turn_dps = settled + (self.turn_dps - settled) * (1.0 - step / t).max(0.0);
        self.steady_deg += self.turn_dps * step;
        self.heading_deg = self.steady_deg + weather.yaw_deg;

        // Close to the wind, and in a hard turn, she loses way: full off 50 degrees, less than half
        // with the wind ahead.
        let drawing = if ahead <= 0.64 { 1.0 } else { 1.0 - 0.6 * (ahead - 0.64) / 0.36 };
        let turning = 1.0 - 0.03 * self.turn_dps.abs().min(10.0);
        let target = self.speed_kn.step() * KNOT * drawing * turning * (1.0 + self.puffs.step());
        self.speed_mps += (target.max(0.0) - self.speed_mps) * step / WAY_S;

        self.track_deg += (self.steady_deg - self.track_deg) * step / TRACK_LAG_S;
        let to_leeward = -self.boat.leeway_deg * abeam * press;
        self.over_ground = Vector::towards(self.track_deg + to_leeward, self.speed_mps) + weather.current;
    }

    /// Angle of the apparent wind in degrees, starboard plus, and its speed.
    pub(crate) fn apparent_wind(&self, weather: &Weather) -> (f64, f64) {
        let felt = Vector {
            north: self.over_ground.north - weather.wind.north,
            east: self.over_ground.east - weather.wind.east,
        };
        (exact::fold(felt.direction() - self.heading_deg), felt.length())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::simulate::settings::Waters;

    fn still() -> Weather {
        let waters = Waters { yaw_rms_deg: 0.0, drift_wander_kn: 0.0, wind_kn: 0.0, ..Waters::default() };
        Weather::new(waters, 1, 0.1)
    }

    /// The closed form of the model for a step of the rudder: `psi = K d (t - T (1 - e^(-t/T)))`.
    #[test]
    fn she_turns_as_the_model_says() {
        let boat = Boat { weather_helm_deg: 0.0, rudder_rate_dps: 60.0, leeway_deg: 0.0, ..Boat::default() };
        let mut hull = Hull::new(boat, 90.0, 3, 0.01);
        hull.waves_on_rudder = Wander::new(Chance::new(1, 1), 0.0, 1.0, 0.01);
        hull.rudder_deg = 5.0;
        let weather = still();
        for _ in 0..1000 {
            hull.speed_mps = REFERENCE_MPS;
            hull.step(Drive::Holds(5.0), &weather);
        }
        let (k, t, time) = (boat.nomoto_k, boat.nomoto_t_s, 10.0);
        let expected = k * 5.0 * (time - t * (1.0 - (-time / t).exp()));
        assert!((hull.steady_deg - 90.0 - expected).abs() <= 0.05, "{} and {expected}", hull.steady_deg - 90.0);
    }

    #[test]
    fn let_go_she_turns_to_the_wind() {
        let weather = still();
        let mut hull = Hull::new(Boat::default(), weather.wind_from_deg - 90.0, 3, 0.1);
        for _ in 0..200 {
            hull.step(Drive::Free, &weather);
        }
        let turned = hull.steady_deg - (weather.wind_from_deg - 90.0);
        assert!((10.0..=45.0).contains(&turned), "{turned}");
    }

    #[test]
    fn the_wind_is_felt_from_ahead_when_there_is_none() {
        let weather = still();
        let mut hull = Hull::new(Boat { leeway_deg: 0.0, ..Boat::default() }, 40.0, 3, 0.1);
        hull.over_ground = Vector::towards(40.0, 3.0);
        let (angle, speed) = hull.apparent_wind(&weather);
        assert!(angle.abs() <= 1e-9 && (speed - 3.0).abs() <= 1e-9, "{angle} {speed}");
    }

    #[test]
    fn a_parted_rudder_trails_and_a_jammed_one_stays() {
        let weather = still();
        let mut hull = Hull::new(Boat::default(), 90.0, 3, 0.1);
        let run = |hull: &mut Hull, drive| (0..100).for_each(|_| hull.step(drive, &weather));
        run(&mut hull, Drive::Holds(8.0));
        run(&mut hull, Drive::Stuck);
        assert_eq!((hull.rudder_deg, hull.quadrant_deg), (8.0, 8.0));
        run(&mut hull, Drive::Parted(-12.0));
        assert_eq!((hull.rudder_deg, hull.quadrant_deg), (0.0, -12.0));
    }

    #[test]
    fn gusts_press_her_to_leeward_on_either_tack() {
        let boat = Boat { heel_deg: 12.0, gust_response: 1.0, ..Boat::default() };
        let mut weather = still();
        weather.pressure = 1.5;
        for (abeam, heel) in [(-90.0, -18.0), (90.0, 18.0)] {
            let mut hull = Hull::new(boat, weather.wind_from_deg + abeam, 3, 0.1);
            hull.step(Drive::Stuck, &weather);
            assert!((hull.heel_deg - heel).abs() <= 0.1, "{abeam}: {}", hull.heel_deg);
        }
    }
}
