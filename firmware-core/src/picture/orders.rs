//! Who orders the heading: precedence, staleness, and the mean of the first steady minute.

use crate::angle::Bearing;
use crate::angle::Turn;
use crate::angle::trig;
use crate::picture::Command;
use crate::picture::OrderedBy;
use crate::picture::Origin;
use crate::picture::Reference;
use crate::picture::Referred;
use crate::picture::Steering;
use crate::picture::Tracked;
use crate::time::Instant;
use crate::time::Mark;
use crate::time::Span;

/// The sentences that carry an order, in their precedence.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum OrderSentence {
    /// HTD, what the heading controller says it does.
    Htd,
    /// HTC, what it is told.
    Htc,
    /// HSC, the heading to steer.
    Hsc,
}

/// The orders as they stand.
#[derive(Clone, Copy, Debug, Default)]
pub struct Orders {
    owner: Option<Steering>,
    wire: [Option<(Origin, Tracked<Referred>)>; 3],
    first: FirstMinute,
    /// When the pilot said last that it stands by (HTD: steered by hand or by rudder angle).
    standby: Mark,
}

/// A wire order is held past its time, but one this old at the first hearing of another sentence
/// no longer outranks it.
const OUTRANKS_FOR: Span = Span::from_min(10);

impl Orders {
    /// The owner's word. `here` is the heading now, in the pilot's own compass.
    ///
    /// Returns whether it could be obeyed: `SteerHere` needs a heading.
    pub fn command(&mut self, command: Command, here: Option<Referred>) -> bool {
        let by = OrderedBy::Owner;
        self.owner = match (command, here) {
            (Command::Steer(order), _) => Some(Steering::Heading { order, by, held: false }),
            (Command::SteerHere, Some(order)) => Some(Steering::Heading { order, by, held: false }),
            (Command::SteerHere, None) => return false,
            (Command::SteerWind, _) => Some(Steering::Wind),
            (Command::SteerHand, _) => Some(Steering::Hand),
            (Command::Cancel, _) => {
                self.first = FirstMinute::default();
                None
            }
        };
        true
    }

    /// A sentence carries an order.
    pub fn wire(&mut self, now: Instant, sentence: OrderSentence, origin: Origin, order: Referred) {
        let slot = &mut self.wire[sentence as usize];
        match slot {
            Some((kept, tracked)) if *kept == origin => tracked.take(now, order),
            Some((_, tracked)) if tracked.fresh(now).is_some() => {}
            _ => {
                let mut tracked = Tracked::default();
                tracked.take(now, order);
                *slot = Some((origin, tracked));
            }
        }
    }

    /// The pilot says that it does not steer by heading.
    pub(super) fn stands_by(&mut self, now: Instant) {
        self.standby = Mark::at(now);
    }

    /// Whether the first steady minute is learned: then [`learn`](Self::learn) has nothing to do.
    pub(super) fn has_learned(&self) -> bool {
        self.first.order.is_some()
    }

    /// The heading now in the pilot's own compass, once every half second: the first steady minute
    /// is learned from it, unless somebody has given an order.
    #[inline(never)]
    pub fn learn(&mut self, now: Instant, heading: Option<Referred>, under_way: bool) {
        match (heading, under_way) {
            (Some(heading), true) => self.first.take(now, heading),
            _ => self.first.interrupt(),
        }
    }

    /// How the boat is steered.
    pub fn steering(&self, now: Instant) -> Steering {
        if let Some(owner) = self.owner {
            return owner;
        }
        // A fresh order before a held one, and among those the precedence of the sentences.
        let fresh =
            || self.wire.iter().flatten().find_map(|(origin, t)| t.fresh(now).map(|order| (*origin, order, false)));
        let held = || {
            self.wire
                .iter()
                .flatten()
                .max_by_key(|(_, t)| t.last())
                .and_then(|(origin, t)| t.latest().map(|order| (*origin, order, true)))
        };
        if let Some((origin, order, held)) = self.preferred(now).or_else(fresh).or_else(held) {
            // What it ordered before it stood by is still what she was to steer: a pilot that drops out by
            // itself says the same as one that is taken off.
            let by = if self.stood_by() { OrderedBy::StoodBy(origin) } else { OrderedBy::Wire(origin) };
            return Steering::Heading { order, by, held };
        }
        match self.first.order {
            Some(order) => Steering::Heading { order, by: OrderedBy::FirstSteadyMinute, held: false },
            None => Steering::Unknown,
        }
    }

    /// Whether the pilot has said that it stands by since it sent an order last.
    fn stood_by(&self) -> bool {
        let ordered = self.wire.iter().flatten().map(|(_, order)| order.last()).max();
        self.standby.moment().is_some_and(|at| ordered.is_none_or(|ordered| at > ordered))
    }

    /// The highest sentence heard in the last minutes, held if it is stale: one that pauses is not
    /// replaced by a lower one in silence.
    fn preferred(&self, now: Instant) -> Option<(Origin, Referred, bool)> {
        self.wire.iter().flatten().find_map(|(origin, t)| {
            let recent = now.since(t.last()) < OUTRANKS_FOR;
            t.latest().filter(|_| recent).map(|order| (*origin, order, t.fresh(now).is_none()))
        })
    }
}

/// The mean heading of the first minute in which the boat held one.
#[derive(Clone, Copy, Debug, Default)]
struct FirstMinute {
    order: Option<Referred>,
    reference: Option<Reference>,
    began: Option<Instant>,
    /// Sums of sine and cosine over the first and the second half minute, and how many values.
    halves: [(i64, i64, u32); 2],
}

