//! What is known and since when, per source; and which sources are one witness.

mod beside;
mod channel;
mod ground;
mod order;
mod orders;
mod origin;
mod supply;
mod take;
mod tracked;
mod variation;
mod witness;

pub use beside::{Beside, Recent, Wind};
pub use channel::{Correction, DeviationRule, HeadingChannel, Reduced};
pub use ground::{Ground, GroundChannel, LEAST_SPEED};
pub use order::{Command, OrderedBy, Referred, Steering};
pub use orders::{OrderSentence, Orders};
pub use origin::{Name, Origin, Reference, SourceId};
pub use supply::{Supply, SupplySettings, Transducer};
pub use tracked::{Freshness, Tracked};
pub use variation::{ModelVariation, VariationChoice, VariationFrom, VariationInUse};
pub use witness::{Kinship, Pair};

use heapless::Vec;

use crate::angle::Bearing;
use crate::angle::Turn;
use crate::angle::TurnRate;
use crate::frame::Formatter;
use crate::heading::Card;
use crate::time::Instant;
use crate::time::Mark;
use crate::time::Span;
use crate::unit::Position;

/// Most headings that are followed at once.
pub const HEADINGS: usize = 8;
/// Most talkers of ground velocity that are followed at once.
pub const GROUNDS: usize = 4;
const PAIRS: usize = HEADINGS * (HEADINGS - 1) / 2;

/// Which headings count for what: the owner's `[heading]` table.
#[derive(Clone, Debug, Default)]
pub struct HeadingSettings {
    /// The heading the watch is kept by; else the best one heard.
    pub primary: Option<Name>,
    /// The pilot's own compass, that its orders are in; else the primary.
    pub pilot: Option<Name>,
    /// A second heading that is wanted.
    pub second: Option<Name>,
    /// Which deviation counts where the wire carries one and there is a card.
    pub deviation: DeviationRule,
    /// The card of the primary heading.
    pub card: Option<Card>,
    /// Whether ROT comes from a gyro of its own and so is a witness.
    pub rot_is_gyro: bool,
    /// Which battery is watched.
    pub supply: SupplySettings,
}

/// What is known.
#[derive(Debug)]
pub struct Picture {
    settings: HeadingSettings,
    began: Instant,
    headings: Vec<HeadingChannel, HEADINGS>,
    primary: Option<u8>,
    /// The better heading that the primary one took the place of.
    left: Option<u8>,
    grounds: Vec<GroundChannel, GROUNDS>,
    pairs: [Pair; PAIRS],
    position: Tracked<(Origin, Position)>,
    rudder: Tracked<Turn>,
    rudder_from: Option<Origin>,
    supply: Supply,
    rate: Tracked<TurnRate>,
    beside: Beside,
    variation: VariationChoice,
    orders: Orders,
    utc: Option<(i64, Instant)>,
    seen: Seen,
}

/// What nearly every judge asks for at the moment everything is judged, worked out once. Whatever comes after
/// that moment undoes it.
#[derive(Clone, Copy, Debug, Default)]
struct Seen {
    at: Mark,
    heading: Option<Reduced>,
    ground: Option<(Origin, Ground)>,
}

/// A better heading may still replace the first one heard during this time after the start.
const CHOICE: Span = Span::from_s(10);
/// While the gear starts up a heading that goes is replaced at once, and is not missed.
const START: Span = Span::from_s(30);
/// Later one that goes is missed first, and replaced only when it stays away: a hole of some seconds moves nothing.
const AWAY: Span = Span::from_s(10);
/// The better heading counts again when it has been there for a minute in all and for so long without a break.
/// After that minute it is not replaced any more, so that the watch cannot go to and fro.
const STEADY: Span = Span::from_s(30);

impl Picture {
    /// An empty picture.
    pub fn new(now: Instant, settings: HeadingSettings) -> Self {
        Self {
            supply: Supply::new(settings.supply),
            settings,
            began: now,
            headings: Vec::new(),
            primary: None,
            left: None,
            grounds: Vec::new(),
            pairs: [Pair::default(); PAIRS],
            position: Tracked::default(),
            rudder: Tracked::default(),
            rudder_from: None,
            rate: Tracked::default(),
            beside: Beside::default(),
            variation: VariationChoice::default(),
            orders: Orders::default(),
            utc: None,
            seen: Seen::default(),
        }
    }

