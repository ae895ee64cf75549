//! The primary heading against one other heading.
//!
//! **Quiet**: the difference stays, sector by sector of the heading, at an offset learned on board
//! (deviation changes with heading), and wanders about it by half the limit at most; its noise is learned
//! too ([`Noise`]). **Fault**: the mean difference lies beyond the limit, by a step or a creep.
//! **Test**: a cumulative sum each way of what the difference lies beyond three quarters of the limit,
//! halfway between the two. Offset and noise are learned only while neither sum rises. **False alerts**:
//! less than one in 100 days, with the mean at half the limit all the time.

use crate::alert::Latch;
use crate::alert::LimitSettings;
use crate::alert::Smooth;
use crate::alert::Why;
use crate::alert::cusum::Cusum;
use crate::alert::cusum::Design;
use crate::alert::noise::HALF_SWING_S;
use crate::alert::noise::Noise;
use crate::angle::Bearing;
use crate::angle::Turn;
use crate::picture::Correction;
use crate::picture::Reduced;
use crate::time::Instant;
use crate::time::Mark;
use crate::time::Span;

/// The offset between two headings is learned by sector, because deviation changes with heading.
const SECTORS: usize = 12;
const SECTOR: i32 = crate::angle::CIRCLE / 12;
/// What is said, learned and let go is the average over this: two sensors of different damping swing
/// apart in a seaway.
pub(super) const YAW: Span = Span::from_s(4);
/// Eight degrees from the learned offset: twice what two sound small-craft sensors differ by when
/// a sector is learned in a seaway. Common practice, no source. Setting `limit`.
const LIMIT: Turn = Turn::from_deg(8);
/// After card and variation two headings agree within this, learned or not; without a card the
/// deviation of a poor place is let pass as well.
const ABSOLUTE: Turn = Turn::from_deg(15);
const ABSOLUTE_UNCORRECTED: Turn = Turn::from_deg(30);
/// While the heading is this far from its own average over [`TURN`] she turns, by 1.5 degrees a second
/// or more: a damped sensor then lags behind a quick one by more than any limit, and nothing is judged.
const TURNING: Turn = Turn::from_deg(15);
const TURN: Span = Span::from_ms(TURN_MS as u64);
const TURN_MS: i64 = 10_000;
/// A reading older than this is of another moment, and is not compared once she has turned by this since,
/// millidegrees, by the rate she turns at: a quarter of the limit. What has come to light so far stands.
const OLD: Span = Span::from_s(3);
const MOVED_ON: i64 = 2_000;
/// A witness that stays away for so long does not come back: a plotter that is started anew takes a minute or
/// two. Common practice, no source.
const GONE: Span = Span::from_min(10);
/// The sum must have been rising for so long: a damped sensor lags in a turn for less before the turn is
/// seen. Setting `delay`.
const DELAY: Span = Span::from_s(4);
const BACK: Span = Span::from_s(10);
/// A sector is known after so many half seconds.
const ENOUGH: u8 = 40;
/// From then on it follows by this part of the difference each half second: 4 minutes.
const FOLLOW: i32 = 512;
/// A sector not yet known borrows from the nearest known one, and allows this for each step away.
const BORROWED: Turn = Turn::from_deg(5);
/// What is supposed of the noise before it is learned: two damped sensors in a rough sea.
const SUPPOSED: Noise = Noise::supposed(1500, 800);
/// The bounds of the threshold, millidegrees times a second.
const LEAST: i64 = 4_000;
const MOST: i64 = 40_000;

/// The judge of one pair.
#[derive(Clone, Copy, Debug)]
pub(super) struct AgainstHeading {
    limit: Turn,
    delay_ms: u32,
    /// The offset of each sector, and from how many half seconds it is known.
    offsets: [Turn; SECTORS],
    counts: [u8; SECTORS],
    average: Smooth,
    heading: Smooth,
    noise: Noise,
    plus: Cusum,
    minus: Cusum,
    rising_since: Mark,
    latch: Latch,
    /// Whether somebody took responsibility for it as it stands.
    answered: bool,
    /// The averaged difference from what was learned, where it was judged just now.
    residual: Option<Turn>,
}

