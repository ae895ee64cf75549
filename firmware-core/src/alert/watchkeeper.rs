//! Watchkeeper-silent: the person on watch did not answer.
//!
//! ```text
//!   dormant --(after)--> 1 visual --15 s--> 2 first audible --15 s--> 3 second --(third)--> 4 third
//!      ^                                                                                     |
//!      +------------------------------- any answer, at any stage ---------------------------+
//! ```
//!
//! The figures are those of a bridge navigational watch alarm, MSC.128(75) 4.1.2 and 4.1.3 (the text
//! seen at imorules.com; its number from memory). On a small boat every stage sounds in the same place:
//! what wakes the next person is the sounder's business.

use crate::alert::Evidence;
use crate::alert::Verdict;
use crate::alert::Why;
use crate::time::Instant;
use crate::time::Span;

/// The owner asks to be asked.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct WatchkeeperSettings {
    after: Span,
    third: Span,
}

impl WatchkeeperSettings {
    /// The dormant period lies between these: MSC.128(75) 4.1.2.1.
    pub const AFTER: [Span; 2] = [Span::from_min(3), Span::from_min(12)];
    /// From the second audible stage to the third: 90 s, up to 3 min in larger vessels, where it takes
    /// longer to come. MSC.128(75) 4.1.2.
    pub const THIRD: [Span; 2] = [Span::from_s(90), Span::from_min(3)];

    /// Asks `after` each answer, within [`Self::AFTER`], and goes to its third audible stage `third`
    /// after the second, within [`Self::THIRD`]; none where one is outside.
    pub fn new(after: Span, third: Span) -> Option<Self> {
        let within = |span: Span, [least, most]: [Span; 2]| least <= span && span <= most;
        let sound = within(after, Self::AFTER) && within(third, Self::THIRD);
        if sound { Some(Self { after, third }) } else { None }
    }

    /// The dormant period: how long after an answer the next one is asked for.
    pub const fn after(self) -> Span {
        self.after
    }
}

/// How the watchkeeper stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct WatchkeeperStatus {
    /// How long ago somebody answered.
    pub silent: Span,
    /// The time that is left of the dormant period; none once it is over.
    pub remaining: Span,
    /// The stage: 0 dormant, 1 visual, 2 to 4 audible.
    pub stage: u8,
}

/// The visual stage lasts so long, and so does the first audible one: MSC.128(75) 4.1.2.
const STEP: Span = Span::from_s(15);

/// The judge of the person on watch.
#[derive(Clone, Copy, Debug)]
pub struct Watchkeeper {
    settings: Option<WatchkeeperSettings>,
    answered: Instant,
}

impl Watchkeeper {
    /// A judge that begins at `now`; it judges nothing unless the owner asks for it.
    pub fn new(now: Instant, settings: Option<WatchkeeperSettings>) -> Self {
        Self { settings, answered: now }
    }

    /// Somebody is there: the dormant period begins again, whatever the stage.
    pub fn answer(&mut self, now: Instant) {
        self.answered = now;
    }

    /// How it stands, where the owner asks for it.
    pub fn status(&self, now: Instant) -> Option<WatchkeeperStatus> {
        let WatchkeeperSettings { after, third } = self.settings?;
        let silent = now.since(self.answered);
        let stages = [after, after + STEP, after + STEP + STEP, after + STEP + STEP + third];
        let stage = stages.iter().map(|begins| u8::from(silent >= *begins)).sum();
        let remaining = Span::from_ms(after.as_ms().saturating_sub(silent.as_ms()));
        Some(WatchkeeperStatus { silent, remaining, stage })
    }

    /// Judges.
    pub fn judge(&self, now: Instant) -> Verdict {
        match self.status(now) {
            None => Verdict::Unjudged(Why::NotAskedFor),
            Some(WatchkeeperStatus { stage: 0, .. }) => Verdict::Clear,
            Some(WatchkeeperStatus { silent, stage, .. }) => {
                Verdict::Raised(Evidence::WatchkeeperSilent { silent, stage })
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(s: u64) -> Instant {
        Instant::from_ms(s * 1000)
    }

    #[test]
    fn the_stages_come_at_the_times_of_msc_128() {
        // MSC.128(75) 4.1.2: visual at the end of the dormant period, 15 s later the first audible alarm,
        // 15 s later the second, 90 s later the third.
        for (after, third) in [(180, 90), (600, 90), (720, 180)] {
            let settings = WatchkeeperSettings::new(Span::from_s(after), Span::from_s(third)).unwrap();
            let judge = Watchkeeper::new(at(100), Some(settings));
            let stage = |s: u64| judge.status(at(100 + s)).unwrap().stage;
            for (begins, number) in [(after, 1), (after + 15, 2), (after + 30, 3), (after + 30 + third, 4)] {
                assert_eq!((stage(begins - 1), stage(begins)), (number - 1, number), "{after} {third}");
            }
            assert_eq!(stage(100_000), 4);
            assert_eq!(judge.judge(at(100 + after - 1)), Verdict::Clear);
            let silent = Span::from_s(after);
            assert_eq!(judge.judge(at(100 + after)), Verdict::Raised(Evidence::WatchkeeperSilent { silent, stage: 1 }));
        }
    }

    #[test]
    fn one_answer_resets_every_stage_and_begins_the_dormant_period_anew() {
        // MSC.128(75) 4.1.3: one action resets all and initiates a new period.
        let settings = WatchkeeperSettings::new(Span::from_min(3), Span::from_s(90)).unwrap();
        for answered in [10, 179, 180, 195, 210, 300, 5_000] {
            let mut judge = Watchkeeper::new(at(0), Some(settings));
            judge.answer(at(answered));
            let status = judge.status(at(answered)).unwrap();
            assert_eq!((status.stage, status.remaining), (0, Span::from_min(3)));
            assert_eq!(judge.judge(at(answered + 179)), Verdict::Clear);
            assert!(matches!(judge.judge(at(answered + 180)), Verdict::Raised(_)));
        }
    }

    #[test]
    fn off_unless_asked_for_and_only_within_the_standard() {
        assert_eq!(Watchkeeper::new(at(0), None).judge(at(90_000)), Verdict::Unjudged(Why::NotAskedFor));
        for (after, third) in [(179, 90), (721, 90), (300, 89), (300, 181)] {
            assert_eq!(WatchkeeperSettings::new(Span::from_s(after), Span::from_s(third)), None, "{after} {third}");
        }
    }
}