    /// The model's variation for the place and date.
    pub fn model(&mut self, model: ModelVariation) {
        self.variation.model(model);
        self.seen.at = Mark::NONE;
    }

    /// The owner's order; whether it could be obeyed.
    pub fn command(&mut self, now: Instant, command: Command) -> bool {
        let here = self.pilot_heading(now);
        self.orders.command(command, here)
    }

    /// Half a second has passed. `quiet` says that no alert stands on the primary heading: with one it is not left
    /// for a better one, or what is wrong would be learned as normal.
    pub fn step(&mut self, now: Instant, quiet: bool) {
        self.variation.step(now);
        self.replace_primary(now, quiet);
        self.seen = Seen { at: Mark::at(now), heading: self.heading_anew(now), ground: self.ground_anew(now) };
        if self.orders.has_learned() {
            return;
        }
        let heading = self.pilot_heading(now);
        let under_way = match self.ground(now) {
            Some((_, ground)) => ground.speed >= LEAST_SPEED,
            // Without a receiver nothing says that she lies still.
            None => self.grounds.is_empty(),
        };
        self.orders.learn(now, heading, under_way);
    }

    /// When the watch began.
    pub fn began(&self) -> Instant {
        self.began
    }

    /// The owner's settings.
    pub fn settings(&self) -> &HeadingSettings {
        &self.settings
    }

    /// Every heading heard.
    pub fn headings(&self) -> &[HeadingChannel] {
        &self.headings
    }

    /// The heading the watch is kept by, once one is chosen.
    pub fn primary(&self) -> Option<&HeadingChannel> {
        self.headings.get(usize::from(self.primary?))
    }

    /// The heading the pilot's orders are in: the one named, else the primary.
    pub fn pilot(&self) -> Option<&HeadingChannel> {
        match self.settings.pilot {
            Some(name) => self.named(name),
            None => self.primary(),
        }
    }

    /// The heading that bears `name`, on whichever source: one that had a value before one that never had.
    pub fn named(&self, name: Name) -> Option<&HeadingChannel> {
        self.headings.get(self.place_of(name)?)
    }

    /// Its place in [`headings`](Self::headings).
    pub fn place_of(&self, name: Name) -> Option<usize> {
        let bears = |channel: &HeadingChannel| name.is(channel.origin);
        let heard = self.headings.iter().position(|channel| bears(channel) && channel.raw.latest().is_some());
        heard.or_else(|| self.headings.iter().position(bears))
    }

    /// The primary heading in every reference, if it is fresh.
    #[inline]
    pub fn heading(&self, now: Instant) -> Option<Reduced> {
        if self.seen.at.moment() == Some(now) { self.seen.heading } else { self.heading_anew(now) }
    }

    #[inline(never)]
    fn heading_anew(&self, now: Instant) -> Option<Reduced> {
        let place = usize::from(self.primary?);
        let channel = self.headings.get(place)?;
        channel.raw.fresh(now).map(|raw| self.reduce_at(place, channel, raw))
    }

    /// `raw` of `channel` in every reference that can be reached.
    pub fn reduce(&self, channel: &HeadingChannel, raw: Bearing) -> Reduced {
        let place = self.headings.iter().position(|other| other.origin == channel.origin);
        self.reduce_at(place.unwrap_or(HEADINGS), channel, raw)
    }

    /// The same of a channel whose place is known.
    pub(crate) fn reduce_at(&self, place: usize, channel: &HeadingChannel, raw: Bearing) -> Reduced {
        let card = self.settings.card.as_ref().filter(|_| self.primary == u8::try_from(place).ok());
        let mut reduced = channel.reduce(raw, card, self.settings.deviation, self.variation.value());
        if reduced.correction == Correction::NotNeeded && self.copies_uncorrected(place) {
            reduced.correction = Correction::Uncorrected;
        }
        reduced
    }

