//! Heading-frozen: a heading that stands still while the boat turns, or that has lost its yaw.
//!
//! **Quiet**: a sound sensor may stand, of whole degrees on a calm day for minutes; then nothing else turns,
//! or what turns is the lag of a damped sensor or of an averaged course after a turn. **Fault**: it stands
//! and another witness has turned by the limit since. **Quiet too**: a sensor of a tenth of a degree under
//! way repeats its last value with a chance that is learned on board, so `n` repeated values have that
//! chance to the power of `n` while values are independent. **Test**: the logarithm of that chance, summed,
//! against the one that comes once in 100 days of ten values a second; twice as much is asked for,
//! because values are not quite independent.

use crate::alert::Evidence;
use crate::alert::Latch;
use crate::alert::LimitSettings;
use crate::alert::Smooth;
use crate::alert::Verdict;
use crate::alert::Why;
use crate::angle::Turn;
use crate::picture::HeadingChannel;
use crate::picture::LEAST_SPEED;
use crate::picture::Picture;
use crate::time::Instant;
use crate::time::Mark;
use crate::time::Span;
use crate::unit::Speed;

/// Another heading, or a declared gyro, must have turned by this. Setting `limit`.
const TURNED: Turn = Turn::from_deg(5);
/// The course over the ground must have turned by half as much again: it swings by itself in a seaway. (In
/// 17 h of recorded sailing not even the limit itself raised a false alert.)
const COURSE_HALVES: i32 = 3;
/// The course is averaged over this before it counts.
const COURSE: Span = Span::from_s(8);
/// Below three knots a receiver may hold its course and let it go by a right angle: seen at 2 knots.
const COURSE_SPEED: Speed = Speed::from_milliknots(3000);
/// When a boat steadies after a turn, a damped second sensor and the averaged course still move for
/// a while: what they show counts from so long after the heading began to stand.
const SENSOR_LAG: Span = Span::from_s(6);
const COURSE_LAG: Span = Span::from_s(8);
/// Slower than this a gyro's own bias would turn a boat at her berth: 6 degrees a minute, ten times the
/// 0.5 that A.526(13) lets a rate-of-turn indicator show at rest.
const GYRO_REST: i32 = 100;
/// A standing heading is looked at after this; a whole-degree sensor on a calm day stands longer.
const STILL: Span = Span::from_s(8);
/// A fine sensor under way that changed with most values has lost its yaw when it stands for this at
/// least, and until chance does not explain it.
const YAW_LOST: Span = Span::from_s(10);
/// "Most values": three in four, of 256.
const RESTLESS: u16 = 192;
/// What one repeated value weighs, minus the natural logarithm of its chance times 16, by how many values
/// of 256 are new: 75, 80, 85, 90 and 95 %. No sensor is trusted to be more restless than that.
const WEIGHTS: [(u16, u64); 5] = [(192, 22), (205, 25), (218, 30), (230, 36), (243, 47)];
/// Once in 100 days of ten values a second is 1 in 8.64e7: 18.3 in natural logarithms. Twice that, times 16.
const WEIGHT: u64 = 586;
/// The evidence must last. Setting `delay`.
const DELAY: Span = Span::from_s(3);
const BACK: Span = Span::from_s(2);
/// Other headings that are followed beside it.
const OTHERS: usize = crate::picture::HEADINGS;

/// The judge of one heading.
#[derive(Clone, Copy, Debug)]
pub struct Frozen {
    limit: Turn,
    delay: Span,
    latch: Latch,
    /// Since when the heading stands, and how restless it was before.
    stands: Option<(Instant, u16)>,
    /// The other headings and the averaged course soon after it began to stand; a bit for each that is known.
    others: [Turn; OTHERS],
    known: u8,
    course: Smooth,
    course_then: Option<Turn>,
    gyro: Turn,
    last: Mark,
}

impl Frozen {
    /// A judge by the owner's settings.
    pub fn new(settings: LimitSettings) -> Self {
        Self {
            limit: settings.limit.unwrap_or(TURNED),
            delay: settings.delay.unwrap_or(DELAY),
            latch: Latch::default(),
            stands: None,
            others: [Turn::ZERO; OTHERS],
            known: 0,
            course: Smooth::default(),
            course_then: None,
            gyro: Turn::ZERO,
            last: Mark::NONE,
        }
    }

