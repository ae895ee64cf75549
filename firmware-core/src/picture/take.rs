//! What each sentence adds to the picture.

use crate::angle::Bearing;
use crate::frame::Line;
use crate::heading::True;
use crate::picture::Ground;
use crate::picture::GroundChannel;
use crate::picture::HeadingChannel;
use crate::picture::OrderSentence;
use crate::picture::Origin;
use crate::picture::Picture;
use crate::picture::Reference;
use crate::picture::Referred;
use crate::picture::SourceId;
use crate::picture::Tracked;
use crate::picture::pair_index;
use crate::sentence::Field;
use crate::sentence::HeadingReference;
use crate::sentence::Sentence;
use crate::time::Instant;
use crate::time::Mark;
use crate::unit::Date;
use crate::unit::Position;
use crate::unit::Speed;
use crate::unit::TimeOfDay;

impl Picture {
    /// Takes one sentence into the picture.
    #[inline]
    pub fn take(&mut self, now: Instant, source: SourceId, line: &Line<'_>, sentence: &Sentence<'_>) {
        let origin = Origin { source, talker: line.talker(), formatter: line.formatter() };
        self.seen.at = Mark::NONE;
        match sentence {
            Sentence::Hdg(hdg) => {
                if let Some(variation) = hdg.variation.known() {
                    self.variation.wire(now, origin, variation);
                }
                let index =
                    self.heading_came(now, origin, Reference::Compass, hdg.heading.known().map(|h| h.0), hdg.decimals);
                if let Some(channel) = index.and_then(|i| self.headings.get_mut(i)) {
                    channel.wire_deviation = hdg.deviation.known();
                }
            }
            Sentence::Hdm(hdm) => {
                // With a card for it, HDM is what the card is read against: a compass heading.
                let reference = if self.settings.card.is_some() && self.is_or_will_be_primary(origin) {
                    Reference::Compass
                } else {
                    Reference::Magnetic
                };
                self.heading_came(now, origin, reference, hdm.heading.known().map(|h| h.0), hdm.decimals);
            }
            Sentence::Hdt(hdt) => {
                self.heading_came(now, origin, Reference::True, hdt.heading.known().map(|h| h.0), hdt.decimals);
            }
            Sentence::Ths(ths) => {
                self.heading_came(now, origin, Reference::True, ths.heading.known().map(|h| h.0), ths.decimals);
            }
            Sentence::Vhw(vhw) => {
                self.beside.water_speed(now, vhw.speed.known());
                // One channel for VHW: the magnetic heading where it is sent, else the true one.
                match (vhw.magnetic, vhw.truth) {
                    (Field::Known(magnetic), _) => {
                        self.heading_came(now, origin, Reference::Magnetic, Some(magnetic.0), vhw.decimals);
                    }
                    (_, Field::Known(truth)) => {
                        self.heading_came(now, origin, Reference::True, Some(truth.0), vhw.decimals);
                    }
                    // Many a log sends VHW for the speed alone: no heading is missed there.
                    _ => {
                        if let Some(channel) = self.headings.iter_mut().find(|channel| channel.origin == origin) {
                            channel.raw.void(now);
                        }
                    }
                }
            }
            Sentence::Rot(rot) => track(&mut self.rate, now, rot.rate.known()),
            Sentence::Rsa(rsa) => {
                self.rudder_from = Some(origin);
                track(&mut self.rudder, now, rsa.starboard.known().or(rsa.port.known()));
            }
            Sentence::Vtg(vtg) => self.velocity_came(now, origin, vtg.course.known(), vtg.speed.known()),
            Sentence::Rmc(rmc) => {
                if let Some(variation) = rmc.variation.known() {
                    self.variation.wire(now, origin, variation);
                }
                self.velocity_came(now, origin, rmc.course.known(), rmc.speed.known());
                self.position_came(now, origin, rmc.position.known());
                self.time_came(now, rmc.time.known(), rmc.date.known());
            }
            Sentence::Gga(gga) => self.position_came(now, origin, gga.position.known()),
            Sentence::Gll(gll) => self.position_came(now, origin, gll.position.known()),
            Sentence::Gns(gns) => self.position_came(now, origin, gns.position.known()),
            Sentence::Xdr(xdr) => {
                self.supply.take(now, source, xdr);
                self.beside.measured(now, xdr);
            }
            Sentence::Zda(zda) => self.time_came(now, zda.time.known(), zda.date.known()),
            Sentence::Mwv(mwv) => self.beside.wind(now, mwv),
            Sentence::Htd(htd) => {
                self.beside.ordered_rudder(now, htd);
                let order = order(htd.heading_to_steer.known(), htd.reference.known());
                // Steered by hand or by rudder angle: the heading it shows is no order then.
                let by_heading = !matches!(htd.steering_mode.known(), Some(b'M' | b'R'));
                match (order, by_heading) {
                    (_, false) => self.orders.stands_by(now),
                    (Some(order), true) => self.orders.wire(now, OrderSentence::Htd, origin, order),
                    (None, true) => {}
                }
            }
            Sentence::Htc(htc) => {
                let by_heading = !matches!(htc.steering_mode.known(), Some(b'M' | b'R'));
                if let (Some(order), true) = (order(htc.heading_to_steer.known(), htc.reference.known()), by_heading) {
                    self.orders.wire(now, OrderSentence::Htc, origin, order);
                }
            }
            Sentence::Hsc(hsc) => {
                // M is the pilot's own compass; T is only taken where M is not sent.
                let order = match (hsc.magnetic.known(), hsc.truth.known()) {
                    (Some(magnetic), _) => Some(Referred { bearing: magnetic.0, reference: Reference::Compass }),
                    (None, Some(truth)) => Some(Referred { bearing: truth.0, reference: Reference::True }),
                    (None, None) => None,
                };
                if let Some(order) = order {
                    self.orders.wire(now, OrderSentence::Hsc, origin, order);
                }
            }
            _ => {}
        }
    }

