//! How the course was kept: heading against order, minute by minute, summed up.
//!
//! A compass that goes false under a pilot reads on course all the while. So what was kept by a heading
//! while an alert stood that says it lies, stands still or is gone is counted apart, and nobody is praised
//! for it.

use super::gather::Watch;
use crate::journal::Minute;
use crate::view::Stamp;

/// The alerts that say that the heading is not to be believed.
const DOUBTS: [&str; 3] = ["heading-disagreement", "heading-lost", "heading-frozen"];

/// How the course was kept over some minutes.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Keeping {
    pub(super) minutes: usize,
    /// Seconds with heading and order, in minutes whose heading nothing was said against.
    pub(super) judged_s: i64,
    /// Seconds that would have been judged, had the heading not been doubted.
    pub(super) doubted_s: i64,
    pub(super) within_s: i64,
    off_sum: f64,
    off_squares: f64,
    yaw: (f64, f64),
    rudder: (f64, f64),
    travel: (f64, f64),
    speed: (f64, f64),
    /// Seconds looked at.
    pub(super) samples: i64,
    /// Of them with a heading.
    pub(super) headings: i64,
}

impl Watch {
    /// How the course was kept: over all, and by the hour of UTC, or of the watch where UTC is unknown.
    pub(super) fn keeping(&self) -> (Keeping, Vec<(Stamp, Keeping)>) {
        const HOUR: i64 = 3_600_000;
        let mut total = Keeping::default();
        let mut hours: Vec<(i64, Stamp, Keeping)> = Vec::new();
        let doubts = self.doubts();
        for minute in &self.minutes {
            let since = i64::try_from(minute.at.since_start_ms).unwrap_or(i64::MAX);
            let hour = minute.at.utc_ms.map_or(since / HOUR, |utc| utc.div_euclid(HOUR));
            if hours.last().is_none_or(|(last, ..)| *last != hour) {
                hours.push((hour, minute.at, Keeping::default()));
            }
            let doubted = is_doubted(minute, &doubts);
            if let Some((_, _, keeping)) = hours.last_mut() {
                keeping.add(minute, doubted);
            }
            total.add(minute, doubted);
        }
        (total, hours.into_iter().map(|(_, at, keeping)| (at, keeping)).collect())
    }

    /// From when to when something was said against the heading, milliseconds since the start.
    fn doubts(&self) -> Vec<(u64, u64)> {
        let episodes = self.episodes().into_iter().filter(|episode| DOUBTS.contains(&episode.alert.as_str()));
        let span = |over: Option<Stamp>| over.map_or(u64::MAX, |over| over.since_start_ms);
        episodes.map(|episode| (episode.raised.since_start_ms, span(episode.over))).collect()
    }
}

/// Whether any of the minute lies in a doubt: its means cannot be taken apart.
fn is_doubted(minute: &Minute, doubts: &[(u64, u64)]) -> bool {
    let from = minute.at.since_start_ms;
    let to = from.saturating_add(minute.samples.unsigned_abs() * 1000);
    doubts.iter().any(|(raised, over)| *raised < to && *over > from)
}

impl Keeping {
    /// Adds a minute; of one whose heading was `doubted` only what does not come from the heading.
    fn add(&mut self, minute: &Minute, doubted: bool) {
        self.minutes += 1;
        self.samples += minute.samples;
        self.headings += minute.headings;
        if doubted {
            self.doubted_s += minute.offs;
        }
        let offs = minute.offs as f64;
        if let (Some(mean), Some(rms), false) = (minute.off_mdeg, minute.off_rms_mdeg, doubted) {
            self.judged_s += minute.offs;
            self.within_s += minute.within;
            self.off_sum += offs * mean as f64;
            self.off_squares += offs * (rms as f64).powi(2);
        }
        let weigh = |sum: &mut (f64, f64), value: Option<f64>, weight: i64| {
            if let Some(value) = value {
                *sum = (sum.0 + value * weight as f64, sum.1 + weight as f64);
            }
        };
        weigh(&mut self.yaw, minute.yaw_mdeg.filter(|_| !doubted).map(|yaw| (yaw as f64).powi(2)), minute.headings);
        weigh(&mut self.rudder, minute.rudder_mdeg.map(|rudder| rudder as f64), minute.samples);
        weigh(&mut self.speed, minute.speed_mkn.map(|speed| speed as f64), minute.samples);
        if let Some(travel) = minute.travel_mdeg {
            self.travel = (self.travel.0 + travel as f64, self.travel.1 + minute.samples as f64);
        }
    }

