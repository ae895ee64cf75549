//! All the judges together, and what each of them looks at.

use crate::alert::AlertKind;
use crate::alert::CardDoubtful;
use crate::alert::Disagreement;
use crate::alert::Frozen;
use crate::alert::HEADING_DELAY;
use crate::alert::HEADING_GRACE;
use crate::alert::Impaired;
use crate::alert::InputDamaged;
use crate::alert::InputLost;
use crate::alert::Instance;
use crate::alert::LostValue;
use crate::alert::OffHeading;
use crate::alert::POSITION_DELAY;
use crate::alert::POSITION_GRACE;
use crate::alert::Part;
use crate::alert::RUDDER_DELAY;
use crate::alert::RUDDER_GRACE;
use crate::alert::RudderUnanswered;
use crate::alert::SupplyLow;
use crate::alert::TurnRateDisagreement;
use crate::alert::Verdict;
use crate::alert::Watchkeeper;
use crate::alert::Why;
use crate::arbiter::AlertChange;
use crate::arbiter::Arbiter;
use crate::monitor::Settings;
use crate::monitor::settings::Kept;
use crate::picture::HeadingChannel;
use crate::picture::Name;
use crate::picture::Origin;
use crate::picture::Picture;
use crate::picture::SourceId;
use crate::picture::Steering;
use crate::time::Instant;
use crate::time::Mark;

/// The headings that are watched by name: the primary, the pilot's, the second.
const ROLES: usize = 3;
const PRIMARY: usize = 0;

/// Every judge of the watch.
#[derive(Debug)]
pub(super) struct Judges {
    off_heading: OffHeading,
    disagreement: Disagreement,
    heading_lost: [LostValue; ROLES],
    frozen: [Frozen; ROLES],
    /// What each role was judged as last.
    judged_as: [Option<Instance>; ROLES],
    position_lost: LostValue,
    rudder_lost: LostValue,
    supply: SupplyLow,
    pub(super) watchkeeper: Watchkeeper,
    pub(super) input_lost: [InputLost; SourceId::MAX],
    pub(super) input_damaged: [InputDamaged; SourceId::MAX],
    pub(super) impaired: [Impaired; Part::ALL.len()],
    turn_rate: TurnRateDisagreement,
    rudder: RudderUnanswered,
    card: CardDoubtful,
    judging: [Result<(), Why>; AlertKind::ALL.len()],
    /// When the next heading is lost, if it does not come before then.
    due: Mark,
}

/// A heading with a role, or the name of one that never came.
///
/// Each is missed from the start: the owner names it, or the watch is kept by it. A watch on the heading
/// without a heading is blind in what it is for, so the primary heading need not have been there for a minute
/// first, nor at all.
struct Role<'a> {
    channel: Option<(usize, &'a HeadingChannel)>,
    instance: Instance,
}

impl Judges {
    pub(super) fn new(now: Instant, settings: &Settings) -> Self {
        let limit = |kind| settings.limit(kind);
        let heading = LostValue::new(now, HEADING_GRACE, HEADING_DELAY, limit(AlertKind::HeadingLost));
        Self {
            off_heading: OffHeading::new(limit(AlertKind::OffHeading)),
            disagreement: Disagreement::new(limit(AlertKind::HeadingDisagreement), settings.current_change),
            heading_lost: [heading; ROLES],
            frozen: [Frozen::new(limit(AlertKind::HeadingFrozen)); ROLES],
            judged_as: [None; ROLES],
            position_lost: LostValue::new(now, POSITION_GRACE, POSITION_DELAY, limit(AlertKind::PositionLost)),
            rudder_lost: LostValue::new(now, RUDDER_GRACE, RUDDER_DELAY, limit(AlertKind::RudderLost)),
            supply: SupplyLow::new(now, limit(AlertKind::SupplyLow), settings.supply.limit_millivolts),
            watchkeeper: Watchkeeper::new(now, settings.watchkeeper),
            input_lost: [InputLost::new(now, limit(AlertKind::InputLost)); SourceId::MAX],
            input_damaged: [InputDamaged::new(limit(AlertKind::InputDamaged)); SourceId::MAX],
            impaired: [Impaired::new(limit(AlertKind::WatchImpaired)); Part::ALL.len()],
            turn_rate: TurnRateDisagreement::new(limit(AlertKind::TurnRateDisagreement)),
            rudder: RudderUnanswered::new(limit(AlertKind::RudderUnanswered)),
            card: CardDoubtful::new(limit(AlertKind::CardDoubtful)),
            judging: [Err(Why::Starting); AlertKind::ALL.len()],
            due: Mark::NONE,
        }
    }

