//! Off-heading: the boat does not head where she is ordered to.
//!
//! **Quiet**: the heading swings about its mean by the yaw of the seaway, whose rms and long-run variance
//! are learned on board ([`Noise`]), and the mean stays within two thirds of the owner's limit, for a
//! pilot in gusts is not always on course. **Fault**: the mean lies beyond the limit. **Test**: a
//! cumulative sum of what the difference lies beyond the limit, each way. In a quiet sea it needs little
//! and answers fast; in a seaway it waits until no yaw explains the sum. **False alerts**: less than one
//! in 100 days, with the mean at two thirds of the limit all the time (simulated, see [`Noise`]).

use crate::alert::Evidence;
use crate::alert::Latch;
use crate::alert::LimitSettings;
use crate::alert::Smooth;
use crate::alert::Verdict;
use crate::alert::Why;
use crate::alert::cusum::Design;
use crate::alert::cusum::TwoSided;
use crate::alert::noise::HALF_SWING_S;
use crate::alert::noise::Noise;
use crate::angle::Turn;
use crate::picture::Picture;
use crate::picture::Referred;
use crate::picture::Steering;
use crate::time::Instant;
use crate::time::Span;

/// 15 degrees: beyond what a pilot that still steers lets pass in a seaway. Setting `limit`.
pub const LIMIT: Turn = Turn::from_deg(15);
/// She must have been out for so long: half of a slow yaw. Setting `delay`.
const DELAY: Span = Span::from_s(3);
/// The yaw that is supposed before it is learned: a rough sea, so that the first minute does not cry.
const ROUGH: Noise = Noise::supposed(3500, 2300);
/// The sum must reach this much, degrees times a second: the swing of one ship's wash, 20 degrees for a
/// second and a half, is no departure.
const LEAST: i64 = 8_000;
/// And never needs more than this: twice the limit for four seconds and more.
const MOST: i64 = 60_000;
/// What is shown, and what must be back for it to be over, is averaged over a yaw of 3 to 8 s (common
/// practice, no source).
const YAW: Span = Span::from_s(4);
/// It is over when the average is back within the limit less this, for [`BACK`].
const HYSTERESIS: Turn = Turn::from_deg(5);
const BACK: Span = Span::from_s(10);
/// After a new order the boat has this long to begin, and turns at [`TURNING`] a second at least: a
/// heavy boat close-hauled is slow to turn. Common practice, no source.
const BEGIN: Span = Span::from_s(30);
const TURNING: i32 = 2;

/// The judge of off-heading.
#[derive(Clone, Copy, Debug)]
pub struct OffHeading {
    limit: Turn,
    delay: Span,
    average: Smooth,
    yaw: Noise,
    test: TwoSided,
    /// Since when the larger sum has been rising.
    out_since: Option<Instant>,
    latch: Latch,
    /// The order that time was given to turn to.
    order: Option<Referred>,
    /// While the boat turns to a new order, until this.
    turning_until: Option<Instant>,
}

impl OffHeading {
    /// A judge by the owner's settings.
    pub fn new(settings: LimitSettings) -> Self {
        Self {
            limit: settings.limit.unwrap_or(LIMIT),
            delay: settings.delay.unwrap_or(DELAY),
            average: Smooth::default(),
            yaw: ROUGH,
            test: TwoSided::default(),
            out_since: None,
            latch: Latch::default(),
            order: None,
            turning_until: None,
        }
    }

    /// Judges the picture, once every half second.
    pub fn judge(&mut self, picture: &Picture, steering: Steering, now: Instant) -> Verdict {
        let (order, by) = match steering {
            Steering::Heading { order, by, .. } => (order, by),
            other => {
                // No heading is ordered, so what was raised no longer stands: that alone is judged, once.
                let stood = self.latch.is_up();
                self.order = None;
                self.begin_again();
                self.latch = Latch::default();
                if stood {
                    return Verdict::Clear;
                }
                return Verdict::Unjudged(match other {
                    Steering::Wind => Why::SteeredByWind,
                    Steering::Hand => Why::SteeredByHand,
                    _ => Why::NoOrder,
                });
            }
        };
        let Some(heading) = picture.heading_for(order, by, now) else {
            self.latch.pause();
            self.begin_again();
            let there = picture.pilot().is_some_and(|pilot| pilot.raw.fresh(now).is_some());
            return Verdict::Unjudged(if there { Why::OrderNotComparable } else { Why::NoHeading });
        };
        let off = order.bearing.turn_to(heading.bearing);
        self.note_order(order, off, now);
        if let Some(until) = self.turning_until {
            // She has arrived when she is well inside: the first swing across the limit is only yaw.
            if now < until && off.size() > Turn::from_mdeg(self.limit.as_mdeg() / 2) {
                return Verdict::Unjudged(Why::Settling);
            }
            self.turning_until = None;
        }
        let out = self.is_out(off, now);
        let average = self.average.step(now, off, YAW).size();
        let back = (self.limit - HYSTERESIS).max(Turn::from_mdeg(self.limit.as_mdeg() / 2));
        let was_up = self.latch.is_up();
        if self.latch.step(now, out, average < back, Span::ZERO, BACK) {
            let lasting = self.out_since.map_or(Span::ZERO, |since| now.since(since));
            Verdict::Raised(Evidence::OffHeading { heading, ordered: order, off, lasting, by })
        } else {
            if was_up {
                self.begin_again();
            }
            Verdict::Clear
        }
    }

    /// The sequential test: whether the mean lies beyond the limit.
    fn is_out(&mut self, off: Turn, now: Instant) -> bool {
        let limit = self.limit.as_mdeg();
        // A sum of nothing is under any threshold, and the threshold is dear.
        let rests = self.test.rests(off.as_mdeg(), limit);
        let threshold = if rests { limit } else { self.yaw.threshold(limit / 3, HALF_SWING_S, LEAST, MOST) };
        let design = Design::new(limit, threshold);
        let signal = self.test.step(off.as_mdeg(), &design).is_some();
        if self.test.sum() == 0 {
            self.out_since = None;
        } else {
            self.out_since.get_or_insert(now);
        }
        // What is learned is the yaw, and neither the departure nor what leads to it.
        if self.test.sum() * 4 < design.threshold && off.size().as_mdeg() < limit * 2 {
            self.yaw.take(off.as_mdeg());
        } else {
            self.yaw.interrupt();
        }
        signal && self.out_since.is_some_and(|since| now.since(since) >= self.delay)
    }

    /// Nothing of what was summed counts any more; the sea is still the same.
    #[inline(never)]
    fn begin_again(&mut self) {
        self.average.reset();
        self.test = TwoSided::default();
        self.out_since = None;
        self.yaw.interrupt();
    }

    /// A new order gives the boat time to turn to it; the difference so far belonged to the old one.
    fn note_order(&mut self, order: Referred, off: Turn, now: Instant) {
        // A pilot that follows a track or the wind trims its order all the time: that takes no time
        // to turn to, and must not keep this from judging.
        let trim = Turn::from_mdeg(self.limit.as_mdeg() / 2);
        let trimmed =
            |last: Referred| last.reference == order.reference && last.bearing.turn_to(order.bearing).size() <= trim;
        if self.order.is_some_and(trimmed) {
            return;
        }
        self.order = Some(order);
        self.begin_again();
        self.latch.pause();
        let degrees = u64::try_from(off.size().as_mdeg() / 1000 / TURNING).unwrap_or(0);
        self.turning_until = Some(now + BEGIN + Span::from_s(degrees));
    }
}
