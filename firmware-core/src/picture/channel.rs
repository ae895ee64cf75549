//! One heading as one talker sends it: its value, its own reference, and what it claims beside it.

use crate::angle::Bearing;
use crate::angle::Turn;
use crate::heading::Card;
use crate::heading::Compass;
use crate::heading::Magnetic;
use crate::heading::True;
use crate::heading::Variation;
use crate::picture::Origin;
use crate::picture::Reference;
use crate::picture::Referred;
use crate::picture::Tracked;
use crate::time::Instant;
use crate::time::Span;

/// A heading channel.
#[derive(Clone, Copy, Debug)]
pub struct HeadingChannel {
    /// Who sends it.
    pub origin: Origin,
    /// The north it is sent against.
    pub reference: Reference,
    /// The value as sent.
    pub raw: Tracked<Bearing>,
    /// Digits after the point that carry anything, the most seen.
    pub decimals: u8,
    /// The deviation it carries (HDG), last sent.
    pub wire_deviation: Option<Turn>,
    /// When the value last changed by a digit.
    changed: Instant,
    /// How often a new value differs from the one before: 0 never, 256 always.
    restless: u16,
}

/// Which deviation counts for HDG.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum DeviationRule {
    /// The wire's where it is not zero, else the card; a conflict is shown.
    #[default]
    Auto,
    /// Always the card.
    Card,
    /// Always the wire's.
    Wire,
    /// Neither.
    None,
}

/// How a heading becomes magnetic.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Correction {
    /// By the card.
    Card,
    /// By the deviation the wire carries.
    Wire,
    /// Not at all: marked `uncorrected` in every output.
    Uncorrected,
    /// It is magnetic or true already.
    NotNeeded,
}

/// A heading in as many references as can be reached.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Reduced {
    /// As the sensor reads it, where it is a compass heading.
    pub compass: Option<Compass>,
    /// Magnetic.
    pub magnetic: Option<Magnetic>,
    /// True, where the variation is known or it was sent true.
    pub truth: Option<True>,
    /// How it became magnetic.
    pub correction: Correction,
}

impl HeadingChannel {
    /// A channel that has not been heard yet.
    pub fn new(origin: Origin, reference: Reference) -> Self {
        Self {
            origin,
            reference,
            raw: Tracked::default(),
            decimals: 0,
            wire_deviation: None,
            changed: Instant::from_ms(0),
            restless: 0,
        }
    }

    /// A good value came.
    pub fn take(&mut self, now: Instant, value: Bearing, decimals: u8) {
        let changed = self.raw.latest() != Some(value);
        if changed {
            self.changed = now;
        }
        // An average over about 64 values: a minute at 1 Hz.
        let target: u16 = if changed { 256 } else { 0 };
        self.restless = if target > self.restless {
            self.restless + (target - self.restless).div_ceil(64)
        } else {
            self.restless - (self.restless - target).div_ceil(64)
        };
        if decimals > self.decimals {
            self.decimals = self.decimals.max(decimals.min(significant(value)));
        }
        self.raw.take(now, value);
    }

    /// The value as sent, with its reference.
    pub fn referred(&self, bearing: Bearing) -> Referred {
        Referred { bearing, reference: self.reference }
    }

    /// For how long the value has not changed by a digit.
    pub fn unchanged(&self, now: Instant) -> Span {
        now.since(self.changed)
    }

    /// When the value last changed by a digit.
    pub fn changed(&self) -> Instant {
        self.changed
    }

    /// How often a new value differs from the one before: 0 never, 256 always.
    pub fn restless(&self) -> u16 {
        self.restless
    }

    /// The largest error that rounding of the last digit makes.
    pub fn rounding(&self) -> Turn {
        Turn::from_mdeg(match self.decimals {
            0 => 500,
            1 => 50,
            2 => 5,
            _ => 1,
        })
    }

    /// `raw` in every reference that can be reached; `card` only where this channel has one.
    pub fn reduce(
        &self,
        raw: Bearing,
        card: Option<&Card>,
        rule: DeviationRule,
        variation: Option<Variation>,
    ) -> Reduced {
        let (compass, magnetic, correction) = match self.reference {
            Reference::Compass => {
                let compass = Compass(raw);
                let (magnetic, correction) = self.correct(compass, card, rule);
                (Some(compass), magnetic, correction)
            }
            Reference::Magnetic => (None, Magnetic(raw), Correction::NotNeeded),
            Reference::True => {
                return Reduced {
                    compass: None,
                    magnetic: variation.map(|v| True(raw).to_magnetic(v)),
                    truth: Some(True(raw)),
                    correction: Correction::NotNeeded,
                };
            }
        };
        Reduced { compass, magnetic: Some(magnetic), truth: variation.map(|v| magnetic.to_true(v)), correction }
    }

