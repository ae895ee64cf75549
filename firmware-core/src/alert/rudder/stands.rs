//! A rudder that stands although the pilot wants it elsewhere.

use crate::alert::Latch;
use crate::alert::Smooth;
use crate::angle::Turn;
use crate::picture::OrderedBy;
use crate::picture::Picture;
use crate::picture::Referred;
use crate::picture::Steering;
use crate::time::Instant;
use crate::time::Span;

/// A rudder that moved by no more than this stands: the play of a linkage and the last digit.
const STANDS: Turn = Turn::from_mdeg(800);
/// The pilot orders so much more or less than when the rudder came to stand: beyond the dead band of any
/// drive (common practice, no source).
const ORDERED: Turn = Turn::from_deg(3);
/// For so long: the swings of an order in a seaway do not last, and a slow drive begins in this time.
const ORDERED_FOR: Span = Span::from_s(5);
/// Where no rudder order is heard: she is so much further off her course than when the rudder came to stand,
/// and no pilot leaves its rudder alone that long.
const OFF: Turn = Turn::from_deg(10);
const OFF_FOR: Span = Span::from_s(4);
/// An order counts once it has stood so long: after a turn she may settle beside her course with a still rudder
/// until the pilot has found her new helm.
const TURNED_IN: Span = Span::from_s(90);
/// A pilot that follows a track trims its order all the time: that is no new one.
const TRIM: Turn = Turn::from_deg(3);
/// It stands only after this: in a hard turn a pilot holds its rudder at the stop for some seconds.
const STOOD: Span = Span::from_s(8);
/// One yaw period: swings are no departure.
const YAW: Span = Span::from_s(4);
/// Rudder and order are smoothed alike: the noise of the sensor is less, and a change shows in both at once.
const QUIET: Span = Span::from_s(2);

/// How the rudder's standing shows.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Standing {
    /// The pilot orders it elsewhere.
    Ordered,
    /// She goes off her course, and it stands.
    OffCourse,
}

/// What was when the rudder came to stand.
#[derive(Clone, Copy, Debug)]
struct Then {
    rudder: Turn,
    since: Instant,
    ordered: Option<Turn>,
    /// The course ordered, and how far she was off it.
    course: Option<(Referred, Turn)>,
}

/// The judge of standing.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Stands {
    then: Option<Then>,
    rudder: Smooth,
    order: Smooth,
    off: Smooth,
    /// The course that `off` is from, and since when it is ordered.
    course: Option<(Referred, Instant)>,
    ordered: Latch,
    off_course: Latch,
}

impl Stands {
    /// How it shows, and since when the rudder stands.
    pub(super) fn judge(
        &mut self,
        picture: &Picture,
        steering: Steering,
        rudder: Turn,
        now: Instant,
    ) -> Option<(Standing, Instant)> {
        let rudder = self.rudder.step(now, rudder, QUIET);
        let ordered = picture.beside().rudder_order(now).map(|order| self.order.step(now, order, QUIET));
        let course = self.course(picture, steering, now);
        let moved = self.then.is_none_or(|then| (rudder - then.rudder).size() > STANDS);
        if moved {
            self.then = Some(Then { rudder, since: now, ordered, course });
            self.ordered = Latch::default();
            self.off_course = Latch::default();
            return None;
        }
        let then = self.then.as_mut()?;
        // An order, or a course, that is first heard now counts from now on.
        then.ordered = then.ordered.or(ordered);
        let same = |(was, _): (Referred, Turn)| course.is_some_and(|(is, _)| is == was);
        if !then.course.is_some_and(same) {
            then.course = course;
        }
        let elsewhere = match (then.ordered, ordered) {
            (Some(then), Some(now)) => (now - then).size() >= ORDERED,
            _ => false,
        };
        let left = match (then.course, course) {
            (Some((_, then)), Some((_, now))) => (now.size() - then.size()) >= OFF,
            _ => false,
        };
        let since = then.since;
        let stood = now.since(since) >= STOOD;
        // It goes down only when the rudder moves.
        if self.ordered.step(now, elsewhere && stood, false, ORDERED_FOR, Span::ZERO) {
            return Some((Standing::Ordered, since));
        }
        self.off_course.step(now, left && stood, false, OFF_FOR, Span::ZERO).then_some((Standing::OffCourse, since))
    }

    /// The rudder is not heard, or nothing can be judged: what stood stays.
    pub(super) fn pause(&mut self) {
        self.ordered.pause();
        self.off_course.pause();
        self.off.reset();
        self.rudder.reset();
        self.order.reset();
    }

    /// The course that the pilot steers, and how far she is off it. The mean of a first steady minute is
    /// nobody's order, and a hand that holds the rudder still may let her turn.
    fn course(&mut self, picture: &Picture, steering: Steering, now: Instant) -> Option<(Referred, Turn)> {
        let Steering::Heading { order, by: by @ (OrderedBy::Owner | OrderedBy::Wire(_)), held: false } = steering
        else {
            self.off.reset();
            return None;
        };
        let Some(heading) = picture.heading_for(order, by, now) else {
            self.off.reset();
            return None;
        };
        let trimmed =
            |last: Referred| last.reference == order.reference && last.bearing.turn_to(order.bearing).size() <= TRIM;
        let (course, since) = match self.course.filter(|(course, _)| trimmed(*course)) {
            Some(standing) => standing,
            None => {
                self.off.reset();
                *self.course.insert((order, now))
            }
        };
        let off = self.off.step(now, order.bearing.turn_to(heading.bearing), YAW);
        (now.since(since) >= TURNED_IN).then_some((course, off))
    }
}
