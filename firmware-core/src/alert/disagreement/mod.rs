//! Heading-disagreement: two witnesses of the heading contradict each other.
//!
//! It finds the pilot that follows a false compass while its own display still reads on course:
//! then the heading stands where it should, and another heading or the course over the ground
//! turns away from it.

mod ground;
mod pair;

use crate::alert::Disagreeing;
use crate::alert::Evidence;
use crate::alert::LimitSettings;
use crate::alert::Verdict;
use crate::alert::Why;
use crate::picture::HEADINGS;
use crate::picture::Kinship;
use crate::picture::Picture;
use crate::time::Instant;
use ground::AgainstGround;
use pair::AgainstHeading;

/// The judge of the primary heading against every other witness.
#[derive(Clone, Copy, Debug)]
pub struct Disagreement {
    headings: [AgainstHeading; HEADINGS],
    ground: AgainstGround,
}

impl Disagreement {
    /// A judge by the owner's settings.
    pub fn new(settings: LimitSettings) -> Self {
        Self { headings: [AgainstHeading::new(settings); HEADINGS], ground: AgainstGround::new(settings) }
    }

    /// Judges the picture, once every half second.
    pub fn judge(&mut self, picture: &Picture, now: Instant) -> Verdict {
        let (Some(primary), Some(heading)) = (picture.primary(), picture.heading(now)) else {
            self.ground.pause();
            self.headings.iter_mut().for_each(AgainstHeading::pause);
            return Verdict::Unjudged(Why::NoHeading);
        };
        let mut judged = false;
        // What a heading raised that is no longer there, nothing else can clear.
        let mut held = false;
        let mut unproven = false;
        let mut raised = None;
        let place = picture.headings().iter().position(|channel| channel.origin == primary.origin).unwrap_or(0);
        for (index, other) in picture.headings().iter().enumerate() {
            let Some(against) = self.headings.get_mut(index) else { continue };
            let kinship = picture.kinship(place, index);
            if index == place || kinship == Kinship::OneSensor {
                continue;
            }
            let Some(raw) = other.raw.fresh(now) else {
                against.pause();
                held |= against.is_up();
                continue;
            };
            let reduced = picture.reduce(other, raw);
            match against.judge(&heading, raw, &reduced, now) {
                // What may be a copy can contradict, but its agreement proves nothing.
                Ok(None) => {
                    judged |= kinship == Kinship::Two;
                    unproven |= kinship == Kinship::Unknown;
                }
                Ok(Some(by)) => {
                    let seen = reduced.truth.or(reduced.magnetic.map(|m| crate::heading::True(m.0)));
                    if let (None, Some(seen)) = (raised, seen) {
                        let with = Disagreeing::Heading { origin: other.origin, heading: seen };
                        raised = Some(Evidence::Disagreement { of: primary.origin, with, by });
                    }
                }
                Err(_) => {}
            }
        }
        let ground = self.ground.judge(picture, &heading, now);
        match (raised, ground) {
            (Some(evidence), _) => Verdict::Raised(evidence),
            (None, Ok(Some((by, with)))) => Verdict::Raised(Evidence::Disagreement { of: primary.origin, with, by }),
            (None, Ok(None) | Err(_)) if held => Verdict::Unjudged(Why::NoWitness),
            (None, Ok(None)) => Verdict::Clear,
            // What the ground raised is not cleared by a heading that never showed it.
            (None, Err(_)) if judged && !self.ground.is_up() => Verdict::Clear,
            (None, Err(Why::NoWitness)) if unproven => Verdict::Unjudged(Why::MayBeCopies),
            (None, Err(why)) => Verdict::Unjudged(why),
        }
    }
}
