//! Which times of a log are believed, and what its own time then is.
//!
//! A log's *raw* time is what its stamps or sentences say, in Unix milliseconds; while no date is
//! known its day is a guess. Its *own* time is raw plus a shift, never jumps without a reason, and
//! is what a replay runs by.
//!
//! ```text
//! believed, a time up to a minute on        -> believed
//! believed, a time far from it              -> suspect
//! suspect,  a time near the believed one    -> believed (the suspect was an outlier)
//! suspect,  a time that agrees with it      -> believed (a gap, or a step back)
//! suspect,  any other time                  -> suspect, and it is the suspect now
//! ```

use crate::input::stamp::DAY_MS;
use crate::input::utc::FIRST_DAY;
use crate::input::utc::SaidTime;

/// Back by up to this is jitter between talkers: time stands still.
const JITTER_MS: i64 = 2_000;

/// On by more than this needs a second time that agrees.
const ON_AT_ONCE_MS: i64 = 60_000;

/// A second time agrees when it is no further on than this.
const AGREES_MS: i64 = 600_000;

/// How long until the GPS week number of older receivers comes round: 10 bits of weeks.
///
/// IS-GPS-200, 20.3.3.3.1.1: the transmission week number is modulo 1024.
const ROLLOVER_WEEKS: i64 = 1024;
const ROLLOVER_MS: i64 = ROLLOVER_WEEKS * 7 * DAY_MS;

/// Two dates are a rollover apart when what is left over is less than this.
const ROLLOVER_SLACK_MS: i64 = 3_600_000;

/// What became of a time.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Verdict {
    /// The first one.
    First,
    /// Not later than the last one: time stands still.
    Same,
    /// Time goes on to it.
    On,
    /// Far from the last one: wait for another that agrees.
    Suspect,
    /// It agrees with the suspect: time jumped to there and went on to here.
    Jumped {
        /// The suspect's raw time.
        to: i64,
        /// From the last believed time to the suspect; negative is back.
        by: i64,
    },
}

/// The time of one log.
#[derive(Clone, Debug)]
pub(crate) struct Timeline {
    last: Option<i64>,
    suspect: Option<Suspect>,
    shift: i64,
    /// Where the day of the first time is to be looked for.
    hint: i64,
    dated: bool,
    later_dates: u8,
    outlier: bool,
    mended_weeks: Option<u32>,
    told_mended: bool,
}

#[derive(Clone, Copy, Debug)]
struct Suspect {
    raw: i64,
    dated: bool,
}

impl Timeline {
    /// A timeline whose first time lies within half a day of `hint` unless it says its date;
    /// `dated` when that hint may be taken for its date.
    pub(crate) const fn new(hint: i64, dated: bool) -> Self {
        Self {
            last: None,
            suspect: None,
            shift: 0,
            hint,
            dated,
            later_dates: 0,
            outlier: false,
            mended_weeks: None,
            told_mended: false,
        }
    }

    /// Where the day of the first time is looked for.
    pub(crate) const fn hint(&self) -> i64 {
        self.hint
    }

    /// Judges a raw time. After [`Verdict::Jumped`] back, call [`Self::resume`].
    pub(crate) fn judge(&mut self, raw: i64, dated: bool) -> Verdict {
        let Some(last) = self.last else {
            self.last = Some(raw);
            return Verdict::First;
        };
        let by = raw - last;
        if (-JITTER_MS..=ON_AT_ONCE_MS).contains(&by) {
            // A time without a date says nothing about a jump by whole days.
            if dated || !self.suspect.is_some_and(|suspect| suspect.dated) {
                self.outlier |= self.suspect.take().is_some();
            }
            if by <= 0 {
                return Verdict::Same;
            }
            self.last = Some(raw);
            return Verdict::On;
        }
        match self.suspect {
            Some(suspect) if agrees(raw - suspect.raw) => {
                self.suspect = None;
                self.last = Some(raw.max(suspect.raw));
                Verdict::Jumped { to: suspect.raw, by: suspect.raw - last }
            }
            _ => {
                self.outlier |= self.suspect.is_some();
                self.suspect = Some(Suspect { raw, dated });
                Verdict::Suspect
            }
        }
    }