    /// Whether the channel at `place` repeats a compass that nothing corrects, whichever north it says it is sent
    /// against.
    fn copies_uncorrected(&self, place: usize) -> bool {
        let compasses = self.headings.iter().enumerate().filter(|(_, other)| other.reference == Reference::Compass);
        compasses.into_iter().any(|(index, compass)| {
            let kept = self.kinship(place, index) == Kinship::OneSensor;
            let raw = compass.raw.latest().filter(|_| kept);
            let reduced = raw.map(|raw| compass.reduce(raw, self.card_of(compass), self.settings.deviation, None));
            reduced.is_some_and(|reduced| reduced.correction == Correction::Uncorrected)
        })
    }

    /// The card, where it is this channel's.
    pub fn card_of(&self, channel: &HeadingChannel) -> Option<&Card> {
        let is_primary = self.primary().is_some_and(|primary| primary.origin == channel.origin);
        if is_primary { self.settings.card.as_ref() } else { None }
    }

    /// The heading that `order` is to be compared with, in the order's reference, if it is fresh
    /// and can be brought there.
    ///
    /// What comes from the pilot is in the pilot's own compass and is compared before any card;
    /// so is the owner's order in C. Only an order the owner marks M or T comes after the card.
    pub fn heading_for(&self, order: Referred, by: OrderedBy, now: Instant) -> Option<Referred> {
        let after_card = by == OrderedBy::Owner && order.reference != Reference::Compass;
        let bearing = if after_card {
            let reduced = self.heading(now)?;
            match order.reference {
                Reference::True => reduced.truth?.0,
                _ => reduced.magnetic?.0,
            }
        } else {
            let pilot = self.pilot()?;
            let raw = pilot.raw.fresh(now)?;
            match (order.reference, pilot.reference) {
                (Reference::True, Reference::True) => raw,
                (Reference::True, _) => raw + self.variation.value()?.0,
                (_, Reference::True) => raw - self.variation.value()?.0,
                _ => raw,
            }
        };
        Some(Referred { bearing, reference: order.reference })
    }

    /// Course and speed over the ground, fresh, from the best talker.
    #[inline]
    pub fn ground(&self, now: Instant) -> Option<(Origin, Ground)> {
        if self.seen.at.moment() == Some(now) { self.seen.ground } else { self.ground_anew(now) }
    }

    #[inline(never)]
    fn ground_anew(&self, now: Instant) -> Option<(Origin, Ground)> {
        ground::best(&self.grounds, now).map(|(channel, ground)| (channel.origin, ground))
    }

    /// Every talker of ground velocity.
    pub fn grounds(&self) -> &[GroundChannel] {
        &self.grounds
    }

    /// The position.
    pub fn position(&self) -> &Tracked<(Origin, Position)> {
        &self.position
    }

    /// The rudder angle.
    pub fn rudder(&self) -> &Tracked<Turn> {
        &self.rudder
    }

    /// Who sent the rudder angle last.
    pub fn rudder_from(&self) -> Option<Origin> {
        self.rudder_from
    }

    /// The battery.
    pub fn supply(&self) -> &Supply {
        &self.supply
    }

    /// The rate of turn, whatever it is derived from.
    pub fn rate(&self) -> &Tracked<TurnRate> {
        &self.rate
    }

    /// What helps to judge and is no witness itself: heel, wind, the log, the rudder that is ordered.
    pub fn beside(&self) -> &Beside {
        &self.beside
    }

    /// The variation and how it was chosen.
    pub fn variation(&self) -> &VariationChoice {
        &self.variation
    }

    /// How the boat is steered.
    pub fn steering(&self, now: Instant) -> Steering {
        self.orders.steering(now)
    }

    /// UTC as the talkers gave it last, milliseconds since 1970, and when it was received.
    pub fn utc(&self) -> Option<(i64, Instant)> {
        self.utc
    }

    /// What is known of two headings, by their places in [`headings`](Self::headings).
    pub fn kinship(&self, one: usize, other: usize) -> Kinship {
        pair_index(one, other).map_or(Kinship::Unknown, |index| self.pairs[index].kinship())
    }

