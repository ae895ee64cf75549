//! Heading-lost, position-lost and rudder-lost: a wanted value is stale, void, or never came.

use crate::alert::Evidence;
use crate::alert::Latch;
use crate::alert::LimitSettings;
use crate::alert::Lost;
use crate::alert::Verdict;
use crate::alert::Why;
use crate::picture::Freshness;
use crate::picture::Tracked;
use crate::time::Instant;
use crate::time::Span;

/// A heading that never came is missed after this: the slowest compasses take half of it to their first
/// value. Common practice, no source.
pub const HEADING_GRACE: Span = Span::from_s(30);
/// A receiver without an almanac takes minutes to its first fix: common practice, no source.
pub const POSITION_GRACE: Span = Span::from_min(5);
/// A heading that is stale is lost at once: the pilot steers by it.
pub const HEADING_DELAY: Span = Span::ZERO;
/// A receiver misses a fix for some seconds now and then, under a bridge or in a steep sea.
pub const POSITION_DELAY: Span = Span::from_s(10);
/// A rudder angle that never came is missed after this, where its sentence comes.
pub const RUDDER_GRACE: Span = Span::from_s(30);
/// Nobody steers by the rudder angle, so five seconds of silence are let pass: a busy line drops that
/// many lines now and then. Common practice, no source.
pub const RUDDER_DELAY: Span = Span::from_s(5);
/// So long after the start nothing is lost that nobody named.
const START: Span = HEADING_GRACE;
/// It must be back for so long.
const BACK: Span = Span::from_s(5);

/// The judge of one wanted value.
#[derive(Clone, Copy, Debug)]
pub struct LostValue {
    began: Instant,
    grace: Span,
    delay: Span,
    latch: Latch,
}

impl LostValue {
    /// A judge that begins at `began` and gives the value `grace` to come; `delay` is its default.
    pub fn new(began: Instant, grace: Span, delay: Span, settings: LimitSettings) -> Self {
        Self { began, grace, delay: settings.delay.unwrap_or(delay), latch: Latch::default() }
    }

    /// Another value takes the place of the one that was judged.
    pub fn begin_again(&mut self) {
        self.latch = Latch::default();
    }

    /// Judges the value; `wanted` where it is missed although it was not there for a minute: the owner names it,
    /// or the watch is kept by it.
    pub fn judge<T: Copy>(&mut self, value: Option<&Tracked<T>>, wanted: bool, now: Instant) -> Verdict {
        let freshness = value.map_or(Freshness::Never, |value| value.freshness(now));
        let wanted = wanted || value.is_some_and(Tracked::is_wanted);
        let since_start = now.since(self.began);
        let (how, silent, missing) = match freshness {
            Freshness::Never if !wanted => {
                return Verdict::Unjudged(if since_start < self.grace { Why::NotYetHeard } else { Why::NotWanted });
            }
            Freshness::Never if since_start < self.grace => return Verdict::Unjudged(Why::NotYetHeard),
            Freshness::Never => (Lost::NeverCame, since_start, true),
            Freshness::Fresh => (Lost::Silent, Span::ZERO, false),
            // It came for less than a minute in all and went: nobody relies on it yet.
            Freshness::Stale { .. } if !wanted => return Verdict::Unjudged(Why::HardlyHeard),
            // After a single value nothing says yet how often they come.
            Freshness::Stale { .. } if since_start < self.grace && value.is_some_and(|value| !value.has_interval()) => {
                return Verdict::Unjudged(Why::NotYetHeard);
            }
            // While the gear starts up what nobody named may come and go.
            Freshness::Stale { .. } if since_start < START && !value.is_some_and(Tracked::is_wanted) => {
                return Verdict::Unjudged(Why::NotYetHeard);
            }
            Freshness::Stale { last } => {
                let void = value.is_some_and(|value| value.is_void(now));
                (if void { Lost::Void } else { Lost::Silent }, now.since(last), true)
            }
        };
        if self.latch.step(now, missing, !missing, self.delay, BACK) {
            Verdict::Raised(Evidence::Lost { how, silent })
        } else {
            Verdict::Clear
        }
    }
}
