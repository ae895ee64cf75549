//! One minute in the making: what the picture shows once a second becomes means and spreads.

use lubber_core::monitor::Monitor;
use lubber_core::picture::Referred;
use lubber_core::picture::Steering;
use lubber_core::time::Instant;

use crate::journal::Minute;
use crate::view::Stamp;

/// What the picture shows at one moment; only what is fresh.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Sample {
    /// The heading as sent, thousandths of a degree, and the letter of its reference.
    pub heading: Option<(i32, char)>,
    /// The same, true.
    pub truth: Option<i32>,
    /// The ordered heading and the letter of its reference.
    pub order: Option<(i32, char)>,
    /// How she is steered.
    pub steering: Option<&'static str>,
    /// Heading less order, starboard plus.
    pub off: Option<i32>,
    /// Speed over the ground, thousandths of a knot.
    pub speed: Option<i64>,
    /// Course over the ground, true.
    pub course: Option<i32>,
    /// Rudder, starboard plus.
    pub rudder: Option<i32>,
    /// Latitude and longitude, 1e-7 degree.
    pub position: Option<(i32, i32)>,
}

impl Sample {
    /// What `monitor` shows at `now`.
    pub fn of(monitor: &Monitor, now: Instant) -> Self {
        let picture = monitor.picture();
        let steering = picture.steering(now);
        let letter = |at: Referred| (at.bearing.as_mdeg(), at.reference.letter());
        let (order, off, word) = match steering {
            Steering::Heading { order, by, .. } => {
                let heading = picture.heading_for(order, by, now);
                let off = heading.map(|heading| order.bearing.turn_to(heading.bearing).as_mdeg());
                (Some(letter(order)), off, "heading")
            }
            Steering::Wind => (None, None, "wind"),
            Steering::Hand => (None, None, "hand"),
            Steering::Unknown => (None, None, "unknown"),
        };
        let raw = picture.primary().and_then(|channel| Some(channel.referred(channel.raw.fresh(now)?)));
        let ground = picture.ground(now).map(|(_, ground)| ground);
        Self {
            heading: raw.map(letter),
            truth: picture.heading(now).and_then(|reduced| reduced.truth).map(|truth| truth.0.as_mdeg()),
            order,
            steering: Some(word),
            off,
            speed: ground.map(|ground| ground.speed.as_milliknots()),
            course: ground.and_then(|ground| ground.course).map(|course| course.0.as_mdeg()),
            rudder: picture.rudder().fresh(now).map(|rudder| rudder.as_mdeg()),
            position: picture.position().fresh(now).map(|(_, place)| (place.lat_e7, place.lon_e7)),
        }
    }
}

/// The minute in the making.
#[derive(Clone, Debug, Default)]
pub struct Gathering {
    limit_mdeg: i64,
    /// Which minute it is, by UTC where that is known.
    key: Option<(bool, i64)>,
    minute: Minute,
    heading: Wander,
    truth: Wander,
    off_sum: f64,
    off_squares: f64,
    course: [f64; 2],
    speed: (f64, i64),
    rudder: (f64, i64),
    last_rudder: Option<i32>,
    travel: i64,
}

const MINUTE_MS: i64 = 60_000;

impl Gathering {
    /// Nothing gathered yet; `limit_mdeg` is how far off the order she may be.
    pub fn new(limit_mdeg: i64) -> Self {
        Self { limit_mdeg, ..Self::default() }
    }

    /// Adds what was seen at `at`; returns the minute before, if this begins another.
    pub fn add(&mut self, at: Stamp, sample: &Sample) -> Option<Minute> {
        let since = i64::try_from(at.since_start_ms).unwrap_or(i64::MAX);
        let key = match at.utc_ms {
            Some(utc) => (true, utc.div_euclid(MINUTE_MS)),
            None => (false, since / MINUTE_MS),
        };
        let over = if self.key == Some(key) { None } else { self.finish() };
        if self.key.is_none() {
            self.key = Some(key);
            self.minute.at = at;
        }
        self.take(since, sample);
        over
    }

