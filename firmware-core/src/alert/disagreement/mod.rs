//! Heading-disagreement: two witnesses of the heading contradict each other.
//!
//! It finds the pilot that follows a false compass while its own display still reads on course:
//! then the heading stands where it should, and another heading or the course over the ground
//! turns away from it.
//!
//! Two witnesses contradict each other and no more can be said. Of three (two independent headings and the
//! ground velocity, or a declared gyro) the one that stands alone against two is named, once a hundred
//! to one speak for it, and stays named while the alert stands.

mod ground;
mod normal;
mod pair;
mod third;

use crate::alert::Alone;
use crate::alert::CurrentChange;
use crate::alert::Disagreeing;
use crate::alert::Evidence;
use crate::alert::LimitSettings;
use crate::alert::Third;
use crate::alert::Verdict;
use crate::alert::Why;
use crate::angle::Turn;
use crate::picture::HEADINGS;
use crate::picture::Kinship;
use crate::picture::Origin;
use crate::picture::Picture;
use crate::time::Instant;
use ground::AgainstGround;
use pair::AgainstHeading;
use third::Gyro;

/// The judge of the primary heading against every other witness.
#[derive(Clone, Copy, Debug)]
pub struct Disagreement {
    /// Against each heading but the primary one, in their order.
    headings: [AgainstHeading; HEADINGS - 1],
    ground: AgainstGround,
    gyro: Gyro,
    /// Who was named while the present alert stands, and against whom.
    named: Option<(Origin, Alone)>,
}

/// The place of the heading at `index` among those beside the primary one, which is at `place`.
fn beside(place: usize, index: usize) -> Option<usize> {
    if index == place { None } else { Some(index - usize::from(index > place)) }
}

impl Disagreement {
    /// A judge by the owner's settings, in waters where the current changes so fast.
    pub fn new(settings: LimitSettings, current: CurrentChange) -> Self {
        Self {
            headings: [AgainstHeading::new(settings); HEADINGS - 1],
            ground: AgainstGround::new(settings, current),
            gyro: Gyro::default(),
            named: None,
        }
    }

    /// Somebody took responsibility for what stands.
    pub fn answered(&mut self, now: Instant) {
        self.headings.iter_mut().for_each(AgainstHeading::answered);
        self.ground.answered(now);
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
            let Some(against) = beside(place, index).and_then(|slot| self.headings.get_mut(slot)) else { continue };
            let kinship = picture.kinship(place, index);
            // Only what comes with a regular beat may testify: a damaged line makes talkers up.
            let Some(raw) = other.raw.fresh(now).filter(|_| other.raw.has_beat(now)) else {
                against.pause();
                against.gone(other.raw.age(now));
                held |= against.is_up();
                continue;
            };
            let reduced = picture.reduce_at(index, other, raw);
            match against.judge(&heading, (raw, other.raw.age(now)), &reduced, now) {
                // What may be a copy, or seems to be one, can contradict, and then it is none; but its
                // agreement proves nothing.
                Ok(None) => {
                    judged |= kinship == Kinship::Two;
                    unproven |= kinship == Kinship::Unknown;
                }
                Ok(Some(by)) => {
                    let seen = reduced.truth.or(reduced.magnetic.map(|m| crate::heading::True(m.0)));
                    if let (None, Some(seen)) = (raised, seen) {
                        let with = Disagreeing::Heading { origin: other.origin, heading: seen };
                        raised = Some((Some(index), with, by));
                    }
                }
                Err(_) => held |= against.is_up(),
            }
        }
        if let Some(mine) = heading.magnetic.map(|m| m.0).or(heading.truth.map(|t| t.0)) {
            self.gyro.step(picture, mine, now);
        }
        let ground = self.ground.judge(picture, &heading, now);
        let raised = raised.or(match ground {
            Ok(Some((by, with))) => Some((None, with, by)),
            _ => None,
        });
        if let Some((index, with, by)) = raised {
            let alone = self.name(picture, place, index, with.origin());
            return Verdict::Raised(Evidence::Disagreement { of: primary.origin, with, by, alone });
        }
        match ground {
            Ok(_) | Err(_) if held => Verdict::Unjudged(Why::NoWitness),
            Ok(_) => self.clear(),
            // What the ground raised is not cleared by a heading that never showed it.
            Err(_) if judged && !self.ground.is_up() => self.clear(),
            Err(Why::NoWitness) if unproven => Verdict::Unjudged(Why::MayBeCopies),
            Err(why) => Verdict::Unjudged(why),
        }
    }

    fn clear(&mut self) -> Verdict {
        self.named = None;
        Verdict::Clear
    }

    /// Which of three stands alone, where the heading at `index`, or else the ground, contradicts the
    /// primary one at `place`.
    #[inline(never)]
    fn name(&mut self, picture: &Picture, place: usize, index: Option<usize>, with: Origin) -> Option<Alone> {
        if let Some((_, alone)) = self.named.filter(|(against, _)| *against == with) {
            return Some(alone);
        }
        let by = match index {
            Some(index) => self.headings.get(beside(place, index)?)?.residual()?,
            None => self.ground.residual()?,
        };
        let alone = self
            .thirds(picture, place, index)
            .find_map(|(third, seen, variance)| third::alone(by, seen, variance, third))?;
        self.named = Some((with, alone));
        Some(alone)
    }

    /// Every witness but the two that contradict each other: what it shows, and the variance of that.
    fn thirds<'a>(
        &'a self,
        picture: &'a Picture,
        place: usize,
        accused: Option<usize>,
    ) -> impl Iterator<Item = (Third, Turn, i64)> + 'a {
        // A third witness must be one: no copy of either of the two, and none that may be. The accused has
        // shown by contradicting that it is none.
        let independent = move |index: usize, of: usize| picture.kinship(index, of) == Kinship::Two;
        let headings = picture.headings().iter().enumerate().filter_map(move |(index, channel)| {
            let against = self.headings.get(beside(place, index)?)?;
            let another = Some(index) != accused;
            let witness = independent(index, place) && accused.is_none_or(|of| independent(index, of));
            let seen = against.residual().filter(|_| another && witness)?;
            let named = picture.settings().second.is_some_and(|name| name.is(channel.origin));
            let third = if named { Third::Named } else { Third::Heading };
            Some((third(channel.origin), seen, 0))
        });
        let ground = accused.and(self.ground.residual());
        let ground = ground.map(|seen| (Third::Track, seen, self.ground.noise().of_average(4)));
        let gyro = self.gyro.residual().map(|seen| (Third::Gyro, seen, 0));
        headings.chain(ground).chain(gyro)
    }
}