impl AgainstHeading {
    pub(super) fn new(settings: LimitSettings) -> Self {
        Self {
            limit: settings.limit.unwrap_or(LIMIT),
            delay_ms: u32::try_from(settings.delay.unwrap_or(DELAY).as_ms()).unwrap_or(u32::MAX),
            offsets: [Turn::ZERO; SECTORS],
            counts: [0; SECTORS],
            average: Smooth::default(),
            heading: Smooth::default(),
            noise: SUPPOSED,
            plus: Cusum::default(),
            minus: Cusum::default(),
            rising_since: Mark::NONE,
            latch: Latch::default(),
            answered: false,
            residual: None,
        }
    }

    /// Whether it stands raised, judged just now or not.
    pub(super) fn is_up(&self) -> bool {
        self.latch.is_up()
    }

    /// By how much the other heading has turned away from what was learned, averaged, if it was judged
    /// just now in a sector that is known.
    pub(super) fn residual(&self) -> Option<Turn> {
        self.residual
    }

    /// Somebody took responsibility for what stands.
    pub(super) fn answered(&mut self) {
        self.answered = self.latch.is_up();
    }

    /// The other heading has not been there for `age`. What it raised only it can clear, or, once somebody has
    /// answered and it stays away for good, another witness: else the alert would stand for ever.
    pub(super) fn gone(&mut self, age: Span) {
        if self.answered && age >= GONE {
            self.latch = Latch::default();
            self.answered = false;
        }
    }

    /// One of the two headings is not there just now.
    pub(super) fn pause(&mut self) {
        self.residual = None;
        self.average.reset();
        self.heading.reset();
        self.latch.pause();
        self.begin_again();
    }

    /// By how much they differ from what was learned, if that is too much. The other heading reads `raw`, and has
    /// done so for the time beside it.
    pub(super) fn judge(
        &mut self,
        primary: &Reduced,
        (raw, age): (Bearing, Span),
        other: &Reduced,
        now: Instant,
    ) -> Result<Option<Turn>, Why> {
        self.residual = None;
        // The card is taken out of the learned difference and the variation is left in: it may
        // become known, or change its source, at any time, and a step must not look like a fault.
        let Some(mine) = primary.magnetic.map(|m| m.0).or(primary.truth.map(|t| t.0)) else {
            return Err(Why::NoHeading);
        };
        let reading = Turn::from_mdeg(mine.as_mdeg()).wrapped();
        let turned = (reading - self.heading.step(now, reading, TURN)).wrapped().size();
        let turning = turned > TURNING;
        // In a steady turn the heading is as far from its average as it turns in that time.
        let since = i64::from(turned.as_mdeg()) * i64::try_from(age.as_ms().min(60_000)).unwrap_or(0);
        if age > OLD && since > MOVED_ON * TURN_MS {
            return Err(Why::Settling);
        }
        let difference = mine.turn_to(raw);
        let average = self.average.step(now, difference, YAW);
        let sector = usize::try_from(mine.as_mdeg() / SECTOR).unwrap_or(0) % SECTORS;
        let learned = self.nearest(sector);
        let allowed = |away: i32| self.limit + Turn::from_mdeg(BORROWED.as_mdeg() * away);
        let absolute = match (primary.truth, other.truth) {
            (Some(a), Some(b)) => {
                let corrected = |r: &Reduced| r.correction != Correction::Uncorrected;
                let both = corrected(primary) && corrected(other);
                Some((a.0.turn_to(b.0), if both { ABSOLUTE } else { ABSOLUTE_UNCORRECTED }))
            }
            _ => None,
        };
        let from_learned = learned.map(|(offset, away)| ((average - offset).wrapped(), allowed(away)));
        let instant = learned.map(|(offset, away)| ((difference - offset).wrapped(), allowed(away)));
        let over = |(by, allowed): (Turn, Turn)| by.size() > allowed;
        let well = |(by, allowed): (Turn, Turn)| by.size().as_mdeg() < allowed.as_mdeg() / 2;
        let signal = if turning {
            self.begin_again();
            false
        } else {
            self.test(instant, absolute, now)
        };
        let below = !turning && from_learned.is_none_or(well) && absolute.is_none_or(|a| !over(a));
        let quiet = !turning && self.plus.sum() == 0 && self.minus.sum() == 0;
        self.learn(sector, average, quiet && from_learned.is_none_or(|(by, _)| by.size() <= self.limit));
        match instant.filter(|_| quiet) {
            Some((by, _)) => self.noise.take(by.as_mdeg()),
            None => self.noise.interrupt(),
        }
        if let (Some((by, _)), Some((_, 0)), false) = (from_learned, learned, turning) {
            self.residual = Some(by);
        }
        let by = match (from_learned, absolute) {
            // What is over its limit is what is said: an offset may have been learned that is too large.
            (Some(learned), Some(absolute)) if !over(learned) && over(absolute) => absolute.0,
            (Some((by, _)), _) | (None, Some((by, _))) => by,
            (None, None) => return Err(Why::Settling),
        };
        let was_up = self.latch.is_up();
        if self.latch.step(now, signal, below, Span::ZERO, BACK) {
            return Ok(Some(by));
        }
        if was_up {
            self.answered = false;
            self.begin_again();
        }
        if learned.is_some() && !turning { Ok(None) } else { Err(Why::Settling) }
    }