    fn take(&mut self, since_ms: i64, sample: &Sample) {
        let minute = &mut self.minute;
        minute.samples += 1;
        let seconds = (since_ms - i64::try_from(minute.at.since_start_ms).unwrap_or(0)) as f64 / 1000.0;
        if let Some((mdeg, letter)) = sample.heading {
            // A mean over two references is none: the later one counts.
            if minute.heading_ref.as_deref().is_some_and(|before| !before.starts_with(letter)) {
                self.heading = Wander::default();
                minute.headings = 0;
            }
            minute.headings += 1;
            minute.heading_ref = Some(letter.to_string());
            self.heading.add(seconds, mdeg);
        }
        if let Some(mdeg) = sample.truth {
            self.truth.add(seconds, mdeg);
        }
        if let Some(word) = sample.steering {
            word.clone_into(&mut minute.steering);
        }
        minute.order_mdeg = sample.order.map(|(mdeg, _)| i64::from(mdeg));
        minute.order_ref = sample.order.map(|(_, letter)| letter.to_string());
        if let Some(off) = sample.off {
            minute.offs += 1;
            minute.within += i64::from(i64::from(off).abs() <= self.limit_mdeg);
            self.off_sum += f64::from(off);
            self.off_squares += f64::from(off) * f64::from(off);
        }
        if let Some(speed) = sample.speed {
            self.speed = (self.speed.0 + speed as f64, self.speed.1 + 1);
        }
        if let Some(course) = sample.course {
            let (sin, cos) = (f64::from(course) / 1000.0).to_radians().sin_cos();
            self.course = [self.course[0] + cos, self.course[1] + sin];
        }
        if let Some(rudder) = sample.rudder {
            self.rudder = (self.rudder.0 + f64::from(rudder), self.rudder.1 + 1);
            self.travel += self.last_rudder.map_or(0, |last| i64::from(rudder - last).abs());
        }
        self.last_rudder = sample.rudder;
        if let Some((lat, lon)) = sample.position {
            minute.position_e7 = Some((i64::from(lat), i64::from(lon)));
        }
    }

    /// The minute so far, if anything was seen; what comes next begins another.
    pub fn finish(&mut self) -> Option<Minute> {
        let next = Self { limit_mdeg: self.limit_mdeg, last_rudder: self.last_rudder, ..Self::default() };
        let done = std::mem::replace(self, next);
        let mut minute = done.minute;
        if minute.samples == 0 {
            return None;
        }
        minute.heading_mdeg = done.heading.mean();
        minute.yaw_mdeg = done.heading.about_its_line();
        minute.true_mdeg = done.truth.mean();
        if minute.offs > 0 {
            let count = minute.offs as f64;
            minute.off_mdeg = Some(whole(done.off_sum / count));
            minute.off_rms_mdeg = Some(whole((done.off_squares / count).sqrt()));
        }
        let [north, east] = done.course;
        if north.hypot(east) > 1e-6 {
            minute.course_mdeg = Some(whole(east.atan2(north).to_degrees() * 1000.0).rem_euclid(360_000));
        }
        if done.speed.1 > 0 {
            minute.speed_mkn = Some(whole(done.speed.0 / done.speed.1 as f64));
        }
        if done.rudder.1 > 0 {
            minute.rudder_mdeg = Some(whole(done.rudder.0 / done.rudder.1 as f64));
            minute.travel_mdeg = Some(done.travel);
        }
        Some(minute)
    }
}

/// A direction over a minute, unwound from its first, so that north is no edge and a full circle no return.
#[derive(Clone, Copy, Debug, Default)]
struct Wander {
    first: Option<i32>,
    last: f64,
    count: f64,
    t: f64,
    tt: f64,
    y: f64,
    yy: f64,
    ty: f64,
}

impl Wander {
    fn add(&mut self, seconds: f64, mdeg: i32) {
        let first = *self.first.get_or_insert(mdeg);
        let bearing = f64::from(mdeg - first);
        let y = self.last + (bearing - self.last + 180_000.0).rem_euclid(360_000.0) - 180_000.0;
        self.last = y;
        self.count += 1.0;
        self.t += seconds;
        self.tt += seconds * seconds;
        self.y += y;
        self.yy += y * y;
        self.ty += seconds * y;
    }

    fn mean(&self) -> Option<i64> {
        self.first.map(|first| whole(f64::from(first) + self.y / self.count).rem_euclid(360_000))
    }

    /// Root mean square about the least-squares line; three are the fewest that can be off one.
    fn about_its_line(&self) -> Option<i64> {
        if self.count < 3.0 {
            return None;
        }
        let n = self.count;
        let (stt, sty, syy) =
            (self.tt - self.t * self.t / n, self.ty - self.t * self.y / n, self.yy - self.y * self.y / n);
        let left = if stt > 0.0 { syy - sty * sty / stt } else { syy };
        Some(whole((left.max(0.0) / n).sqrt()))
    }
}

