//! What time a line is stamped with.

use lubber_core::time::Instant;

/// A correction back by up to this lets the stamps stand still; a first date this near to the system's confirms it.
const NEAR_MS: i64 = 2_000;

/// 2026-01-01: a system that says less has no clock.
pub(super) const CLOCKS_FROM_MS: i64 = 1_767_225_600_000;

/// 2100-01-01: what says more is wrong, and a replay would not believe it.
const LAST_MS: i64 = 4_102_444_800_000;

/// The offset from the monotonic clock to UTC, and what was stamped last.
#[derive(Clone, Copy, Debug)]
pub(super) struct Stamps {
    offset: i64,
    /// Whether a talker, or the log, has told it.
    told: bool,
    last: i64,
}

impl Stamps {
    /// Stamps by the system's time, `offset` being that less the monotonic time; a system without a clock goes on
    /// from `undated`, the latest second of the folder's files without a date.
    pub(super) fn new(offset: i64, now: Instant, undated: Option<i64>) -> Self {
        let system = ms(now).saturating_add(offset);
        let start = match undated {
            Some(second) if system < CLOCKS_FROM_MS => system.max((second + 1) * 1000),
            _ => system,
        };
        Self { offset: start.clamp(0, LAST_MS) - ms(now), told: false, last: i64::MIN }
    }

    /// UTC is `utc_ms` at `now`. By how much what was stamped until now was early, where it was far off and is to be
    /// moved: so at the first time only.
    pub(super) fn tell(&mut self, now: Instant, utc_ms: i64) -> Option<i64> {
        if !(0..LAST_MS).contains(&utc_ms) {
            return None;
        }
        let by = utc_ms - ms(now) - self.offset;
        self.offset += by;
        let first = !std::mem::replace(&mut self.told, true);
        if first && by.abs() > NEAR_MS {
            self.last = i64::MIN;
            return Some(by);
        }
        None
    }

    /// The stamp of a line that came at `now`.
    pub(super) fn stamp(&mut self, now: Instant) -> i64 {
        let stamp = ms(now).saturating_add(self.offset).clamp(0, LAST_MS - 1);
        let catches_up = (stamp..=stamp.saturating_add(NEAR_MS)).contains(&self.last);
        self.last = if catches_up { self.last } else { stamp };
        self.last
    }

    /// The last stamp.
    pub(super) fn last(&self) -> i64 {
        self.last.max(0)
    }
}

fn ms(now: Instant) -> i64 {
    i64::try_from(now.as_ms()).unwrap_or(i64::MAX)
}

#[cfg(test)]
mod tests {
    use super::*;

    const NOW: i64 = 1_783_993_800_000;

    fn at(ms: u64) -> Instant {
        Instant::from_ms(ms)
    }

    #[test]
    fn the_first_date_moves_what_was_stamped_before() {
        let mut stamps = Stamps::new(5_000, at(100), None);
        assert_eq!(stamps.stamp(at(100)), 5_100);
        assert_eq!(stamps.tell(at(200), NOW), Some(NOW - 5_200));
        assert_eq!((stamps.stamp(at(200)), stamps.stamp(at(300))), (NOW, NOW + 100));
        // Later corrections move what follows only; back a little, time stands still.
        assert_eq!(stamps.tell(at(400), NOW - 1_000), None);
        assert_eq!((stamps.stamp(at(400)), stamps.stamp(at(1_700))), (NOW + 100, NOW + 300));
        assert_eq!(stamps.tell(at(2_000), NOW + 3_600_000), None);
        assert_eq!(stamps.stamp(at(2_000)), NOW + 3_600_000);
        assert_eq!(stamps.tell(at(3_000), NOW), None);
        assert_eq!(stamps.stamp(at(3_000)), NOW, "a step back by an hour is one");
    }

    #[test]
    fn a_date_near_the_systems_confirms_it() {
        let mut stamps = Stamps::new(NOW, at(0), Some(9_999));
        assert_eq!(stamps.stamp(at(5)), NOW + 5);
        assert_eq!(stamps.tell(at(5), NOW + 1_500), None);
        assert_eq!(stamps.stamp(at(5)), NOW + 1_500);
        for wrong in [-1, LAST_MS, i64::MAX] {
            assert_eq!(stamps.tell(at(6), wrong), None);
        }
        assert_eq!(stamps.stamp(at(6)), NOW + 1_501);
    }

    #[test]
    fn without_a_clock_it_goes_on_behind_what_is_there() {
        assert_eq!(Stamps::new(0, at(7_000), Some(100)).stamp(at(7_000)), 101_000);
        assert_eq!(Stamps::new(900_000, at(7_000), Some(100)).stamp(at(7_001)), 907_001);
        assert_eq!(Stamps::new(i64::MIN, at(7_000), None).stamp(at(7_000)), 0);
    }
}
