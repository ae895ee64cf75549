//! The primary heading against the velocity over the ground.
//!
//! In the frame of the boat, forward along her heading, the ground velocity is her speed ahead plus
//! leeway and current to the side. On a steady heading the part to the side stays what it is, even
//! when the speed changes. When the compass turns false and the pilot follows it, the boat turns
//! under the frame, and the part to the side changes by speed x sin(turn).
//!
//! **Quiet**: the part to the side, as an angle from ahead, stays at what a steady stretch taught, or moves
//! no faster than a current changes ([`CurrentChange`]), wanders by a third of the limit at most, and after a
//! change of heading may be off by what turning a current and changing the leeway side explain. Its noise is
//! learned on board ([`Noise`]). **Fault**: it lies beyond the limit. **Test**: a cumulative sum each way of
//! what it lies beyond three quarters of the limit, where what a current may have done meanwhile is taken off.
//! **False alerts**: less than one in 100 days, with the mean at a third of the limit all the time.
//!
//! What moves as slowly as a current, this test cannot tell from one: a compass that creeps is found late. While
//! the track has moved by more than the limit, within ten minutes or so and at the rate of a current, it says
//! [`Why::TrackMoves`] and not that all is well.
//! A tide race can still raise it: no witness here tells it from a false compass.

use super::normal::Learning;
use super::normal::Normal;
use super::normal::STEADY;
use crate::alert::CurrentChange;
use crate::alert::Disagreeing;
use crate::alert::Latch;
use crate::alert::LimitSettings;
use crate::alert::Smooth;
use crate::alert::Why;
use crate::alert::cusum::Cusum;
use crate::alert::cusum::Design;
use crate::alert::noise::Noise;
use crate::alert::smooth::towards;
use crate::angle::Bearing;
use crate::angle::Turn;
use crate::angle::trig;
use crate::picture::LEAST_SPEED;
use crate::picture::Picture;
use crate::picture::Reduced;
use crate::time::Instant;
use crate::time::Mark;
use crate::time::Span;
use crate::unit::Speed;

/// Nine degrees: three times the wander of an averaged course in a seaway, and it leaves room to
/// find a turn of 15 degrees with a following current. Common practice, no source. Setting `limit`.
const LIMIT: Turn = Turn::from_deg(9);
/// The sum must have been rising for so long: a broach, a wash and a receiver's jump last less. With half of
/// it the recorded sailing raised one false alert. Setting `delay`.
const DELAY: Span = Span::from_s(8);
/// What is supposed of the noise before it is learned, and the bounds of the threshold in millidegrees
/// times a second.
const SUPPOSED: Noise = Noise::supposed(3500, 2300);
const LEAST: i64 = 10_000;
const MOST: i64 = 60_000;
const BACK: Span = Span::from_s(10);
/// The velocity in the boat's frame is averaged over this: a yaw period or two, and the receiver's lag. In
/// real turns by hand it is out by 20 degrees for some seconds, which no model of the noise knows: summed
/// without the average, it raised six false alerts in 17 h of recorded sailing, and none with it.
const SHORT: Span = Span::from_s(6);
/// A receiver that jumps (14.6 knots and 60 degrees off for one second of the recorded sailing, twelve knots to the
/// side) counts as no more than this off the average: what a turn of 15 degrees makes at six knots.
const JUMP: i64 = Speed::from_milliknots(1500).as_mm_s() as i64 * 16;
/// The heading counts as steady when its 6 s average is within [`STEADY`] of the average over this.
const LONG: Span = Span::from_s(20);
/// The heading may move so far from where that was learned; then it is learned again.
const TURNED: Turn = Turn::from_deg(12);
/// A slow boat is judged as one that makes this: her leeway and the receiver's noise do not shrink
/// with her speed, and against a foul current she moves faster through the water than it seems.
const SLOWEST: i64 = Speed::from_milliknots(2500).as_mm_s() as i64 * 16;
/// No yacht goes astern at three knots for so long, and a current that sets her back so fast is a race
/// (common practice, no source).
const ASTERN: i64 = Speed::from_milliknots(3000).as_mm_s() as i64 * 16;
const LONG_ASTERN: Span = Span::from_s(20);
/// What a change of heading may do by itself: a current of 1.5 knots (771 mm/s) is turned in the
/// boat's frame, and leeway of 4 degrees on each tack changes sides.
const CURRENT_MM_S: i64 = 771;
const LEEWAY: Turn = Turn::from_deg(8);
/// The sideways angle of a wild reading counts as no more than this, millidegrees.
const WILD: i64 = 45_000;
/// Millidegrees in a radian.
const RADIAN: i64 = 57_296;
/// The average that is set beside that of a pair of headings.
const RECENT: Span = super::pair::YAW;
/// An alert that somebody answered, and that stood for so long after, may be a current after all: what is
/// normal is learned anew. Nobody's answer, and it stands.
const FORGIVE: Span = Span::from_min(10);
/// After an outage of this the averages begin again. After so long without judging they are left to settle for three
/// time constants before they are compared.
const OUTAGE: Span = Span::from_s(30);
const RESUME: Span = Span::from_s(18);
/// After so long without judging, at anchor or without a fix, the tide may have turned: what is normal is learned
/// anew, but for an alert that stands.
const FORGET: Span = Span::from_min(30);