const HALF: Span = Span::from_s(30);
/// The two half minutes must agree within this: no more than a slow wander.
const STEADY: Turn = Turn::from_deg(4);
/// The mean resultant must be at least this, in 1/32768: about 10 degrees rms of yaw.
const LEAST_RESULTANT: i64 = 32_270;

impl FirstMinute {
    fn take(&mut self, now: Instant, heading: Referred) {
        if self.order.is_some() {
            return;
        }
        if self.reference != Some(heading.reference) {
            *self = Self { reference: Some(heading.reference), ..Self::default() };
        }
        let began = *self.began.get_or_insert(now);
        let since = now.since(began);
        let half = usize::from(since >= HALF);
        let (sin, cos, n) = &mut self.halves[half];
        *sin += i64::from(trig::sin(heading.bearing));
        *cos += i64::from(trig::cos(heading.bearing));
        *n += 1;
        if since < HALF + HALF {
            return;
        }
        match self.mean() {
            Some(bearing) => self.order = Some(Referred { bearing, reference: heading.reference }),
            // Not steady: the second half becomes the first of the next try.
            None => {
                self.halves = [self.halves[1], (0, 0, 0)];
                self.began = Some(began + HALF);
            }
        }
    }

    fn interrupt(&mut self) {
        if self.order.is_none() {
            *self = Self::default();
        }
    }

    fn mean(&self) -> Option<Bearing> {
        let [(s0, c0, n0), (s1, c1, n1)] = self.halves;
        let (first, second) = (trig::direction(c0, s0)?, trig::direction(c1, s1)?);
        let (sin, cos, n) = (s0 + s1, c0 + c1, i64::from(n0) + i64::from(n1));
        let resultant = i64::from(trig::sqrt((sin * sin + cos * cos).unsigned_abs())) / n.max(1);
        let steady = first.turn_to(second).size() <= STEADY && resultant >= LEAST_RESULTANT;
        if steady { trig::direction(cos, sin) } else { None }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::frame::Formatter;
    use crate::frame::Talker;
    use crate::picture::SourceId;

    fn origin(formatter: &[u8; 3]) -> Origin {
        Origin { source: SourceId(0), talker: Talker(*b"AG"), formatter: Formatter(*formatter) }
    }

    fn compass(deg: i32) -> Referred {
        Referred { bearing: Bearing::from_deg(deg), reference: Reference::Compass }
    }

    fn at(s: u64) -> Instant {
        Instant::from_ms(s * 1000)
    }

    #[test]
    fn precedence() {
        let mut orders = Orders::default();
        assert_eq!(orders.steering(at(0)), Steering::Unknown);
        orders.wire(at(1), OrderSentence::Hsc, origin(b"HSC"), compass(10));
        let by = |o: &Orders, s| match o.steering(at(s)) {
            Steering::Heading { order, by, held } => Some((order.bearing.as_mdeg() / 1000, by, held)),
            _ => None,
        };
        assert_eq!(by(&orders, 1), Some((10, OrderedBy::Wire(origin(b"HSC")), false)));
        orders.wire(at(2), OrderSentence::Htd, origin(b"HTD"), compass(20));
        orders.wire(at(2), OrderSentence::Htc, origin(b"HTC"), compass(30));
        assert_eq!(by(&orders, 2), Some((20, OrderedBy::Wire(origin(b"HTD")), false)));
        // Held and marked when it goes stale, not replaced in silence by the next sentence.
        orders.wire(at(60), OrderSentence::Hsc, origin(b"HSC"), compass(10));
        assert_eq!(by(&orders, 60), Some((20, OrderedBy::Wire(origin(b"HTD")), true)));
        orders.command(Command::Steer(compass(40)), None);
        assert_eq!(by(&orders, 61), Some((40, OrderedBy::Owner, false)));
        orders.command(Command::SteerWind, None);
        assert_eq!(orders.steering(at(62)), Steering::Wind);
        assert!(!orders.command(Command::SteerHere, None));
        assert!(orders.command(Command::SteerHere, Some(compass(50))));
        assert_eq!(by(&orders, 63), Some((50, OrderedBy::Owner, false)));
        orders.command(Command::Cancel, None);
        assert_eq!(by(&orders, 63), Some((20, OrderedBy::Wire(origin(b"HTD")), true)));
    }

    #[test]
    fn the_first_steady_minute_through_north() {
        let mut orders = Orders::default();
        // Two minutes of turning at 1 degree a second, then steady about 358 with 6 degrees of yaw.
        for half in 0..600u64 {
            let now = Instant::from_ms(half * 500);
            let mdeg =
                if half < 240 { half as i64 * 500 } else { 358_000 + ((half as f64 * 0.45).sin() * 6_000.0) as i64 };
            let heading = Referred { bearing: Bearing::from_mdeg(mdeg), reference: Reference::Compass };
            orders.learn(now, Some(heading), true);
            let known = orders.steering(now) != Steering::Unknown;
            assert!(!known || half >= 340, "learned while turning, at {half}");
        }
        let Steering::Heading { order, by: OrderedBy::FirstSteadyMinute, held: false } = orders.steering(at(300))
        else {
            panic!("not learned");
        };
        assert!(order.bearing.turn_to(Bearing::from_deg(358)).size() < Turn::from_deg(1), "{order}");
    }

    #[test]
    fn no_order_is_learned_in_harbour_or_across_a_gap() {
        let mut orders = Orders::default();
        for half in 0..400u64 {
            orders.learn(Instant::from_ms(half * 500), Some(compass(90)), half % 100 != 50);
        }
        for half in 400..600u64 {
            orders.learn(Instant::from_ms(half * 500), Some(compass(90)), false);
        }
        assert_eq!(orders.steering(at(300)), Steering::Unknown);
    }
}
