//! The third witness: of two that contradict each other, which one stands alone.
//!
//! Where the primary heading is wrong, every other witness turns away from it by the same; where the
//! witness that contradicts it is wrong, the third stays with the primary. Between these two it is the
//! likelihood that decides, of averages over the same time, so that no witness is late.

use crate::alert::Alone;
use crate::alert::Smooth;
use crate::alert::Suspect;
use crate::alert::Third;
use crate::angle::Bearing;
use crate::angle::Turn;
use crate::picture::Picture;
use crate::time::Instant;
use crate::time::Span;

/// A hundred to one: 4.6 in natural logarithms, times 16.
const SURE: i64 = 74;
/// A third witness is not believed to be better than this, whatever its noise: what it was learned at,
/// its lag, and what the sea does to it. Millidegrees squared: two degrees.
pub(super) const FLOOR: i64 = 2000 * 2000;
/// What the gyro has turned more than the primary heading is forgotten with this: its bias of half a degree a
/// minute (A.526(13) 3.2, at rest) then makes half a degree.
const FORGET_S: i64 = 60;

/// Judges by what the two differ by and what the third shows, both averaged alike, and the variance of the
/// latter in millidegrees squared.
pub(super) fn alone(by: Turn, seen: Turn, variance: i64, third: Third) -> Option<Alone> {
    let (by, seen) = (i64::from(by.as_mdeg()), i64::from(seen.as_mdeg()));
    // ln of the likelihoods of `seen` about `by` and about nothing: (seen^2 - (seen - by)^2) / (2 v).
    let weight = by * (2 * seen - by) * 16 / (2 * (variance + FLOOR));
    let who = match weight {
        SURE.. => Suspect::Primary,
        w if w <= -SURE => Suspect::Other,
        _ => return None,
    };
    Some(Alone { who, third })
}

/// How much more a declared gyro has turned than the primary heading shows, lately.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Gyro {
    /// Millidegrees times 64.
    sum: i64,
    before: Option<(Bearing, Instant)>,
    recent: Smooth,
}

/// Longer without a value, and what was summed is of another time.
const GAP: Span = Span::from_s(3);

impl Gyro {
    /// Takes the primary heading, each half second.
    pub(super) fn step(&mut self, picture: &Picture, heading: Bearing, now: Instant) {
        if !picture.settings().rot_is_gyro {
            return;
        }
        let Some(rate) = picture.rate().fresh(now) else {
            *self = Self::default();
            return;
        };
        let Some((before, at)) = self.before.replace((heading, now)) else { return };
        let elapsed = now.since(at);
        if elapsed > GAP {
            *self = Self { before: self.before, ..Self::default() };
            return;
        }
        let ms = i64::try_from(elapsed.as_ms()).unwrap_or(0);
        self.sum += i64::from(rate.as_mdeg_per_s()) * ms * 64 / 1000;
        self.sum -= i64::from(before.turn_to(heading).as_mdeg()) * 64;
        self.sum -= self.sum * ms / (FORGET_S * 1000);
        let turned = Turn::from_mdeg(i32::try_from((self.sum / 64).clamp(-180_000, 180_000)).unwrap_or(0));
        self.recent.step(now, turned, super::pair::YAW);
    }

    /// The averaged difference, if the gyro speaks.
    pub(super) fn residual(&self) -> Option<Turn> {
        self.recent.value()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn likelihoods_by_hand() {
        let judge = |by: i32, seen: i32| {
            alone(Turn::from_mdeg(by), Turn::from_mdeg(seen), 0, Third::Track).map(|alone| alone.who)
        };
        // 8 x 8 / (2 x 4) = 8 > 4.6 for it, and against it where it stays.
        assert_eq!(judge(8000, 8000), Some(Suspect::Primary));
        assert_eq!(judge(-8000, -8000), Some(Suspect::Primary));
        assert_eq!(judge(8000, 0), Some(Suspect::Other));
        assert_eq!(judge(-8000, 1000), Some(Suspect::Other));
        // In between, or too little, nobody is named: 6 x 6 / 8 = 4.5.
        assert_eq!(judge(8000, 4000), None);
        assert_eq!(judge(6000, 6000), None);
        let noisy = alone(Turn::from_deg(8), Turn::from_deg(8), 5_000_000, Third::Track);
        assert_eq!(noisy, None, "64 / (2 x 9) = 3.6");
    }
}
