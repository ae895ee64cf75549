//! Everything a display shows, at one moment.

use core::cmp::Ordering;

use heapless::Vec;

use crate::alert::AlertKind;
use crate::alert::WatchkeeperStatus;
use crate::alert::Why;
use crate::angle::Turn;
use crate::arbiter::ALERTS;
use crate::arbiter::AlertChange;
use crate::arbiter::State;
use crate::heading::Compass;
use crate::heading::Magnetic;
use crate::heading::True;
use crate::picture::Correction;
use crate::picture::GROUNDS;
use crate::picture::HEADINGS;
use crate::picture::HeadingChannel;
use crate::picture::Kinship;
use crate::picture::Origin;
use crate::picture::Picture;
use crate::picture::Referred;
use crate::picture::Steering;
use crate::picture::VariationInUse;
use crate::time::Instant;
use crate::time::Span;
use crate::unit::Position;
use crate::unit::Speed;

/// Everything a display shows, at one moment.
#[derive(Clone, Debug)]
pub struct Status {
    /// The heading the watch is kept by, if one was ever heard.
    pub heading: Option<HeadingStatus>,
    /// How the boat is steered.
    pub steering: Steering,
    /// From the order to the heading, starboard plus, where both are fresh and comparable.
    pub off: Option<Turn>,
    /// Course and speed over the ground, fresh, with their age; the course only where it means
    /// something to the receiver.
    pub ground: Option<(Option<True>, Speed, Span)>,
    /// The last position, with its age.
    pub position: Option<(Position, Span)>,
    /// Rudder, starboard plus, with its age.
    pub rudder: Option<(Turn, Span)>,
    /// The battery's voltage in thousandths of a volt, with its age.
    pub supply: Option<(u32, Span)>,
    /// How the watchkeeper stands, where the owner asks for it.
    pub watchkeeper: Option<WatchkeeperStatus>,
    /// The variation in use.
    pub variation: Option<VariationInUse>,
    /// Each witness of the heading.
    pub witnesses: Vec<WitnessStatus, { HEADINGS + GROUNDS }>,
    /// For each alert whether it judges, in the order of [`AlertKind::ALL`].
    pub judging: [Result<(), Why>; AlertKind::ALL.len()],
    /// The alerts that are not normal, most urgent first: those that stand and nobody has answered, then
    /// those that stand, then those that are over; among these by priority, and then the newest.
    pub alerts: Vec<AlertChange, ALERTS>,
}

/// The heading the watch is kept by.
#[derive(Clone, Copy, Debug)]
pub struct HeadingStatus {
    /// Who sends it.
    pub origin: Origin,
    /// As sent, in the reference it is sent in.
    pub raw: Referred,
    /// Compass, where it is a compass heading.
    pub compass: Option<Compass>,
    /// Magnetic.
    pub magnetic: Option<Magnetic>,
    /// True, where the variation is known.
    pub truth: Option<True>,
    /// How it becomes magnetic.
    pub correction: Correction,
    /// How old it is.
    pub age: Span,
    /// Whether it is stale.
    pub stale: bool,
    /// For how long it has not changed by a digit.
    pub unchanged: Span,
}

/// One witness of the heading.
#[derive(Clone, Copy, Debug)]
pub struct WitnessStatus {
    /// Who.
    pub origin: Origin,
    /// Its heading or course, true where that can be known.
    pub truth: Option<True>,
    /// Its difference from the primary heading, starboard plus, where both are true and fresh.
    pub differs: Option<Turn>,
    /// How old it is.
    pub age: Span,
    /// Whether it is stale.
    pub stale: bool,
    /// The heading it is a copy of, if it is one.
    pub copy_of: Option<Origin>,
    /// Whether it may yet turn out to be a copy of the primary: she has not turned enough to tell.
    pub may_be_copy: bool,
    /// Whether it is the ground velocity and not a heading.
    pub ground: bool,
}

impl Status {
    /// The status of `picture`; `judging`, `alerts` and `watchkeeper` come from the monitor.
    pub(super) fn new<'a>(
        picture: &Picture,
        judging: [Result<(), Why>; AlertKind::ALL.len()],
        alerts: impl Iterator<Item = &'a AlertChange>,
        watchkeeper: Option<WatchkeeperStatus>,
        now: Instant,
    ) -> Self {
        let steering = picture.steering(now);
        let off = match steering {
            Steering::Heading { order, by, .. } => {
                picture.heading_for(order, by, now).map(|heading| order.bearing.turn_to(heading.bearing))
            }
            _ => None,
        };
        let mut standing: Vec<AlertChange, ALERTS> = alerts.copied().collect();
        standing.sort_unstable_by(more_urgent);
        let supply = picture.supply().millivolts();
        Self {
            heading: picture.primary().and_then(|channel| heading_status(picture, channel, now)),
            steering,
            off,
            ground: ground_status(picture, now),
            position: picture.position().latest().map(|(_, position)| (position, picture.position().age(now))),
            rudder: picture.rudder().latest().map(|rudder| (rudder, picture.rudder().age(now))),
            supply: supply.latest().map(|millivolts| (millivolts, supply.age(now))),
            watchkeeper,
            variation: picture.variation().in_use(),
            witnesses: witnesses(picture, now),
            judging,
            alerts: standing,
        }
    }
}

