//! Card-doubtful: the deviation seen upright on passage no longer fits the card.
//!
//! The deviation seen is what a second true heading, less the variation, differs from the compass. It is
//! gathered by sector in means of five minutes, upright only, for heel has a deviation of its own, which
//! changes sides with the tack: a mean of it would say nothing. For how long she heeled is told as the reason
//! why nothing was judged. The course over the ground does not take the second heading's
//! place: a current `c` on a boat of speed `v` bends the track by `c/v sin(set - heading)`, which is the
//! shape of the coefficients B and C, the very ones that change when iron moves.

use crate::alert::Evidence;
use crate::alert::LimitSettings;
use crate::alert::Verdict;
use crate::alert::Why;
use crate::angle::Bearing;
use crate::angle::CIRCLE;
use crate::angle::Turn;
use crate::angle::trig;
use crate::heading::Compass;
use crate::heading::True;
use crate::picture::Correction;
use crate::picture::Kinship;
use crate::picture::Origin;
use crate::picture::Picture;
use crate::picture::Reference;
use crate::time::Instant;
use crate::time::Mark;
use crate::time::Span;
use crate::unit::Speed;

/// Sectors of 30 degrees: within one, a usual deviation curve changes by less than the limit.
const SECTORS: usize = 12;
const SECTOR: i32 = CIRCLE / 12;
/// Five degrees: what is left on a good card (1), plus a satellite compass set up by eye (2) and a variation
/// that is out (1), does not come near it; and five degrees are nearly a mile beside the track in ten.
const LIMIT: Turn = Turn::from_deg(5);
/// The difference must be three times its own standard deviation.
const SIGMAS: i64 = 3;
/// It is over when the mean is back within this part of the limit, in eighths.
const BACK: i64 = 6;
/// From the first observation of a sector to the last.
const DELAY: Span = Span::from_min(90);
/// One observation is a mean over so many half seconds: five minutes, in which the sea, a gust and the
/// reference's own wander are mostly gone.
const OBSERVATION: u16 = 600;
/// So many observations at least.
const ENOUGH: u8 = 6;
/// And no more than so many remembered: an hour in the sector.
const MEMORY: u8 = 12;
/// What no number of observations takes out: the card's own error, the variation's and how the reference is
/// mounted, one degree together, in thousandths of a degree squared.
const COMMON: i64 = 1000 * 1000;
/// Neighbouring observations share the reference's wander: two count as one (a first-order process whose
/// time constant is the length of an observation has a factor of 2.2).
const SHARED: i64 = 2;
/// She must have gone straight: the heading stays within this of where the observation began.
const STRAIGHT: Turn = Turn::from_deg(12);
/// Upright: the mean heel over 20 s is less.
const UPRIGHT: i64 = 5000;
const HEEL_MS: i64 = 20_000;
/// Without a heel sensor: a wind of less than 7 knots heels nobody, and one from further aft than 140 degrees
/// rolls her and does not lean her. Common practice, no source.
const LIGHT: Speed = Speed::from_milliknots(7000);
const AFT: Turn = Turn::from_deg(140);

/// What was seen in one sector: the mean of the difference from the card, its variance, and how often.
#[derive(Clone, Copy, Debug, Default)]
struct Sector {
    /// Millidegrees.
    mean: i32,
    /// Thousandths of a square degree, so that 65 degrees fit.
    variance: u32,
    /// Tens of minutes since the watch began.
    first: u16,
    /// Held at its end: a day in one sector.
    count: u8,
}

/// The observation that is being made.
#[derive(Clone, Copy, Debug)]
struct Going {
    from: Compass,
    reference: Origin,
    /// Millidegrees: 600 of 180 degrees fit.
    sum: i32,
    count: u16,
}

/// The judge of the primary heading's card.
#[derive(Clone, Copy, Debug)]
pub struct CardDoubtful {
    limit: i32,
    delay: Span,
    sectors: [Sector; SECTORS],
    going: Option<Going>,
    /// Smoothed heel, millidegrees, and when it was last heard.
    heel: i32,
    heeled: Mark,
    /// The sector that stands raised.
    raised: Option<u8>,
}

