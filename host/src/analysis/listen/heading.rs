//! What a heading sentence claims beside its heading, and whether the heading stands still.

use lubber_core::angle::Bearing;
use lubber_core::angle::Turn;
use lubber_core::sentence::Defect;
use lubber_core::sentence::Field;
use lubber_core::sentence::Sentence;
use lubber_core::sentence::ThsMode;
use lubber_core::time::Span;

use super::At;
use super::tally::Stretch;

/// What a sentence says of variation and deviation, and how fine its heading is.
#[derive(Clone, Copy, Debug, Default)]
pub struct Claims {
    /// Headings in it.
    pub headings: u64,
    /// Digits after the point, the most seen.
    pub decimals: u8,
    /// Whether any heading was not a whole degree.
    pub fine: bool,
    /// Its deviations.
    pub deviation: Claim,
    /// Its variations.
    pub variation: Claim,
    /// Headings that were typed in, simulated or estimated (THS).
    pub not_measured: u64,
}

/// One optional angle with its letter, over all sentences.
#[derive(Clone, Copy, Debug, Default)]
pub struct Claim {
    /// How often it was there and usable.
    pub known: u64,
    /// How often it was empty.
    pub absent: u64,
    /// How often it was there without its letter, or the letter without it.
    pub half: u64,
    /// How often it was not zero.
    pub not_zero: u64,
    /// How often it was empty before it came for the first time.
    pub absent_first: u64,
    /// When it came for the first time.
    pub first: Option<At>,
    /// When it was there last, and what it was.
    pub last: Option<(At, Turn)>,
    /// The last that was not zero.
    pub last_not_zero: Option<Turn>,
}

impl Claim {
    #[inline]
    fn take(&mut self, at: At, field: Field<Turn>) {
        match field {
            Field::Known(angle) => {
                self.known += 1;
                if self.first.is_none() {
                    self.first = Some(at);
                    self.absent_first = self.absent;
                }
                self.last = Some((at, angle));
                if angle != Turn::ZERO {
                    self.not_zero += 1;
                    self.last_not_zero = Some(angle);
                }
            }
            Field::Absent => self.absent += 1,
            Field::Unusable(Defect::HalfPresent) => self.half += 1,
            Field::Unusable(_) => {}
        }
    }
}

impl Claims {
    /// What `sentence` claims; its heading, where it has one.
    #[inline]
    pub(super) fn take(&mut self, at: At, sentence: &Sentence<'_>) -> Option<Bearing> {
        let (heading, decimals) = match sentence {
            Sentence::Hdg(s) => {
                self.deviation.take(at, s.deviation);
                self.variation.take(at, s.variation.map(|v| v.0));
                (s.heading.known()?.0, s.decimals)
            }
            Sentence::Hdm(s) => (s.heading.known()?.0, s.decimals),
            Sentence::Hdt(s) => (s.heading.known()?.0, s.decimals),
            Sentence::Ths(s) => {
                let unsure = matches!(s.mode.known(), Some(mode) if mode != ThsMode::Autonomous);
                self.not_measured += u64::from(unsure);
                (s.heading.known()?.0, s.decimals)
            }
            Sentence::Vhw(s) => match (s.magnetic.known(), s.truth.known()) {
                (Some(magnetic), _) => (magnetic.0, s.decimals),
                (None, Some(truth)) => (truth.0, s.decimals),
                (None, None) => return None,
            },
            Sentence::Rmc(s) => {
                self.variation.take(at, s.variation.map(|v| v.0));
                return None;
            }
            _ => return None,
        };
        self.headings += 1;
        self.decimals = self.decimals.max(decimals);
        self.fine |= heading.as_mdeg() % 1000 != 0;
        Some(heading)
    }
}

/// How long a heading did not change by a digit, and how far the course turned meanwhile.
#[derive(Clone, Copy, Debug, Default)]
pub struct Stillness {
    now: Option<Still>,
    /// The longest that the course contradicts.
    pub longest: Option<(Stretch, Turn)>,
}

#[derive(Clone, Copy, Debug)]
struct Still {
    heading: Bearing,
    from: At,
    last: At,
    count: u64,
    /// The course meanwhile, counted on through north.
    course: Option<(i64, i64)>,
}

