//! Wind, stream and sea.

use super::chance::Chance;
use super::chance::Swing;
use super::chance::Wander;
use super::exact;
use super::ramp::Ramp;
use super::settings::Waters;

/// Metres a second in a knot: 1852 m in 3600 s, by definition.
pub(crate) const KNOT: f64 = 1852.0 / 3600.0;

/// A horizontal vector, in metres a second unless said otherwise.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct Vector {
    pub(crate) north: f64,
    pub(crate) east: f64,
}

impl Vector {
    /// The vector of `length` towards `degrees`.
    pub(crate) fn towards(degrees: f64, length: f64) -> Self {
        let (sine, cosine) = exact::sin_cos(degrees);
        Self { north: length * cosine, east: length * sine }
    }

    /// Its direction in degrees, -180 to 180.
    pub(crate) fn direction(self) -> f64 {
        exact::direction(self.north, self.east)
    }

    /// Its length.
    pub(crate) fn length(self) -> f64 {
        (self.north * self.north + self.east * self.east).sqrt()
    }
}

impl std::ops::Add for Vector {
    type Output = Self;

    fn add(self, other: Self) -> Self {
        Self { north: self.north + other.north, east: self.east + other.east }
    }
}

/// The weather as it wanders. Strengths of the wandering: an ordinary night, chosen.
#[derive(Clone, Debug)]
pub(crate) struct Weather {
    waters: Waters,
    yaw: Swing,
    sway: Swing,
    gusts: Wander,
    shifts: Wander,
    stream: [Wander; 2],
    step_s: f64,
    /// How strong the sea is, as a part of what it was.
    sea: Ramp,
    /// The mean current, north and east.
    mean: [Ramp; 2],
    /// Where the tide is in its turn, in degrees.
    tide_deg: f64,
    squall: f64,
    /// The sea's yaw, in degrees.
    pub(crate) yaw_deg: f64,
    /// How fast the sea moves the receiver's antenna to starboard.
    pub(crate) sway_mps: f64,
    /// The wind over the ground: towards where, how fast.
    pub(crate) wind: Vector,
    /// The wind's direction, from where, degrees true.
    pub(crate) wind_from_deg: f64,
    /// What the wind presses with, as a part of its mean: the square of its speed.
    pub(crate) pressure: f64,
    /// The current.
    pub(crate) current: Vector,
}

/// How fast a squall comes and goes, in seconds. Chosen.
const SQUALL_S: f64 = 8.0;

/// From one high water to the next but one: the lunar half day, in seconds.
const TIDE_S: f64 = 44_714.0;

/// How rough a sea is made where there is none yet, so that it can grow; rms in degrees.
const FLAT_DEG: f64 = 1.0;

/// How fast the antenna sways for each degree of yaw: the sea that yaws her rolls her as well.
const SWAY_MPS_PER_DEG: f64 = 0.08;

/// The part of the yaw asked for that the sea makes itself. The pilot answers the waves too late and
/// adds the rest: measured on the default boat, and held by a test of the whole.
const SEA_SHARE: f64 = 0.86;

impl Weather {
    pub(crate) fn new(waters: Waters, seed: u64, step_s: f64) -> Self {
        let chance = |stream| Chance::new(seed, stream);
        let flat = waters.yaw_rms_deg == 0.0;
        let (yaw, period) = (if flat { FLAT_DEG } else { waters.yaw_rms_deg }, waters.wave_period_s);
        let mean = Vector::towards(waters.set_deg, waters.drift_kn * KNOT);
        let drift = |stream| Wander::new(chance(stream), waters.drift_wander_kn * KNOT, 3600.0, step_s);
        let mut weather = Self {
            waters,
            yaw: Swing::new(chance(1), yaw * SEA_SHARE, period, step_s),
            sway: Swing::new(chance(2), yaw * SWAY_MPS_PER_DEG, period, step_s),
            gusts: Wander::new(chance(3), waters.gust_rms, 60.0, step_s),
            shifts: Wander::new(chance(4), 4.0, 300.0, step_s),
            stream: [drift(5), drift(6)],
            step_s,
            sea: Ramp::new(if flat { 0.0 } else { 1.0 }, step_s),
            mean: [Ramp::new(mean.north, step_s), Ramp::new(mean.east, step_s)],
            tide_deg: waters.tide_phase_deg,
            squall: 1.0,
            yaw_deg: 0.0,
            sway_mps: 0.0,
            wind: Vector::default(),
            wind_from_deg: 0.0,
            pressure: 1.0,
            current: Vector::default(),
        };
        weather.step(1.0);
        weather
    }

    /// Makes the sea run to a yaw of `rms_deg`.
    pub(crate) fn sea_to(&mut self, rms_deg: f64, over_ms: u64) {
        let now = if self.waters.yaw_rms_deg == 0.0 { FLAT_DEG } else { self.waters.yaw_rms_deg };
        self.sea.run(rms_deg / now, over_ms);
    }

    /// Makes the mean current run to another.
    pub(crate) fn current_to(&mut self, set_deg: f64, drift_kn: f64, over_ms: u64) {
        let target = Vector::towards(set_deg, drift_kn * KNOT);
        self.mean[0].run(target.north, over_ms);
        self.mean[1].run(target.east, over_ms);
    }

    /// One step on, the wind by the script `squall` times as strong.
    pub(crate) fn step(&mut self, squall: f64) {
        let sea = self.sea.step();
        self.yaw_deg = self.yaw.step() * sea;
        self.sway_mps = self.sway.step() * sea;
        self.wind_from_deg = self.waters.wind_from_deg + self.shifts.step();
        self.squall += (squall - self.squall) * self.step_s / SQUALL_S;
        let force = (1.0 + self.gusts.step()).max(0.0) * self.squall;
        self.pressure = force * force;
        self.wind = Vector::towards(self.wind_from_deg + 180.0, force * self.waters.wind_kn * KNOT);
        let [north, east] = &mut self.stream;
        let wander = Vector { north: north.step(), east: east.step() };
        let mean = Vector { north: self.mean[0].step(), east: self.mean[1].step() };
        self.tide_deg += 360.0 * self.step_s / TIDE_S;
        let tide = self.waters.tide_kn * KNOT * exact::sin_cos(self.tide_deg).1;
        self.current = mean + wander + Vector::towards(self.waters.set_deg, tide);
    }
}
