//! Rudder-unanswered: the boat does not turn as her rudder says.
//!
//! How she answers is learned ([`answer`]); then each five seconds are weighed: what the rudder, beyond
//! where it stands when she goes straight, should turn her, against what she turned. The weight is the
//! logarithm of how much likelier the turn is for a boat that does not answer than for one that does, and
//! the cumulative sum of it signals. A margin of rudder is left out: gusts, a tack and a current of air off
//! a headland change the standing helm by so much, and a pilot that steers against them holds rudder
//! without a turn.
//!
//! A turn that was ordered is judged apart ([`ordered`]), by changes of rudder and turn alone: there a sensor
//! whose sign turned shows on either helm.
//!
//! A rudder that stands while the pilot wants it elsewhere is found by itself ([`stands`]).

mod answer;
mod ordered;
mod stands;

use crate::alert::Evidence;
use crate::alert::LimitSettings;
use crate::alert::Unanswered;
use crate::alert::Verdict;
use crate::alert::Why;
use crate::alert::cusum::Cusum;
use crate::alert::cusum::Design;
use crate::alert::cusum::ONE;
use crate::alert::cusum::score;
use crate::alert::smooth::in_a_second;
use crate::alert::smooth::towards;
use crate::angle::Bearing;
use crate::angle::Turn;
use crate::angle::TurnRate;
use crate::angle::trig;
use crate::picture::Origin;
use crate::picture::Picture;
use crate::picture::Steering;
use crate::time::Instant;
use crate::time::Mark;
use crate::time::Span;
use crate::unit::Speed;
use answer::Answer;
use answer::Block;
use ordered::Ordered;
use stands::Standing;
use stands::Stands;

/// A rudder works by the water that flows past it: under 2 knots hardly.
const LEAST: Speed = Speed::from_milliknots(2000);
/// So much rudder beyond the standing helm is left out. A small yacht's weather helm changes by 2 to 5
/// degrees in a gust (common practice, no source).
const MARGIN: Turn = Turn::from_deg(6);
/// A block that turns so much, millidegrees, is a turn and no wave.
const PLAIN: i64 = 10_000;
/// After a turn by so much, millidegrees, the helm is another, and may stand on the other side: until it is
/// found anew, which is quicker then, so much is left out.
const TURNED: i64 = 30_000;
const TURNED_MARGIN: i64 = 16_000;
const TURNED_FOLLOW: i64 = 6;
/// Of what she turned this part is forgotten a block: 100 s.
const FORGET_SWING: i64 = 20;
/// Beyond what the test needs. None: it lasts by itself.
const DELAY: Span = Span::ZERO;
/// Heading and rudder are smoothed alike by this before they are compared: less than half of the sea's yaw
/// passes, and the answer is the same.
const SMOOTH_MS: i64 = 3000;
/// One block.
const BLOCK_MS: i64 = 5000;
/// Standard deviation of what she turns in a block beside her answer, in a seaway of 3.5 degrees rms and
/// gusts: 3 degrees, measured with a margin.
const SIGMA: i64 = 3000;
/// One block says no more than this, in natural logarithms: a wave may throw her once.
const MOST: i32 = 4 * ONE;
/// A turn the wrong way by so many degrees is no wave's.
const MOST_WRONG: i32 = 6 * ONE;
/// e^10: of boats that answer, one in 20 000 starts of a sum comes so far; most blocks start none, for the
/// rudder stays within its margin.
const DESIGN: Design = Design { reference: 0, threshold: 10 * ONE, headstart: 0, ceiling: 16 * ONE };
/// What an ordered turn that she answered takes off.
const ANSWERED: i32 = 8 * ONE;
/// Of the sums this part is forgotten in a block that says nothing: rudder held without a turn may be a helm
/// that changed, and that is over in a minute or two; a turn the wrong way waits for the next turn.
const FORGET: i32 = 16;
const FORGET_WRONG: i32 = 256;
/// The standing helm follows by this part a block: 5 min; while the sum is up 8 times slower, or a fault
/// would be learned.
const FOLLOW: i64 = 60;
const FOLLOW_UP: i64 = 480;
/// It is known after so many blocks: a minute.
const SETTLED: u8 = 12;
/// Until it is known how she answers, only blocks in which she turns less than this teach it, millidegrees.
const STRAIGHT: i64 = 4000;
/// More than any boat's, and what a sensor is out amidships with it.
const MOST_HELM: i64 = 10_000;