/// A heading that stands still for so long...
const STILL: Span = Span::from_s(30);
/// ...in so many sentences...
const STILL_COUNT: u64 = 5;
/// ...while the course over ground turns by so much does not show the boat's heading.
const COURSE_TURNED: Turn = Turn::from_deg(30);

impl Stillness {
    /// A heading came.
    #[inline]
    pub(super) fn heading(&mut self, at: At, heading: Bearing) {
        match &mut self.now {
            Some(still) if still.heading == heading => {
                still.last = at;
                still.count += 1;
            }
            _ => {
                self.settle();
                self.now = Some(Still { heading, from: at, last: at, count: 1, course: None });
            }
        }
    }

    /// The course over ground is `course` millidegrees, counted on through north.
    #[inline]
    pub(super) fn course(&mut self, course: i64) {
        if let Some(still) = &mut self.now {
            let (low, high) = still.course.unwrap_or((course, course));
            still.course = Some((low.min(course), high.max(course)));
        }
    }

    /// Notes what stands still up to now.
    pub(super) fn settle(&mut self) {
        let Some(still) = self.now else { return };
        let length = still.last.now.since(still.from.now);
        let Some((low, high)) = still.course else { return };
        let turned = Turn::from_mdeg(i32::try_from(high - low).unwrap_or(i32::MAX));
        if length >= STILL
            && still.count >= STILL_COUNT
            && turned >= COURSE_TURNED
            && self.longest.is_none_or(|(longest, _)| length > longest.length)
        {
            self.longest = Some((Stretch { from: still.from, length }, turned));
        }
    }
}

/// The course over ground as one talker says it, counted on through north; without single outliers.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Course {
    last: Option<Bearing>,
    on: i64,
    before: [i64; 2],
    count: u8,
}

impl Course {
    /// A course came, or none that means anything; the median of the last three, once there are three.
    #[inline]
    pub(super) fn take(&mut self, course: Option<Bearing>) -> Option<i64> {
        let Some(course) = course else {
            // What it turned while nobody could see is not counted.
            *self = Self { on: self.on, ..Self::default() };
            return None;
        };
        if let Some(last) = self.last {
            self.on += i64::from(last.turn_to(course).as_mdeg());
        }
        self.last = Some(course);
        let [a, b] = self.before;
        let c = self.on;
        self.before = [b, c];
        self.count = (self.count + 1).min(3);
        (self.count == 3).then(|| a.max(b).min(a.min(b).max(c)))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use lubber_core::time::Instant;

    fn at(s: u64) -> At {
        At { now: Instant::from_ms(s * 1000), utc_ms: None }
    }

    /// A boat whose heading reads `heading(s)` and whose course is `course(s)` degrees.
    fn run(heading: impl Fn(u64) -> i32, course: impl Fn(u64) -> i32) -> Option<(u64, i32)> {
        let (mut still, mut over_ground) = (Stillness::default(), Course::default());
        for s in 0..200 {
            still.heading(at(s), Bearing::from_deg(heading(s)));
            if let Some(course) = over_ground.take(Some(Bearing::from_deg(course(s)))) {
                still.course(course);
            }
        }
        still.settle();
        still.longest.map(|(stretch, turned)| (stretch.length.as_s(), turned.as_mdeg() / 1000))
    }

    #[test]
    fn a_heading_that_stands_while_the_course_turns_is_noted() {
        let turning = |s: u64| 340 + s as i32 / 2;
        // Medians of three: from 340 at the start to 340 + 198/2 at the end.
        assert_eq!(run(|_| 7, turning), Some((199, 99)));
        assert_eq!(run(|s| turning(s) % 360, turning), None);
        assert_eq!(run(|_| 7, |_| 340), None, "a boat that goes straight on");
        assert_eq!(run(|_| 7, |s| if s == 100 { 90 } else { 340 }), None, "one course that is an outlier");
    }

    #[test]
    fn a_variation_that_comes_late_is_dated() {
        let mut claim = Claim::default();
        for s in 0..10 {
            claim.take(at(s), if s < 7 { Field::Absent } else { Field::Known(Turn::from_deg(4)) });
        }
        assert_eq!((claim.absent_first, claim.first, claim.known), (7, Some(at(7)), 3));
    }
}