    /// Whether the wire carries a deviation of its own while there is a card too.
    pub fn conflict(&self, card: Option<&Card>, rule: DeviationRule) -> Option<Turn> {
        match (self.wire_deviation, card, rule) {
            (Some(wire), Some(_), DeviationRule::Auto) if wire != Turn::ZERO => Some(wire),
            _ => None,
        }
    }

    fn correct(&self, compass: Compass, card: Option<&Card>, rule: DeviationRule) -> (Magnetic, Correction) {
        // A deviation field of 0.0 is what talkers send when they know none: no correction.
        let wire = self.wire_deviation.filter(|d| *d != Turn::ZERO);
        let by_wire = wire.map(|d| (compass.corrected(d), Correction::Wire));
        let by_card = card.map(|c| (compass.by_card(c), Correction::Card));
        let chosen = match rule {
            DeviationRule::Auto => by_wire.or(by_card),
            DeviationRule::Card => by_card,
            DeviationRule::Wire => by_wire,
            DeviationRule::None => None,
        };
        chosen.unwrap_or((compass.uncorrected(), Correction::Uncorrected))
    }
}

/// Digits after the point without the zeros at the end: many a sensor of whole degrees writes `131.0`.
fn significant(value: Bearing) -> u8 {
    match value.as_mdeg() {
        whole if whole % 1000 == 0 => 0,
        tenths if tenths % 100 == 0 => 1,
        hundredths if hundredths % 10 == 0 => 2,
        _ => 3,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::frame::Formatter;
    use crate::frame::Talker;
    use crate::heading::CardPoint;
    use crate::picture::SourceId;

    fn hdg() -> HeadingChannel {
        let origin = Origin { source: SourceId(0), talker: Talker(*b"HC"), formatter: Formatter(*b"HDG") };
        HeadingChannel::new(origin, Reference::Compass)
    }

    fn card(deg: i32) -> Card {
        let at = |c| CardPoint { compass: Compass(Bearing::from_deg(c)), deviation: Turn::from_deg(deg) };
        Card::new(&[at(0), at(180)]).unwrap()
    }

    #[test]
    fn which_deviation_counts() {
        use Correction as C;
        use DeviationRule as R;
        let some_card = card(3);
        // (rule, wire, card, magnetic of compass 100, how)
        for (rule, wire, has_card, magnetic, how) in [
            (R::Auto, None, false, 100, C::Uncorrected),
            (R::Auto, Some(0), false, 100, C::Uncorrected),
            (R::Auto, Some(0), true, 103, C::Card),
            (R::Auto, None, true, 103, C::Card),
            (R::Auto, Some(-2), true, 98, C::Wire),
            (R::Card, Some(-2), true, 103, C::Card),
            (R::Card, Some(-2), false, 100, C::Uncorrected),
            (R::Wire, Some(-2), true, 98, C::Wire),
            (R::Wire, None, true, 100, C::Uncorrected),
            (R::None, Some(-2), true, 100, C::Uncorrected),
        ] {
            let mut channel = hdg();
            channel.wire_deviation = wire.map(Turn::from_deg);
            let card = has_card.then_some(&some_card);
            let reduced = channel.reduce(Bearing::from_deg(100), card, rule, Some(Variation(Turn::from_deg(-4))));
            assert_eq!(reduced.magnetic, Some(Magnetic(Bearing::from_deg(magnetic))), "{rule:?} {wire:?} {has_card}");
            assert_eq!(reduced.truth, Some(True(Bearing::from_deg(magnetic - 4))));
            assert_eq!(reduced.correction, how);
            assert_eq!(channel.conflict(card, rule).is_some(), rule == R::Auto && wire == Some(-2) && has_card);
        }
    }

    #[test]
    fn a_true_heading_never_takes_a_card() {
        let mut channel = hdg();
        channel.reference = Reference::True;
        let reduced = channel.reduce(Bearing::from_deg(100), Some(&card(3)), DeviationRule::Card, None);
        assert_eq!(reduced.truth, Some(True(Bearing::from_deg(100))));
        assert_eq!((reduced.compass, reduced.magnetic), (None, None));
    }

    #[test]
    fn restlessness_and_stillness() {
        let mut channel = hdg();
        for s in 0..300u64 {
            channel.take(Instant::from_ms(s * 1000), Bearing::from_mdeg(s as i64 * 100), 1);
        }
        assert!(channel.restless() > 240, "{}", channel.restless());
        for s in 300..700u64 {
            channel.take(Instant::from_ms(s * 1000), Bearing::from_mdeg(29_900), 1);
        }
        assert_eq!(channel.restless(), 0);
        assert_eq!(channel.unchanged(Instant::from_ms(700_000)), Span::from_s(401));
    }
}
