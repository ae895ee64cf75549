//! The velocity over the ground and the position, per talker that gives them.

use crate::heading::True;
use crate::picture::Origin;
use crate::picture::Tracked;
use crate::time::Instant;
use crate::unit::Speed;

/// Below this speed the course over the ground is noise: 1.5 knots, by common practice, no source.
/// (A receiver whose velocity is good to 0.05 m/s gives a course good to 4 degrees there.)
pub const LEAST_SPEED: Speed = Speed::from_milliknots(1500);

/// Course and speed over the ground at one moment.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Ground {
    /// The course; receivers leave it empty when the boat lies still.
    pub course: Option<True>,
    /// The speed.
    pub speed: Speed,
}

/// The ground velocity as one talker sends it.
#[derive(Clone, Copy, Debug)]
pub struct GroundChannel {
    /// Who sends it.
    pub origin: Origin,
    /// What it sends.
    pub velocity: Tracked<Ground>,
}

impl GroundChannel {
    /// RMC before VTG: RMC says by itself whether it is valid.
    fn rank(&self) -> u8 {
        u8::from(self.origin.formatter.0 != *b"RMC")
    }
}

/// The fresh channel that has a course, of best rank, the first heard where ranks are equal.
pub(super) fn best(channels: &[GroundChannel], now: Instant) -> Option<(&GroundChannel, Ground)> {
    channels
        .iter()
        .filter_map(|channel| channel.velocity.fresh(now).map(|ground| (channel, ground)))
        .min_by_key(|(channel, ground)| (ground.course.is_none(), channel.rank()))
}
