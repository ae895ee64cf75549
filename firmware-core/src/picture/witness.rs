//! Which headings are one sensor: witnesses that always agree because they are copies.
//!
//! On small boats HDT is often the compass plus variation, and VHW a copy. The difference of a copy from
//! its model is the same on every heading; two real sensors have different deviation, and theirs changes
//! with the heading.
//!
//! So the mean difference before a turn is compared with the mean after it, by a sequential test of the
//! likelihood ratio (Wald 1945) that remembers the turns before. A mean over a stretch of time is what a
//! copy cannot spoil: however late or damped it is, its mean differs from its model's by the delay times
//! the rate of turn from end to end of the stretch, and yaw between the ends cancels.
//!
//! What no difference shows: a copy to which an instrument applied a card of its own changes with the
//! heading as a second sensor would, and in a seaway a delay looks like noise of its own. Such a copy
//! comes in a log's VHW or under its model's own talker, and those are never called two sensors. A copy
//! with a card of its own under a third talker is taken for a second sensor.

use crate::angle::Bearing;
use crate::angle::Turn;
use crate::angle::trig;
use crate::picture::HeadingChannel;
use crate::time::Instant;
use crate::time::Span;

/// What is known of a pair of headings.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Kinship {
    /// The boat has not turned enough to tell, or the evidence is mixed.
    #[default]
    Unknown,
    /// One is a copy of the other.
    OneSensor,
    /// Two sensors.
    Two,
}

/// The evidence on one pair of headings: 28 bytes, for there are 28 pairs.
#[derive(Clone, Copy, Debug, Default)]
pub struct Pair {
    kinship: Kinship,
    /// Logarithm of how much likelier two sensors are than one, [`NAT`] to the unit.
    score: i16,
    /// How many differences the stretch holds; nothing where none has begun.
    count: u8,
    stretch: Stretch,
    before: Mean,
}

/// A stretch of time over which differences are summed. Angles in hundredths of a degree.
#[derive(Clone, Copy, Debug, Default)]
struct Stretch {
    /// Sum and sum of squares of the differences, less the first.
    sum: i32,
    squares: u32,
    first: i16,
    /// Heading at its beginning, and how far the boat has turned since.
    from: u16,
    turned: i16,
    /// When it began, tenths of a second; they wrap.
    began: u16,
}

/// What a stretch came to. Angles in hundredths of a degree.
#[derive(Clone, Copy, Debug, Default)]
struct Mean {
    difference: i16,
    /// From end to end, a second and [`RATE`] parts of it.
    rate: i16,
    /// When it ended, in units of [`AGE_MS`]; they wrap.
    ended: u8,
    /// The heading in its middle, 256 to the circle.
    heading: u8,
    /// Standard deviation of the difference; nothing where there is no stretch.
    sigma: u8,
    /// How many stretches since could not be compared with it.
    skipped: u8,
}

/// Units of the score in one natural logarithm.
const NAT: i32 = 64;
/// One sensor from here on: twenty times likelier (ln 20 = 3.0).
const ONE: i16 = -192;
/// Two sensors from here on: ten thousand times likelier (ln 10 000 = 9.2), for a copy that is believed
/// proves a false compass right, and a sensor taken for a copy is merely one witness less.
const TWO: i16 = 590;
/// A verdict holds until the score has come back so far.
const NO_LONGER_ONE: i16 = -64;
const NO_LONGER_TWO: i16 = 200;
/// The score goes no farther than this, so that a verdict can change within a few turns.
const LEAST: i16 = -400;
const MOST: i16 = 800;

