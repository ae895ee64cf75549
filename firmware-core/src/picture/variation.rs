//! Which variation is in use: the wire's where the model bears it out, else the model's.

use crate::angle::Turn;
use crate::heading::Variation;
use crate::picture::Origin;
use crate::time::Instant;
use crate::time::Span;

/// What the World Magnetic Model says for the place and date: the host computes it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct ModelVariation {
    /// Variation, east plus.
    pub variation: Variation,
    /// Its standard deviation.
    pub sigma: Turn,
    /// The horizontal field in nanotesla.
    pub horizontal_nt: i32,
}

/// The variation in use and where it is from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct VariationInUse {
    /// The variation, east plus.
    pub variation: Variation,
    /// From the wire, or from the model.
    pub from: VariationFrom,
}

/// Where the variation is from.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum VariationFrom {
    /// A sentence carries it.
    Wire(Origin),
    /// The World Magnetic Model.
    Model,
}

/// The rule that chooses a variation and holds on to it.
#[derive(Clone, Copy, Debug, Default)]
pub struct VariationChoice {
    wire: Option<(Origin, Variation, Instant)>,
    model: Option<ModelVariation>,
    in_use: Option<VariationInUse>,
    /// Whether the choice was made with the model in hand.
    settled: bool,
    /// Since when the source in use has been absent or contradicted.
    doubted: Option<Instant>,
    moved: Option<Instant>,
}

/// The wire must be within this of the model, or within three sigma of it.
const TOLERANCE: Turn = Turn::from_deg(2);
/// A choice once made changes only after this long an absence or disagreement.
const PATIENCE: Span = Span::from_min(10);
/// The wire counts as absent when it is older than this. Talkers send variation with every
/// sentence; a minute bridges an outage of the position, which many need to know it.
const ABSENT: Span = Span::from_min(1);
/// The value in use follows its source by at most this much a second, so that no alert sees a step.
const SLEW_PER_S: i32 = 20;

impl VariationChoice {
    /// A sentence carries a variation. The first talker that does is kept while it is there.
    pub fn wire(&mut self, now: Instant, origin: Origin, variation: Variation) {
        match self.wire {
            Some((kept, _, at)) if kept != origin && now.since(at) < ABSENT => {}
            _ => self.wire = Some((origin, variation, now)),
        }
    }

    /// The model speaks.
    pub fn model(&mut self, model: ModelVariation) {
        self.model = Some(model);
    }

    /// The model's word, if it was given.
    pub fn given_model(&self) -> Option<ModelVariation> {
        self.model
    }

    /// The variation in use.
    pub fn in_use(&self) -> Option<VariationInUse> {
        self.in_use
    }

    /// The variation in use, without where it is from.
    pub fn value(&self) -> Option<Variation> {
        self.in_use.map(|v| v.variation)
    }

    /// Time passes: chooses, doubts, slews. Returns the choice where its source changed.
    pub fn step(&mut self, now: Instant) -> Option<VariationInUse> {
        let wire = self.wire.filter(|(_, _, at)| now.since(*at) < ABSENT);
        let sound = wire.filter(|(_, v, _)| self.model.is_none_or(|m| agrees(*v, m)));
        let wanted = match (sound, self.model) {
            (Some((origin, variation, _)), _) => Some(VariationInUse { variation, from: VariationFrom::Wire(origin) }),
            (None, Some(m)) => Some(VariationInUse { variation: m.variation, from: VariationFrom::Model }),
            (None, None) => None,
        };
        let elapsed = self.moved.map_or(Span::ZERO, |at| now.since(at));
        self.moved = Some(now);
        let wanted = wanted?;
        let changed = match self.in_use {
            None => true,
            Some(used) if used.from == wanted.from => {
                self.doubted = None;
                self.slew(wanted.variation, elapsed);
                false
            }
            // Chosen before the model was known: that was a makeshift, and is mended at once.
            Some(_) if !self.settled && self.model.is_some() => true,
            Some(_) => now.since(*self.doubted.get_or_insert(now)) >= PATIENCE,
        };
        self.settled |= self.model.is_some();
        if !changed {
            return None;
        }
        self.doubted = None;
        // The new source's value is reached by slewing, except from nothing.
        let variation = self.in_use.map_or(wanted.variation, |used| used.variation);
        self.in_use = Some(VariationInUse { variation, from: wanted.from });
        self.slew(wanted.variation, elapsed);
        Some(wanted)
    }