    /// Goes on to the raw time that a stamp says, if it is near the last one and nothing is in
    /// doubt; by how much, negative or zero where time stands still. `None` leaves it to
    /// [`Self::judge`], of which this is the usual case.
    #[inline]
    pub(crate) fn go_on(&mut self, raw: i64) -> Option<i64> {
        let by = raw - self.last?;
        if self.suspect.is_some() || !(-JITTER_MS..=ON_AT_ONCE_MS).contains(&by) {
            return None;
        }
        if by > 0 {
            self.last = Some(raw);
        }
        Some(by)
    }

    /// Shifts time so that `raw` is the moment `own` of the log's own time.
    pub(crate) const fn resume(&mut self, raw: i64, own: i64) {
        self.shift = own - raw;
    }

    /// The log's own time at `raw`.
    pub(crate) const fn own(&self, raw: i64) -> i64 {
        raw + self.shift
    }

    /// The UTC at a moment of the log's own time, where the date is known.
    pub(crate) fn utc(&self, own: i64) -> Option<i64> {
        let raw = own - self.shift;
        (self.dated && !is_before_any_clock(raw)).then_some(raw)
    }

    /// The raw time that a sentence says: its day found or guessed, its date mended. And whether it
    /// is one that the sentence dated itself.
    pub(crate) fn place(&mut self, said: SaidTime) -> (i64, bool) {
        let Some(days) = said.days else {
            let near_last = nearest_day(said.tod_ms, self.last.unwrap_or(self.hint));
            let raw = match (self.last, self.suspect) {
                (Some(last), Some(suspect)) if !agrees(near_last - last) => {
                    let near_suspect = nearest_day(said.tod_ms, suspect.raw);
                    if agrees(near_suspect - suspect.raw) { near_suspect } else { near_last }
                }
                _ => near_last,
            };
            return (raw, false);
        };
        let mut raw = days * DAY_MS + said.tod_ms;
        let reference = self.last.unwrap_or(self.hint);
        if !self.dated {
            // Every day so far was a guess: now they are known, and nothing jumps.
            self.rebase(raw - nearest_day(said.tod_ms, reference));
            self.dated = true;
            return (raw, true);
        }
        let rollovers = (raw - reference + ROLLOVER_MS / 2).div_euclid(ROLLOVER_MS);
        if rollovers != 0 && (raw - rollovers * ROLLOVER_MS - reference).abs() < ROLLOVER_SLACK_MS {
            if rollovers < 0 {
                self.mended(-rollovers);
            } else {
                self.later_dates += 1;
            }
            if self.later_dates >= 2 {
                // The later of two such dates is right: a rollover only makes dates too early.
                self.later_dates = 0;
                self.rebase(rollovers * ROLLOVER_MS);
                self.mended(rollovers);
            } else {
                raw -= rollovers * ROLLOVER_MS;
            }
        }
        (raw, true)
    }

    /// Whether a time was disbelieved since the last call.
    pub(crate) const fn take_outlier(&mut self) -> bool {
        std::mem::replace(&mut self.outlier, false)
    }

    /// By how many weeks dates are being mended, told once.
    pub(crate) const fn take_mended(&mut self) -> Option<u32> {
        self.mended_weeks.take()
    }

    fn mended(&mut self, rollovers: i64) {
        if !std::mem::replace(&mut self.told_mended, true) {
            self.mended_weeks = u32::try_from(rollovers * ROLLOVER_WEEKS).ok();
        }
    }

    /// Renames every raw time so far; the log's own time stays.
    fn rebase(&mut self, by: i64) {
        let Some(last) = self.last else { return };
        self.last = Some(last + by);
        self.suspect = self.suspect.map(|suspect| Suspect { raw: suspect.raw + by, ..suspect });
        self.shift -= by;
    }
}

const fn agrees(by: i64) -> bool {
    -JITTER_MS <= by && by <= AGREES_MS
}

/// Whether a raw time is what a clock says that was never set: no boat was recorded before 1995.
pub(crate) const fn is_before_any_clock(raw: i64) -> bool {
    raw < FIRST_DAY * DAY_MS
}

/// The moment with this time of day that is nearest to `reference`.
pub(crate) const fn nearest_day(tod_ms: i64, reference: i64) -> i64 {
    tod_ms + (reference - tod_ms + DAY_MS / 2).div_euclid(DAY_MS) * DAY_MS
}

/// The later of two dates that are a rollover apart; `first` where they are not.
pub(crate) fn later_of_rollover(first: i64, other: i64) -> i64 {
    let rollovers = (other - first + ROLLOVER_MS / 2).div_euclid(ROLLOVER_MS);
    let rest = other - first - rollovers * ROLLOVER_MS;
    if rollovers > 0 && rest.abs() < ROLLOVER_SLACK_MS { first + rollovers * ROLLOVER_MS } else { first }
}

