//! Which headings are one sensor: witnesses that always agree because they are copies.
//!
//! On small boats HDT is often the compass plus variation, and VHW a copy. Two headings whose
//! difference stays constant within rounding while the boat turns through 90 degrees are one
//! sensor; two real sensors have different deviation and do not manage that.

use crate::angle::Bearing;
use crate::angle::Turn;
use crate::picture::HeadingChannel;
use crate::time::Instant;
use crate::time::Span;

/// What is known of a pair of headings.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Kinship {
    /// The boat has not turned enough to tell.
    #[default]
    Unknown,
    /// One is a copy of the other.
    OneSensor,
    /// Two sensors.
    Two,
}

/// The evidence on one pair of headings.
#[derive(Clone, Copy, Debug, Default)]
pub struct Pair {
    kinship: Kinship,
    /// Whether a round has begun; its first difference, and how many later ones are within rounding of it.
    begun: bool,
    centre: Turn,
    inside: u16,
    total: u16,
    /// How far the boat has swung in this round, from `low` to `high` about where it began.
    last: Bearing,
    swung: Turn,
    low: Turn,
    high: Turn,
}

/// The boat must turn so far before a pair is judged.
const TURNED: Turn = Turn::from_deg(90);
/// And so many differences must have been taken at moments when she turned slowly.
const ENOUGH: u16 = 30;
/// A partner older than this is of another moment.
const SAME_MOMENT: Span = Span::from_ms(600);
/// Differences are taken only while the heading moves less than this from one value to the next,
/// for in a fast turn two talkers of one sensor differ by their delay.
const SLOW: Turn = Turn::from_mdeg(600);

impl Pair {
    /// What is known of the pair.
    pub fn kinship(&self) -> Kinship {
        self.kinship
    }

    /// A value of `one` came just now, after `before`; `other` is its partner.
    pub fn compare(&mut self, now: Instant, one: &HeadingChannel, before: Bearing, other: &HeadingChannel) {
        let (Some(a), Some(b)) = (one.raw.latest(), other.raw.latest()) else { return };
        if other.raw.age(now) > SAME_MOMENT {
            return;
        }
        let step = before.turn_to(a);
        let slow = step.size() <= SLOW.max(one.rounding() + one.rounding());
        let difference = a.turn_to(b);
        if !self.begun {
            // A round begins at a slow moment: a first difference taken in mid-turn would be wrong by
            // the delay between the two, and every later one would differ from it.
            if !slow {
                return;
            }
            *self = Self { kinship: self.kinship, begun: true, centre: difference, last: a, ..Self::default() };
            return;
        }
        self.swung += self.last.turn_to(a);
        self.last = a;
        self.low = self.low.min(self.swung);
        self.high = self.high.max(self.swung);
        if slow {
            let rounding = one.rounding() + other.rounding();
            let allowed = rounding + rounding + step.size();
            self.total = self.total.saturating_add(1);
            if (difference - self.centre).wrapped().size() <= allowed {
                self.inside = self.inside.saturating_add(1);
            }
        }
        if self.high - self.low >= TURNED && self.total >= ENOUGH {
            // One in ten may be a value of another moment.
            let one_sensor = u32::from(self.inside) * 10 >= u32::from(self.total) * 9;
            self.kinship = if one_sensor { Kinship::OneSensor } else { Kinship::Two };
            self.begun = false;
        } else if self.total == u16::MAX {
            self.begun = false;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::frame::Formatter;
    use crate::frame::Talker;
    use crate::picture::Origin;
    use crate::picture::Reference;
    use crate::picture::SourceId;

    /// A boat that turns 2 degrees a second for `s` seconds, heading at 2 Hz to 0.1 degree, and a
    /// partner made from it by `other`, sent 100 ms later.
    fn run(s: u64, rate_mdeg_per_s: i64, other: impl Fn(i64) -> i64) -> Kinship {
        let origin = Origin { source: SourceId(0), talker: Talker(*b"HC"), formatter: Formatter(*b"HDG") };
        let mut one = HeadingChannel::new(origin, Reference::Compass);
        let mut two = HeadingChannel::new(origin, Reference::True);
        let mut pair = Pair::default();
        let tenth = |mdeg: i64| Bearing::from_mdeg((mdeg + 50).div_euclid(100) * 100);
        for half in 0..s * 2 {
            let truth = 10_000 + half as i64 * rate_mdeg_per_s / 2;
            let now = Instant::from_ms(half * 500);
            let before = one.raw.latest().unwrap_or_default();
            one.take(now, tenth(truth), 1);
            pair.compare(now, &one, before, &two);
            two.take(Instant::from_ms(half * 500 + 100), tenth(other(truth)), 1);
        }
        pair.kinship()
    }

    #[test]
    fn a_copy_with_a_constant_added_is_one_sensor_and_time_alone_tells_nothing() {
        assert_eq!(run(200, 1000, |h| h + 4_130), Kinship::OneSensor);
        assert_eq!(run(2000, 0, |h| h + 4_130), Kinship::Unknown);
        assert_eq!(run(80, 1000, |h| h + 4_130), Kinship::Unknown);
    }

    #[test]
    fn a_round_that_would_begin_in_mid_turn_waits() {
        // Fast turns with steady stretches between: each round is decided in mid-turn, and the next
        // one must not take its first difference there. Copy and original are half a second apart.
        let mut pair = Pair::default();
        let origin = Origin { source: SourceId(0), talker: Talker(*b"II"), formatter: Formatter(*b"HDG") };
        let mut one = HeadingChannel::new(origin, Reference::Compass);
        let mut two = HeadingChannel::new(origin, Reference::Magnetic);
        let mut heading = 0i64;
        let mut rounds = 0;
        for s in 0..1200u64 {
            heading += if s % 60 >= 40 { 5 } else { 0 };
            let before = one.raw.latest().unwrap_or_default();
            one.take(Instant::from_ms(s * 1000), Bearing::from_deg(heading as i32), 0);
            pair.compare(Instant::from_ms(s * 1000), &one, before, &two);
            rounds += i32::from(!pair.begun);
            assert_ne!(pair.kinship(), Kinship::Two, "at {s} s");
            // The copy is of a moment half a second later.
            let later = heading + if (s + 1) % 60 >= 40 { 3 } else { 0 };
            two.take(Instant::from_ms(s * 1000 + 500), Bearing::from_deg(later as i32), 0);
        }
        assert!(rounds > 5, "{rounds} rounds");
        assert_eq!(pair.kinship(), Kinship::OneSensor);
    }

    #[test]
    fn a_sensor_with_a_deviation_of_its_own_is_another_witness() {
        let own = |h: i64| h + ((h as f64 / 1000.0).to_radians().sin() * 1500.0) as i64;
        assert_eq!(run(200, 1000, own), Kinship::Two);
    }
}