/// The judge of the rudder.
#[derive(Clone, Copy, Debug)]
pub struct RudderUnanswered {
    /// Millidegrees.
    margin: i64,
    delay: Span,
    answer: Answer,
    block: Block,
    block_ms: i64,
    before: Option<(Origin, Bearing)>,
    /// When that was.
    at: Mark,
    /// Smoothed: turn rate in millidegrees a second times 16, rudder in millidegrees times 16.
    rate: i64,
    rudder: Option<i64>,
    /// Where the rudder stands when she goes straight, millidegrees.
    helm: i64,
    blocks: u8,
    /// What she turned of late, millidegrees: forgotten as the helm is learned.
    swung: i64,
    no_turn: Cusum,
    wrong_way: Cusum,
    ordered: Ordered,
    seen: (Turn, TurnRate),
    signals: Mark,
    stands: Stands,
}

impl RudderUnanswered {
    /// A judge by the owner's settings; the limit is the margin of rudder that is left out.
    pub fn new(settings: LimitSettings) -> Self {
        Self {
            margin: i64::from(settings.limit.unwrap_or(MARGIN).as_mdeg().clamp(1000, 30_000)),
            delay: settings.delay.unwrap_or(DELAY),
            answer: Answer::default(),
            block: Block::default(),
            block_ms: 0,
            before: None,
            at: Mark::NONE,
            rate: 0,
            rudder: None,
            helm: 0,
            blocks: 0,
            swung: 0,
            no_turn: Cusum::default(),
            wrong_way: Cusum::default(),
            ordered: Ordered::default(),
            seen: (Turn::ZERO, TurnRate::default()),
            signals: Mark::NONE,
            stands: Stands::default(),
        }
    }

    /// Judges the picture, once every half second.
    pub fn judge(&mut self, picture: &Picture, steering: Steering, now: Instant) -> Verdict {
        let Some(rudder) = picture.rudder().fresh(now) else {
            return self.pause(Why::NoRudder);
        };
        let (Some(primary), Some(reduced)) = (picture.primary(), picture.heading(now)) else {
            return self.pause(Why::NoHeading);
        };
        let Some(heading) = reduced.truth.map(|t| t.0).or(reduced.magnetic.map(|m| m.0)) else {
            return self.pause(Why::NoHeading);
        };
        let speed = match ahead(picture, heading, now) {
            Ok(speed) => speed,
            Err(why) => return self.pause(why),
        };
        let Some(raw) = primary.raw.fresh(now) else { return self.pause(Why::NoHeading) };
        let before = self.before.replace((primary.origin, raw)).zip(self.at.moment());
        self.at = Mark::at(now);
        let left = self.ordered.left(picture, steering, self.block.turned, now);
        let same = before.filter(|((origin, _), _)| *origin == primary.origin);
        let elapsed = same.map(|((_, h), at)| (h, now.since(at)));
        match elapsed.map(|(h, span)| (h, i64::try_from(span.as_ms()).unwrap_or(i64::MAX))) {
            Some((last, ms @ 1..=2000)) => {
                self.step(i64::from(last.turn_to(raw).as_mdeg()), rudder, speed, ms);
                if self.block_ms >= BLOCK_MS {
                    self.weigh(left, now);
                }
            }
            _ => self.interrupt(),
        }
        if let Some((how, since)) = self.stands.judge(picture, steering, rudder, now) {
            let how = match how {
                Standing::Ordered => Unanswered::Stands,
                Standing::OffCourse => Unanswered::TurnsAlone,
            };
            return Verdict::Raised(self.evidence(how, now.since(since)));
        }
        match self.signals.moment().map(|since| now.since(since)) {
            Some(lasting) if lasting >= self.delay => {
                let how = if self.is_wrong() { Unanswered::WrongWay } else { Unanswered::NoTurn };
                Verdict::Raised(self.evidence(how, lasting))
            }
            _ if self.blocks < SETTLED => Verdict::Unjudged(Why::Settling),
            _ => Verdict::Clear,
        }
    }

