//! Watch-impaired: a part of the watch itself fails, so that the next fault might go unheard or unkept.
//!
//! The core cannot see these parts; the host reports each as it fails and as it works again.

use core::fmt;

use crate::alert::Evidence;
use crate::alert::Latch;
use crate::alert::LimitSettings;
use crate::alert::Verdict;
use crate::time::Instant;
use crate::time::Mark;
use crate::time::Span;

/// A part of the watch beside the judging itself.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[repr(u8)]
pub enum Part {
    /// What makes alerts heard.
    Sounder,
    /// The sign of life for an outside buzzer.
    Heartbeat,
    /// What keeps the data line on disk.
    Recorder,
    /// What keeps the alerts and the passage.
    Journal,
    /// What shows the watch on other screens.
    Page,
    /// What announces alerts on the wire.
    Announcer,
    /// What keeps standing alerts over a restart.
    Memory,
}

impl Part {
    /// Every part, in the order of their tables.
    pub const ALL: [Self; 7] =
        [Self::Sounder, Self::Heartbeat, Self::Recorder, Self::Journal, Self::Page, Self::Announcer, Self::Memory];

    /// The word in every output.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Sounder => "sounder",
            Self::Heartbeat => "heartbeat",
            Self::Recorder => "recorder",
            Self::Journal => "journal",
            Self::Page => "page",
            Self::Announcer => "announcer",
            Self::Memory => "memory",
        }
    }
}

impl fmt::Display for Part {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.word())
    }
}

/// It must work again for so long: a disk at its limit fails and works by turns.
const BACK: Span = Span::from_s(5);

/// The judge of one part.
#[derive(Clone, Copy, Debug)]
pub struct Impaired {
    delay: Span,
    fails: Mark,
    latch: Latch,
}

impl Impaired {
    /// A judge by the owner's settings. Without one it is said at once: a part that failed may be the
    /// one that was to say so.
    pub fn new(settings: LimitSettings) -> Self {
        Self { delay: settings.delay.unwrap_or(Span::ZERO), fails: Mark::NONE, latch: Latch::default() }
    }

    /// The host says whether the part works.
    pub fn works(&mut self, now: Instant, works: bool) {
        if works {
            self.fails = Mark::NONE;
        } else {
            self.fails.moment_or(now);
        }
    }

    /// Whether it works, and nothing of another time is remembered: then it judges clear, and nothing changes.
    pub fn rests(&self) -> bool {
        self.fails == Mark::NONE && self.latch.rests()
    }

    /// Judges.
    pub fn judge(&mut self, now: Instant) -> Verdict {
        let fails = self.fails.moment();
        // As nearly always: nothing lasts, and nothing stands.
        if fails.is_none() && !self.latch.is_up() {
            self.latch = Latch::default();
            return Verdict::Clear;
        }
        if self.latch.step(now, fails.is_some(), fails.is_none(), self.delay, BACK) {
            Verdict::Raised(Evidence::Impaired { lasting: fails.map_or(Span::ZERO, |since| now.since(since)) })
        } else {
            Verdict::Clear
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_part_that_fails_is_said_at_once_and_must_work_for_a_while() {
        let mut judge = Impaired::new(LimitSettings::default());
        let at = |s: u64| Instant::from_ms(s * 1000);
        assert_eq!(judge.judge(at(0)), Verdict::Clear);
        judge.works(at(10), false);
        assert_eq!(judge.judge(at(10)), Verdict::Raised(Evidence::Impaired { lasting: Span::ZERO }));
        judge.works(at(12), false);
        assert_eq!(judge.judge(at(14)), Verdict::Raised(Evidence::Impaired { lasting: Span::from_s(4) }));
        judge.works(at(20), true);
        assert!(matches!(judge.judge(at(20)), Verdict::Raised(_)));
        assert!(matches!(judge.judge(at(24)), Verdict::Raised(_)));
        assert_eq!(judge.judge(at(25)), Verdict::Clear);
    }
}
