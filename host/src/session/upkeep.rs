//! What the monitor is told while it watches: the model's variation, and the order "here".

use lubber_core::picture::Command;
use lubber_core::time::Instant;
use lubber_core::time::Span;
use lubber_core::unit::Position;

/// What is to be told, and when to see whether it can be.
#[derive(Debug)]
pub(super) struct Upkeep {
    pub(super) due: Instant,
    /// Where and when the model was asked last.
    asked: Option<(Position, i64)>,
    /// "Steer here" waits for a heading.
    pub(super) here: bool,
    begun: Instant,
}

/// The variation changes by at most a few tenths of a degree in so many miles, but near the poles.
const MOVED_NM: f64 = 10.0;
const A_DAY_MS: u64 = 86_400_000;
/// How soon a first position and date are seen; later nothing presses.
const AT_FIRST: Span = Span::from_s(1);
const LATER: Span = Span::from_s(60);
/// A log without a position for so long will hardly bring one in the next second.
const FIRST_LASTS: Span = Span::from_min(10);

impl Upkeep {
    pub(super) const fn new(now: Instant, steer: Option<Command>) -> Self {
        Self { due: now, asked: None, here: matches!(steer, Some(Command::SteerHere)), begun: now }
    }

    /// Whether the model must be asked again at `place` at `utc_ms`.
    pub(super) fn ask(&mut self, place: Position, utc_ms: i64) -> bool {
        let again = match self.asked {
            None => true,
            Some((last, at)) => miles(last, place) > MOVED_NM || utc_ms.abs_diff(at) > A_DAY_MS,
        };
        if again {
            self.asked = Some((place, utc_ms));
        }
        again
    }

    /// The next look is after a wait that grows once all is told.
    pub(super) fn looked(&mut self, now: Instant) {
        let early = now.since(self.begun) < FIRST_LASTS;
        self.due = now + if early && (self.asked.is_none() || self.here) { AT_FIRST } else { LATER };
    }
}

/// The distance in nautical miles, by middle latitude: good to a per cent over tens of miles.
fn miles(a: Position, b: Position) -> f64 {
    let deg = |e7: i32| f64::from(e7) / 1e7;
    let north = (deg(b.lat_e7) - deg(a.lat_e7)) * 60.0;
    let middle = (deg(b.lat_e7) + deg(a.lat_e7)) / 2.0;
    let across = deg(b.lon_e7) - deg(a.lon_e7);
    // The shorter way round: two sides of the date line are neighbours.
    let across = (across + 540.0).rem_euclid(360.0) - 180.0;
    north.hypot(across * 60.0 * middle.to_radians().cos())
}

#[cfg(test)]
mod tests {
    use super::*;

    const fn at(lat_deg: i32, lon_deg: i32) -> Position {
        Position { lat_e7: lat_deg * 10_000_000, lon_e7: lon_deg * 10_000_000 }
    }

    #[test]
    fn a_degree_of_latitude_is_sixty_miles() {
        assert!((miles(at(54, 10), at(55, 10)) - 60.0).abs() < 0.01);
        // At 60 degrees a degree of longitude is half as wide: cos 60 = 1/2.
        assert!((miles(at(60, 10), at(60, 11)) - 30.0).abs() < 0.01);
        assert!((miles(at(0, 180), at(0, -179)) - 60.0).abs() < 0.01, "over the date line");
    }

    #[test]
    fn the_model_is_asked_once_then_by_distance_and_by_day() {
        let mut upkeep = Upkeep::new(Instant::default(), None);
        assert!(upkeep.ask(at(54, 10), 0));
        assert!(!upkeep.ask(at(54, 10), 3_600_000));
        assert!(upkeep.ask(at(55, 10), 3_600_000));
        assert!(upkeep.ask(at(55, 10), 3_600_000 + 86_400_001));
        assert!(!upkeep.ask(at(55, 10), 3_600_000 + 86_400_001));
    }
}
