//! A value with its history: never there, fresh, or stale since.

use crate::time::Instant;
use crate::time::Mark;
use crate::time::Span;

/// A value counts as stale when it is older than this, or than four usual intervals, whichever is longer: from
/// the third second on, and not a millisecond later, for that is what is promised of a heading that stops.
const LEAST_STALE: Span = Span::from_ms(2999);

/// The first gap counts as no more than this: it may be an outage, and then nothing else is known.
const FIRST_GAP_MS: u64 = 10_000;

/// No gap counts as more than this: 63 parts of it and one more still fit 32 bits.
const LONGEST_GAP_MS: u64 = 60_000;

/// Gaps under this are within one burst of a talker, and say little of how often it speaks; nor do
/// they matter to what is stale, for four of them are far less than [`LEAST_STALE`].
const BURST_MS: u64 = 400;

/// A value that was there for so long in all is wanted from then on, milliseconds. Gaps do not set it back:
/// what comes and goes from the start is what must be missed.
const WANTED_AFTER_MS: u16 = 60_000;

/// Two witnesses are compared only while each has come without a break for so long, and so often: a line that
/// is damaged now and then makes talkers up, and two stray values say nothing.
const BEAT: Span = Span::from_s(30);
const BEATS: u8 = 10;

/// How a tracked value stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Freshness {
    /// It never came.
    Never,
    /// It is current.
    Fresh,
    /// Its time is over. No news is not good news.
    Stale {
        /// When the last good one came.
        last: Instant,
    },
}

/// A value that comes again and again, and its usual interval.
#[derive(Clone, Copy, Debug)]
pub struct Tracked<T> {
    value: Option<T>,
    /// When the last good value came.
    last: Instant,
    /// When the present unbroken run of good values began.
    run_began: Instant,
    /// When its sentence last came, good or void.
    heard: Mark,
    /// The usual interval, sixteenths of a millisecond; zero until two values came, not in one burst.
    interval_16: u32,
    /// How long it was there in all, milliseconds, up to [`WANTED_AFTER_MS`]; all ones where it is named.
    there_ms: u16,
    /// Good values in the present run, as far as they are counted.
    run: u8,
}

impl<T> Default for Tracked<T> {
    fn default() -> Self {
        Self {
            value: None,
            last: Instant::from_ms(0),
            run_began: Instant::from_ms(0),
            heard: Mark::NONE,
            interval_16: 0,
            there_ms: 0,
            run: 0,
        }
    }
}

impl<T: Copy> Tracked<T> {
    /// A good value came.
    #[inline]
    pub fn take(&mut self, now: Instant, value: T) {
        if self.is_fresh(now) {
            self.run = self.run.saturating_add(1);
            if self.there_ms < WANTED_AFTER_MS {
                let more = u16::try_from(now.since(self.last).as_ms()).unwrap_or(WANTED_AFTER_MS);
                self.there_ms = self.there_ms.saturating_add(more).min(WANTED_AFTER_MS);
            }
        } else {
            self.run_began = now;
            self.run = 1;
        }
        // Learned across staleness too, or a talker slower than the least time would never be fresh.
        if self.value.is_some() && now > self.last {
            self.learn_interval(now.since(self.last).as_ms());
        }
        self.value = Some(value);
        self.last = now;
        self.heard = Mark::at(now);
    }

    /// Its sentence came without a usable value.
    pub fn void(&mut self, now: Instant) {
        self.heard = Mark::at(now);
    }

    /// The owner asks for it, so it is wanted before it ever came.
    pub fn want(&mut self) {
        self.there_ms = u16::MAX;
    }

    /// The last good value, however old.
    pub fn latest(&self) -> Option<T> {
        self.value
    }

    /// The value, if it is fresh.
    pub fn fresh(&self, now: Instant) -> Option<T> {
        if self.is_fresh(now) { self.value } else { None }
    }

    /// How it stands.
    pub fn freshness(&self, now: Instant) -> Freshness {
        match self.value {
            None => Freshness::Never,
            Some(_) if self.is_fresh(now) => Freshness::Fresh,
            Some(_) => Freshness::Stale { last: self.last },
        }
    }

