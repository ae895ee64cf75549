//! The true wind during a swing, from whatever the line says of it.

use crate::analysis::swing::Wind;

/// The mean of the wind.
#[derive(Clone, Debug, Default)]
pub(super) struct WindLog {
    compass: Option<f64>,
    variation: f64,
    /// Velocity over the ground, m/s north and east.
    boat: Option<(f64, f64)>,
    /// Wind over the water by its angle on the bow, wind felt on board, wind by north: each as sums of
    /// its north and east parts, of its speed, and count. They are not mixed: one instrument sends all.
    sums: [(f64, f64, f64, u64); 3],
}

impl WindLog {
    /// The heading, compass: deviation hardly turns the mean of a wind.
    pub(super) fn heading(&mut self, compass_deg: f64) {
        self.compass = Some(compass_deg);
    }

    /// The variation.
    pub(super) fn variation(&mut self, degrees: f64) {
        self.variation = degrees;
    }

    /// The boat's velocity over the ground.
    pub(super) fn boat(&mut self, speed_mps: f64, course_true_deg: f64) {
        let (sin, cos) = course_true_deg.to_radians().sin_cos();
        self.boat = Some((speed_mps * cos, speed_mps * sin));
    }

    /// A wind against the bow: `felt` on board, or over the water.
    pub(super) fn bow(&mut self, angle_deg: f64, felt: bool, speed_mps: f64) {
        let Some(compass) = self.compass else { return };
        let from = compass + self.variation + angle_deg;
        let (sin, cos) = from.to_radians().sin_cos();
        let (mut north, mut east) = (speed_mps * cos, speed_mps * sin);
        if felt {
            // What is felt blows from where the boat goes, besides: her own speed is taken out.
            let Some((boat_north, boat_east)) = self.boat else { return };
            (north, east) = (north - boat_north, east - boat_east);
        }
        self.add(usize::from(felt), north, east);
    }

    /// A wind against north.
    pub(super) fn north(&mut self, from_true_deg: f64, speed_mps: f64) {
        let (sin, cos) = from_true_deg.to_radians().sin_cos();
        self.add(2, speed_mps * cos, speed_mps * sin);
    }

    fn add(&mut self, kind: usize, north: f64, east: f64) {
        let sum = &mut self.sums[kind];
        *sum = (sum.0 + north, sum.1 + east, sum.2 + north.hypot(east), sum.3 + 1);
    }

    /// The mean true wind; `None` where too little of it was heard.
    pub(super) fn mean(&self) -> Option<Wind> {
        // The wind by north and the wind over the water are made on board with more care than ours.
        let sum = [2, 0, 1].into_iter().map(|kind| self.sums[kind]).find(|sum| sum.3 >= LEAST)?;
        let (north, east, speed, count) = (sum.0, sum.1, sum.2, sum.3 as f64);
        // A direction is known where the wind did not box the compass.
        let from = (north.hypot(east) > 0.5 * speed).then(|| east.atan2(north).to_degrees().rem_euclid(360.0));
        Some(Wind { speed_mps: speed / count, from_true_deg: from })
    }
}

/// So many sentences of wind are the least that count.
const LEAST: u64 = 30;

#[cfg(test)]
mod tests {
    use super::*;

    /// She circles at 5 m/s in a wind of 4 m/s from 250: by hand, whatever her heading.
    #[test]
    fn the_wind_felt_in_a_circle_is_the_wind() {
        let mut log = WindLog::default();
        log.variation(-3.0);
        for heading in (0..360).step_by(3).map(f64::from) {
            let part = |from: f64, speed: f64| {
                let (sin, cos) = from.to_radians().sin_cos();
                (speed * cos, speed * sin)
            };
            let (wind, boat) = (part(250.0, 4.0), part(heading, 5.0));
            let felt = (wind.0 + boat.0, wind.1 + boat.1);
            let from = felt.1.atan2(felt.0).to_degrees();
            log.heading(heading + 3.0);
            log.boat(5.0, heading);
            log.bow((from - heading).rem_euclid(360.0), true, felt.0.hypot(felt.1));
        }
        let mean = log.mean().unwrap();
        assert!((mean.speed_mps - 4.0).abs() <= 1e-6, "{mean:?}");
        assert!((mean.from_true_deg.unwrap() - 250.0).abs() <= 1e-6, "{mean:?}");
    }

    #[test]
    fn a_little_wind_is_none_and_a_shifting_one_has_no_direction() {
        let mut log = WindLog::default();
        (0..20).for_each(|_| log.north(100.0, 3.0));
        assert!(log.mean().is_none());
        (0..20).for_each(|_| log.north(280.0, 3.0));
        let mean = log.mean().unwrap();
        assert_eq!((mean.speed_mps.round(), mean.from_true_deg), (3.0, None));
    }
}