#[expect(clippy::cast_possible_truncation, reason = "saturates; degrees and knots are far inside")]
fn whole(value: f64) -> i64 {
    value.round() as i64
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(s: u64) -> Stamp {
        Stamp { utc_ms: Some(1_783_995_060_000 + i64::try_from(s).expect("small") * 1000), since_start_ms: s * 1000 }
    }

    /// The formulas once more, the slow way: from all values, kept.
    fn about_line(y: &[f64]) -> f64 {
        let n = y.len() as f64;
        let t: Vec<f64> = (0..y.len()).map(|t| t as f64).collect();
        let (mt, my) = (t.iter().sum::<f64>() / n, y.iter().sum::<f64>() / n);
        let slope = t.iter().zip(y).map(|(t, y)| (t - mt) * (y - my)).sum::<f64>()
            / t.iter().map(|t| (t - mt) * (t - mt)).sum::<f64>();
        let rest = t.iter().zip(y).map(|(t, y)| (y - my - slope * (t - mt)).powi(2));
        (rest.sum::<f64>() / n).sqrt()
    }

    #[test]
    fn a_minute_of_yaw_across_north_is_no_turn() {
        let mut gathering = Gathering::new(15_000);
        let yaw: Vec<f64> = (0..60).map(|s| 5_000.0 * (f64::from(s) * 0.7).sin() + 100.0 * f64::from(s)).collect();
        for (s, y) in yaw.iter().enumerate() {
            let mdeg = whole(*y).rem_euclid(360_000) as i32;
            let sample = Sample { heading: Some((mdeg, 'C')), off: Some(whole(*y) as i32), ..Sample::default() };
            assert_eq!(gathering.add(at(s as u64), &sample), None);
        }
        let minute = gathering.add(at(60), &Sample::default()).expect("the minute is over");
        let mean = yaw.iter().sum::<f64>() / 60.0;
        assert!((minute.heading_mdeg.expect("there") as f64 - mean).abs() <= 1.0, "{minute:?} {mean}");
        assert!((minute.yaw_mdeg.expect("there") as f64 - about_line(&yaw)).abs() <= 1.0, "{minute:?}");
        let rms = (yaw.iter().map(|y| y * y).sum::<f64>() / 60.0).sqrt();
        assert!((minute.off_rms_mdeg.expect("there") as f64 - rms).abs() <= 1.0, "{minute:?}");
        assert_eq!((minute.samples, minute.headings, minute.offs, minute.within), (60, 60, 60, 60));
        assert_eq!((minute.at, minute.heading_ref.as_deref()), (at(0), Some("C")));
    }

    #[test]
    fn means_of_course_speed_and_rudder() {
        let mut gathering = Gathering::new(10_000);
        // By hand: courses 350 and 010 mean 000; rudder 0, 5, -5 and back to 0 goes 5 + 10 + 5.
        let of = |course, off, rudder| Sample {
            course: Some(course),
            speed: Some(5_000),
            off: Some(off),
            rudder: Some(rudder),
            ..Sample::default()
        };
        for (s, sample) in
            [of(350_000, 0, 0), of(10_000, 12_000, 5_000), of(350_000, -12_000, -5_000), of(10_000, 8_000, 0)]
                .iter()
                .enumerate()
        {
            gathering.add(at(s as u64), sample);
        }
        let minute = gathering.finish().expect("there is something");
        assert_eq!((minute.course_mdeg, minute.speed_mkn), (Some(0), Some(5_000)));
        assert_eq!((minute.rudder_mdeg, minute.travel_mdeg), (Some(0), Some(20_000)));
        assert_eq!((minute.off_mdeg, minute.within, minute.offs), (Some(2_000), 2, 4));
        assert_eq!((minute.heading_mdeg, minute.yaw_mdeg, minute.true_mdeg), (None, None, None));
        assert_eq!(gathering.finish(), None, "nothing is told twice");
    }

    #[test]
    fn minutes_are_those_of_utc_once_it_is_known() {
        let mut gathering = Gathering::new(15_000);
        let unknown = |s: u64| Stamp { utc_ms: None, since_start_ms: s * 1000 };
        assert_eq!(gathering.add(unknown(0), &Sample::default()), None);
        assert_eq!(gathering.add(unknown(59), &Sample::default()), None);
        assert_eq!(gathering.add(unknown(60), &Sample::default()).map(|m| m.samples), Some(2));
        let known = Stamp { utc_ms: Some(1_783_995_119_500), since_start_ms: 61_000 };
        assert_eq!(gathering.add(known, &Sample::default()).map(|m| m.samples), Some(1));
        let next = Stamp { utc_ms: Some(1_783_995_120_500), since_start_ms: 62_000 };
        assert_eq!(gathering.add(next, &Sample::default()).map(|m| m.at), Some(known));
    }
}
