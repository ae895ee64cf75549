//! The beginning of a log looked at once: is it a log, and where do its times come from?

use lubber_core::frame::ChecksumPolicy;
use memchr::memchr;

use crate::input::InputError;
use crate::input::Source;
use crate::input::lines::LineBuffer;
use crate::input::stamp::DAY_MS;
use crate::input::stamp::stamp;
use crate::input::stamp::start_of;
use crate::input::timeline::later_of_rollover;
use crate::input::timeline::nearest_day;
use crate::input::utc::Form;
use crate::input::utc::form;
use crate::input::utc::said_time;

/// Where a log's times come from.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum TimesFrom {
    /// A stamp on (nearly) every line.
    Stamps,
    /// The UTC in some of its sentences.
    Sentences,
    /// The owner's word: sentences per second.
    Rate(f64),
}

/// What the beginning of a log says.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Probe {
    pub(crate) times_from: TimesFrom,
    /// Its first time, Unix milliseconds; by time of day only where it is not `dated`.
    pub(crate) first: i64,
    /// Whether that time's date is known.
    pub(crate) dated: bool,
    /// Its usual pace: microseconds from one sentence to the next, 0 where not known.
    pub(crate) pace_us: i64,
    /// Whether the owner gave a rate that is not used.
    pub(crate) rate_not_used: bool,
}

/// Without a sentence in so many bytes it is no log.
const NO_SENTENCE_IN: usize = 1 << 20;
/// Without a time in so many bytes it has none. At 38 400 baud this is 18 minutes.
const NO_TIME_IN: usize = 4 << 20;
/// Once there are times, no more than this is looked at for a date and the pace.
const ENOUGH: usize = 256 << 10;
/// So many sentences decide whether a log is stamped.
const FIRST_SENTENCES: u32 = 20;
/// The pace is measured over at least this.
const PACE_OVER_MS: i64 = 3_000;

#[derive(Default)]
struct Seen {
    sentences: u32,
    doubtful: u64,
    /// Of the doubtful ones, those that have a checksum, and those that tell a time.
    wrong: u64,
    untrusted_times: u64,
    stamped: u32,
    first_stamp: Option<i64>,
    /// Time of day and count of sentences so far.
    first_time: Option<(i64, u32)>,
    date: Option<i64>,
    pace_us: i64,
}

/// Looks at the beginning that `lines` holds, reading as much of it as is needed.
///
/// # Errors
/// [`InputError`] where this is no log, or one without a time and `rate` is not given.
pub(crate) fn probe(
    from: &Source,
    lines: &mut LineBuffer,
    policy: ChecksumPolicy,
    start: Option<i64>,
    rate: Option<f64>,
) -> Result<Probe, InputError> {
    let mut seen = Seen::default();
    let mut at = 0;
    let by_stamps = loop {
        let Some((line_start, line_end)) = lines.probe_line(from, at)? else { break seen.is_stamped(true) };
        at = line_end;
        seen.line(&lines.held()[line_start..line_end], policy);
        if seen.is_stamped(false) {
            break true;
        }
        let is_known = seen.date.is_some() && seen.pace_us > 0;
        let has_time = seen.first_time.is_some();
        if (seen.forms() >= u64::from(FIRST_SENTENCES) && is_known)
            || (at >= ENOUGH && has_time)
            || (at >= NO_SENTENCE_IN && seen.forms() == 0)
            || at >= NO_TIME_IN
        {
            break false;
        }
    };
    let looked_at = at as u64;
    if at == 0 {
        return Err(InputError::Empty { from: from.clone() });
    }
    if seen.forms() == 0 {
        return Err(InputError::NotALog { from: from.clone(), looked_at, found: nature(lines.held()) });
    }
    let rate_not_used = rate.is_some();
    if let (true, Some(first)) = (by_stamps || seen.first_time.is_none(), seen.first_stamp) {
        return Ok(Probe { times_from: TimesFrom::Stamps, first, dated: true, pace_us: 0, rate_not_used });
    }
    if let Some((tod_ms, _)) = seen.first_time {
        let date = seen.date.or(start);
        let first = nearest_day(tod_ms, date.unwrap_or(0));
        let times_from = TimesFrom::Sentences;
        return Ok(Probe { times_from, first, dated: date.is_some(), pace_us: seen.pace_us, rate_not_used });
    }
    if let Some(rate) = rate {
        let pace_us = (1_000_000.0 / rate) as i64;
        let first = start.unwrap_or(0);
        let times_from = TimesFrom::Rate(rate);
        return Ok(Probe { times_from, first, dated: start.is_some(), pace_us, rate_not_used: false });
    }
    Err(if seen.sentences == 0 {
        InputError::NoRightChecksum { from: from.clone(), lines: seen.doubtful, looked_at }
    } else if seen.untrusted_times > 0 {
        seen.no_trusted_time(from, looked_at)
    } else {
        InputError::NoTime { from: from.clone(), looked_at }
    })
}