    /// Judges the heading at `index` of the picture, once every half second.
    pub fn judge(&mut self, picture: &Picture, index: usize, now: Instant) -> Verdict {
        let Some(channel) = picture.headings().get(index) else { return Verdict::Unjudged(Why::NoHeading) };
        let Some(raw) = channel.raw.fresh(now) else {
            self.stands = None;
            self.latch.pause();
            return Verdict::Unjudged(Why::NoHeading);
        };
        let ground = picture.ground(now).map(|(_, ground)| ground).filter(|ground| ground.speed >= LEAST_SPEED);
        let course = ground
            .filter(|ground| ground.speed >= COURSE_SPEED)
            .and_then(|ground| ground.course)
            .map(|course| self.course.step(now, Turn::from_mdeg(course.0.as_mdeg()).wrapped(), COURSE));
        if course.is_none() {
            self.course.reset();
        }
        self.note_stillness(picture, channel, index, course, now);
        self.integrate_gyro(picture, now);
        let still = channel.unchanged(now);
        // Nobody asks what else turned while the heading moves.
        let asked = still >= STILL || self.latch.is_up();
        let turned = if asked { self.others_turned(picture, channel, index, course, now) } else { None };
        let restless = self.stands.map_or(0, |(_, restless)| restless);
        let yaw_lost = ground.is_some() && channel.decimals >= 1 && yaw_is_lost(channel, restless, still);
        let frozen = still >= STILL && (turned.is_some() || yaw_lost);
        if self.latch.step(now, frozen, still < STILL, self.delay, BACK) {
            return Verdict::Raised(Evidence::Frozen { at: channel.referred(raw), still, turned });
        }
        let places = 0..picture.headings().len().min(OTHERS);
        let others = || places.clone().any(|other| witness_reading(picture, index, other, now).is_some());
        let witness = course.is_some() || picture.settings().rot_is_gyro || others();
        if witness { Verdict::Clear } else { Verdict::Unjudged(Why::NoWitness) }
    }

    /// Where everything else was soon after the heading began to stand still.
    fn note_stillness(
        &mut self,
        picture: &Picture,
        channel: &HeadingChannel,
        index: usize,
        course: Option<Turn>,
        now: Instant,
    ) {
        if self.stands.is_none_or(|(since, _)| since != channel.changed()) {
            self.stands = Some((channel.changed(), channel.restless()));
            self.course_then = None;
            self.gyro = Turn::ZERO;
            self.known = 0;
        }
        let still = channel.unchanged(now);
        // A witness that comes only later counts from then on.
        if still >= COURSE_LAG {
            self.course_then = self.course_then.or(course);
        }
        if still >= SENSOR_LAG {
            for (slot, other) in self.others.iter_mut().zip(0..picture.headings().len()) {
                if self.known & (1 << other) == 0 {
                    if let Some(reading) = witness_reading(picture, index, other, now) {
                        *slot = reading;
                        self.known |= 1 << other;
                    }
                }
            }
        }
    }

    fn integrate_gyro(&mut self, picture: &Picture, now: Instant) {
        let elapsed = self.last.moment().map_or(Span::ZERO, |last| now.since(last)).as_ms().min(2000);
        self.last = Mark::at(now);
        if !picture.settings().rot_is_gyro {
            return;
        }
        let turns = |rate: &crate::angle::TurnRate| rate.as_mdeg_per_s().abs() >= GYRO_REST;
        if let Some(rate) = picture.rate().fresh(now).filter(turns) {
            let step = i64::from(rate.as_mdeg_per_s()) * i64::try_from(elapsed).unwrap_or(0) / 1000;
            self.gyro += Turn::from_mdeg(i32::try_from(step).unwrap_or(0));
        }
    }

    /// The largest turn that another witness shows since the heading stands, if it is enough.
    #[inline(never)]
    fn others_turned(
        &self,
        picture: &Picture,
        channel: &HeadingChannel,
        index: usize,
        course: Option<Turn>,
        now: Instant,
    ) -> Option<Turn> {
        // What the heading itself cannot show is no turn of others.
        let limit = self.limit + channel.rounding();
        let headings = self.others.iter().enumerate().filter_map(|(other, then)| {
            if self.known & (1 << other) == 0 {
                return None;
            }
            let reading = witness_reading(picture, index, other, now)?;
            Some((reading - *then).wrapped()).filter(|turn| turn.size() >= limit)
        });
        let by_course = match (course, self.course_then) {
            (Some(course), Some(then)) => Some((course - then).wrapped())
                .filter(|turn| turn.size() >= Turn::from_mdeg(limit.as_mdeg().saturating_mul(COURSE_HALVES) / 2)),
            _ => None,
        };
        let by_gyro = Some(self.gyro).filter(|turn| turn.size() >= limit);
        headings.chain(by_course).chain(by_gyro).max_by_key(|turn| turn.size())
    }
}

/// Whether a heading that stands for `still` can no longer be one that was so `restless`.
fn yaw_is_lost(channel: &HeadingChannel, restless: u16, still: Span) -> bool {
    let weight = WEIGHTS.iter().rev().find(|(least, _)| restless >= *least).map_or(0, |(_, weight)| *weight);
    // Stale after four usual intervals or more, so this counts no value that did not come.
    let values = still.as_ms() * 4 / channel.raw.stale_after().as_ms().max(1);
    restless >= RESTLESS && still >= YAW_LOST && values * weight >= WEIGHT
}

/// What another heading reads that comes with a regular beat, unless it is a copy of the one at `index`.
fn witness_reading(picture: &Picture, index: usize, other: usize, now: Instant) -> Option<Turn> {
    if other == index || picture.kinship(index, other) == crate::picture::Kinship::OneSensor {
        return None;
    }
    let raw = &picture.headings().get(other)?.raw;
    let raw = raw.fresh(now).filter(|_| raw.has_beat(now))?;
    Some(Turn::from_mdeg(raw.as_mdeg()).wrapped())
}
