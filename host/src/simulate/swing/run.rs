//! The swing of an invented boat, step by step.

use std::collections::VecDeque;

use super::KNOT;
use super::Leg;
use super::Plan;
use crate::analysis::swing::Collector;
use crate::analysis::swing::Settings;
use crate::analysis::swing::Wind;
use crate::simulate::chance::Chance;
use crate::simulate::chance::Swing;
use crate::simulate::chance::Wander;
use crate::simulate::exact;

/// One step, seconds.
const STEP_S: f64 = 0.1;
/// The speed follows the turn, and the turn rate the helm, with these lags, seconds.
const SPEED_SETTLES_S: f64 = 8.0;
const HELM_SETTLES_S: f64 = 1.5;
/// On a straight leg the helm brings the heading back with this part of the error a second.
const HELM_PER_S: f64 = 0.15;

/// What the boat's gear made of a [`Plan`].
#[derive(Clone, Debug, PartialEq)]
pub struct Log {
    /// The truth.
    pub plan: Plan,
    /// Time in seconds and raw compass heading in degrees, as rounded on the wire.
    pub headings: Vec<(f64, f64)>,
    /// Time in seconds, speed over the ground in m/s and course in degrees true, as rounded on the wire.
    pub ground: Vec<(f64, f64, f64)>,
}

/// The boat under way.
struct Boat<'a> {
    plan: &'a Plan,
    true_deg: f64,
    /// True heading with yaw, as the drift angle and the sensor's damping leave it.
    course_deg: f64,
    damped_deg: f64,
    rate_dps: f64,
    speed_mps: f64,
    yaw: Swing,
    helm: Wander,
    wander: Wander,
    receiver: [Wander; 2],
    white: Chance,
    /// Velocities on their way through the receiver.
    delayed: VecDeque<[f64; 2]>,
}

impl Plan {
    /// Makes the log.
    pub fn run(&self) -> Log {
        let mut boat = Boat::new(self);
        let mut log = Log { plan: self.clone(), headings: Vec::new(), ground: Vec::new() };
        let mut at = 0_u32;
        for leg in &self.legs {
            let mut left = match leg {
                Leg::Straight(seconds) => *seconds,
                Leg::Turn(degrees) => degrees.abs(),
            };
            let ordered = boat.true_deg;
            while left > 0.0 {
                let wanted = match leg {
                    Leg::Straight(_) => HELM_PER_S * (ordered - boat.true_deg),
                    Leg::Turn(degrees) => degrees.signum() * self.turn_rate_dps * (1.0 + boat.helm.value),
                };
                let before = boat.true_deg;
                boat.step(wanted, matches!(leg, Leg::Turn(_)));
                left -= match leg {
                    Leg::Straight(_) => STEP_S,
                    Leg::Turn(degrees) => (boat.true_deg - before) * degrees.signum(),
                };
                boat.report(at, &mut log);
                at += 1;
            }
        }
        log
    }
}

impl<'a> Boat<'a> {
    fn new(plan: &'a Plan) -> Self {
        let stream = |n| Chance::new(plan.seed, n);
        let wander = |n| Wander::new(stream(n), plan.receiver_wander_mps, plan.receiver_memory_s, STEP_S);
        let start = plan.start_true_deg;
        Self {
            plan,
            true_deg: start,
            course_deg: start,
            damped_deg: start,
            rate_dps: 0.0,
            speed_mps: plan.speed_mps,
            yaw: Swing::new(stream(101), plan.yaw_deg, plan.yaw_period_s, STEP_S),
            helm: Wander::new(stream(102), 0.08, 20.0, STEP_S),
            wander: Wander::new(stream(103), plan.speed_wander, 40.0, STEP_S),
            receiver: [wander(104), wander(105)],
            white: stream(106),
            delayed: VecDeque::new(),
        }
    }

    fn step(&mut self, wanted_dps: f64, turning: bool) {
        let plan = self.plan;
        self.helm.step();
        self.rate_dps += (wanted_dps - self.rate_dps) * STEP_S / HELM_SETTLES_S;
        self.true_deg += self.rate_dps * STEP_S;
        let heading = self.true_deg + self.yaw.step();
        // Exact over a step for a heading that changes evenly, so that a steady turn lags by its lag.
        let follow = |value: &mut f64, lag: f64| {
            *value = heading - (heading - *value) * exact::exp(-STEP_S / lag.max(0.01));
        };
        follow(&mut self.course_deg, plan.drift_angle_s);
        follow(&mut self.damped_deg, plan.damping_s);
        let aim = plan.speed_mps * if turning { 1.0 - plan.turn_loss } else { 1.0 };
        self.speed_mps += (aim - self.speed_mps) * STEP_S / SPEED_SETTLES_S;
        let speed = self.speed_mps * (1.0 + self.wander.step());
        let leeway = plan.leeway_deg * exact::sin_cos(self.course_deg - plan.wind_from_deg).0;
        let (sin, cos) = exact::sin_cos(self.course_deg + leeway);
        let truth = [speed * cos + plan.current_mps[0], speed * sin + plan.current_mps[1]];
        self.delayed.push_back(truth);
        self.receiver.iter_mut().for_each(|wander| {
            wander.step();
        });
    }