    /// Somebody took responsibility for what stands.
    pub(super) fn answered(&mut self, now: Instant) {
        self.disagreement.answered(now);
    }

    /// Whether each alert judges just now.
    pub(super) fn judging(&self) -> &[Result<(), Why>; AlertKind::ALL.len()] {
        &self.judging
    }

    /// The next moment at which a heading may be lost: for [`judge_lost`](Self::judge_lost).
    pub(super) fn due(&self) -> Option<Instant> {
        self.due.moment()
    }

    /// Judges the headings whose time is over now, and the sources they come on, before everything else is
    /// judged again.
    #[inline(never)]
    pub(super) fn judge_lost(
        &mut self,
        now: Instant,
        settings: &Kept,
        picture: &Picture,
        arbiter: &mut Arbiter,
        out: &mut impl FnMut(AlertChange),
    ) {
        let roles = roles(picture);
        for (index, role) in roles.iter().enumerate() {
            let Some(Role { channel: Some((_, channel)), instance }) = role else { continue };
            // One that has just taken another's place waits until everything is judged.
            let same = self.judged_as[index] == Some(*instance);
            if !same || channel.raw.stale_at().is_none_or(|stale| stale > now) {
                continue;
            }
            let source = channel.origin.source;
            if !settings.limit(AlertKind::InputLost).disabled {
                let verdict = self.input_lost[source.index()].judge(now);
                arbiter.take(now, AlertKind::InputLost, Instance::Source(source), &verdict, None, out);
            }
            if awaited(&self.input_lost, settings, channel, now).is_none() {
                let verdict = self.heading_lost[index].judge(Some(&channel.raw), true, now);
                let follows = cause(arbiter, channel.origin);
                arbiter.take(now, AlertKind::HeadingLost, *instance, &verdict, follows, out);
            }
        }
        self.due = self.next_lost(now, settings, &roles);
    }