/// The velocity in the boat's frame: ahead, and to starboard, mm/s times 16.
#[derive(Clone, Copy, Debug, Default)]
struct Framed {
    ahead: i64,
    side: i64,
}

impl Framed {
    fn is_slower_than(self, least: Speed) -> bool {
        let least = i64::from(least.as_mm_s()) * 16;
        self.ahead * self.ahead + self.side * self.side < least * least
    }
}

/// Comparing begins again after an outage.
#[derive(Clone, Copy, Debug)]
struct Resumed {
    at: Instant,
    /// How long nobody looked.
    away: Span,
}

/// The judge.
#[derive(Clone, Copy, Debug)]
pub(super) struct AgainstGround {
    limit: Turn,
    current: CurrentChange,
    /// The tangent of the leeway, times [`trig::ONE`].
    leeway: i64,
    delay: Span,
    average: Option<(Framed, Instant)>,
    /// When it was last compared.
    judged: Mark,
    heading: Smooth,
    heading_long: Smooth,
    normal: Option<Normal>,
    learning: Option<Learning>,
    resumed: Option<Resumed>,
    noise: Noise,
    plus: Cusum,
    minus: Cusum,
    rising_since: Mark,
    astern_since: Mark,
    recent: Smooth,
    residual: Option<Turn>,
    latch: Latch,
    answered_at: Option<Instant>,
    is_true: bool,
}

impl AgainstGround {
    pub(super) fn new(settings: LimitSettings, current: CurrentChange) -> Self {
        let limit = settings.limit.unwrap_or(LIMIT);
        Self {
            limit,
            current,
            leeway: sine_over_cosine(LEEWAY),
            delay: settings.delay.unwrap_or(DELAY),
            average: None,
            judged: Mark::NONE,
            heading: Smooth::default(),
            heading_long: Smooth::default(),
            normal: None,
            learning: None,
            resumed: None,
            noise: SUPPOSED,
            plus: Cusum::default(),
            minus: Cusum::default(),
            rising_since: Mark::NONE,
            astern_since: Mark::NONE,
            recent: Smooth::default(),
            residual: None,
            latch: Latch::default(),
            answered_at: None,
            is_true: false,
        }
    }

    /// Somebody took responsibility for what stands.
    pub(super) fn answered(&mut self, now: Instant) {
        if self.latch.is_up() {
            self.answered_at = self.answered_at.or(Some(now));
        }
    }

    /// Whether it stands raised, judged just now or not.
    pub(super) fn is_up(&self) -> bool {
        self.latch.is_up()
    }

    /// By how much the boat has turned under her heading, averaged over the time constant of a pair of
    /// headings, if it was judged just now on a heading that is known.
    pub(super) fn residual(&self) -> Option<Turn> {
        self.residual
    }

    /// The noise of that.
    pub(super) fn noise(&self) -> &Noise {
        &self.noise
    }

    /// A witness is missing just now.
    pub(super) fn pause(&mut self) {
        self.latch.pause();
        self.learning = None;
        self.residual = None;
        self.astern_since = Mark::NONE;
        self.begin_again();
    }