/// A partner older than this is of another moment.
const SAME_MOMENT: Span = Span::from_ms(600);
/// Tenths of a second: a stretch lasts so long, some yaw periods; and no longer than this where few values come.
const LASTS: u16 = 400;
const TOO_LONG: u16 = 1200;
/// Where the difference varies by no more than this (0.07 degrees, squared), half of that is as good.
const QUIET: u32 = 49;
/// So many differences make a stretch, and no more than one in [`THIN`] milliseconds is taken.
const ENOUGH: u8 = 20;
const THIN: u32 = 170;
/// A heading of which most values differ from the one before (200 of 256) and that has not changed for so long hangs.
const RESTLESS: u16 = 200;
const HANGS: Span = Span::from_s(4);
/// A stretch whose heading is within the first of these has the same heading; beyond the second she has turned.
const SAME_HEADING: i32 = 1500;
const TURNED: i32 = 1900;
/// A verdict of one sensor takes so much turning.
const THROUGH: i32 = 9000;
/// A turn of so much or more may bring seven tenths of what a verdict of two sensors takes: two turns that show it and
/// one between them that does not.
const ALONE: i32 = 6000;
/// Parts of a second's turn in [`Mean::rate`].
const RATE: i32 = 20;
/// Milliseconds in a unit of [`Mean::ended`].
const AGE_MS: u64 = 64_000;
/// Delay and damping of a copy together, one standard deviation, seconds: relays take 0.1 to 0.9 s, damping 1 to 2 s.
const LAG_S: i32 = 2;
/// Where the turn alone may make the difference change by so much, nothing is learned.
const BLURRED: i32 = 120;
/// How fast the variation in a copy may change: one degree in an hour, hundredths of a degree.
const DRIFT_PER_H: i32 = 100;
/// No mean is trusted better than this.
const FLOOR: i32 = 4;
/// Two compasses on a small boat: deviation that differs by one degree rms between headings 60 degrees apart.
const DIFFER: i32 = 100;
/// Difference that grows by more than a third of the turn is no deviation: one of the two stands still.
const STANDS_STILL: i32 = 3;

impl Pair {
    /// What is known of the pair.
    pub fn kinship(&self) -> Kinship {
        self.kinship
    }

    /// One of the two has just spoken: the same one is `one` every time, whichever spoke.
    pub fn compare(&mut self, now: Instant, one: &HeadingChannel, other: &HeadingChannel) {
        let (Some(a), Some(b)) = (one.raw.latest(), other.raw.latest()) else { return };
        if one.raw.age(now).max(other.raw.age(now)) > SAME_MOMENT {
            return;
        }
        if hangs(one, now) || hangs(other, now) {
            self.count = 0;
            return;
        }
        let elapsed = self.stretch.elapsed(now);
        if self.count == 0 || elapsed > TOO_LONG {
            self.stretch = Stretch::begin(now, a, a.turn_to(b));
            self.count = 1;
            return;
        }
        if u32::from(self.count) * THIN > u32::from(elapsed) * 100 {
            return;
        }
        let fits = self.stretch.add(a, a.turn_to(b));
        self.count = if fits { self.count.saturating_add(1) } else { 0 };
        // Whether they are quiet is dear, and asked for only where it decides.
        if elapsed < LASTS / 2 || self.count < ENOUGH {
            return;
        }
        if elapsed >= LASTS || self.stretch.is_quiet(self.count) {
            self.judge(now, one, other);
            self.count = 0;
        }
    }

    /// A stretch is complete.
    fn judge(&mut self, now: Instant, one: &HeadingChannel, other: &HeadingChannel) {
        let rounding = undithered(one) + undithered(other);
        let Some(mean) = self.stretch.mean(now, self.count, rounding) else { return };
        let turn = angle(mean.heading, self.before.heading);
        if self.before.sigma == 0 {
            self.before = mean;
            return;
        }
        if turn < SAME_HEADING {
            self.before.join(mean, rounding);
            return;
        }
        if turn < TURNED {
            return;
        }
        let blur = (i32::from(mean.rate) - i32::from(self.before.rate)).abs() * LAG_S / RATE;
        if blur > BLURRED {
            // The turn itself, or the beginning of a circle: after the one she is steady again, the other goes on.
            if self.before.skipped == 2 {
                self.before = mean;
            } else {
                self.before.skipped += 1;
            }
            return;
        }
        let change = wrapped(i32::from(mean.difference) - i32::from(self.before.difference));
        if change.abs() < turn / STANDS_STILL {
            let drift =
                i32::from(mean.ended.wrapping_sub(self.before.ended)) * DRIFT_PER_H / (3_600_000 / AGE_MS) as i32;
            let square = |part: i32| i64::from(part) * i64::from(part);
            let copied = square(mean.sigma.into()) + square(self.before.sigma.into()) + square(blur) + square(drift);
            self.weigh(change, turn, copied);
        }
        self.before = mean;
        let dressed = is_dressed(one, other);
        self.kinship = match self.kinship {
            _ if self.score <= ONE => Kinship::OneSensor,
            _ if self.score >= TWO && !dressed => Kinship::Two,
            Kinship::OneSensor if self.score <= NO_LONGER_ONE => Kinship::OneSensor,
            Kinship::Two if self.score >= NO_LONGER_TWO => Kinship::Two,
            _ => Kinship::Unknown,
        };
    }

