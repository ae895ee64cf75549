//! Off-heading: the boat does not head where she is ordered to.

use crate::alert::Evidence;
use crate::alert::Latch;
use crate::alert::LimitSettings;
use crate::alert::Smooth;
use crate::alert::Verdict;
use crate::alert::Why;
use crate::angle::Turn;
use crate::picture::OrderedBy;
use crate::picture::Picture;
use crate::picture::Referred;
use crate::picture::Steering;
use crate::time::Instant;
use crate::time::Span;

/// The difference from the order is averaged over this: about one yaw period of a small yacht in a
/// seaway (3 to 8 s, common practice, no source), so that the swings cancel and a departure does not.
const YAW: Span = Span::from_s(4);
/// 15 degrees: beyond what a pilot that still steers lets pass in a seaway.
const LIMIT: Turn = Turn::from_deg(15);
/// The average must stay out for so long.
const DELAY: Span = Span::from_s(5);
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
                self.average.reset();
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
            self.average.reset();
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
        let average = self.average.step(now, off, YAW).size();
        let back = (self.limit - HYSTERESIS).max(Turn::from_mdeg(self.limit.as_mdeg() / 2));
        if self.latch.step(now, average > self.limit, average < back, self.delay, BACK) {
            let lasting = self.latch.above_since().map_or(Span::ZERO, |since| now.since(since));
            Verdict::Raised(Evidence::OffHeading {
                heading,
                ordered: order,
                off,
                lasting,
                stands_by: matches!(by, OrderedBy::StoodBy(_)),
            })
        } else {
            Verdict::Clear
        }
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
        self.average.reset();
        self.latch.pause();
        let degrees = u64::try_from(off.size().as_mdeg() / 1000 / TURNING).unwrap_or(0);
        self.turning_until = Some(now + BEGIN + Span::from_s(degrees));
    }
}