    /// By how much the boat turned without the heading showing it, and who says so, if too much.
    pub(super) fn judge(
        &mut self,
        picture: &Picture,
        heading: &Reduced,
        now: Instant,
    ) -> Result<Option<(Turn, Disagreeing)>, Why> {
        let Some((origin, ground)) = picture.ground(now) else {
            self.pause();
            return Err(Why::NoWitness);
        };
        let Some(course) = ground.course else {
            self.pause();
            return Err(Why::TooSlow { speed: ground.speed, least: LEAST_SPEED });
        };
        let Some(mine) = heading.truth.map(|t| t.0).or(heading.magnetic.map(|m| m.0)) else {
            self.pause();
            return Err(Why::NoHeading);
        };
        // Variation has just become known: the frame turns, and what was learned with it.
        if self.is_true != heading.truth.is_some() {
            let limits = LimitSettings { limit: Some(self.limit), delay: Some(self.delay), disabled: false };
            *self = Self { is_true: heading.truth.is_some(), latch: self.latch, ..Self::new(limits, self.current) };
        }
        let instant = frame(mine, course.0, i64::from(ground.speed.as_mm_s()));
        let framed = self.average(instant, now);
        let short = self.heading.step(now, Turn::from_mdeg(mine.as_mdeg()).wrapped(), SHORT);
        let long = self.heading_long.step(now, Turn::from_mdeg(mine.as_mdeg()).wrapped(), LONG);
        let steady = (short - long).wrapped().size() <= STEADY;
        // By the average: of a boat near the least speed the moments at which she seems faster are just those at
        // which she seems to go elsewhere.
        if framed.is_slower_than(LEAST_SPEED) {
            self.pause();
            return Err(Why::TooSlow { speed: ground.speed, least: LEAST_SPEED });
        }
        self.residual = None;
        let away = now.since(self.judged.moment_or(now));
        self.judged = Mark::at(now);
        if away >= FORGET && !self.latch.is_up() {
            self.normal = None;
        }
        if self.resumes(framed, away, now) {
            return Err(Why::Settling);
        }

        let verdict = self.normal.map(|normal| self.compare(framed, short, normal));
        let signal = match (self.normal, verdict) {
            // In a turn the receiver's course is late by more than any limit. What was summed stays: she who follows
            // a false compass keeps it steady. Nor is it tested while she loses her way and the average is behind.
            (Some(normal), Some(v)) if steady && !instant.is_slower_than(LEAST_SPEED) => {
                self.test(instant, v, normal, now)
            }
            _ => {
                self.noise.interrupt();
                false
            }
        };
        let astern = self.goes_astern(framed, now);
        let below = verdict.is_some_and(|v| v.below) && framed.ahead > 0;
        let was_up = self.latch.is_up();
        let up = self.latch.step(now, signal | astern, below, Span::ZERO, BACK);
        if !up {
            self.answered_at = None;
        }
        if was_up && !up {
            self.begin_again();
        }
        let rising = self.plus.sum() > 0 || self.minus.sum() > 0;

        let turned = verdict.is_none_or(|v| v.turned > TURNED);
        let forgiven = self.answered_at.is_some_and(|at| now.since(at) >= FORGIVE);
        if (turned && !up) || forgiven {
            self.learn(framed, short, steady, now);
        } else {
            self.learning = None;
            if let (false, Some(normal)) = (up, self.normal.as_mut()) {
                normal.follow_current(framed.side, self.current);
                if below && !rising {
                    normal.follow_heading(short);
                }
            }
        }
        if up {
            let side = verdict.map_or(framed.side, |v| if framed.ahead < 0 { framed.side } else { v.change });
            let by = trig::direction(framed.ahead, side).map_or(Turn::ZERO, |b| Turn::from_mdeg(b.as_mdeg()).wrapped());
            return Ok(Some((by, Disagreeing::Ground { origin, course, speed: ground.speed })));
        }
        match verdict {
            Some(v) if v.turned <= TURNED => match self.normal.map(|normal| self.angle(normal.moved(), v.ahead)) {
                Some(by) if by.size() > self.limit => Err(Why::TrackMoves { by }),
                _ => Ok(None),
            },
            _ => Err(Why::Settling),
        }
    }

    /// Whether she seems to have gone astern, faster and for longer than any yacht does: then the heading is out by
    /// about half a circle, of which the part to the side shows nothing.
    fn goes_astern(&mut self, framed: Framed, now: Instant) -> bool {
        if framed.ahead > -ASTERN {
            self.astern_since = Mark::NONE;
            return false;
        }
        now.since(self.astern_since.moment_or(now)) >= LONG_ASTERN
    }

    /// What a part to the side makes from ahead, as the test counts it.
    fn angle(&self, side: i64, ahead: i64) -> Turn {
        let angle = (side * RADIAN / ahead.max(SLOWEST)).clamp(-WILD, WILD);
        Turn::from_mdeg(i32::try_from(angle).unwrap_or(0))
    }

    /// Whether the averages still settle after an outage. Once they have, what a current may have done
    /// meanwhile is taken for done.
    fn resumes(&mut self, framed: Framed, away: Span, now: Instant) -> bool {
        if self.latch.is_up() {
            self.resumed = None;
            return false;
        }
        if away > OUTAGE {
            self.resumed = Some(Resumed { at: now, away });
            self.begin_again();
        }
        let Some(Resumed { at, away }) = self.resumed else { return false };
        if now.since(at) < RESUME {
            return true;
        }
        self.resumed = None;
        if let Some(normal) = self.normal.as_mut() {
            normal.unseen(framed.side, away, self.current);
        }
        false
    }

