//! The primary heading against one other heading.

use crate::alert::Latch;
use crate::alert::LimitSettings;
use crate::alert::Smooth;
use crate::alert::Why;
use crate::angle::Bearing;
use crate::angle::Turn;
use crate::picture::Correction;
use crate::picture::Reduced;
use crate::time::Instant;
use crate::time::Span;

/// The offset between two headings is learned by sector, because deviation changes with heading.
const SECTORS: usize = 12;
const SECTOR: i32 = crate::angle::CIRCLE / 12;
/// The difference is averaged over this: two sensors of different damping swing apart in a seaway.
const YAW: Span = Span::from_s(4);
/// Eight degrees from the learned offset: twice what two sound small-craft sensors differ by when
/// a sector is learned in a seaway. Common practice, no source.
const LIMIT: Turn = Turn::from_deg(8);
/// After card and variation two headings agree within this, learned or not; without a card the
/// deviation of a poor place is let pass as well.
const ABSOLUTE: Turn = Turn::from_deg(15);
const ABSOLUTE_UNCORRECTED: Turn = Turn::from_deg(30);
/// While the heading is this far from its own average over [`TURN`] she turns, by 1.5 degrees a second
/// or more: a damped sensor then lags behind a quick one by more than any limit, and nothing is judged.
const TURNING: Turn = Turn::from_deg(15);
const TURN: Span = Span::from_s(10);
const DELAY: Span = Span::from_s(4);
const BACK: Span = Span::from_s(10);
/// A sector is known after so many half seconds.
const ENOUGH: u16 = 40;
/// From then on it follows by this part of the difference each half second: 4 minutes.
const FOLLOW: i32 = 512;
/// A sector not yet known borrows from the nearest known one, and allows this for each step away.
const BORROWED: Turn = Turn::from_deg(5);

/// The judge of one pair.
#[derive(Clone, Copy, Debug)]
pub(super) struct AgainstHeading {
    limit: Turn,
    delay: Span,
    sectors: [(Turn, u16); SECTORS],
    average: Smooth,
    heading: Smooth,
    latch: Latch,
}

impl AgainstHeading {
    pub(super) fn new(settings: LimitSettings) -> Self {
        Self {
            limit: settings.limit.unwrap_or(LIMIT),
            delay: settings.delay.unwrap_or(DELAY),
            sectors: [(Turn::ZERO, 0); SECTORS],
            average: Smooth::default(),
            heading: Smooth::default(),
            latch: Latch::default(),
        }
    }

    /// Whether it stands raised, judged just now or not.
    pub(super) fn is_up(&self) -> bool {
        self.latch.is_up()
    }

    /// One of the two headings is not there just now.
    pub(super) fn pause(&mut self) {
        self.average.reset();
        self.heading.reset();
        self.latch.pause();
    }

    /// By how much they differ from what was learned, if that is too much.
    pub(super) fn judge(
        &mut self,
        primary: &Reduced,
        raw: Bearing,
        other: &Reduced,
        now: Instant,
    ) -> Result<Option<Turn>, Why> {
        // The card is taken out of the learned difference and the variation is left in: it may
        // become known, or change its source, at any time, and a step must not look like a fault.
        let Some(mine) = primary.magnetic.map(|m| m.0).or(primary.truth.map(|t| t.0)) else {
            return Err(Why::NoHeading);
        };
        let average = self.average.step(now, mine.turn_to(raw), YAW);
        let reading = Turn::from_mdeg(mine.as_mdeg()).wrapped();
        let turning = (reading - self.heading.step(now, reading, TURN)).wrapped().size() > TURNING;
        let sector = usize::try_from(mine.as_mdeg() / SECTOR).unwrap_or(0) % SECTORS;
        let learned = self.nearest(sector);
        let from_learned = learned.map(|(offset, away)| {
            let allowed = self.limit + Turn::from_mdeg(BORROWED.as_mdeg() * away);
            ((average - offset).wrapped(), allowed)
        });
        let absolute = match (primary.truth, other.truth) {
            (Some(a), Some(b)) => {
                let corrected = |r: &Reduced| r.correction != Correction::Uncorrected;
                let both = corrected(primary) && corrected(other);
                Some((a.0.turn_to(b.0), if both { ABSOLUTE } else { ABSOLUTE_UNCORRECTED }))
            }
            _ => None,
        };
        let over = |(by, allowed): (Turn, Turn)| by.size() > allowed;
        let well = |(by, allowed): (Turn, Turn)| by.size().as_mdeg() < allowed.as_mdeg() / 2;
        let above = !turning && (from_learned.is_some_and(over) || absolute.is_some_and(over));
        let below = !turning && from_learned.is_none_or(well) && absolute.is_none_or(|a| !over(a));
        self.learn(sector, average, !turning && from_learned.is_none_or(|(by, _)| by.size() <= self.limit) && !above);
        let by = match (from_learned, absolute) {
            // What is over its limit is what is said: an offset may have been learned that is too large.
            (Some(learned), Some(absolute)) if !over(learned) && over(absolute) => absolute.0,
            (Some((by, _)), _) | (None, Some((by, _))) => by,
            (None, None) => return Err(Why::Settling),
        };
        if self.latch.step(now, above, below, self.delay, BACK) {
            return Ok(Some(by));
        }
        if learned.is_some() && !turning { Ok(None) } else { Err(Why::Settling) }
    }

    /// What is learned for this sector, or for the nearest one, and how many sectors away that is.
    fn nearest(&self, sector: usize) -> Option<(Turn, i32)> {
        (0..=SECTORS / 2).find_map(|away| {
            [(sector + away) % SECTORS, (sector + SECTORS - away) % SECTORS]
                .into_iter()
                .filter_map(|index| self.sectors.get(index))
                .find(|(_, count)| *count >= ENOUGH)
                .map(|(offset, _)| (*offset, i32::try_from(away).unwrap_or(0)))
        })
    }

    /// Learns while all is quiet; frozen while the difference grows.
    fn learn(&mut self, sector: usize, average: Turn, quiet: bool) {
        let Some((offset, count)) = self.sectors.get_mut(sector) else { return };
        let error = (average - *offset).wrapped();
        // A sector that is known follows only small errors; half the limit is not small.
        if !quiet || (*count >= ENOUGH && error.size().as_mdeg() > self.limit.as_mdeg() / 2) {
            return;
        }
        *count = count.saturating_add(1);
        let part = if *count <= ENOUGH { i32::from(*count) } else { FOLLOW };
        // A millidegree at least, or a small lasting error would never be followed.
        let step = error.as_mdeg() / part;
        let step = if step == 0 { error.as_mdeg().signum() } else { step };
        *offset = (*offset + Turn::from_mdeg(step)).wrapped();
    }
}