    /// What sensor and receiver say at step `at`, where it is their turn.
    fn report(&mut self, at: u32, log: &mut Log) {
        let plan = self.plan;
        let t_s = f64::from(at + 1) * STEP_S;
        if at.is_multiple_of(10 / plan.heading_hz.clamp(1, 10)) {
            let magnetic = self.damped_deg - plan.variation_true_deg;
            // The compass reads the C of C + deviation(C) = magnetic.
            let mut compass = magnetic;
            for _ in 0..40 {
                compass = magnetic - plan.deviation(compass);
            }
            let raw = compass + plan.heading_error_deg * self.white.normal();
            let step = plan.heading_step_deg;
            // Tenths first, so that 359.97 becomes 0 and not 360.
            let heading = ((raw / step).round() * step).rem_euclid(360.0);
            log.headings.push((t_s, if heading > 359.95 { 0.0 } else { heading }));
        }
        let delay = (plan.receiver_delay_s / STEP_S).round() as usize;
        while self.delayed.len() > delay + 1 {
            self.delayed.pop_front();
        }
        if at % 10 == 4 && self.delayed.len() == delay + 1 {
            let mut error = |axis: usize| self.receiver[axis].value + plan.receiver_white_mps * self.white.normal();
            let (north, east) = (self.delayed[0][0] + error(0), self.delayed[0][1] + error(1));
            let knots = (100.0 * north.hypot(east) / KNOT).round() / 100.0;
            let course = ((exact::direction(north, east) * 10.0).round() / 10.0).rem_euclid(360.0);
            log.ground.push((t_s, knots * KNOT, course));
        }
    }
}

impl Log {
    /// Plays the log to a collector, in order of time.
    pub fn play(&self, collector: &mut Collector) {
        let mut ground = self.ground.iter().peekable();
        for &(t_s, compass_deg) in &self.headings {
            while let Some(&(t, speed, course)) = ground.next_if(|(t, ..)| *t <= t_s) {
                collector.course(t, speed, course);
            }
            collector.heading(t_s, compass_deg);
        }
        ground.for_each(|&(t, speed, course)| collector.course(t, speed, course));
    }

    /// What the owner knows beside the log.
    pub fn settings(&self) -> Settings {
        Settings {
            variation_deg: self.plan.variation_told_deg,
            variation_sigma_deg: self.plan.variation_sigma_deg,
            wind: self
                .plan
                .wind_told_mps
                .map(|speed_mps| Wind { speed_mps, from_true_deg: Some(self.plan.wind_from_deg) }),
            ..Settings::default()
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::simulate::swing::Case;

    /// A boat without errors: in the steady part of a turn the course lags by the lag of the plan.
    #[test]
    fn the_lag_is_as_planned() {
        for seed in 0..6 {
            let mut plan = Plan::drawn(seed, Case::PortOnly);
            plan.coefficients = [0.0; 5];
            plan.variation_true_deg = 0.0;
            plan.current_mps = [0.0; 2];
            (plan.yaw_deg, plan.heading_error_deg, plan.leeway_deg) = (0.0, 0.0, 0.0);
            (plan.receiver_white_mps, plan.receiver_wander_mps, plan.heading_step_deg) = (0.0, 0.0, 0.1);
            plan.heading_hz = 10;
            let log = plan.run();
            let (t, _, course) = log.ground[log.ground.len() / 2];
            let at = |t: f64| log.headings.iter().find(|(s, _)| (s - t).abs() < 0.01).unwrap().1;
            let behind = exact::fold(course - at(t)) / plan.turn_rate_dps;
            // To port the heading falls, so a course behind it is higher. The helm's rate wanders by 8 %.
            assert!((behind - plan.lag_s()).abs() <= 0.25 + 0.2 * plan.lag_s().abs(), "{behind} {}", plan.lag_s());
        }
    }

    #[test]
    fn the_same_seed_makes_the_same_log() {
        let run = |seed| Plan::drawn(seed, Case::Both).run();
        assert_eq!(run(7), run(7));
        assert!(run(7) != run(8));
        let log = run(7);
        assert!(log.headings.iter().all(|(_, h)| (0.0..360.0).contains(h)));
    }
}