    fn average(&mut self, new: Framed, now: Instant) -> Framed {
        let framed = match self.average {
            Some((old, at)) if now.since(at) <= OUTAGE => {
                let elapsed = i64::try_from(now.since(at).as_ms()).unwrap_or(0);
                let tau = i64::try_from(SHORT.as_ms()).unwrap_or(1);
                let step = |old: i64, new: i64| towards(old, new.clamp(old - JUMP, old + JUMP), elapsed, tau);
                Framed { ahead: step(old.ahead, new.ahead), side: step(old.side, new.side) }
            }
            _ => new,
        };
        self.average = Some((framed, now));
        framed
    }

    /// The sequential test of the averaged velocity; its noise is that of the present one, for an average
    /// leaves the long-run variance as it is and would hide it from blocks as short as itself.
    fn test(&mut self, instant: Framed, compared: Compared, normal: Normal, now: Instant) -> bool {
        let angle = |side: i64| self.angle(side, compared.ahead).as_mdeg();
        let by = angle(compared.change);
        let present = angle(instant.side - normal.side);
        let explained = angle(compared.explained);
        let recent = self.recent.step(now, Turn::from_mdeg(present), RECENT);
        let same = compared.turned <= TURNED;
        self.residual = same.then_some(recent);
        let limit = self.limit.as_mdeg();
        let reference = limit * 3 / 4;
        let rests = |sum: &Cusum, by: i32| sum.rests(by, reference + explained);
        if rests(&self.plus, by) && rests(&self.minus, -by) {
            // Sums of nothing stay so whatever the threshold, and the threshold is dear.
            match same {
                true => self.noise.take(present),
                false => self.noise.interrupt(),
            }
            self.rising_since = Mark::NONE;
            return false;
        }
        let threshold = self.noise.threshold(reference - limit / 3, 0, LEAST, MOST);
        let design = Design::new(reference + explained, threshold);
        let signal = self.plus.step(by, &design) | self.minus.step(-by, &design);
        // A sea that has grown is to be learned, and a fault is not.
        if same && self.plus.sum().max(self.minus.sum()) * 4 < design.threshold {
            self.noise.take(present);
        } else {
            self.noise.interrupt();
        }
        if self.plus.sum() == 0 && self.minus.sum() == 0 {
            self.rising_since = Mark::NONE;
            return false;
        }
        let since = self.rising_since.moment_or(now);
        signal && now.since(since) >= self.delay
    }

    /// What was summed does not count any more.
    fn begin_again(&mut self) {
        self.plus = Cusum::default();
        self.minus = Cusum::default();
        self.rising_since = Mark::NONE;
        self.recent.reset();
        self.noise.interrupt();
    }

    fn compare(&self, framed: Framed, heading: Turn, normal: Normal) -> Compared {
        let turned = (heading - normal.heading).wrapped().size();
        let change = framed.side - normal.side;
        let ahead = framed.ahead.max(0);
        // What the change of heading alone may do: the chord that it turns the current through,
        // and leeway from side to side once it is more than a wander.
        let half = Bearing::from_mdeg(i64::from(turned.as_mdeg()) / 2);
        let one = i64::from(trig::ONE);
        let current = CURRENT_MM_S * 16 * 2 * i64::from(trig::sin(half)) / one;
        let leeway = if turned > TURNED { ahead * self.leeway / one } else { 0 };
        let explained = current + leeway;
        let allowed = ahead.max(SLOWEST) * i64::from(self.limit.as_mdeg()) / RADIAN + explained;
        Compared { ahead, change, turned, explained, below: change.abs() * 5 < allowed * 2 }
    }

    /// Learns what is normal from a steady stretch.
    fn learn(&mut self, framed: Framed, heading: Turn, steady: bool, now: Instant) {
        if !steady {
            self.learning = None;
            return;
        }
        if let Some(normal) = Learning::step(&mut self.learning, framed.side, heading, now) {
            self.normal = Some(normal);
            self.answered_at = None;
            self.begin_again();
        }
    }
}

#[derive(Clone, Copy, Debug)]
struct Compared {
    ahead: i64,
    change: i64,
    turned: Turn,
    /// What the change of heading alone may do, mm/s times 16.
    explained: i64,
    below: bool,
}

/// The ground velocity in the boat's frame.
fn frame(heading: Bearing, course: Bearing, speed: i64) -> Framed {
    let angle = Bearing::from_mdeg(i64::from(heading.turn_to(course).as_mdeg()));
    let one = i64::from(trig::ONE);
    let ahead = speed * 16 * i64::from(trig::cos(angle)) / one;
    let side = speed * 16 * i64::from(trig::sin(angle)) / one;
    Framed { ahead, side }
}

/// The tangent of a limit below 90 degrees, times [`trig::ONE`].
fn sine_over_cosine(angle: Turn) -> i64 {
    let bearing = Bearing::from_mdeg(i64::from(angle.as_mdeg().clamp(0, 80_000)));
    i64::from(trig::sin(bearing)) * i64::from(trig::ONE) / i64::from(trig::cos(bearing)).max(1)
}