/// Which of two alerts is to be seen first: a short screen shows no more than the first ones, and what is
/// over must not stand before what stands.
fn more_urgent(one: &AlertChange, other: &AlertChange) -> Ordering {
    let state = |change: &AlertChange| match change.state {
        State::ActiveUnacknowledged => 0_u8,
        State::Active | State::ActiveSilenced | State::ActiveAcknowledged => 1,
        State::RectifiedUnacknowledged | State::Normal => 2,
    };
    // What follows from another one stands behind it.
    state(one)
        .cmp(&state(other))
        .then(other.priority.cmp(&one.priority))
        .then(one.follows.is_some().cmp(&other.follows.is_some()))
        .then(other.at.cmp(&one.at))
        .then(one.kind.cmp(&other.kind))
}

fn heading_status(picture: &Picture, channel: &HeadingChannel, now: Instant) -> Option<HeadingStatus> {
    let raw = channel.raw.latest()?;
    let reduced = picture.reduce(channel, raw);
    Some(HeadingStatus {
        origin: channel.origin,
        raw: channel.referred(raw),
        compass: reduced.compass,
        magnetic: reduced.magnetic,
        truth: reduced.truth,
        correction: reduced.correction,
        age: channel.raw.age(now),
        stale: channel.raw.fresh(now).is_none(),
        unchanged: channel.unchanged(now),
    })
}

fn ground_status(picture: &Picture, now: Instant) -> Option<(Option<True>, Speed, Span)> {
    let (origin, ground) = picture.ground(now)?;
    let channel = picture.grounds().iter().find(|channel| channel.origin == origin)?;
    Some((ground.course, ground.speed, channel.velocity.age(now)))
}

fn witnesses(picture: &Picture, now: Instant) -> Vec<WitnessStatus, { HEADINGS + GROUNDS }> {
    let mine = picture.heading(now).and_then(|reduced| reduced.truth);
    let differs = |truth: Option<True>, stale: bool| match (mine, truth, stale) {
        (Some(mine), Some(truth), false) => Some(mine.0.turn_to(truth.0)),
        _ => None,
    };
    let primary = picture.primary().map(|channel| channel.origin);
    let primary = picture.headings().iter().position(|channel| Some(channel.origin) == primary);
    let headings = picture.headings().iter().enumerate().filter_map(|(index, channel)| {
        let raw = channel.raw.latest()?;
        let truth = picture.reduce(channel, raw).truth;
        let stale = channel.raw.fresh(now).is_none();
        Some(WitnessStatus {
            origin: channel.origin,
            truth,
            differs: differs(truth, stale),
            age: channel.raw.age(now),
            stale,
            copy_of: picture.copy_of(index).map(|kept| kept.origin),
            may_be_copy: primary.is_some_and(|p| p != index && picture.kinship(p, index) == Kinship::Unknown),
            ground: false,
        })
    });
    let grounds = picture.grounds().iter().filter_map(|channel| {
        let truth = channel.velocity.latest()?.course;
        let stale = channel.velocity.fresh(now).is_none();
        Some(WitnessStatus {
            origin: channel.origin,
            truth,
            differs: differs(truth, stale),
            age: channel.velocity.age(now),
            stale,
            copy_of: None,
            may_be_copy: false,
            ground: true,
        })
    });
    headings.chain(grounds).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::alert::Evidence;
    use crate::alert::Instance;
    use crate::alert::Priority;

    #[test]
    fn what_is_over_stands_behind_what_stands_and_the_newest_before_the_older() {
        let change = |s: u64, kind: AlertKind, state| AlertChange {
            at: Instant::from_ms(s * 1000),
            kind,
            instance: Instance::Boat,
            number: 1,
            revision: 1,
            escalations: 0,
            occurrence: 1,
            priority: kind.priority(),
            state,
            escalated: false,
            repeated: false,
            follows: None,
            evidence: Evidence::Impaired { lasting: Span::ZERO },
        };
        let mut following = change(90, AlertKind::HeadingFrozen, State::ActiveUnacknowledged);
        following.follows = Some(AlertKind::InputLost);
        let expected = [
            change(50, AlertKind::OffHeading, State::ActiveUnacknowledged),
            change(40, AlertKind::HeadingLost, State::ActiveUnacknowledged),
            following,
            change(70, AlertKind::PositionLost, State::ActiveUnacknowledged),
            change(30, AlertKind::InputLost, State::ActiveAcknowledged),
            change(20, AlertKind::OffHeading, State::ActiveSilenced),
            change(60, AlertKind::InputDamaged, State::Active),
            change(80, AlertKind::HeadingDisagreement, State::RectifiedUnacknowledged),
            change(10, AlertKind::HeadingFrozen, State::RectifiedUnacknowledged),
            change(85, AlertKind::SupplyLow, State::RectifiedUnacknowledged),
        ];
        assert_eq!(expected[0].priority, Priority::Alarm);
        for turned in 0..expected.len() {
            let mut shuffled = expected;
            shuffled.rotate_left(turned);
            shuffled.sort_unstable_by(more_urgent);
            assert_eq!(shuffled, expected, "from a start turned by {turned}");
        }
    }
}