/// A date of a live line, Unix milliseconds, mended where the GPS week number wrapped.
///
/// A live date before this program was written cannot be right. One that a whole number of 1024
/// weeks brings to within ten years after it is mended so, and the weeks are told; else it is
/// `None`, no date at all (a receiver or gateway that does not know the date says 1970 or 1980).
/// A log is judged otherwise: its old date may be right, so only its own other dates mend it.
pub fn mend_live_date(utc_ms: i64) -> Option<(i64, u32)> {
    if utc_ms >= WRITTEN_MS {
        return Some((utc_ms, 0));
    }
    if utc_ms < FIRST_ROLLOVER_DATE_MS {
        return None;
    }
    let rollovers = (WRITTEN_MS - utc_ms + ROLLOVER_MS - 1).div_euclid(ROLLOVER_MS);
    let mended = utc_ms + rollovers * ROLLOVER_MS;
    (mended < WRITTEN_MS + TEN_YEARS_MS).then(|| (mended, u32::try_from(rollovers * ROLLOVER_WEEKS).unwrap_or(0)))
}

/// 2026-01-01.
const WRITTEN_MS: i64 = 20_454 * DAY_MS;
const TEN_YEARS_MS: i64 = 3_653 * DAY_MS;
/// 1980-01-13: the first week of GPS time is what a receiver says before it knows better.
const FIRST_ROLLOVER_DATE_MS: i64 = 3_664 * DAY_MS;

#[cfg(test)]
mod tests {
    use super::*;
    use crate::input::utc::days_from_date;

    const NOON: i64 = 12 * 3_600_000;

    fn tod(tod_ms: i64) -> SaidTime {
        SaidTime { tod_ms, days: None }
    }

    fn dated(days: i64, tod_ms: i64) -> SaidTime {
        SaidTime { tod_ms, days: Some(days) }
    }

    /// Places and judges one time after another, resuming after a step back where time stood.
    fn run(line: &mut Timeline, said: &[SaidTime]) -> Vec<(Verdict, i64)> {
        let mut now = 0;
        said.iter()
            .map(|&said| {
                let (raw, dated) = line.place(said);
                let verdict = line.judge(raw, dated);
                if let Verdict::Jumped { to, by } = verdict
                    && by < 0
                {
                    line.resume(to, now);
                }
                if !matches!(verdict, Verdict::Same | Verdict::Suspect) {
                    now = line.own(raw);
                }
                (verdict, now)
            })
            .collect()
    }

    #[test]
    fn a_single_far_time_is_not_believed_and_two_are() {
        let mut line = Timeline::new(0, false);
        let seen = run(&mut line, &[tod(NOON), tod(NOON + 7_200_000), tod(NOON + 1000)]);
        assert_eq!(seen.map_verdicts(), [Verdict::First, Verdict::Suspect, Verdict::On]);
        assert!(line.take_outlier() && !line.take_outlier());

        let mut line = Timeline::new(0, false);
        let seen = run(&mut line, &[tod(NOON), tod(NOON + 7_200_000), tod(NOON + 7_201_000)]);
        assert_eq!(seen[2], (Verdict::Jumped { to: NOON + 7_200_000, by: 7_200_000 }, NOON + 7_201_000));
    }

    #[test]
    fn a_step_back_needs_two_and_time_goes_on_from_where_it_was() {
        let mut line = Timeline::new(0, false);
        let seen = run(&mut line, &[tod(NOON), tod(NOON - 60_000), tod(NOON - 59_000), tod(NOON - 58_000)]);
        assert_eq!(seen[2], (Verdict::Jumped { to: NOON - 60_000, by: -60_000 }, NOON + 1000));
        assert_eq!(seen[3], (Verdict::On, NOON + 2000));
    }

    #[test]
    fn jitter_and_repeats_stand_still() {
        let mut line = Timeline::new(0, false);
        let seen = run(&mut line, &[tod(NOON), tod(NOON), tod(NOON - 2000), tod(NOON + 1000)]);
        assert_eq!(seen.map_verdicts(), [Verdict::First, Verdict::Same, Verdict::Same, Verdict::On]);
    }

