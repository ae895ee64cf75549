//! The monitor: bytes in, events out; the whole watch behind one type.
//!
//! The canonical loop:
//!
//! 1. make a [`Monitor`] with the owner's [`Settings`];
//! 2. wait for bytes or for [`wake_at`](Monitor::wake_at), whichever comes first;
//! 3. bytes: [`bytes`](Monitor::bytes); none: [`tick`](Monitor::tick). Early calls are harmless;
//! 4. every event has been delivered when the call returns; nothing is queued;
//! 5. when the place or the date is first known, or has moved on: [`variation`](Monitor::variation);
//! 6. the owner's word at any time: [`order`](Monitor::order), [`acknowledge`](Monitor::acknowledge),
//!    [`silence`](Monitor::silence), [`answer`](Monitor::answer).

mod announcer;
mod command;
mod event;
mod judges;
mod settings;
mod status;

pub use crate::alert::{CurrentChange, LimitSettings};
pub use crate::picture::{Correction, DeviationRule, ModelVariation, VariationFrom, VariationInUse};
pub use announcer::Announcer;
pub use event::{AlertCommand, Event, Notice};
pub use settings::{Settings, SourceSettings};
pub use status::{HeadingStatus, Status, WitnessStatus};

use crate::alert::AlertKind;
use crate::alert::Instance;
use crate::alert::Part;
use crate::alert::WatchkeeperStatus;
use crate::alert::Why;
use crate::angle::Turn;
use crate::arbiter::Arbiter;
use crate::frame::Counts;
use crate::frame::Framed;
use crate::frame::Framer;
use crate::picture::Command;
use crate::picture::HEADINGS;
use crate::picture::Origin;
use crate::picture::Picture;
use crate::picture::SourceId;
use crate::picture::Steering;
use crate::sentence;
use crate::sentence::Sentence;
use crate::time::Instant;
use crate::time::Span;
use command::Commands;
use judges::Judges;
use settings::Kept;

/// Everything is judged once in each of these, at whole multiples of it, so that the same bytes at
/// the same times give the same alerts to the millisecond however they were chopped. A heading that stops
/// is judged at the very moment it counts as stale, between them: the pilot steers by it.
const GRID: Span = Span::from_ms(500);

/// Below this horizontal field a magnetic heading is not to be trusted: the caution zone of the
/// World Magnetic Model, 6000 nT.
const WEAK_FIELD_NT: i32 = 6000;

/// The watch.
#[derive(Debug)]
pub struct Monitor {
    settings: Kept,
    framers: [Framer; SourceId::MAX],
    picture: Picture,
    judges: Judges,
    arbiter: Arbiter,
    next: Instant,
    told: Told,
}

/// What was said last, so that it is said again only when it changes.
#[derive(Clone, Copy, Debug, Default)]
struct Told {
    heading: Option<(Origin, Correction)>,
    steering: Steering,
    variation: Option<VariationFrom>,
    conflict: Option<Turn>,
    copies: [bool; HEADINGS],
    weak_field: bool,
    may_not: [bool; SourceId::MAX],
}

impl Monitor {
    /// A watch that begins at `now`.
    pub fn new(now: Instant, settings: Settings) -> Self {
        Self {
            framers: settings.sources.map(|source| Framer::new(source.checksum)),
            picture: Picture::new(now, settings.headings()),
            judges: Judges::new(now, &settings),
            arbiter: Arbiter::new(),
            next: after(now),
            told: Told::default(),
            settings: settings.kept(),
        }
    }