    /// The age of the last good value.
    pub fn age(&self, now: Instant) -> Span {
        now.since(self.last)
    }

    /// When the last good value came.
    pub fn last(&self) -> Instant {
        self.last
    }

    /// For how long it has been there without a break; nothing where it is not there.
    pub fn steady(&self, now: Instant) -> Span {
        if self.is_fresh(now) { now.since(self.run_began) } else { Span::ZERO }
    }

    /// Whether it has come with a regular beat for half a minute: ten values at least, without a break.
    pub fn has_beat(&self, now: Instant) -> bool {
        self.run >= BEATS && self.steady(now) >= BEAT
    }

    /// Whether its sentence still comes although the value does not.
    pub fn is_void(&self, now: Instant) -> bool {
        match self.heard.moment() {
            Some(heard) => heard > self.last && now.since(heard) < self.stale_after(),
            None => false,
        }
    }

    /// Whether its sentence ever came, good or void.
    pub fn was_heard(&self) -> bool {
        self.heard.moment().is_some()
    }

    /// Whether it is missed when it is not there: the owner names it, or it was there for a minute in all.
    pub fn is_wanted(&self) -> bool {
        self.there_ms >= WANTED_AFTER_MS
    }

    /// Whether its usual interval is known: two values came, not in one burst.
    pub fn has_interval(&self) -> bool {
        self.interval_16 != 0
    }

    /// How long after a good value it counts as stale.
    pub fn stale_after(&self) -> Span {
        LEAST_STALE.max(self.interval().times(4))
    }

    /// The first moment at which it is stale, unless it comes again before then; none before it ever came.
    pub fn stale_at(&self) -> Option<Instant> {
        self.value.map(|_| self.last + self.stale_after() + Span::from_ms(1))
    }

    /// By when it usually comes again.
    pub fn next_at(&self) -> Instant {
        self.last + self.interval().max(Span::from_ms(BURST_MS))
    }

    /// The usual interval; none at all until it is known.
    fn interval(&self) -> Span {
        Span::from_ms(u64::from(self.interval_16 / 16))
    }

    fn is_fresh(&self, now: Instant) -> bool {
        let age = now.since(self.last);
        // The first alone tells of nearly all, and every sentence asks.
        self.value.is_some() && (age <= LEAST_STALE || age <= self.stale_after())
    }

    /// One gap more. A single long gap may not teach the watch patience with silence, so a gap
    /// counts as at most twice the usual one; a talker that really slowed down is believed after
    /// a few.
    fn learn_interval(&mut self, gap_ms: u64) {
        if self.interval_16 == 0 {
            if gap_ms < BURST_MS {
                return;
            }
            self.interval_16 = sixteenths(gap_ms.min(FIRST_GAP_MS));
            return;
        }
        let old = self.interval_16;
        if gap_ms < BURST_MS {
            self.interval_16 = (old * 63 + sixteenths(gap_ms)) / 64;
            return;
        }
        let usual = u64::from(old / 16);
        let counted = gap_ms.min((usual * 2).max(2000)).min(LONGEST_GAP_MS);
        self.interval_16 = (old * 7 + sixteenths(counted)) / 8;
    }
}