impl CardDoubtful {
    /// A judge by the owner's settings; the delay is how far apart the first and the last observation are.
    pub fn new(settings: LimitSettings) -> Self {
        Self {
            limit: settings.limit.unwrap_or(LIMIT).as_mdeg(),
            delay: settings.delay.unwrap_or(DELAY),
            sectors: [Sector::default(); SECTORS],
            going: None,
            heel: 0,
            heeled: Mark::NONE,
            raised: None,
        }
    }

    /// Judges the picture, once every half second.
    pub fn judge(&mut self, picture: &Picture, now: Instant) -> Verdict {
        // As on most boats: without a card nothing is ever gathered.
        if picture.settings().card.is_none() {
            return Verdict::Unjudged(if picture.heading(now).is_some() { Why::NoCard } else { Why::NoHeading });
        }
        let observed = self.observe(picture, now);
        let tens = tens(picture, now);
        if let Some((index, sector)) = self.worst(tens) {
            if let (Some(primary), Some(card)) = (picture.primary(), picture.settings().card.as_ref()) {
                let at = Compass(Bearing::from_mdeg(i64::from(SECTOR) * i64::from(index) + i64::from(SECTOR) / 2));
                let card = card.deviation(at);
                let seen = card + Turn::from_mdeg(sector.mean);
                let lasting = Span::from_min(10 * u64::from(tens.saturating_sub(sector.first)));
                return Verdict::Raised(Evidence::CardDoubtful { of: primary.origin, at, seen, card, lasting });
            }
        }
        match observed {
            Err(why) => Verdict::Unjudged(why),
            Ok(index) if self.sectors.get(index).is_some_and(|s| s.is_known(tens, self.delay)) => Verdict::Clear,
            Ok(_) => Verdict::Unjudged(Why::Settling),
        }
    }

    /// Takes what is seen now; the sector it belongs to.
    fn observe(&mut self, picture: &Picture, now: Instant) -> Result<usize, Why> {
        let seen = self.seen(picture, now);
        let Ok((compass, reference, difference)) = seen else {
            self.going = None;
            return seen.map(|_| 0);
        };
        let straight = |going: &Going| going.from.0.turn_to(compass.0).size() <= STRAIGHT;
        let same = |going: &Going| going.reference == reference;
        let fresh = Going { from: compass, reference, sum: 0, count: 0 };
        let mut going = self.going.filter(|going| straight(going) && same(going)).unwrap_or(fresh);
        going.sum = going.sum.saturating_add(difference.as_mdeg());
        going.count += 1;
        let index = sector_of(going.from);
        self.going = Some(going);
        if going.count >= OBSERVATION {
            self.going = None;
            if let Some(sector) = self.sectors.get_mut(index) {
                sector.take(going, tens(picture, now));
            }
        }
        Ok(index)
    }

    /// The compass heading, who says what it should be, and how far the deviation seen is from the card; she
    /// is upright.
    fn seen(&mut self, picture: &Picture, now: Instant) -> Result<(Compass, Origin, Turn), Why> {
        let reduced = picture.heading(now).ok_or(Why::NoHeading)?;
        let primary = picture.primary().ok_or(Why::NoHeading)?;
        let (Some(compass), Some(mine), Correction::Card) = (reduced.compass, reduced.magnetic, reduced.correction)
        else {
            return Err(Why::NoCard);
        };
        let upright = self.upright(picture, now);
        let (reference, other) = true_witness(picture, primary.origin, now)?;
        let variation = picture.variation().value().ok_or(Why::NoVariation)?;
        let difference = mine.0.turn_to(other.to_magnetic(variation).0);
        if !upright.ok_or(Why::HeelUnknown)? {
            return Err(Why::Heeled);
        }
        Ok((compass, reference, difference))
    }

