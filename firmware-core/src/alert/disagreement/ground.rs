//! The primary heading against the velocity over the ground.
//!
//! In the frame of the boat, forward along her heading, the ground velocity is her speed ahead plus
//! leeway and current to the side. On a steady heading the part to the side stays what it is, even
//! when the speed changes. When the compass turns false and the pilot follows it, the boat turns
//! under the frame, and the part to the side changes by speed x sin(turn).

use crate::alert::Disagreeing;
use crate::alert::Latch;
use crate::alert::LimitSettings;
use crate::alert::Smooth;
use crate::alert::Why;
use crate::angle::Bearing;
use crate::angle::Turn;
use crate::angle::trig;
use crate::picture::LEAST_SPEED;
use crate::picture::Picture;
use crate::picture::Reduced;
use crate::time::Instant;
use crate::time::Span;
use crate::unit::Speed;

/// Nine degrees: three times the wander of an averaged course in a seaway, and it leaves room to
/// find a turn of 15 degrees with a following current. Common practice, no source.
const LIMIT: Turn = Turn::from_deg(9);
const DELAY: Span = Span::from_s(8);
const BACK: Span = Span::from_s(10);
/// The velocity in the boat's frame is averaged over this: a yaw period or two, and the receiver's lag.
const SHORT: Span = Span::from_s(10);
/// The heading counts as steady when its 10 s average is within this of its 40 s average.
const STEADY: Turn = Turn::from_deg(5);
const LONG: Span = Span::from_s(40);
/// So long a steady stretch teaches what is normal.
const LEARN: Span = Span::from_s(45);
/// The heading may move so far from where that was learned; then it is learned again.
const TURNED: Turn = Turn::from_deg(12);
/// A current may change what is normal by the time constant of this, while all is quiet.
const FOLLOW: Span = Span::from_min(5);
/// A slow boat is judged as one that makes this: her leeway and the receiver's noise do not shrink
/// with her speed, and against a foul current she moves faster through the water than it seems.
const SLOWEST: i64 = Speed::from_milliknots(2500).as_mm_s() as i64 * 16;
/// What a change of heading may do by itself: a current of 1.5 knots (771 mm/s) is turned in the
/// boat's frame, and leeway of 4 degrees on each tack changes sides.
const CURRENT_MM_S: i64 = 771;
const LEEWAY: Turn = Turn::from_deg(8);
/// An alert that stood for so long may have been a current after all: what is normal is learned anew.
const FORGIVE: Span = Span::from_min(10);
/// After an outage of this the averages begin again.
const OUTAGE: Span = Span::from_s(30);
/// After one of this, at anchor or without a fix, the tide may have turned: what is normal is learned
/// anew, but for an alert that stands.
const FORGET: Span = Span::from_min(30);

/// The velocity in the boat's frame: ahead, and to starboard, mm/s times 16.
#[derive(Clone, Copy, Debug, Default)]
struct Framed {
    ahead: i64,
    side: i64,
}

/// What is normal on a heading.
#[derive(Clone, Copy, Debug)]
struct Normal {
    side: i64,
    heading: Turn,
}

#[derive(Clone, Copy, Debug)]
struct Learning {
    began: Instant,
    heading: Turn,
    side: i64,
    count: i64,
}

/// The judge.
#[derive(Clone, Copy, Debug)]
pub(super) struct AgainstGround {
    limit: Turn,
    /// Its tangent and that of the leeway, times [`trig::ONE`].
    tangent: i64,
    leeway: i64,
    delay: Span,
    average: Option<(Framed, Instant)>,
    heading: Smooth,
    heading_long: Smooth,
    normal: Option<Normal>,
    learning: Option<Learning>,
    latch: Latch,
    raised_at: Option<Instant>,
    is_true: bool,
}

impl AgainstGround {
    pub(super) fn new(settings: LimitSettings) -> Self {
        let limit = settings.limit.unwrap_or(LIMIT);
        Self {
            limit,
            tangent: sine_over_cosine(limit),
            leeway: sine_over_cosine(LEEWAY),
            delay: settings.delay.unwrap_or(DELAY),
            average: None,
            heading: Smooth::default(),
            heading_long: Smooth::default(),
            normal: None,
            learning: None,
            latch: Latch::default(),
            raised_at: None,
            is_true: false,
        }
    }

    /// Whether it stands raised, judged just now or not.
    pub(super) fn is_up(&self) -> bool {
        self.latch.is_up()
    }