    /// The difference changed by `change` over a turn, that of a copy with a variance of `copied`.
    fn weigh(&mut self, change: i32, turn: i32, copied: i64) {
        let reach = i64::from(DIFFER * turn.min(9000) / 6000);
        let two = copied + reach * reach;
        let square = i64::from(change) * i64::from(change);
        // Half of (change^2 / copied - change^2 / two - ln (two / copied)).
        let fits = square * i64::from(NAT) / 2 / copied - square * i64::from(NAT) / 2 / two;
        let odds = fits - i64::from(half_ln(two * i64::from(NAT) / copied));
        // No single turn decides for two, and none of less than 90 degrees for one.
        let share = turn.min(THROUGH);
        let most = i64::from(i32::from(TWO) * 7 / 10 * turn.min(ALONE) / ALONE);
        let least = i64::from(i32::from(ONE) * share / THROUGH);
        let odds = odds.clamp(least, most);
        let score = i64::from(self.score) + odds;
        self.score = i16::try_from(score.clamp(LEAST.into(), MOST.into())).unwrap_or(0);
    }
}

impl Mean {
    /// A stretch more on the same heading: the later a stretch, the more it counts, for variation changes. The heading
    /// stays that of the first, or a boat that wanders round slowly would never have turned.
    fn join(&mut self, later: Self, rounding: i32) {
        let square = |sigma: u8| u32::from(sigma) * u32::from(sigma);
        let variance = (square(self.sigma) + square(later.sigma)) / 4;
        let least = rounding.unsigned_abs() + (FLOOR * FLOOR).unsigned_abs();
        let half = wrapped(i32::from(later.difference) - i32::from(self.difference)) / 2;
        *self = Self {
            difference: i16::try_from(wrapped(i32::from(self.difference) + half)).unwrap_or(0),
            rate: (self.rate / 2) + (later.rate / 2),
            heading: self.heading,
            sigma: u8::try_from(trig::sqrt(variance.max(least).into())).unwrap_or(u8::MAX),
            ..later
        };
    }
}

impl Stretch {
    fn begin(now: Instant, heading: Bearing, difference: Turn) -> Self {
        Self {
            first: hundredths(difference),
            from: u16::try_from(heading.as_mdeg() / 10).unwrap_or(0),
            began: tenths(now),
            ..Self::default()
        }
    }

    fn elapsed(&self, now: Instant) -> u16 {
        tenths(now).wrapping_sub(self.began)
    }

    /// One difference more; `false` where it is beyond what a stretch can hold.
    fn add(&mut self, heading: Bearing, difference: Turn) -> bool {
        let last = Bearing::from_mdeg((i64::from(self.from) + i64::from(self.turned)) * 10);
        let turned = i32::from(self.turned) + i32::from(hundredths(last.turn_to(heading)));
        let more = wrapped(i32::from(hundredths(difference)) - i32::from(self.first));
        let Ok(turned) = i16::try_from(turned) else { return false };
        // At most 255 of at most 40 degrees: 4.1 thousand million, which 32 bits hold.
        if more.abs() > 4000 {
            return false;
        }
        self.turned = turned;
        self.sum += more;
        self.squares += (more * more).unsigned_abs();
        true
    }

    /// Whether the variance is no more than [`QUIET`], with one division of the two.
    fn is_quiet(&self, count: u8) -> bool {
        let count = u32::from(count.max(1));
        let beyond = (self.squares / count).saturating_sub(QUIET);
        i64::from(self.sum) * i64::from(self.sum) >= i64::from(beyond) * i64::from(count * count)
    }