    fn upright(&mut self, picture: &Picture, now: Instant) -> Option<bool> {
        if let Some(heel) = picture.beside().heel(now) {
            let new = i64::from(heel.as_mdeg());
            let (old, at) = self.heeled.moment().map_or((new, now), |at| (i64::from(self.heel), at));
            let ms = i64::try_from(now.since(at).as_ms().min(60_000)).unwrap_or(0);
            // Sixteenths are kept by the caller's rounding: a heel to a tenth of a degree is fine enough.
            let heel = old + (new - old) * ms / (ms + HEEL_MS);
            // Between the one before and the new one, so it fits as they do.
            (self.heel, self.heeled) = (i32::try_from(heel).unwrap_or(0), Mark::at(now));
            return Some(heel.abs() < UPRIGHT);
        }
        self.heeled = Mark::NONE;
        let wind = picture.beside().apparent_wind(now)?;
        Some(wind.speed < LIGHT || wind.angle.size() > AFT)
    }

    /// The sector whose difference is beyond doubt and largest; the one that stands raised stands until its
    /// own mean is back.
    fn worst(&mut self, tens: u16) -> Option<(u8, Sector)> {
        if let Some(index) = self.raised {
            let sector = self.sectors.get(usize::from(index)).copied().unwrap_or_default();
            if i64::from(sector.mean.abs()) * 8 > i64::from(self.limit) * BACK {
                return Some((index, sector));
            }
            self.raised = None;
        }
        let known = (0u8..).zip(self.sectors).filter(|(_, sector)| sector.is_known(tens, self.delay));
        let worst = known.filter(|(_, s)| s.is_beyond(self.limit.into())).max_by_key(|(_, s)| s.mean.abs());
        self.raised = worst.map(|(index, _)| index);
        worst
    }
}

impl Sector {
    fn take(&mut self, going: Going, tens: u16) {
        if self.count == 0 {
            self.first = tens;
        }
        self.count = self.count.saturating_add(1);
        let part = i64::from(self.count.min(MEMORY));
        let mean = i64::from(going.sum) / i64::from(going.count.max(1));
        let error = mean - i64::from(self.mean);
        self.mean = self.mean.saturating_add(i32::try_from(error / part).unwrap_or(0));
        // West's update with weights that forget: var += (error^2 (1 - 1/n) - var) / n.
        let square = error * error / 1000 * (part - 1) / part;
        let variance = i64::from(self.variance) + (square - i64::from(self.variance)) / part;
        self.variance = u32::try_from(variance.max(0)).unwrap_or(u32::MAX);
    }

    fn is_known(&self, tens: u16, delay: Span) -> bool {
        self.count >= ENOUGH && u64::from(tens.saturating_sub(self.first)) * 600 >= delay.as_s()
    }

    /// Beyond the limit, and beyond what its own scatter and the common errors explain.
    fn is_beyond(&self, limit: i64) -> bool {
        let count = i64::from(self.count.min(MEMORY)).max(1);
        let variance = i64::from(self.variance) * 1000 * SHARED / count + COMMON;
        let sigma = i64::from(trig::sqrt(u64::try_from(variance).unwrap_or(0)));
        let mean = i64::from(self.mean.abs());
        mean > limit && mean > SIGMAS * sigma
    }
}

/// A fresh true heading of another sensor.
fn true_witness(picture: &Picture, primary: Origin, now: Instant) -> Result<(Origin, True), Why> {
    let place = picture.headings().iter().position(|channel| channel.origin == primary).unwrap_or(0);
    let mut may_be_copy = false;
    for (index, channel) in picture.headings().iter().enumerate() {
        let Some(raw) = channel.raw.fresh(now) else { continue };
        // HC is a magnetic compass by its own word: its true heading is its magnetic one and the variation.
        let magnetic = channel.reference != Reference::True || channel.origin.talker.0 == *b"HC";
        if index == place || magnetic {
            continue;
        }
        match picture.kinship(place, index) {
            Kinship::Two => return Ok((channel.origin, True(raw))),
            Kinship::Unknown => may_be_copy = true,
            Kinship::OneSensor => {}
        }
    }
    Err(if may_be_copy { Why::MayBeCopies } else { Why::NoTrueWitness })
}

fn sector_of(compass: Compass) -> usize {
    usize::try_from(compass.0.as_mdeg() / SECTOR).unwrap_or(0) % SECTORS
}

/// Tens of minutes since the watch began: a year and more of them.
fn tens(picture: &Picture, now: Instant) -> u16 {
    u16::try_from(now.since(picture.began()).as_s() / 600).unwrap_or(u16::MAX)
}
