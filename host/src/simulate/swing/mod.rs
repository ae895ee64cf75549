//! An invented boat that swings her compass, with a known truth.
//!
//! ```text
//! plan -> turn rate -> heading -> course through the water (drift angle: a first-order lag)
//!                         |             + leeway, x speed, + current -> receiver (delay, errors)
//!                         +-> + yaw -> compass that deviates -> sensor (damping, errors, rounding)
//! ```
//!
//! The lag of course behind heading is not put in as such: it comes from drift angle, the receiver's
//! delay and the sensor's damping, as on a real boat.
//!
//! ```
//! use lubber::analysis::swing::{Collector, analyse};
//! use lubber::simulate::swing::{Case, Plan};
//!
//! let plan = Plan::drawn(1, Case::Both);
//! let log = plan.run();
//! let mut collector = Collector::new();
//! log.play(&mut collector);
//! let found = analyse(&collector.finish(), &log.settings())?;
//! for row in &found.card {
//!     assert!((row.deviation_deg - plan.deviation(row.compass_deg)).abs() <= 4.0 * row.sigma_deg);
//! }
//! # Ok::<(), lubber::analysis::swing::Refusal>(())
//! ```

mod run;
#[cfg(test)]
mod tests;
mod write;

pub use run::Log;

use super::chance::Chance;
use super::exact;

/// One knot in metres per second.
pub const KNOT: f64 = 1852.0 / 3600.0;

/// What the boat does.
#[derive(Clone, Debug, PartialEq)]
pub enum Leg {
    /// Runs straight for so many seconds.
    Straight(f64),
    /// Turns by so many degrees, starboard plus.
    Turn(f64),
}

/// Kinds of swing a benchmark asks for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Case {
    /// One circle each way, a straight minute before each, a calm.
    Both,
    /// One circle each way without straight running between.
    BothOnly,
    /// One circle to port, a straight minute before and after.
    Port,
    /// One circle to port and nothing beside it.
    PortOnly,
    /// 225 degrees each way.
    Arcs,
    /// Both circles in a seaway: more yaw, a worse receiver, a coarser sensor.
    Noisy,
    /// Both circles with some 8 knots of wind, the boat told of it.
    Wind,
    /// Eight steady legs of two minutes.
    Legs,
}

/// The boat, her gear, the water and what she does: everything that is true.
#[derive(Clone, Debug, PartialEq)]
pub struct Plan {
    /// Fixes every draw.
    pub seed: u64,
    /// What she does, in order.
    pub legs: Vec<Leg>,
    /// True heading at the start, degrees.
    pub start_true_deg: f64,
    /// A to E, degrees.
    pub coefficients: [f64; 5],
    /// The variation that really is, degrees, east plus.
    pub variation_true_deg: f64,
    /// The variation she is told.
    pub variation_told_deg: f64,
    /// Its sigma, from which its error was drawn.
    pub variation_sigma_deg: f64,
    /// Speed through the water when straight, m/s.
    pub speed_mps: f64,
    /// Part of it lost in a turn.
    pub turn_loss: f64,
    /// Its wander: part of the speed, one sigma, with a memory of 40 s.
    pub speed_wander: f64,
    /// Current north and east, m/s.
    pub current_mps: [f64; 2],
    /// Turn rate, degrees a second.
    pub turn_rate_dps: f64,
    /// Drift angle as a lag, seconds; the yaw goes through it too.
    pub drift_angle_s: f64,
    /// Delay of the receiver, seconds.
    pub receiver_delay_s: f64,
    /// Damping of the sensor, seconds.
    pub damping_s: f64,
    /// Leeway with the wind on the beam, degrees, to leeward plus.
    pub leeway_deg: f64,
    /// Where the wind comes from, degrees true.
    pub wind_from_deg: f64,
    /// True wind she is told, m/s.
    pub wind_told_mps: Option<f64>,
    /// Yaw, degrees rms, and its period in seconds.
    pub yaw_deg: f64,
    /// Period of the yaw, seconds.
    pub yaw_period_s: f64,
    /// White error of one heading sample, degrees.
    pub heading_error_deg: f64,
    /// Last digit of the heading, degrees: 1 or 0.1.
    pub heading_step_deg: f64,
    /// Headings a second: 1 or 10.
    pub heading_hz: u32,
    /// White error of the receiver's velocity, m/s in each of north and east.
    pub receiver_white_mps: f64,
    /// Its wandering error, m/s in each.
    pub receiver_wander_mps: f64,
    /// The memory of that, seconds.
    pub receiver_memory_s: f64,
}