    fn variance(&self, count: u8) -> u32 {
        let count = i64::from(count.max(1));
        let variance = i64::from(self.squares) / count - (i64::from(self.sum) * i64::from(self.sum)) / (count * count);
        u32::try_from(variance).unwrap_or(0)
    }

    /// What it came to; `None` where it is too uncertain to tell anything.
    fn mean(&self, now: Instant, count: u8, rounding: i32) -> Option<Mean> {
        let variance = self.variance(count);
        let count = i32::from(count.max(1));
        // Differences that follow each other are not independent: half of them count.
        let square = variance * 2 / count.unsigned_abs() + rounding.unsigned_abs() + (FLOOR * FLOOR).unsigned_abs();
        let sigma = u8::try_from(trig::sqrt(square.into())).ok()?;
        let rate = i32::from(self.turned) * 10 * RATE / i32::from(self.elapsed(now).max(1));
        let middle = Bearing::from_mdeg((i64::from(self.from) + i64::from(self.turned / 2)) * 10);
        Some(Mean {
            difference: i16::try_from(wrapped(i32::from(self.first) + self.sum / count)).unwrap_or(0),
            rate: i16::try_from(rate).ok()?,
            ended: u8::try_from(now.as_ms() / AGE_MS % 256).unwrap_or(0),
            heading: u8::try_from(middle.as_mdeg() * 32 / 45_000 % 256).unwrap_or(0),
            sigma: sigma.max(1),
            skipped: 0,
        })
    }
}

/// Whether a copy corrected by a card of its own is likelier than a second sensor, whatever the difference does: a log
/// has no compass, and one talker that sends several headings sends one sensor's in several dresses.
fn is_dressed(one: &HeadingChannel, other: &HeadingChannel) -> bool {
    let (a, b) = (one.origin, other.origin);
    [a, b].iter().any(|origin| origin.formatter.0 == *b"VHW") || (a.source == b.source && a.talker == b.talker)
}

/// Whether a heading repeats itself that is not used to: a relay that lost its sensor for a while.
fn hangs(channel: &HeadingChannel, now: Instant) -> bool {
    channel.restless() >= RESTLESS && channel.unchanged(now) >= HANGS
}

/// The last digit of a heading, hundredths of a degree.
fn digit(channel: &HeadingChannel) -> i32 {
    channel.rounding().as_mdeg() / 5
}

/// The variance that rounding leaves in a mean: that of one value (0.29 digits rms) where the value stands, nearly
/// none where it goes to and fro over several digits.
fn undithered(channel: &HeadingChannel) -> i32 {
    let still = (128 - i32::from(channel.restless())).max(0);
    let sigma = digit(channel) * (29 * still).max(6 * 128) / 12_800;
    sigma * sigma
}

/// Hundredths of a degree; a turn of 180 degrees at most fits.
fn hundredths(turn: Turn) -> i16 {
    i16::try_from(turn.as_mdeg() / 10).unwrap_or(0)
}

fn wrapped(hundredths: i32) -> i32 {
    Turn::from_mdeg(hundredths * 10).wrapped().as_mdeg() / 10
}

/// Hundredths of a degree from one of 256 directions to another.
fn angle(one: u8, other: u8) -> i32 {
    let apart = i32::from(one.abs_diff(other));
    apart.min(256 - apart) * 36_000 / 256
}

fn tenths(now: Instant) -> u16 {
    u16::try_from(now.as_ms() / 100 % 65_536).unwrap_or(0)
}

/// Half the natural logarithm of `ratio` / [`NAT`], in units of the score; `ratio` at least [`NAT`].
/// Straight between powers of two: at most 0.03 nats too small.
fn half_ln(ratio: i64) -> i32 {
    let ratio = u64::try_from(ratio).unwrap_or(0).max(NAT.unsigned_abs().into());
    let power = ratio.ilog2();
    let part = i32::try_from((ratio << 6 >> power) & 63).unwrap_or(0);
    // 64 / 2 * ln 2 = 22.18 to a doubling.
    let whole = i32::try_from(power).unwrap_or(0) - 6;
    (whole * 64 + part) * 2218 / 6400
}

#[cfg(test)]
mod tests;