    /// A heading came, or its sentence without one; its place in the table.
    fn heading_came(
        &mut self,
        now: Instant,
        origin: Origin,
        reference: Reference,
        value: Option<Bearing>,
        decimals: u8,
    ) -> Option<usize> {
        let index = match self.headings.iter().position(|channel| channel.origin == origin) {
            Some(index) => index,
            None => {
                let mut channel = HeadingChannel::new(origin, reference);
                if self.names(origin) {
                    channel.raw.want();
                }
                // A ninth heading on one boat is ignored rather than pushing out an older one.
                self.headings.push(channel).ok()?;
                self.headings.len() - 1
            }
        };
        let channel = self.headings.get_mut(index)?;
        let Some(value) = value else {
            channel.raw.void(now);
            return None;
        };
        let before = channel.raw.latest();
        channel.reference = reference;
        channel.take(now, value, decimals);
        match before {
            Some(_) => self.compare(now, index),
            None => self.choose_primary(now),
        }
        Some(index)
    }

    /// The heading at `index` has spoken.
    fn compare(&mut self, now: Instant, index: usize) {
        let Some(spoke) = self.headings.get(index) else { return };
        for (other_index, other) in self.headings.iter().enumerate() {
            let Some(pair) = pair_index(index, other_index).and_then(|i| self.pairs.get_mut(i)) else { continue };
            // The earlier one in the table is always the first, so that the sign is fixed.
            let (one, other) = if other_index < index { (other, spoke) } else { (spoke, other) };
            pair.compare(now, one, other);
        }
    }

    fn velocity_came(&mut self, now: Instant, origin: Origin, course: Option<True>, speed: Option<Speed>) {
        let index = match self.grounds.iter().position(|channel| channel.origin == origin) {
            Some(index) => index,
            None if speed.is_none() => return,
            None => {
                if self.grounds.push(GroundChannel { origin, velocity: Tracked::default() }).is_err() {
                    return;
                }
                self.grounds.len() - 1
            }
        };
        if let Some(channel) = self.grounds.get_mut(index) {
            track(&mut channel.velocity, now, speed.map(|speed| Ground { course, speed }));
        }
    }

    fn position_came(&mut self, now: Instant, origin: Origin, position: Option<Position>) {
        track(&mut self.position, now, position.map(|position| (origin, position)));
    }

    fn time_came(&mut self, now: Instant, time: Option<TimeOfDay>, date: Option<Date>) {
        if let (Some(time), Some(date)) = (time, date) {
            self.utc = Some((date.unix_ms(time), now));
        }
    }

    fn names(&self, origin: Origin) -> bool {
        let settings = &self.settings;
        [settings.primary, settings.pilot, settings.second].into_iter().flatten().any(|name| name.is(origin))
    }

    fn is_or_will_be_primary(&self, origin: Origin) -> bool {
        match (self.settings.primary, self.primary()) {
            (Some(name), _) => name.is(origin),
            (None, Some(primary)) => primary.origin == origin,
            (None, None) => true,
        }
    }
}

fn track<T: Copy>(tracked: &mut Tracked<T>, now: Instant, value: Option<T>) {
    match value {
        Some(value) => tracked.take(now, value),
        None => tracked.void(now),
    }
}

/// An order on the wire: M is the pilot's own compass, so it is compared before any card.
fn order(heading: Option<Bearing>, reference: Option<HeadingReference>) -> Option<Referred> {
    let reference = match reference? {
        HeadingReference::True => Reference::True,
        HeadingReference::Magnetic => Reference::Compass,
    };
    heading.map(|bearing| Referred { bearing, reference })
}
