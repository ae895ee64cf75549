//! What is normal for the part of the ground velocity to the side.
//!
//! A steady stretch teaches it; afterwards a current may move it, by its own rate and no faster.

use crate::alert::CurrentChange;
use crate::angle::Turn;
use crate::time::Instant;
use crate::time::Span;

/// So long a steady stretch teaches what is normal.
const LEARN: Span = Span::from_s(40);
/// The heading counts as steady while it stays within this of where it was.
pub(super) const STEADY: Turn = Turn::from_deg(5);
/// What is normal follows what is seen with this time constant where a current may be so fast: eight waves or
/// more, or it would follow the yaw.
const FOLLOW: i64 = 2 * 60;
/// The heading it holds for follows with this: half seconds in five minutes.
const FOLLOW_HEADING: i64 = 2 * 300;
/// What the track has moved from lately is what was normal some ten minutes ago.
const LATELY: i64 = 2 * 600;

/// What is normal on a heading.
#[derive(Clone, Copy, Debug)]
pub(super) struct Normal {
    /// The part to the side, mm/s times 16.
    pub(super) side: i64,
    /// The same as it was lately, whatever moved it.
    lately: i64,
    /// The heading it was learned on.
    pub(super) heading: Turn,
}

impl Normal {
    /// Half a second on, all but the heading: what a current may do is followed whatever the test says, or its
    /// edge would be a fault as soon as the test began to rise.
    pub(super) fn follow_current(&mut self, side: i64, change: CurrentChange) {
        let most = change.in_half_a_second();
        self.side += share(side - self.side, FOLLOW).clamp(-most, most);
        self.lately += share(side - self.lately, LATELY);
    }

    /// A slow change of the heading is followed while all is quiet.
    pub(super) fn follow_heading(&mut self, heading: Turn) {
        let way = (heading - self.heading).wrapped().as_mdeg();
        let step = way / i32::try_from(FOLLOW_HEADING).unwrap_or(i32::MAX);
        self.heading = (self.heading + Turn::from_mdeg(step)).wrapped();
    }

    /// Nobody looked for so long: the current may have gone on changing.
    pub(super) fn unseen(&mut self, side: i64, away: Span, change: CurrentChange) {
        let half_seconds = i64::try_from(away.as_ms() / 500).unwrap_or(i64::MAX);
        let most = change.in_half_a_second().saturating_mul(half_seconds);
        let step = (side - self.side).clamp(-most, most);
        self.side += step;
        self.lately += step;
    }

    /// How far it has moved lately, mm/s times 16.
    pub(super) fn moved(&self) -> i64 {
        self.side - self.lately
    }
}

/// A part of the way; by one at least, or the last of it would never be followed.
fn share(way: i64, part: i64) -> i64 {
    let step = way / part;
    if step == 0 { way.signum() } else { step }
}

/// A steady stretch under way.
#[derive(Clone, Copy, Debug)]
pub(super) struct Learning {
    began: Instant,
    heading: Turn,
    side: i64,
    count: i64,
}

impl Learning {
    /// Takes half a second of a steady stretch on, or of a new one where the heading has left it; what is
    /// normal, once that has lasted.
    pub(super) fn step(under_way: &mut Option<Self>, side: i64, heading: Turn, now: Instant) -> Option<Normal> {
        let going = under_way.filter(|l| (heading - l.heading).wrapped().size() <= STEADY);
        let mut learning = going.unwrap_or(Self { began: now, heading, side: 0, count: 0 });
        learning.side += side;
        learning.count += 1;
        *under_way = Some(learning);
        if now.since(learning.began) < LEARN {
            return None;
        }
        *under_way = None;
        let side = learning.side / learning.count;
        Some(Normal { side, lately: side, heading })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn normal() -> Normal {
        Normal { side: 0, lately: 0, heading: Turn::ZERO }
    }

    #[test]
    fn a_current_is_followed_at_its_rate_and_a_fault_is_not() {
        // 0.18 kn a minute are 92.6 mm/s a minute; 12 of 16ths each half second are 90.
        let change = CurrentChange::default();
        let mut slow = normal();
        (1..=600).for_each(|half| slow.follow_current(half * 8, change));
        // A ramp of 8 lags by 8 times the time constant, in half seconds.
        assert!((4800 - slow.side - 8 * FOLLOW).abs() <= 16, "{}", slow.side);
        let mut fast = normal();
        (0..120).for_each(|_| fast.follow_current(11_000, change));
        assert_eq!(fast.side, 1440, "90 mm/s within a minute, however far it is");
    }

    #[test]
    fn what_it_moved_lately_is_seen_and_then_forgotten() {
        let mut normal = normal();
        (0..600).for_each(|_| normal.follow_current(6000, CurrentChange::default()));
        // It came to nearly all of 6000, and of that e^-0.5 is more than what was lately.
        assert!((3000..=4500).contains(&normal.moved()), "{}", normal.moved());
        (0..7200).for_each(|_| normal.follow_current(6000, CurrentChange::default()));
        assert!(normal.moved() < 60, "{}", normal.moved());
    }

    #[test]
    fn what_nobody_saw_may_have_gone_on() {
        let mut normal = normal();
        normal.unseen(-9000, Span::from_min(5), CurrentChange::default());
        assert_eq!((normal.side, normal.moved()), (-7200, 0));
        normal.unseen(-9000, Span::from_min(30), CurrentChange::default());
        assert_eq!(normal.side, -9000);
    }
}