    #[test]
    fn midnight_passes_without_and_with_a_date_that_lags() {
        let mut line = Timeline::new(0, false);
        assert_eq!(run(&mut line, &[tod(DAY_MS - 1000), tod(0)])[1].0, Verdict::On);

        // RMC at midnight still with the old date, GLL without one, RMC right again.
        let mut line = Timeline::new(0, false);
        let seen = run(
            &mut line,
            &[dated(20_000, DAY_MS - 1000), dated(20_000, 0), tod(0), dated(20_001, 1000), dated(20_001, 2000)],
        );
        assert_eq!(seen.map_verdicts(), [Verdict::First, Verdict::Suspect, Verdict::On, Verdict::On, Verdict::On]);
    }

    #[test]
    fn a_gap_of_whole_days_is_seen_though_every_other_time_has_no_date() {
        let mut line = Timeline::new(0, false);
        let seen = run(
            &mut line,
            &[
                dated(20_000, NOON),
                tod(NOON),
                dated(20_003, NOON + 1000),
                tod(NOON + 1000),
                dated(20_003, NOON + 2000),
                tod(NOON + 2000),
            ],
        );
        assert!(matches!(seen[4].0, Verdict::Jumped { by, .. } if by > 2 * DAY_MS), "{seen:?}");
        assert_eq!(seen[5].0, Verdict::Same);
    }

    #[test]
    fn the_first_date_names_the_days_and_nothing_jumps() {
        let mut line = Timeline::new(0, false);
        let seen = run(&mut line, &[tod(DAY_MS - 1000), tod(1000)]);
        assert_eq!((seen[1].0, line.utc(seen[1].1)), (Verdict::On, None));
        let later = run(&mut line, &[dated(20_001, 2000)]);
        assert_eq!(later[0], (Verdict::On, seen[1].1 + 1000));
        assert_eq!(line.utc(later[0].1), Some(20_001 * DAY_MS + 2000));
    }

    #[test]
    fn a_rollover_is_mended_only_by_another_date_of_the_log() {
        let right = days_from_date(2026, 7, 14).unwrap();
        let wrong = right - 7 * ROLLOVER_WEEKS;
        for (first, second) in [(wrong, right), (right, wrong)] {
            let mut line = Timeline::new(0, false);
            let seen = run(
                &mut line,
                &[
                    dated(first, NOON),
                    dated(second, NOON),
                    dated(first, NOON + 1000),
                    dated(second, NOON + 1000),
                    dated(first, NOON + 2000),
                ],
            );
            assert!(seen.iter().skip(1).all(|(v, _)| matches!(v, Verdict::Same | Verdict::On)), "{seen:?}");
            assert_eq!(line.utc(seen[4].1), Some(right * DAY_MS + NOON + 2000));
            assert_eq!((line.take_mended(), line.take_mended()), (Some(1024), None));
        }
        let old = days_from_date(2008, 5, 21).unwrap();
        let mut line = Timeline::new(0, false);
        let seen = run(&mut line, &[dated(old, NOON), dated(old, NOON + 1000)]);
        assert_eq!((line.utc(seen[1].1), line.take_mended()), (Some(old * DAY_MS + NOON + 1000), None));
    }

    #[test]
    fn a_live_date_is_mended_into_the_years_of_this_program() {
        let ms = |y, m, d| days_from_date(y, m, d).unwrap() * DAY_MS;
        assert_eq!(mend_live_date(ms(2026, 7, 14)), Some((ms(2026, 7, 14), 0)));
        // 1024 weeks are 7168 days: 2026-07-14 less those is 2006-11-28.
        assert_eq!(mend_live_date(ms(2006, 11, 28)), Some((ms(2026, 7, 14), 1024)));
        assert_eq!(mend_live_date(ms(2006, 11, 28) - ROLLOVER_MS), Some((ms(2026, 7, 14), 2048)));
        assert_eq!(mend_live_date(ms(2020, 1, 1)), None, "neither now nor a rollover ago");
        assert_eq!(mend_live_date(0), None);
        assert_eq!(mend_live_date(ms(1980, 1, 6)), None);
        assert_eq!(WRITTEN_MS, ms(2026, 1, 1));
        assert_eq!(FIRST_ROLLOVER_DATE_MS, ms(1980, 1, 13));
    }

    trait Verdicts {
        fn map_verdicts(&self) -> Vec<Verdict>;
    }

    impl Verdicts for Vec<(Verdict, i64)> {
        fn map_verdicts(&self) -> Vec<Verdict> {
            self.iter().map(|(verdict, _)| *verdict).collect()
        }
    }
}
