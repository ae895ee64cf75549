//! The dates that a receiver says, against the date that the input itself has.

use lubber_core::sentence::Field;
use lubber_core::sentence::Sentence;

use super::At;

/// What one talker's dates are worth.
#[derive(Clone, Copy, Debug, Default)]
pub struct Dates {
    /// Dates it said.
    pub said: u64,
    /// Those of the beginning of time, 1970 or 1980: the receiver, or a gateway, does not know the date.
    pub none_yet: u64,
    /// The year of the first of these.
    pub none_yet_year: u16,
    /// Those that are whole 1024 weeks behind the date of the input.
    pub behind: u64,
    /// By how many weeks, last.
    pub behind_weeks: u32,
    /// The last good one, Unix milliseconds.
    pub last_ms: Option<i64>,
    /// The input's own UTC less the one said, milliseconds, where they came nearest; not where the date is
    /// wrong. In a log whose times come from its sentences it is next to nothing.
    pub offset_ms: Option<i64>,
}

const DAY_MS: i64 = 86_400_000;
/// The GPS week number has ten bits (IS-GPS-200, from memory): it starts anew after so many weeks.
pub(super) const ROLLOVER_WEEKS: u32 = 1024;
/// The same in milliseconds.
pub(super) const ROLLOVER_MS: i64 = ROLLOVER_WEEKS as i64 * 7 * DAY_MS;
/// 1980-01-13: the first week of GPS time is what a receiver says before it knows better.
const FIRST_DATE_MS: i64 = 3_664 * DAY_MS;
/// A date this near to whole rollovers behind is so by the rollover.
const NEAR_MS: i64 = 2 * DAY_MS;

impl Dates {
    /// What `sentence` says of the date.
    #[inline]
    pub(super) fn take(&mut self, at: At, sentence: &Sentence<'_>) {
        let (time, date) = match sentence {
            Sentence::Rmc(s) => (s.time, s.date),
            Sentence::Zda(s) => (s.time, s.date),
            _ => return,
        };
        let (Field::Known(time), Field::Known(date)) = (time, date) else { return };
        let said_ms = date.unix_ms(time);
        self.said += 1;
        if said_ms < FIRST_DATE_MS {
            if self.none_yet == 0 {
                self.none_yet_year = date.year();
            }
            self.none_yet += 1;
            return;
        }
        let Some(own) = at.utc_ms else {
            self.last_ms = Some(said_ms);
            return;
        };
        let behind = own - said_ms;
        let rollovers = (behind + ROLLOVER_MS / 2).div_euclid(ROLLOVER_MS);
        if rollovers > 0 && (behind - rollovers * ROLLOVER_MS).abs() < NEAR_MS {
            self.behind += 1;
            self.behind_weeks = u32::try_from(rollovers).unwrap_or(0).saturating_mul(ROLLOVER_WEEKS);
        } else {
            self.last_ms = Some(said_ms);
            if self.offset_ms.is_none_or(|least| behind.abs() < least.abs()) {
                self.offset_ms = Some(behind);
            }
        }
    }
}
