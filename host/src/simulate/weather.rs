//! Wind, stream and sea.

use super::chance::Chance;
use super::chance::Swing;
use super::chance::Wander;
use super::exact;
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
    /// The sea's yaw, in degrees.
    pub(crate) yaw_deg: f64,
    /// How fast the sea moves the receiver's antenna to starboard.
    pub(crate) sway_mps: f64,
    /// The wind over the ground: towards where, how fast.
    pub(crate) wind: Vector,
    /// The wind's direction, from where, degrees true.
    pub(crate) wind_from_deg: f64,
    /// The current.
    pub(crate) current: Vector,
}

/// How fast the antenna sways for each degree of yaw: the sea that yaws her rolls her as well.
const SWAY_MPS_PER_DEG: f64 = 0.08;

/// The part of the yaw asked for that the sea makes itself. The pilot answers the waves too late and
/// adds the rest: measured on the default boat, and held by a test of the whole.
const SEA_SHARE: f64 = 0.86;

impl Weather {
    pub(crate) fn new(waters: Waters, seed: u64, step_s: f64) -> Self {
        let chance = |stream| Chance::new(seed, stream);
        let (yaw, period) = (waters.yaw_rms_deg, waters.wave_period_s);
        let drift = |stream| Wander::new(chance(stream), waters.drift_wander_kn * KNOT, 3600.0, step_s);
        let mut weather = Self {
            waters,
            yaw: Swing::new(chance(1), yaw * SEA_SHARE, period, step_s),
            sway: Swing::new(chance(2), yaw * SWAY_MPS_PER_DEG, period, step_s),
            gusts: Wander::new(chance(3), 0.1, 60.0, step_s),
            shifts: Wander::new(chance(4), 4.0, 300.0, step_s),
            stream: [drift(5), drift(6)],
            yaw_deg: 0.0,
            sway_mps: 0.0,
            wind: Vector::default(),
            wind_from_deg: 0.0,
            current: Vector::default(),
        };
        weather.step();
        weather
    }

    pub(crate) fn step(&mut self) {
        self.yaw_deg = self.yaw.step();
        self.sway_mps = self.sway.step();
        self.wind_from_deg = self.waters.wind_from_deg + self.shifts.step();
        let force = (1.0 + self.gusts.step()).max(0.0) * self.waters.wind_kn * KNOT;
        self.wind = Vector::towards(self.wind_from_deg + 180.0, force);
        let [north, east] = &mut self.stream;
        let wander = Vector { north: north.step(), east: east.step() };
        self.current = Vector::towards(self.waters.set_deg, self.waters.drift_kn * KNOT) + wander;
    }
}