    fn evidence(&self, how: Unanswered, lasting: Span) -> Evidence {
        let (rudder, turns) = self.seen;
        Evidence::RudderUnanswered { how, rudder, turns, lasting }
    }

    /// Something is missing just now.
    fn pause(&mut self, why: Why) -> Verdict {
        self.before = None;
        self.stands.pause();
        self.interrupt();
        Verdict::Unjudged(why)
    }

    fn interrupt(&mut self) {
        self.answer.interrupted();
        self.ordered.interrupted();
        self.block = Block::default();
        self.block_ms = 0;
        self.rate = 0;
        self.rudder = None;
    }

    fn step(&mut self, turned: i64, rudder: Turn, speed: Speed, ms: i64) {
        let smooth = |old: i64, new: i64| towards(old, new, ms, SMOOTH_MS);
        let rudder_16 = i64::from(rudder.as_mdeg()) * 16;
        let rudder_16 = self.rudder.map_or(rudder_16, |old| smooth(old, rudder_16));
        self.rudder = Some(rudder_16);
        self.rate = smooth(self.rate, in_a_second(turned * 16, ms));
        self.block.turned += self.rate * ms / 16_000;
        self.answer.add(&mut self.block, rudder_16, i64::from(speed.as_mm_s()) * ms / 1000);
        self.block_ms += ms;
    }

    /// The block is full; she has `left` to turn to a course just ordered.
    #[inline(never)]
    fn weigh(&mut self, left: Option<Turn>, now: Instant) {
        let block = &core::mem::take(&mut self.block);
        let ms = core::mem::take(&mut self.block_ms);
        let rudder = self.answer.rudder(block) - self.helm;
        let turned = self.swung.abs() > TURNED;
        let after_turn = if turned { self.margin.max(TURNED_MARGIN) } else { self.margin };
        let beyond = |margin: i64| (rudder.abs() - margin).max(0) * rudder.signum();
        let mut went = rudder;
        if self.blocks >= SETTLED {
            let trial = self.ordered.weigh(&self.answer, block, left, SIGMA);
            went = trial.against.unwrap_or(rudder);
            // A quick boat may never need more rudder than the margin: two ordered turns that she answered end what
            // signalled. One might be the wind's, that came to help.
            if trial.answered && self.signals != Mark::NONE {
                self.no_turn.step(-ANSWERED, &DESIGN);
                self.wrong_way.step(-ANSWERED, &DESIGN);
            }
            let should = |margin| self.answer.turns(beyond(margin), block);
            // A helm on the other side holds her straight and never turns her the wrong way: there the
            // margin need not be wider.
            self.test([should(after_turn), should(self.margin)], block.turned, now);
        }
        let centideg_per_min = block.turned * 6000 / ms.max(1);
        let turns = TurnRate::from_centideg_per_min(i32::try_from(centideg_per_min).unwrap_or(0));
        // Of a wrong way what showed it is kept, and not the straight course after it.
        if !self.is_wrong() || went.signum() * block.turned.signum() < 0 && block.turned.abs() >= STRAIGHT {
            self.seen = (Turn::from_mdeg(i32::try_from(went).unwrap_or(0)), turns);
        }
        let quiet = self.most() < DESIGN.threshold / 4;
        self.answer.learn(block, quiet);
        self.blocks = self.blocks.saturating_add(1);
        self.swung += block.turned - self.swung / FORGET_SWING;
        // Where the rudder would have to be for the turn she made: what is left is the standing helm.
        let off = match self.answer.is_known() {
            true => rudder - self.answer.worth(block),
            false if block.turned.abs() < STRAIGHT => rudder,
            false => return,
        };
        let part = match (quiet, turned) {
            (false, _) => FOLLOW_UP,
            (true, true) => TURNED_FOLLOW.min(i64::from(self.blocks)),
            (true, false) => FOLLOW.min(i64::from(self.blocks)),
        };
        self.helm = (self.helm + off.clamp(-MOST_HELM, MOST_HELM) / part).clamp(-MOST_HELM, MOST_HELM);
    }