/// A gap of at most [`LONGEST_GAP_MS`] in sixteenths of a millisecond.
fn sixteenths(gap_ms: u64) -> u32 {
    u32::try_from(gap_ms.min(LONGEST_GAP_MS) * 16).unwrap_or(u32::MAX)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(s: u64) -> Instant {
        Instant::from_s_for_tests(s)
    }

    impl Instant {
        fn from_s_for_tests(s: u64) -> Self {
            Self::from_ms(s * 1000)
        }
    }

    #[test]
    fn never_fresh_stale() {
        let mut heading = Tracked::default();
        assert_eq!((heading.freshness(at(9)), heading.stale_at()), (Freshness::Never, None));
        heading.take(at(10), 7);
        assert_eq!(heading.stale_at(), Some(at(13)));
        let last = Instant::from_ms(12_999);
        assert_eq!((heading.freshness(last), heading.fresh(last)), (Freshness::Fresh, Some(7)));
        let stale = at(13);
        assert_eq!((heading.freshness(stale), heading.fresh(stale)), (Freshness::Stale { last: at(10) }, None));
        assert_eq!(heading.latest(), Some(7));
    }

    #[test]
    fn a_slow_talker_is_given_four_of_its_intervals() {
        let mut depth = Tracked::default();
        for s in [0, 3, 6, 9] {
            depth.take(at(s), ());
        }
        assert_eq!(depth.stale_after(), Span::from_s(12));
        assert_eq!((depth.next_at(), depth.stale_at()), (at(12), Some(Instant::from_ms(21_001))));
    }

    #[test]
    fn one_outage_does_not_teach_patience() {
        let mut heading = Tracked::default();
        for s in 0..20 {
            heading.take(at(s), ());
        }
        heading.take(at(3600), ());
        heading.take(at(3601), ());
        assert!(heading.stale_after() <= Span::from_s(5), "{:?}", heading.stale_after());
    }

    #[test]
    fn wanted_after_a_minute_in_all_and_gaps_are_forgiven() {
        let mut value = Tracked::default();
        for s in 0..40 {
            value.take(at(s), ());
        }
        // By hand: 39 s were good, the hour is not counted, and 21 s more make the minute.
        for s in 3600..3621 {
            value.take(at(s), ());
        }
        assert!(!value.is_wanted());
        value.take(at(3621), ());
        assert!(value.is_wanted());
        // Six seconds in fifty are missing from the start.
        let mut value = Tracked::default();
        for s in (0..90).filter(|s| s % 50 < 44) {
            value.take(at(s), ());
        }
        assert!(value.is_wanted());
        let mut named = Tracked::<()>::default();
        named.want();
        assert!(named.is_wanted());
    }

    #[test]
    fn a_beat_is_ten_values_and_half_a_minute_without_a_break() {
        let mut value = Tracked::default();
        // Two strays, 23 s apart, and one more while the second is still thought of as fresh.
        for s in [0, 23, 60] {
            value.take(at(s), ());
        }
        assert!(value.fresh(at(60)).is_some() && !value.has_beat(at(60)));
        let mut value = Tracked::default();
        for s in 100..130 {
            assert!(!value.has_beat(at(s)), "{s}");
            value.take(at(s), ());
        }
        assert!(value.has_beat(at(130)));
        assert_eq!((value.has_beat(at(140)), value.steady(at(140))), (false, Span::ZERO));
        value.take(at(141), ());
        assert!(!value.has_beat(at(150)), "a break begins it anew");
        // A slow talker takes its ten values; the first gap was no beat yet.
        let mut value = Tracked::default();
        for s in (0..=50).step_by(5) {
            assert!(!value.has_beat(at(s)), "{s}");
            value.take(at(s), ());
        }
        assert!(value.has_beat(at(50)));
    }

    #[test]
    fn a_void_value_is_heard_but_not_fresh() {
        let mut value = Tracked::default();
        value.take(at(0), 1);
        value.void(at(4));
        assert!(value.is_void(at(5)));
        assert_eq!(value.fresh(at(5)), None);
        assert!(!value.is_void(at(20)));
    }

    #[test]
    fn a_talker_slower_than_the_least_time_is_given_its_intervals_too() {
        let mut value = Tracked::default();
        for s in (0..=100).step_by(5) {
            value.take(at(s), ());
        }
        assert_eq!(value.stale_after(), Span::from_s(20));
        assert!(value.is_wanted());
        // Four lines in a burst, every five seconds.
        let mut value = Tracked::default();
        for s in (0..=300).step_by(5) {
            assert!(s == 0 || value.fresh(at(s)).is_some() || s == 5, "stale at {s} s");
            for line in 0..4 {
                value.take(at(s) + Span::from_ms(line * 150), ());
            }
        }
        // Two values an hour apart are an outage, not a habit.
        let mut value = Tracked::default();
        value.take(at(0), ());
        value.take(at(3600), ());
        assert!(value.stale_after() <= Span::from_s(60));
    }
}