impl Seen {
    fn line(&mut self, line: &[u8], policy: ChecksumPolicy) {
        match form(line, policy) {
            Form::None => return,
            Form::Doubtful => {
                self.doubtful += 1;
                self.wrong += u64::from(memchr(b'*', line).is_some());
            }
            Form::Sentence => self.sentences += 1,
        }
        let Some(start) = start_of(line) else { return };
        if let Some(stamp) = stamp(line, start) {
            self.stamped += 1;
            self.first_stamp.get_or_insert(stamp);
        }
        let Some(said) = said_time(line, start, policy) else {
            self.untrusted_times += u64::from(said_time(line, start, ChecksumPolicy::Ignored).is_some());
            return;
        };
        if let Some(days) = said.days {
            let date = days * DAY_MS + said.tod_ms;
            self.date = Some(self.date.map_or(date, |first| later_of_rollover(first, date)));
        }
        let count = u32::try_from(self.forms()).unwrap_or(u32::MAX);
        let (first_ms, first_count) = *self.first_time.get_or_insert((said.tod_ms, count));
        let passed = said.tod_ms - first_ms;
        if self.pace_us == 0 && passed >= PACE_OVER_MS {
            self.pace_us = passed * 1000 / i64::from(count.saturating_sub(first_count)).max(1);
        }
    }

    /// Why the times that are there do not count.
    fn no_trusted_time(&self, from: &Source, looked_at: u64) -> InputError {
        let (fault, rule) = if self.wrong * 2 > self.doubtful { ("a wrong", "ignored") } else { ("no", "optional") };
        let percent = (self.doubtful * 100 / self.forms().max(1)).max(1);
        InputError::NoTrustedTime { from: from.clone(), percent, fault, rule, timed: self.untrusted_times, looked_at }
    }

    fn forms(&self) -> u64 {
        u64::from(self.sentences) + self.doubtful
    }

    /// Whether at least half of the first sentences carry a stamp; not before there are enough.
    fn is_stamped(&self, at_end: bool) -> bool {
        let forms = self.forms();
        let enough = forms == u64::from(FIRST_SENTENCES) || (at_end && forms < u64::from(FIRST_SENTENCES));
        enough && self.stamped > 0 && u64::from(self.stamped) * 2 >= forms
    }
}

/// What bytes without a sentence look like.
fn nature(bytes: &[u8]) -> &'static str {
    let bytes = &bytes[..bytes.len().min(NO_SENTENCE_IN)];
    let zeros = bytes.iter().filter(|&&b| b == 0).count();
    let strange = bytes.iter().filter(|&&b| b != 0 && b < 0x20 && !b.is_ascii_whitespace() || b >= 0x7F).count();
    if zeros * 2 > bytes.len() {
        "it is mostly zero bytes, as a cut of power leaves them"
    } else if bytes.starts_with(&[0x1F, 0x8B]) || bytes.starts_with(b"PK\x03\x04") {
        "it is compressed; unpack it first"
    } else if (zeros + strange) * 20 > bytes.len() {
        "it is not text"
    } else {
        "it is text of another kind"
    }
}