    /// Whether what stands is a wrong way.
    fn is_wrong(&self) -> bool {
        self.wrong_way.sum().max(self.ordered.sum()) > DESIGN.threshold / 2
    }

    /// The largest of the sums.
    fn most(&self) -> i32 {
        self.no_turn.sum().max(self.wrong_way.sum()).max(self.ordered.sum())
    }

    /// One block: what the rudder should turn her, by the two margins, and what she turned.
    fn test(&mut self, should: [i64; 2], turned: i64, now: Instant) {
        // Logarithms of how much likelier the turn is, times the variance: for no answer at all, and for one
        // as large the other way.
        let [of_none, of_wrong] = should;
        // Before it is known how much she answers, the likeliest answer is as large as the turn.
        let large = if self.answer.is_known() { of_wrong.abs() } else { of_wrong.abs().max(turned.abs()) };
        let likelihoods =
            [(of_none, of_none * (of_none / 2 - turned)), (of_wrong, -2 * of_wrong.signum() * large * turned)];
        let sums = [(&mut self.no_turn, MOST, FORGET), (&mut self.wrong_way, MOST_WRONG, FORGET_WRONG)];
        for ((sum, most, forget), (should, likelihood)) in sums.into_iter().zip(likelihoods) {
            if should != 0 {
                sum.step(score(likelihood, SIGMA * SIGMA, most), &DESIGN);
            } else if self.signals == Mark::NONE {
                // It says nothing, and so it takes back little; what has signalled is not taken back at all.
                sum.step(-(sum.sum() / forget), &DESIGN);
            }
        }
        // What an ordered turn signalled is over when another large turn is as the rudder says, ordered or not.
        if self.signals != Mark::NONE && of_wrong * turned > 0 && turned.abs() >= PLAIN {
            self.ordered.take_back(score(likelihoods[1].1, SIGMA * SIGMA, MOST_WRONG));
        }
        let most = self.most();
        if most > DESIGN.threshold {
            self.signals.moment_or(now);
        } else if most < DESIGN.threshold / 2 {
            self.signals = Mark::NONE;
        }
    }
}

/// Her speed ahead: through the water where the log tells, else what of the ground velocity is along her
/// heading, so that one hove to, drifting or going astern is not taken for one under way. A log does not
/// know ahead from astern; the ground does.
fn ahead(picture: &Picture, heading: Bearing, now: Instant) -> Result<Speed, Why> {
    let ground = picture.ground(now).map(|(_, ground)| {
        let angle = |course: Bearing| Bearing::from_mdeg(i64::from(heading.turn_to(course).as_mdeg()));
        let along = ground.course.map_or(0, |course| trig::cos(angle(course.0)));
        let mm_s = i64::from(ground.speed.as_mm_s()) * i64::from(along) / i64::from(trig::ONE);
        Speed::from_mm_s(i32::try_from(mm_s).unwrap_or(0))
    });
    let speed = match (ground, picture.beside().through_water(now)) {
        (Some(Speed::ZERO), Some(_)) => Speed::ZERO,
        (_, Some(speed)) | (Some(speed), None) => speed,
        (None, None) => return Err(Why::NoSpeed),
    };
    if speed < LEAST { Err(Why::NoSteerageWay { speed, least: LEAST }) } else { Ok(speed) }
}