    /// The sequential test of what lies beyond the learned offset or the absolute limit, each with what
    /// is allowed.
    fn test(&mut self, learned: Option<(Turn, Turn)>, absolute: Option<(Turn, Turn)>, now: Instant) -> bool {
        let margin = self.limit.as_mdeg() / 4;
        let beyond = |sign: i32| {
            let one = |(by, allowed): (Turn, Turn)| sign * by.as_mdeg() - (allowed.as_mdeg() - margin);
            learned.map(one).max(absolute.map(one))
        };
        let (Some(plus), Some(minus)) = (beyond(1), beyond(-1)) else { return false };
        if self.plus.rests(plus, 0) && self.minus.rests(minus, 0) {
            self.rising_since = Mark::NONE;
            return false;
        }
        let design = Design::new(0, self.noise.threshold(margin, HALF_SWING_S, LEAST, MOST));
        let signal = self.plus.step(plus, &design) | self.minus.step(minus, &design);
        if self.plus.sum() == 0 && self.minus.sum() == 0 {
            self.rising_since = Mark::NONE;
            return false;
        }
        let since = self.rising_since.moment_or(now);
        signal && now.since(since).as_ms() >= u64::from(self.delay_ms)
    }

    /// What was summed does not count any more.
    fn begin_again(&mut self) {
        self.plus = Cusum::default();
        self.minus = Cusum::default();
        self.rising_since = Mark::NONE;
        self.noise.interrupt();
    }

    /// What is learned for this sector, or for the nearest one, and how many sectors away that is.
    fn nearest(&self, sector: usize) -> Option<(Turn, i32)> {
        (0..=SECTORS / 2).find_map(|away| {
            [(sector + away) % SECTORS, (sector + SECTORS - away) % SECTORS]
                .into_iter()
                .filter_map(|index| Some((self.offsets.get(index)?, self.counts.get(index)?)))
                .find(|(_, count)| **count >= ENOUGH)
                .map(|(offset, _)| (*offset, i32::try_from(away).unwrap_or(0)))
        })
    }

    /// Learns while all is quiet; frozen while the difference grows.
    fn learn(&mut self, sector: usize, average: Turn, quiet: bool) {
        let (Some(offset), Some(count)) = (self.offsets.get_mut(sector), self.counts.get_mut(sector)) else { return };
        let error = (average - *offset).wrapped();
        // A sector that is known follows only small errors; half the limit is not small.
        if !quiet || (*count >= ENOUGH && error.size().as_mdeg() > self.limit.as_mdeg() / 2) {
            return;
        }
        *count = count.saturating_add(1);
        // A millidegree at least, or a small lasting error would never be followed.
        let step = if *count <= ENOUGH { error.as_mdeg() / i32::from(*count) } else { error.as_mdeg() / FOLLOW };
        let step = if step == 0 { error.as_mdeg().signum() } else { step };
        *offset = (*offset + Turn::from_mdeg(step)).wrapped();
    }
}
