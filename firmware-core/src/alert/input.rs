//! Input-lost and input-damaged: a source that fell silent, and one with too many refused lines.

use crate::alert::Evidence;
use crate::alert::Latch;
use crate::alert::LimitSettings;
use crate::alert::Verdict;
use crate::alert::Why;
use crate::picture::Tracked;
use crate::time::Instant;
use crate::time::Mark;
use crate::time::Span;

/// A source that was never heard is missed after this.
const GRACE: Span = Span::from_s(30);
/// It must be back for so long.
const BACK: Span = Span::from_s(5);

/// The judge of one source: is it alive?
#[derive(Clone, Copy, Debug)]
pub struct InputLost {
    began: Instant,
    delay: Span,
    alive: Tracked<()>,
    works: bool,
    latch: Latch,
}

impl InputLost {
    /// A judge that begins at `began`.
    pub fn new(began: Instant, settings: LimitSettings) -> Self {
        Self {
            began,
            delay: settings.delay.unwrap_or(Span::ZERO),
            alive: Tracked::default(),
            works: true,
            latch: Latch::default(),
        }
    }

    /// A line came, good or refused: the source is alive.
    #[inline]
    pub fn alive(&mut self, now: Instant) {
        self.alive.take(now, ());
        self.works = true;
    }

    /// The host says whether the source works.
    pub fn works(&mut self, works: bool) {
        self.works = works;
    }

    /// When it is lost for having fallen silent, if nothing more comes; none where it is lost already, and
    /// where the owner lets it be silent for longer.
    pub fn due(&self, now: Instant) -> Option<Instant> {
        let due = self.alive.stale_at().filter(|due| *due > now);
        due.filter(|_| self.works && self.delay == Span::ZERO)
    }

    /// When its last line came.
    pub fn last(&self) -> Instant {
        self.alive.last()
    }

    /// Judges.
    pub fn judge(&mut self, now: Instant) -> Verdict {
        let heard = self.alive.latest().is_some();
        // After a single line nothing says yet how often they come.
        let unknown = self.alive.fresh(now).is_none() && !self.alive.has_interval();
        if self.works && unknown && now.since(self.began) < GRACE {
            return Verdict::Unjudged(Why::NotYetHeard);
        }
        let missing = !self.works || self.alive.fresh(now).is_none();
        let delay = if self.works { self.delay } else { Span::ZERO };
        if self.latch.step(now, missing, !missing, delay, BACK) {
            let silent = if heard { self.alive.age(now) } else { now.since(self.began) };
            Verdict::Raised(Evidence::InputLost { failed: !self.works, silent })
        } else {
            Verdict::Clear
        }
    }
}

/// One refused line in ten is too many, and ten of them in a minute: a sound line has none, and a
/// lone burst of noise does not make a bad one. Common practice, no source.
const SHARE: u16 = 10;
const LEAST: u16 = 10;
/// The minute is kept in six parts.
const PARTS: usize = 6;
const PART: Span = Span::from_s(10);

/// The judge of one source: is it damaged?
#[derive(Clone, Copy, Debug)]
pub struct InputDamaged {
    /// (good, refused) lines, the part being filled first.
    parts: [(u16, u16); PARTS],
    part_began: Mark,
    delay: Span,
    latch: Latch,
}

impl InputDamaged {
    /// A judge by the owner's settings.
    pub fn new(settings: LimitSettings) -> Self {
        Self {
            parts: [(0, 0); PARTS],
            part_began: Mark::NONE,
            delay: settings.delay.unwrap_or(Span::ZERO),
            latch: Latch::default(),
        }
    }

    /// A line came.
    #[inline]
    pub fn line(&mut self, good: bool) {
        let (accepted, refused) = &mut self.parts[0];
        let count = if good { accepted } else { refused };
        *count = count.saturating_add(1);
    }

    /// Judges.
    pub fn judge(&mut self, now: Instant) -> Verdict {
        let (good, refused) =
            self.parts.iter().fold((0u16, 0u16), |(g, r), part| (g.saturating_add(part.0), r.saturating_add(part.1)));
        let of = good.saturating_add(refused);
        let began = self.part_began.moment_or(now);
        if now.since(began) >= PART {
            self.parts.rotate_right(1);
            self.parts[0] = (0, 0);
            self.part_began = Mark::at(now);
        }
        let above = refused >= LEAST && refused.saturating_mul(SHARE) >= of;
        // Over when a minute has less than half as many; a silent minute proves nothing.
        let below = of > 0 && (refused < LEAST / 2 || refused.saturating_mul(SHARE * 2) < of);
        if self.latch.step(now, above, below, self.delay, Span::ZERO) {
            Verdict::Raised(Evidence::InputDamaged { refused, of })
        } else if of == 0 && !self.latch.is_up() {
            Verdict::Unjudged(Why::NotYetHeard)
        } else {
            Verdict::Clear
        }
    }
}