    /// Takes bytes of `source`; every event they cause is delivered before it returns.
    pub fn bytes(&mut self, now: Instant, source: SourceId, input: &[u8], out: &mut impl FnMut(Event<'_>)) {
        self.tick(now, out);
        let Self { framers, picture, judges, arbiter, told, settings, .. } = self;
        let mut alerts = Commands { settings, arbiter, told };
        framers[source.index()].feed(input, &mut |framed| take(now, source, framed, picture, judges, &mut alerts, out));
    }

    /// The stream of `source` has ended for good (a log was read to its end).
    pub fn finish(&mut self, now: Instant, source: SourceId, out: &mut impl FnMut(Event<'_>)) {
        let Self { framers, picture, judges, arbiter, told, settings, .. } = self;
        let mut alerts = Commands { settings, arbiter, told };
        framers[source.index()].finish(&mut |framed| take(now, source, framed, picture, judges, &mut alerts, out));
    }

    /// The host says that `source` failed (unplugged, connection gone), or works again.
    pub fn input_works(&mut self, now: Instant, source: SourceId, works: bool, out: &mut impl FnMut(Event<'_>)) {
        self.tick(now, out);
        self.judges.input_lost[source.index()].works(works);
        // A source that fails is no matter of half a second; judged at once it would upset the grid
        // for nothing.
    }

    /// The host says that a part of the watch itself failed, or works again.
    pub fn part_works(&mut self, now: Instant, part: Part, works: bool, out: &mut impl FnMut(Event<'_>)) {
        self.tick(now, out);
        self.judges.impaired[part as usize].works(now, works);
    }

    /// Time has passed. Early calls are harmless. After a late one a heading is lost at the moment it was,
    /// and the rest is judged once.
    #[inline]
    pub fn tick(&mut self, now: Instant, out: &mut impl FnMut(Event<'_>)) {
        if now >= self.wake_at() {
            self.judge(now, out);
        }
    }

    fn judge(&mut self, now: Instant, out: &mut impl FnMut(Event<'_>)) {
        let everything = now >= self.next;
        // Each of these moments is later than the one before.
        while let Some(due) = self.judges.due().filter(|due| *due < now || (*due == now && !everything)) {
            let alert = &mut |change| out(Event::Alert(change));
            self.judges.judge_lost(due, &self.settings, &self.picture, &mut self.arbiter, alert);
        }
        if !everything {
            return;
        }
        self.next = after(now);
        let primary = self.picture.primary().map(|channel| Instance::Sensor(channel.origin));
        let quiet = primary.is_none_or(|primary| !self.arbiter.stands_on(primary));
        self.picture.step(now, quiet);
        let steering = self.tell(now, out);
        let mut alert = |change| out(Event::Alert(change));
        self.judges.judge(now, &self.settings, &self.picture, steering, &mut self.arbiter, &mut alert);
        self.arbiter.step(now, &mut alert);
    }

    /// The owner says how the boat is steered; whether it could be obeyed (`SteerHere` needs a heading).
    pub fn order(&mut self, now: Instant, command: Command, out: &mut impl FnMut(Event<'_>)) -> bool {
        let obeyed = self.picture.command(now, command);
        if obeyed {
            self.answer(now, out);
        }
        let steering = self.tell(now, out);
        if obeyed {
            command::ordered(now, steering, &mut self.arbiter, &mut |change| out(Event::Alert(change)));
        }
        obeyed
    }

    /// The model's variation for the position; to be given again when the boat or the date moves on.
    pub fn variation(&mut self, now: Instant, model: ModelVariation, out: &mut impl FnMut(Event<'_>)) {
        self.picture.model(model);
        let weak = model.horizontal_nt < WEAK_FIELD_NT;
        if weak && !self.told.weak_field {
            out(Event::Notice(Notice::WeakField { horizontal_nt: model.horizontal_nt }));
        }
        self.told.weak_field = weak;
        self.tell(now, out);
    }

    /// The host remembers an alert that stood `ago` before this watch began, and that nobody had answered.
    pub fn present_again(
        &mut self,
        now: Instant,
        kind: AlertKind,
        instance: Instance,
        ago: Span,
        out: &mut impl FnMut(Event<'_>),
    ) {
        self.arbiter.present_again(now, kind, instance, ago, &mut |change| out(Event::Alert(change)));
    }

    /// Somebody takes responsibility for every alert that stands unacknowledged.
    pub fn acknowledge(&mut self, now: Instant, out: &mut impl FnMut(Event<'_>)) {
        self.judges.answered(now);
        self.answer(now, out);
        self.arbiter.acknowledge(now, &mut |change| out(Event::Alert(change)));
    }

    /// Somebody on watch shows that he is awake: whatever he says or presses. The watchkeeper's dormant
    /// period begins again.
    pub fn answer(&mut self, now: Instant, out: &mut impl FnMut(Event<'_>)) {
        let Self { judges, arbiter, .. } = self;
        command::answer(now, &mut judges.watchkeeper, arbiter, &mut |change| out(Event::Alert(change)));
    }

    /// How the watchkeeper stands, where the owner asks for it.
    pub fn watchkeeper(&self, now: Instant) -> Option<WatchkeeperStatus> {
        self.judges.watchkeeper.status(now)
    }

    /// Silences what sounds, for 30 s.
    pub fn silence(&mut self, now: Instant, out: &mut impl FnMut(Event<'_>)) {
        self.answer(now, out);
        self.arbiter.silence(now, &mut |change| out(Event::Alert(change)));
    }

    /// The next moment at which something may happen without any input.
    pub fn wake_at(&self) -> Instant {
        self.judges.due().map_or(self.next, |due| due.min(self.next))
    }

    /// The byte account of `source`.
    pub fn counts(&self, source: SourceId) -> &Counts {
        self.framers[source.index()].counts()
    }

    /// For each alert whether it judges, in the order of [`AlertKind::ALL`]: of [`Self::status`] the
    /// part that costs nothing.
    pub fn judging(&self) -> &[Result<(), Why>; AlertKind::ALL.len()] {
        self.judges.judging()
    }

    /// What a display shows at `now`.
    pub fn status(&self, now: Instant) -> Status {
        let watchkeeper = self.judges.watchkeeper.status(now);
        Status::new(&self.picture, *self.judges.judging(), self.arbiter.standing(), watchkeeper, now)
    }

    /// The owner's settings for one alert.
    pub fn limit(&self, kind: AlertKind) -> LimitSettings {
        self.settings.limit(kind)
    }

    /// UTC as the talkers gave it last: milliseconds since 1970, and when it was received. A date
    /// that is whole 1024 weeks behind is for the host to mend: it knows the year.
    pub fn utc(&self) -> Option<(i64, Instant)> {
        self.picture.utc()
    }

    /// What is known.
    pub fn picture(&self) -> &Picture {
        &self.picture
    }

    /// Says what has changed and is no alert. Returns how the boat is steered.
    fn tell(&mut self, now: Instant, out: &mut impl FnMut(Event<'_>)) -> Steering {
        let picture = &self.picture;
        let told = &mut self.told;
        if let Some(channel) = picture.primary() {
            if let Some(raw) = channel.raw.latest() {
                let reduced = picture.heading(now).unwrap_or_else(|| picture.reduce(channel, raw));
                let heading = Some((channel.origin, reduced.correction));
                if told.heading != heading {
                    told.heading = heading;
                    if let Some((origin, correction)) = heading {
                        out(Event::Notice(Notice::HeadingSource { origin, correction }));
                    }
                }
            }
            let conflict = channel.conflict(picture.card_of(channel), picture.settings().deviation);
            if let (Some(wire), None) = (conflict, told.conflict) {
                out(Event::Notice(Notice::DeviationConflict { origin: channel.origin, wire }));
                told.conflict = conflict;
            }
        }
        let steering = picture.steering(now);
        if told.steering != steering {
            told.steering = steering;
            out(Event::Notice(Notice::Steering(steering)));
        }
        if let Some(used) = picture.variation().in_use() {
            if told.variation != Some(used.from) {
                told.variation = Some(used.from);
                out(Event::Notice(Notice::Variation(used)));
            }
        }
        for (index, channel) in picture.headings().iter().enumerate() {
            let kept = picture.copy_of(index);
            if let (Some(kept), Some(false)) = (kept, told.copies.get(index)) {
                out(Event::Notice(Notice::OneSensor { kept: kept.origin, copy: channel.origin }));
            }
            if let Some(slot) = told.copies.get_mut(index) {
                *slot = kept.is_some();
            }
        }
        steering
    }
}

/// The first grid point after `now`.
const fn after(now: Instant) -> Instant {
    Instant::from_ms((now.as_ms() / GRID.as_ms()).saturating_add(1).saturating_mul(GRID.as_ms()))
}

/// Takes one framed line: decoded, into the picture, and told.
#[inline]
fn take(
    now: Instant,
    source: SourceId,
    framed: Framed<'_>,
    picture: &mut Picture,
    judges: &mut Judges,
    alerts: &mut Commands<'_>,
    out: &mut impl FnMut(Event<'_>),
) {
    let index = source.index();
    judges.input_lost[index].alive(now);
    // By reference: a line and what it says are large, and a copy right after they are written waits.
    let line = match &framed {
        Framed::Line(line) => line,
        Framed::Refused(refused) => {
            judges.input_damaged[index].line(false);
            out(Event::Refused { source, refused: *refused });
            return;
        }
    };
    match &sentence::decode(line) {
        Ok(decoded) => {
            judges.input_damaged[index].line(true);
            picture.take(now, source, line, &decoded.sentence);
            out(Event::Sentence { source, line, decoded });
            if let Sentence::Acn(_) | Sentence::Ack(_) = decoded.sentence {
                let origin = Origin { source, talker: line.talker(), formatter: line.formatter() };
                alerts.take(now, origin, &decoded.sentence, &mut judges.watchkeeper, out);
            }
        }
        Err(malformed) => {
            judges.input_damaged[index].line(false);
            out(Event::Malformed { source, line, malformed: *malformed });
        }
    }
}

#[cfg(test)]
mod tests;