    fn slew(&mut self, towards: Variation, elapsed: Span) {
        let Some(used) = &mut self.in_use else { return };
        let way = (towards.0 - used.variation.0).wrapped().as_mdeg();
        let seconds = i32::try_from(elapsed.as_ms().min(3_600_000)).unwrap_or(3_600_000);
        let step = (SLEW_PER_S * seconds / 1000).max(1);
        used.variation = Variation((used.variation.0 + Turn::from_mdeg(way.clamp(-step, step))).wrapped());
    }
}

fn agrees(wire: Variation, model: ModelVariation) -> bool {
    let apart = (wire.0 - model.variation.0).wrapped().size();
    let three_sigma = Turn::from_mdeg(model.sigma.as_mdeg().saturating_mul(3));
    apart <= TOLERANCE.max(three_sigma)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::frame::Formatter;
    use crate::frame::Talker;
    use crate::picture::SourceId;

    const HDG: Origin = Origin { source: SourceId(0), talker: Talker(*b"HC"), formatter: Formatter(*b"HDG") };

    fn east(deg: i32) -> Variation {
        Variation(Turn::from_deg(deg))
    }

    fn model(deg: i32, sigma_mdeg: i32) -> ModelVariation {
        ModelVariation { variation: east(deg), sigma: Turn::from_mdeg(sigma_mdeg), horizontal_nt: 20_000 }
    }

    /// Steps once a second from `from` to `to` with the wire saying `wire`, and returns what it chose last.
    fn run(choice: &mut VariationChoice, from: u64, to: u64, wire: Option<i32>) -> Option<VariationFrom> {
        let mut last = None;
        for s in from..to {
            let now = Instant::from_ms(s * 1000);
            if let Some(deg) = wire {
                choice.wire(now, HDG, east(deg));
            }
            if let Some(v) = choice.step(now) {
                last = Some(v.from);
            }
        }
        last
    }

    #[test]
    fn the_wire_is_kept_where_the_model_bears_it_out() {
        let mut choice = VariationChoice::default();
        assert_eq!(run(&mut choice, 0, 5, Some(4)), Some(VariationFrom::Wire(HDG)));
        choice.model(model(5, 300));
        assert_eq!(run(&mut choice, 5, 2000, Some(4)), None);
        assert_eq!(choice.value(), Some(east(4)));
    }

    #[test]
    fn two_degrees_or_three_sigma_whichever_is_larger() {
        assert!(agrees(east(4), model(6, 300)));
        assert!(!agrees(Variation(Turn::from_mdeg(3_999)), model(6, 300)));
        assert!(agrees(east(3), model(6, 1000)));
        assert!(!agrees(Variation(Turn::from_mdeg(2_999)), model(6, 1000)));
        // Across the 180 line of the circle, near the pole.
        assert!(agrees(east(-179), model(180, 300)));
    }

    #[test]
    fn a_makeshift_choice_is_mended_as_soon_as_the_model_is_known() {
        let mut choice = VariationChoice::default();
        run(&mut choice, 0, 5, Some(14));
        choice.model(model(4, 300));
        assert_eq!(run(&mut choice, 5, 6, Some(14)), Some(VariationFrom::Model));
        // It gets there by slewing 0.02 degrees a second.
        assert_eq!(choice.value().map(|v| v.0.as_mdeg()), Some(14_000 - 20));
        run(&mut choice, 6, 1000, Some(14));
        assert_eq!(choice.value(), Some(east(4)));
    }

    #[test]
    fn a_made_choice_changes_only_after_ten_minutes() {
        let mut choice = VariationChoice::default();
        choice.model(model(4, 300));
        run(&mut choice, 0, 5, Some(4));
        // The wire goes wrong for nine minutes and comes back.
        assert_eq!(run(&mut choice, 5, 545, Some(-20)), None);
        assert_eq!(run(&mut choice, 545, 600, Some(4)), None);
        // Then for good.
        assert_eq!(run(&mut choice, 600, 1199, Some(-20)), None);
        assert_eq!(run(&mut choice, 1199, 1202, Some(-20)), Some(VariationFrom::Model));
        // Absence: a minute until it counts as absent, and ten more.
        let mut choice = VariationChoice::default();
        choice.model(model(4, 300));
        run(&mut choice, 0, 5, Some(4));
        assert_eq!(run(&mut choice, 5, 60 + 600, None), None);
        assert_eq!(run(&mut choice, 60 + 600, 60 + 610, None), Some(VariationFrom::Model));
    }

    #[test]
    fn without_wire_and_model_there_is_none() {
        let mut choice = VariationChoice::default();
        assert_eq!(run(&mut choice, 0, 100, None), None);
        assert_eq!(choice.in_use(), None);
        choice.model(model(-7, 300));
        assert_eq!(run(&mut choice, 100, 101, None), Some(VariationFrom::Model));
        assert_eq!(choice.value(), Some(east(-7)));
    }
}