impl Plan {
    /// A boat drawn at random for a case: deviation up to 15 degrees, current up to 1.5 knots, 3 to 6
    /// knots, lag -2 to +3 s, turning at 1.5 to 4 degrees a second.
    pub fn drawn(seed: u64, case: Case) -> Self {
        let mut chance = Chance::new(seed, 100);
        let mut between = |low: f64, high: f64| low + (high - low) * chance.fraction();
        let noisy = case == Case::Noisy;
        let (speed_mps, turn_rate_dps) = (between(3.0, 6.0) * KNOT, between(1.5, 4.0));
        let (drift, set) = (between(0.0, 1.5) * KNOT, between(0.0, 360.0));
        let (sin, cos) = exact::sin_cos(set);
        let lag = between(-2.0, 3.0);
        let drift_angle_s = between(0.3, 1.0);
        let small = between(0.0, 0.3);
        let rest = lag - drift_angle_s;
        let (receiver_delay_s, damping_s) = if rest >= 0.0 { (rest + small, small) } else { (small, small - rest) };
        let (wind_from_deg, start_true_deg) = (between(0.0, 360.0), between(0.0, 360.0));
        let variation_told_deg = between(-15.0, 15.0);
        let yaw_period_s = between(3.0, 6.0);
        let turn_loss = between(0.03, 0.1);
        let (coarse, slow) = (between(0.0, 1.0) < 0.5, between(0.0, 1.0) < 0.5);
        let receiver_memory_s = between(1.0, 5.0);
        let greatest = between(1.0, 15.0);
        let circle = between(362.0, 385.0);
        let mut mix =
            [between(-0.3, 0.3), between(-1.0, 1.0), between(-1.0, 1.0), between(-0.4, 0.4), between(-0.3, 0.3)];
        let most = (0..360).map(|d| curve(&mix, f64::from(d)).abs()).fold(0.1, f64::max);
        mix.iter_mut().for_each(|c| *c *= greatest / most);
        let straight = 70.0;
        let legs = match case {
            Case::Both | Case::Noisy | Case::Wind => vec![
                Leg::Straight(straight),
                Leg::Turn(-circle),
                Leg::Straight(straight),
                Leg::Turn(circle),
                Leg::Straight(30.0),
            ],
            Case::BothOnly => vec![Leg::Turn(-circle), Leg::Turn(circle)],
            Case::Port => vec![Leg::Straight(straight), Leg::Turn(-circle), Leg::Straight(straight)],
            Case::PortOnly => vec![Leg::Turn(-circle)],
            Case::Arcs => vec![
                Leg::Straight(straight),
                Leg::Turn(-225.0),
                Leg::Straight(straight),
                Leg::Turn(225.0),
                Leg::Straight(straight),
            ],
            Case::Legs => {
                (0..8).flat_map(|at| [Leg::Turn(if at == 0 { 0.0 } else { 45.0 }), Leg::Straight(120.0)]).collect()
            }
        };
        let variation_sigma_deg = 0.35;
        let wind_told_mps = (case == Case::Wind).then(|| between(6.0, 10.0) * KNOT);
        let wind_sigma = wind_told_mps.map_or(CALM_SIGMA_DEG, |wind| WIND_SIGMA_DEG * wind / speed_mps);
        let yaw_deg = if noisy { between(2.0, 3.5) } else { between(0.5, 1.5) };
        Self {
            seed,
            legs,
            start_true_deg,
            coefficients: mix,
            variation_true_deg: variation_told_deg + variation_sigma_deg * chance.normal(),
            variation_told_deg,
            variation_sigma_deg,
            speed_mps,
            turn_loss,
            speed_wander: if noisy { 0.02 } else { 0.005 },
            current_mps: [drift * cos, drift * sin],
            turn_rate_dps,
            drift_angle_s,
            receiver_delay_s,
            damping_s,
            leeway_deg: wind_sigma * chance.normal(),
            wind_from_deg,
            wind_told_mps,
            yaw_deg,
            yaw_period_s,
            heading_error_deg: if noisy { 1.0 } else { 0.3 },
            heading_step_deg: if coarse { 1.0 } else { 0.1 },
            heading_hz: if slow { 1 } else { 10 },
            // North and east together 0.05 m/s rms, what receivers are sold with; a tenth of its power wanders.
            receiver_white_mps: if noisy { 0.064 } else { 0.034 },
            receiver_wander_mps: if noisy { 0.03 } else { 0.01 },
            receiver_memory_s,
        }
    }

    /// The true deviation on a COMPASS heading, degrees, east plus.
    pub fn deviation(&self, compass_deg: f64) -> f64 {
        curve(&self.coefficients, compass_deg)
    }

    /// How long course lags behind heading in a steady turn, seconds.
    pub fn lag_s(&self) -> f64 {
        self.drift_angle_s + self.receiver_delay_s - self.damping_s
    }
}

/// What the wind may have done in a calm, degrees of amplitude, and per (wind / speed) in a wind: the
/// defaults the analysis assumes.
const CALM_SIGMA_DEG: f64 = 0.15;
const WIND_SIGMA_DEG: f64 = 1.0;

/// The five-term curve in degrees.
fn curve(c: &[f64; 5], compass_deg: f64) -> f64 {
    let ((sin, cos), (sin2, cos2)) = (exact::sin_cos(compass_deg), exact::sin_cos(2.0 * compass_deg));
    c[0] + c[1] * sin + c[2] * cos + c[3] * sin2 + c[4] * cos2
}