    /// When the next of the headings that are watched is lost, if it does not come before then.
    fn next_lost(&self, now: Instant, settings: &Kept, roles: &[Option<Role<'_>>; ROLES]) -> Mark {
        if settings.limit(AlertKind::HeadingLost).disabled {
            return Mark::NONE;
        }
        let mut next: Option<Instant> = None;
        for (_, channel) in roles.iter().flatten().filter_map(|role| role.channel) {
            let stale = channel.raw.stale_at();
            let moment = match stale {
                Some(stale) if stale <= now => awaited(&self.input_lost, settings, channel, now),
                stale => stale,
            };
            next = next.map_or(moment, |next| Some(moment.map_or(next, |moment| moment.min(next))));
        }
        next.into()
    }

    /// Judges everything once, causes before what may follow from them.
    pub(super) fn judge(
        &mut self,
        now: Instant,
        settings: &Kept,
        picture: &Picture,
        steering: Steering,
        arbiter: &mut Arbiter,
        out: &mut impl FnMut(AlertChange),
    ) {
        let roles = roles(picture);
        self.hand_over(now, settings, &roles, arbiter, out);
        self.judging = AlertKind::ALL
            .map(|kind| Err(if settings.limit(kind).disabled { Why::Disabled } else { Why::NotYetHeard }));
        let on = |kind: AlertKind| !settings.limit(kind).disabled;
        let judging = &mut self.judging;
        let mut take = |kind: AlertKind, instance, verdict: &Verdict, follows, arbiter: &mut Arbiter| {
            note(judging, kind, verdict);
            arbiter.take(now, kind, instance, verdict, follows, out);
        };

        for index in 0..settings.source_count.min(SourceId::MAX as u8) {
            let source = SourceId(index);
            let instance = Instance::Source(source);
            if on(AlertKind::InputLost) {
                let verdict = self.input_lost[source.index()].judge(now);
                take(AlertKind::InputLost, instance, &verdict, None, arbiter);
            }
            if on(AlertKind::InputDamaged) {
                let verdict = self.input_damaged[source.index()].judge(now);
                take(AlertKind::InputDamaged, instance, &verdict, None, arbiter);
            }
        }
        for (index, role) in roles.iter().enumerate() {
            let Some(role) = role else { continue };
            if on(AlertKind::HeadingLost) {
                let value = role.channel.map(|(_, channel)| &channel.raw);
                let waits = |(_, channel): (usize, &HeadingChannel)| {
                    channel.raw.fresh(now).is_none() && awaited(&self.input_lost, settings, channel, now).is_some()
                };
                let verdict = match role.channel.is_some_and(waits) {
                    true => Verdict::Unjudged(Why::NoHeading),
                    false => self.heading_lost[index].judge(value, true, now),
                };
                let follows = match role.channel {
                    Some((_, channel)) => cause(arbiter, channel.origin),
                    None => every_source_lost(arbiter, settings.source_count),
                };
                take(AlertKind::HeadingLost, role.instance, &verdict, follows, arbiter);
            }
            if let (Some((place, _)), true) = (role.channel, on(AlertKind::HeadingFrozen)) {
                let verdict = self.frozen[index].judge(picture, place, now);
                take(AlertKind::HeadingFrozen, role.instance, &verdict, None, arbiter);
            }
        }
        if on(AlertKind::PositionLost) {
            let position = picture.position();
            // A receiver that talks without a fix is one that the owner expects a position from.
            let verdict = self.position_lost.judge(Some(position), position.was_heard(), now);
            let follows = position.latest().and_then(|(origin, _)| cause(arbiter, origin));
            take(AlertKind::PositionLost, Instance::Boat, &verdict, follows, arbiter);
        }
        if on(AlertKind::RudderLost) {
            let verdict = self.rudder_lost.judge(Some(picture.rudder()), false, now);
            let follows = picture.rudder_from().and_then(|origin| cause(arbiter, origin));
            take(AlertKind::RudderLost, Instance::Boat, &verdict, follows, arbiter);
        }
        if on(AlertKind::SupplyLow) {
            let verdict = self.supply.judge(picture.supply(), now);
            let lost = |source| arbiter.stands(AlertKind::InputLost, Instance::Source(source));
            let follows = picture.supply().source().filter(|source| lost(*source)).map(|_| AlertKind::InputLost);
            take(AlertKind::SupplyLow, Instance::Boat, &verdict, follows, arbiter);
        }
        if on(AlertKind::WatchkeeperSilent) {
            let verdict = self.watchkeeper.judge(now);
            take(AlertKind::WatchkeeperSilent, Instance::Boat, &verdict, None, arbiter);
        }
        if on(AlertKind::WatchImpaired) {
            // As nearly always: every part works, and none ever failed.
            let rest = !arbiter.knows(AlertKind::WatchImpaired) && self.impaired.iter().all(Impaired::rests);
            let parts: &[Part] = if rest { &[] } else { &Part::ALL };
            if rest {
                take(AlertKind::WatchImpaired, Instance::Boat, &Verdict::Clear, None, arbiter);
            }
            for &part in parts {
                let verdict = self.impaired[part as usize].judge(now);
                take(AlertKind::WatchImpaired, Instance::Part(part), &verdict, None, arbiter);
            }
        }
        let primary = picture.primary().map_or(Instance::Boat, |channel| Instance::Sensor(channel.origin));
        if on(AlertKind::OffHeading) {
            let pilot = picture.pilot().map_or(Instance::Boat, |channel| Instance::Sensor(channel.origin));
            let verdict = self.off_heading.judge(picture, steering, now);
            take(AlertKind::OffHeading, pilot, &verdict, None, arbiter);
        }
        if on(AlertKind::HeadingDisagreement) {
            let verdict = self.disagreement.judge(picture, now);
            let frozen = arbiter.stands(AlertKind::HeadingFrozen, primary);
            let follows = frozen.then_some(AlertKind::HeadingFrozen);
            take(AlertKind::HeadingDisagreement, primary, &verdict, follows, arbiter);
        }
        // A heading that stands or lies contradicts the gyro, the rudder and the card as well.
        let heading_at_fault = [AlertKind::HeadingFrozen, AlertKind::HeadingDisagreement]
            .into_iter()
            .find(|kind| arbiter.stands(*kind, primary));
        if on(AlertKind::TurnRateDisagreement) {
            let verdict = self.turn_rate.judge(picture, now);
            take(AlertKind::TurnRateDisagreement, primary, &verdict, heading_at_fault, arbiter);
        }
        if on(AlertKind::RudderUnanswered) {
            let verdict = self.rudder.judge(picture, steering, now);
            // Off her course with a rudder that stands is one fault, and the alarm is heard already.
            let pilot = picture.pilot().map_or(Instance::Boat, |channel| Instance::Sensor(channel.origin));
            let off = arbiter.stands(AlertKind::OffHeading, pilot).then_some(AlertKind::OffHeading);
            // A caution does not sound, and must not keep a warning from it.
            let heard = heading_at_fault.filter(|kind| arbiter.is_heard(*kind, primary));
            take(AlertKind::RudderUnanswered, Instance::Boat, &verdict, heard.or(off), arbiter);
        }
        if on(AlertKind::CardDoubtful) {
            let verdict = self.card.judge(picture, now);
            take(AlertKind::CardDoubtful, primary, &verdict, heading_at_fault, arbiter);
        }
        self.due = self.next_lost(now, settings, &roles);
    }
}

impl Judges {
    /// A heading that comes on another source than expected, or another one that takes its place,
    /// leaves no alert behind that nobody judges any more.
    fn hand_over(
        &mut self,
        now: Instant,
        settings: &Kept,
        roles: &[Option<Role<'_>>; ROLES],
        arbiter: &mut Arbiter,
        out: &mut impl FnMut(AlertChange),
    ) {
        for (index, role) in roles.iter().enumerate() {
            let Some(role) = role else { continue };
            let before = self.judged_as[index].replace(role.instance);
            let Some(before) = before.filter(|before| *before != role.instance) else { continue };
            self.taken_over(now, index, before, settings, roles, arbiter, out);
        }
    }

    #[cold]
    #[expect(clippy::too_many_arguments, reason = "the rare half of the above, apart from it for the cache's sake")]
    fn taken_over(
        &mut self,
        now: Instant,
        index: usize,
        before: Instance,
        settings: &Kept,
        roles: &[Option<Role<'_>>; ROLES],
        arbiter: &mut Arbiter,
        out: &mut impl FnMut(AlertChange),
    ) {
        self.heading_lost[index].begin_again();
        self.frozen[index] = Frozen::new(settings.limit(AlertKind::HeadingFrozen));
        if index == PRIMARY {
            self.disagreement =
                Disagreement::new(settings.limit(AlertKind::HeadingDisagreement), settings.current_change);
            self.turn_rate = TurnRateDisagreement::new(settings.limit(AlertKind::TurnRateDisagreement));
            self.card = CardDoubtful::new(settings.limit(AlertKind::CardDoubtful));
        }
        if roles.iter().flatten().any(|other| other.instance == before) {
            return;
        }
        for kind in [
            AlertKind::HeadingLost,
            AlertKind::HeadingFrozen,
            AlertKind::OffHeading,
            AlertKind::HeadingDisagreement,
            AlertKind::TurnRateDisagreement,
            AlertKind::CardDoubtful,
        ] {
            arbiter.take(now, kind, before, &Verdict::Clear, None, out);
        }
    }
}

/// A cable that is pulled out is one alarm and not two: a stale heading whose source fell silent before the
/// next value was due is not judged before the source is, at this moment.
#[inline(never)]
fn awaited(
    inputs: &[InputLost; SourceId::MAX],
    settings: &Kept,
    channel: &HeadingChannel,
    now: Instant,
) -> Option<Instant> {
    if channel.raw.stale_at().is_none_or(|stale| stale > now) || settings.limit(AlertKind::InputLost).disabled {
        return None;
    }
    let input = &inputs[channel.origin.source.index()];
    input.due(now).filter(|_| input.last() <= channel.raw.next_at())
}

/// An alert of several instances judges if one of them does.
fn note(judging: &mut [Result<(), Why>; AlertKind::ALL.len()], kind: AlertKind, verdict: &Verdict) {
    let Some(slot) = judging.get_mut(kind as usize) else { return };
    match verdict {
        Verdict::Clear | Verdict::Raised(_) => *slot = Ok(()),
        Verdict::Unjudged(why) => {
            if slot.is_err() {
                *slot = Err(*why);
            }
        }
    }
}

/// What is lost with its whole source follows from that.
fn cause(arbiter: &Arbiter, origin: Origin) -> Option<AlertKind> {
    let lost = arbiter.stands(AlertKind::InputLost, Instance::Source(origin.source));
    lost.then_some(AlertKind::InputLost)
}

/// What never came follows from that only where no source brings a byte: else nobody knows on which it would
/// have come.
fn every_source_lost(arbiter: &Arbiter, sources: u8) -> Option<AlertKind> {
    let lost = |index| arbiter.stands(AlertKind::InputLost, Instance::Source(SourceId(index)));
    let all = sources > 0 && (0..sources.min(SourceId::MAX as u8)).all(lost);
    all.then_some(AlertKind::InputLost)
}

/// The headings that are watched: the primary, and those the owner names beside it.
fn roles(picture: &Picture) -> [Option<Role<'_>>; ROLES] {
    let settings = picture.settings();
    let role = |name: Name| {
        let channel = picture.place_of(name).and_then(|place| Some((place, picture.headings().get(place)?)));
        let unheard = Origin { source: SourceId(0), talker: name.talker, formatter: name.formatter };
        let origin = channel.map_or(unheard, |(_, channel)| channel.origin);
        Role { channel, instance: Instance::Sensor(origin) }
    };
    let primary = settings.primary.map_or_else(|| unnamed_primary(picture), role);
    let is_primary = |role: &Role<'_>| role.instance == primary.instance;
    let pilot = settings.pilot.map(role).filter(|role| !is_primary(role));
    let second =
        settings.second.map(role).filter(|role| !is_primary(role) && Some(settings.second) != Some(settings.pilot));
    [Some(primary), pilot, second]
}

/// The primary that was chosen; before one is, a heading that talks without a value stands for it.
fn unnamed_primary(picture: &Picture) -> Role<'_> {
    let chosen = picture.primary().map(|channel| channel.origin);
    let place = picture.headings().iter().position(|channel| chosen.is_none_or(|origin| origin == channel.origin));
    let channel = place.and_then(|place| Some((place, picture.headings().get(place)?)));
    let instance = channel.map_or(Instance::Boat, |(_, channel)| Instance::Sensor(channel.origin));
    Role { channel, instance }
}
