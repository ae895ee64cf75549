//! A turn that was ordered: whether she comes round with her rudder, or against it.
//!
//! A sensor whose sign turns moves the standing helm to its other side, and then the rudder of a turn the other
//! way may not come beyond a helm that was learned before. So here rudder and turn are both taken from what they
//! were of late, by the same filter: a linear answer is the same between them, and where the helm stands is
//! left out. Taken so, a wave or a gust that throws her and is steered against looks like a wrong way as well.
//! Only one thing cannot be either: that she goes round to a course just ordered, from far off, as the
//! pilot wants, while her rudder goes the other way. So only that is weighed.
//!
//! An ordered turn is one trial, with a sum of its own: she who answered at its beginning is not condemned by
//! the rudder that checks her swing at the end.

use super::answer::Answer;
use super::answer::Block;
use crate::alert::cusum::ONE;
use crate::alert::cusum::score;
use crate::angle::Turn;
use crate::picture::OrderedBy;
use crate::picture::Picture;
use crate::picture::Referred;
use crate::picture::Steering;
use crate::time::Instant;
use crate::time::Mark;
use crate::time::Span;

/// An order that is another by so much is a turn; a track that is followed is trimmed by less.
const ANEW: Turn = Turn::from_deg(10);
/// A block counts that begins so far off the course: no pilot lets the sea throw her so far while she is turning
/// to it, and its rudder is plain.
const OFF: i64 = 10_000;
/// She has come round when she is so near: what yaw does from then on is no turn.
const ROUND: Turn = Turn::from_deg(5);
/// She goes straight that turned less in a block, in the mean of late, millidegrees: 0.8 degrees a second.
const STRAIGHT: i64 = 4000;
/// Longer than a turn to the other side takes at 3 degrees a second. What comes later is not by the order.
const LASTS: Span = Span::from_s(60);
/// "Of late" is so many blocks: half a minute, longer than a turn of 40 degrees and shorter than a helm that
/// changes.
const LATELY: i32 = 6;
/// So much rudder is left out, millidegrees: what the sea moves it by in the mean of a block. Of a boat that is
/// known to be quick on her helm less, for she and her pilot need less: what turns her by so many millidegrees.
const MARGIN: i64 = 2000;
const WORTH: i64 = 4000;
/// A rudder that is so far from where it was of late, millidegrees, and does not turn her, is at another helm:
/// more than the swings of a seaway in the mean of a block.
const HELM: i64 = 3000;
/// One block says no more than this: that a turn by 7 degrees against 2 of rudder and more suffices alone, for
/// most turns are over in two blocks, and the first begins in the middle of one.
const MOST: i32 = 12 * ONE;
/// She answers: of boats with a reversed sensor one in 400 comes so far (e^6).
const ANSWERS: i32 = 6 * ONE;
/// Where the sum is held.
const CEILING: i32 = 16 * ONE;

/// The judge of ordered turns.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Ordered {
    order: Option<Referred>,
    /// Since when she is to turn to it.
    since: Mark,
    /// Of late, millidegrees: the rudder, and what she turned in a block.
    rudder: i32,
    turned: i32,
    blocks: i32,
    sum: i32,
}

/// What a block of an ordered turn showed.
#[derive(Clone, Copy, Debug)]
pub(super) struct Trial {
    /// How far the rudder went, millidegrees, where that was against the turn.
    pub(super) against: Option<i64>,
    /// She is found to answer; the trial is over.
    pub(super) answered: bool,
}

impl Ordered {
    /// The logarithm of how much likelier a reversed rudder is than a right one, times [`ONE`]; under nothing
    /// while a turn is answered.
    pub(super) const fn sum(&self) -> i32 {
        self.sum
    }

    /// How far she still has to turn to a course just ordered; in this block she turned `turned` millidegrees so far.
    pub(super) fn left(&mut self, picture: &Picture, steering: Steering, turned: i64, now: Instant) -> Option<Turn> {
        let Steering::Heading { order, by: by @ (OrderedBy::Owner | OrderedBy::Wire(_)), held: false } = steering
        else {
            self.order = None;
            self.since = Mark::NONE;
            return None;
        };
        match self.order.filter(|was| was.reference == order.reference) {
            Some(was) if was.bearing.turn_to(order.bearing).size() < ANEW => {}
            was => {
                self.order = Some(order);
                // A course that is dialled in steps is one turn. She must go straight when it begins: what a broach,
                // or the turn before, still turns her is not by this order.
                let (begun, turned) = (self.since != Mark::NONE, i64::from(self.turned).abs().max(turned.abs()));
                if was.is_some() && (begun || turned < STRAIGHT) {
                    if !begun {
                        self.sum = self.sum.max(0);
                    }
                    self.since = Mark::at(now);
                }
            }
        }
        if now.since(self.since.moment()?) >= LASTS {
            self.since = Mark::NONE;
            return None;
        }
        Some(picture.heading_for(order, by, now)?.bearing.turn_to(order.bearing))
    }

    /// A break in the data: what was of late is not known.
    pub(super) fn interrupted(&mut self) {
        self.blocks = 0;
    }

    /// A large turn was as the rudder says, by a score under nothing.
    pub(super) fn take_back(&mut self, score: i32) {
        self.sum = self.sum.saturating_add(score).max(self.sum.min(0));
    }

    /// Weighs a block at whose end she has `left` to turn. `sigma` in millidegrees: what she turns beside her
    /// answer.
    pub(super) fn weigh(&mut self, answer: &Answer, block: &Block, left: Option<Turn>, sigma: i64) -> Trial {
        let mut trial = Trial { against: None, answered: false };
        let at = answer.rudder_so_far(block);
        let (rudder, turned) = (at - i64::from(self.rudder), block.turned - i64::from(self.turned));
        if let (Some(left), true) = (left, self.blocks >= LATELY) {
            let began = i64::from(left.as_mdeg()) + block.turned;
            if began.abs() >= OFF && began.signum() == turned.signum() {
                let margin = if answer.is_known() { answer.worth_of(WORTH, block).min(MARGIN) } else { MARGIN };
                let beyond = (rudder.abs() - margin).max(0) * rudder.signum();
                let should = answer.turns(beyond, block);
                // Before it is known how much she answers, the likeliest answer is as large as the turn.
                let large = if answer.is_known() { should.abs() } else { should.abs().max(turned.abs()) };
                let score = score(-2 * should.signum() * large * turned, sigma * sigma, MOST);
                self.sum = self.sum.saturating_add(score).clamp(-CEILING, CEILING);
                trial.against = (score > 0).then_some(rudder);
            }
            // Come round, or found to answer: what follows checks her swing.
            trial.answered = self.sum < -ANSWERS;
            if left.size() < ROUND || trial.answered {
                self.since = Mark::NONE;
            }
        }
        self.blocks = (self.blocks + 1).min(LATELY);
        // Rudder that went elsewhere and did not turn her is another helm, or another sense of the sensor.
        let helm = left.is_none() && rudder.abs() > HELM && turned.abs() < STRAIGHT;
        let follow = |was: i32, new: i64, part: i32| was + (i32::try_from(new).unwrap_or(was) - was) / part;
        self.rudder = follow(self.rudder, at, if helm { self.blocks.min(2) } else { self.blocks });
        self.turned = follow(self.turned, block.turned, self.blocks);
        trial
    }
}