    /// The heading that the one at `index` is a copy of: the primary, or else an earlier one.
    pub fn copy_of(&self, index: usize) -> Option<&HeadingChannel> {
        let primary = self.primary.map(usize::from);
        if primary == Some(index) {
            return None;
        }
        let earlier =
            primary.into_iter().chain(0..index).find(|&other| self.kinship(other, index) == Kinship::OneSensor);
        earlier.and_then(|other| self.headings.get(other))
    }

    /// The pilot's own heading now, as it reads it.
    fn pilot_heading(&self, now: Instant) -> Option<Referred> {
        let pilot = self.pilot()?;
        let bearing = pilot.raw.fresh(now)?;
        let reference = match pilot.reference {
            Reference::True => Reference::True,
            _ => Reference::Compass,
        };
        Some(Referred { bearing, reference })
    }

    /// Chooses the heading the watch is kept by: the one named, else the best one heard.
    #[inline(never)]
    fn choose_primary(&mut self, now: Instant) {
        if let Some(name) = self.settings.primary {
            self.primary = self.place(|channel| name.is(channel.origin) && channel.raw.latest().is_some());
        } else if self.primary.is_none() || now.since(self.began) < CHOICE {
            let best = self
                .headings
                .iter()
                .enumerate()
                .filter(|(_, channel)| channel.raw.latest().is_some())
                .min_by_key(|(index, channel)| (rank(channel.origin.formatter), *index));
            self.primary = best.and_then(|(index, _)| u8::try_from(index).ok());
        }
    }

    /// One that nobody named and that went before it was there for a minute must not keep the watch blind beside
    /// a heading that is there. It is returned to when it is back for good.
    fn replace_primary(&mut self, now: Instant, quiet: bool) {
        if self.settings.primary.is_some() || self.settings.card.is_some() {
            return;
        }
        let steady = |channel: &HeadingChannel| channel.raw.is_wanted() && channel.raw.steady(now) >= STEADY;
        if quiet && self.left.and_then(|left| self.headings.get(usize::from(left))).is_some_and(steady) {
            self.primary = self.left.take();
            return;
        }
        let starting = now.since(self.began) < START;
        let gone = |channel: &HeadingChannel| {
            let raw = &channel.raw;
            let away = if starting || !raw.has_interval() { Span::ZERO } else { AWAY };
            raw.fresh(now).is_none() && !raw.is_wanted() && raw.age(now) >= raw.stale_after() + away
        };
        if !self.primary().is_some_and(gone) {
            return;
        }
        let fresh = self.headings.iter().enumerate().filter(|(_, channel)| channel.raw.fresh(now).is_some());
        let best = fresh.min_by_key(|(index, channel)| (rank(channel.origin.formatter), *index));
        let Some((index, best)) = best else { return };
        let better = |left: u8| {
            let left = self.headings.get(usize::from(left));
            left.is_some_and(|left| rank(left.origin.formatter) < rank(best.origin.formatter))
        };
        self.left = self.left.or(self.primary).filter(|left| better(*left));
        self.primary = u8::try_from(index).ok();
    }

    fn place(&self, is: impl Fn(&HeadingChannel) -> bool) -> Option<u8> {
        self.headings.iter().position(is).and_then(|index| u8::try_from(index).ok())
    }
}

/// The pilot of a small boat steers by a magnetic sensor, and a sensor's own sentence is better
/// than one derived from it: HDG, HDM, THS, HDT, VHW.
fn rank(formatter: Formatter) -> u8 {
    match &formatter.0 {
        b"HDG" => 0,
        b"HDM" => 1,
        b"THS" => 2,
        b"HDT" => 3,
        _ => 4,
    }
}

/// The place of a pair in the table of pairs: the upper triangle, row by row.
fn pair_index(one: usize, other: usize) -> Option<usize> {
    let (low, high) = if one < other { (one, other) } else { (other, one) };
    if low == high || high >= HEADINGS {
        return None;
    }
    Some(low * (2 * HEADINGS - low - 1) / 2 + (high - low - 1))
}

#[cfg(test)]
mod tests;