    /// A witness is missing just now.
    pub(super) fn pause(&mut self) {
        self.latch.pause();
        self.learning = None;
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
        let (Some(course), false) = (ground.course, ground.speed < LEAST_SPEED) else {
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
            *self = Self { is_true: heading.truth.is_some(), latch: self.latch, ..Self::new(limits) };
        }
        let away = self.average.map_or(Span::ZERO, |(_, at)| now.since(at));
        if away >= FORGET && !self.latch.is_up() {
            self.normal = None;
        }
        let framed = self.average(mine, course.0, i64::from(ground.speed.as_mm_s()), now);
        let short = self.heading.step(now, Turn::from_mdeg(mine.as_mdeg()).wrapped(), SHORT);
        let long = self.heading_long.step(now, Turn::from_mdeg(mine.as_mdeg()).wrapped(), LONG);
        let steady = (short - long).wrapped().size() <= STEADY;

        let verdict = self.normal.map(|normal| self.compare(framed, short, normal));
        let (above, below) = verdict.map_or((false, false), |v| (v.above, v.below));
        let up = self.latch.step(now, above, below, self.delay, BACK);
        self.raised_at = if up { Some(self.raised_at.unwrap_or(now)) } else { None };

        let turned = verdict.is_none_or(|v| v.turned > TURNED);
        let forgiven = self.raised_at.is_some_and(|at| now.since(at) >= FORGIVE);
        if (turned && !up) || forgiven {
            self.learn(framed, short, steady, now);
        } else {
            self.learning = None;
            if let (true, Some(normal)) = (below, self.normal.as_mut()) {
                follow(normal, framed, short);
            }
        }
        match verdict {
            Some(v) if up => Ok(Some((v.by(), Disagreeing::Ground { origin, course, speed: ground.speed }))),
            Some(v) if v.turned <= TURNED => Ok(None),
            _ => Err(Why::Settling),
        }
    }

    fn average(&mut self, heading: Bearing, course: Bearing, speed: i64, now: Instant) -> Framed {
        let angle = Bearing::from_mdeg(i64::from(heading.turn_to(course).as_mdeg()));
        let one = i64::from(trig::ONE);
        let ahead = speed * 16 * i64::from(trig::cos(angle)) / one;
        let side = speed * 16 * i64::from(trig::sin(angle)) / one;
        let framed = match self.average {
            Some((old, at)) if now.since(at) <= OUTAGE => {
                let elapsed = i64::try_from(now.since(at).as_ms()).unwrap_or(0);
                let tau = i64::try_from(SHORT.as_ms()).unwrap_or(1);
                let step = |old: i64, new: i64| old + (new - old) * elapsed / (elapsed + tau);
                Framed { ahead: step(old.ahead, ahead), side: step(old.side, side) }
            }
            _ => Framed { ahead, side },
        };
        self.average = Some((framed, now));
        framed
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
        let allowed = ahead.max(SLOWEST) * self.tangent / one + current + leeway;
        Compared { ahead, change, turned, above: change.abs() > allowed, below: change.abs() * 5 < allowed * 2 }
    }

    /// Learns what is normal from a steady stretch.
    fn learn(&mut self, framed: Framed, heading: Turn, steady: bool, now: Instant) {
        let going = self.learning.filter(|l| (heading - l.heading).wrapped().size() <= STEADY);
        if !steady {
            self.learning = None;
            return;
        }
        let mut learning = going.unwrap_or(Learning { began: now, heading, side: 0, count: 0 });
        learning.side += framed.side;
        learning.count += 1;
        self.learning = Some(learning);
        if now.since(learning.began) >= LEARN {
            self.normal = Some(Normal { side: learning.side / learning.count, heading });
            self.learning = None;
            self.raised_at = None;
        }
    }
}

#[derive(Clone, Copy, Debug)]
struct Compared {
    ahead: i64,
    change: i64,
    turned: Turn,
    above: bool,
    below: bool,
}

impl Compared {
    /// How far the boat turned under her heading, starboard plus.
    fn by(&self) -> Turn {
        trig::direction(self.ahead, self.change).map_or(Turn::ZERO, |b| Turn::from_mdeg(b.as_mdeg()).wrapped())
    }
}

/// The tangent of a limit below 90 degrees, times [`trig::ONE`].
fn sine_over_cosine(angle: Turn) -> i64 {
    let bearing = Bearing::from_mdeg(i64::from(angle.as_mdeg().clamp(0, 80_000)));
    i64::from(trig::sin(bearing)) * i64::from(trig::ONE) / i64::from(trig::cos(bearing)).max(1)
}

/// Slow changes of current and heading are followed while all is quiet.
fn follow(normal: &mut Normal, framed: Framed, heading: Turn) {
    let steps = i64::try_from(FOLLOW.as_ms() / 500).unwrap_or(1);
    normal.side += (framed.side - normal.side) / steps;
    let way = i64::from((heading - normal.heading).wrapped().as_mdeg());
    normal.heading = (normal.heading + Turn::from_mdeg(i32::try_from(way / steps).unwrap_or(0))).wrapped();
}