    /// Mean of heading less order, degrees, starboard plus.
    pub(super) fn off_deg(&self) -> Option<f64> {
        (self.judged_s > 0).then(|| self.off_sum / self.judged_s as f64 / 1000.0)
    }

    /// Root mean square of the same, degrees.
    pub(super) fn off_rms_deg(&self) -> Option<f64> {
        (self.judged_s > 0).then(|| (self.off_squares / self.judged_s as f64).sqrt() / 1000.0)
    }

    /// Part of the time within the limit, 0 to 1.
    pub(super) fn within(&self) -> Option<f64> {
        (self.judged_s > 0).then(|| self.within_s as f64 / self.judged_s as f64)
    }

    /// Yaw within a minute, root mean square, degrees.
    pub(super) fn yaw_deg(&self) -> Option<f64> {
        (self.yaw.1 > 0.0).then(|| (self.yaw.0 / self.yaw.1).sqrt() / 1000.0)
    }

    /// Mean rudder, degrees, starboard plus.
    pub(super) fn rudder_deg(&self) -> Option<f64> {
        (self.rudder.1 > 0.0).then(|| self.rudder.0 / self.rudder.1 / 1000.0)
    }

    /// How far the rudder goes in a minute, degrees.
    pub(super) fn travel_deg_per_min(&self) -> Option<f64> {
        (self.travel.1 > 0.0).then(|| self.travel.0 / self.travel.1 * 60.0 / 1000.0)
    }

    /// Mean speed over the ground, knots.
    pub(super) fn speed_kn(&self) -> Option<f64> {
        (self.speed.1 > 0.0).then(|| self.speed.0 / self.speed.1 / 1000.0)
    }

    /// Distance over the ground, nautical miles, while a speed was known.
    pub(super) fn distance_nm(&self) -> Option<f64> {
        (self.speed.1 > 0.0).then(|| self.speed.0 / 1000.0 / 3600.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn minute(at_s: u64) -> Minute {
        let at = Stamp { utc_ms: None, since_start_ms: at_s * 1000 };
        let (off_mdeg, off_rms_mdeg, yaw_mdeg) = (Some(0), Some(0), Some(0));
        let speed_mkn = Some(6_000);
        Minute {
            at,
            samples: 60,
            headings: 60,
            offs: 60,
            within: 60,
            off_mdeg,
            off_rms_mdeg,
            yaw_mdeg,
            speed_mkn,
            ..Minute::default()
        }
    }

    #[test]
    fn a_heading_that_is_doubted_keeps_no_course_and_the_miles_stay() {
        let mut keeping = Keeping::default();
        let doubts = [(100_000, 130_000), (400_000, u64::MAX)];
        let doubted: Vec<bool> = (0..8).map(|n| is_doubted(&minute(n * 60), &doubts)).collect();
        assert_eq!(doubted, [false, true, true, false, false, false, true, true]);
        for (n, doubted) in (0..).zip(doubted) {
            keeping.add(&minute(n * 60), doubted);
        }
        assert_eq!((keeping.judged_s, keeping.doubted_s, keeping.within_s), (240, 240, 240));
        // By hand: eight minutes at 6 kn are 0.8 miles.
        assert!(keeping.distance_nm().is_some_and(|miles| (miles - 0.8).abs() < 1e-9), "{keeping:?}");
        let mut all = Keeping::default();
        all.add(&minute(0), true);
        assert_eq!((all.within(), all.off_deg(), all.yaw_deg()), (None, None, None));
    }
}
