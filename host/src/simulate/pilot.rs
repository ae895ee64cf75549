//! The pilot: turns the rudder by what its own heading sensor reads, and knows nothing else.

use super::exact;

/// What the pilot is told to do.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Demand {
    /// Keep this course by its own compass, in degrees.
    Course(f64),
    /// Keep the apparent wind, `felt_deg`, at `wanted_deg`; starboard plus.
    Wind { wanted_deg: f64, felt_deg: f64 },
}

/// A pilot with proportional, rate and slow integral action. Gains chosen: a quiet setting for a
/// seaway, critically damped on the default hull.
#[derive(Clone, Debug, Default)]
pub(crate) struct Pilot {
    trim_s: f64,
    /// For how long the error has been larger than that of a standing helm, in seconds.
    beyond_s: f64,
    before_deg: Option<f64>,
    turn_dps: f64,
    wind_deg: Option<f64>,
    standing_deg: f64,
    /// The rudder it orders, in degrees.
    pub(crate) rudder_deg: f64,
}

const PROPORTIONAL: f64 = 0.5;
const RATE_S: f64 = 0.6;
const INTEGRAL_PER_S: f64 = 0.012;
/// Beyond this error the integral stands, for a turn is no standing helm, unless the error stays.
const INTEGRAL_WITHIN_DEG: f64 = 8.0;
const STANDING_LIMIT_DEG: f64 = 10.0;
const ORDER_LIMIT_DEG: f64 = 20.0;
/// Smoothing of the turn rate and of the wind angle, in seconds.
const TURN_LAG_S: f64 = 0.4;
const WIND_LAG_S: f64 = 3.0;

impl Pilot {
    /// A pilot that takes an error for standing helm once it has stayed for `trim_s`.
    pub(crate) fn new(trim_s: f64) -> Self {
        Self { trim_s, ..Self::default() }
    }

    /// Orders rudder for one step. Without a heading it keeps the standing helm.
    pub(crate) fn step(&mut self, reading_deg: Option<f64>, demand: Demand, step_s: f64) {
        let Some(reading) = reading_deg else {
            self.before_deg = None;
            self.turn_dps = 0.0;
            self.rudder_deg = self.standing_deg;
            return;
        };
        if let Some(before) = self.before_deg.replace(reading) {
            let seen = exact::fold(reading - before) / step_s;
            self.turn_dps += (seen - self.turn_dps) * step_s / TURN_LAG_S;
        }
        let error = match demand {
            Demand::Course(course) => exact::fold(course - reading),
            Demand::Wind { wanted_deg, felt_deg } => {
                let before = self.wind_deg.unwrap_or(felt_deg);
                let smooth = exact::fold(before + exact::fold(felt_deg - before) * step_s / WIND_LAG_S);
                self.wind_deg = Some(smooth);
                exact::fold(smooth - wanted_deg)
            }
        };
        self.beyond_s = if error.abs() < INTEGRAL_WITHIN_DEG { 0.0 } else { self.beyond_s + step_s };
        if self.beyond_s == 0.0 || self.beyond_s > self.trim_s {
            self.standing_deg =
                (self.standing_deg + INTEGRAL_PER_S * error * step_s).clamp(-STANDING_LIMIT_DEG, STANDING_LIMIT_DEG);
        }
        self.rudder_deg = (PROPORTIONAL * error - RATE_S * self.turn_dps + self.standing_deg)
            .clamp(-ORDER_LIMIT_DEG, ORDER_LIMIT_DEG);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn it_turns_the_short_way_and_keeps_its_helm_without_a_heading() {
        let mut pilot = Pilot { standing_deg: -2.0, ..Pilot::new(90.0) };
        pilot.step(Some(350.0), Demand::Course(10.0), 0.1);
        assert!((pilot.rudder_deg - 8.0).abs() <= 1e-9, "{}", pilot.rudder_deg);
        pilot.step(None, Demand::Course(10.0), 0.1);
        assert!((pilot.rudder_deg + 2.0).abs() <= 1e-9, "{}", pilot.rudder_deg);
    }

    #[test]
    fn an_error_that_stays_is_trimmed_out() {
        let mut pilot = Pilot::new(20.0);
        let run = |pilot: &mut Pilot, seconds: u32| {
            (0..seconds * 10).for_each(|_| pilot.step(Some(100.0), Demand::Course(112.0), 0.1));
            pilot.standing_deg
        };
        assert!(run(&mut pilot, 19).abs() <= 1e-9);
        // 12 degrees for 10 s at 0.012 a second.
        assert!((run(&mut pilot, 11) - 1.44).abs() <= 0.02, "{}", pilot.standing_deg);
    }
}
