//! What helps the judges and is no witness itself: heel, apparent wind, the log, the rudder that is ordered.

use crate::angle::Turn;
use crate::sentence::HeadingControl;
use crate::sentence::Mwv;
use crate::sentence::Xdr;
use crate::time::Instant;
use crate::time::Span;
use crate::unit::Speed;

/// Heel and wind change slowly and are sent slowly.
const SLOW: Span = Span::from_s(15);
/// The log and the rudder that is ordered count for no longer than a heading would.
const QUICK: Span = Span::from_s(4);

/// A value and when it came; nobody misses it when it does not come.
#[derive(Clone, Copy, Debug)]
pub struct Recent<T> {
    value: Option<(T, Instant)>,
}

impl<T> Default for Recent<T> {
    fn default() -> Self {
        Self { value: None }
    }
}

impl<T: Copy> Recent<T> {
    fn take(&mut self, now: Instant, value: Option<T>) {
        if let Some(value) = value {
            self.value = Some((value, now));
        }
    }

    fn within(&self, now: Instant, span: Span) -> Option<T> {
        self.value.filter(|(_, at)| now.since(*at) <= span).map(|(value, _)| value)
    }
}

/// The wind felt on board.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Wind {
    /// From where, off the bow, starboard plus.
    pub angle: Turn,
    /// How fast.
    pub speed: Speed,
}

/// What is known beside the witnesses.
#[derive(Clone, Copy, Debug, Default)]
pub struct Beside {
    heel: Recent<Turn>,
    wind: Recent<Wind>,
    water: Recent<Speed>,
    ordered: Recent<Turn>,
}

impl Beside {
    /// Heel, starboard side down plus, from an XDR angle named ROLL or HEEL.
    pub fn heel(&self, now: Instant) -> Option<Turn> {
        self.heel.within(now, SLOW)
    }

    /// The apparent wind.
    pub fn apparent_wind(&self, now: Instant) -> Option<Wind> {
        self.wind.within(now, SLOW)
    }

    /// Speed through the water.
    pub fn through_water(&self, now: Instant) -> Option<Speed> {
        self.water.within(now, QUICK)
    }

    /// The rudder that the pilot orders (HTD), starboard plus.
    pub fn rudder_order(&self, now: Instant) -> Option<Turn> {
        self.ordered.within(now, QUICK)
    }

    pub(super) fn water_speed(&mut self, now: Instant, speed: Option<Speed>) {
        self.water.take(now, speed);
    }

    pub(super) fn wind(&mut self, now: Instant, mwv: &Mwv) {
        if let (Some(angle), Some(true), Some(speed)) = (mwv.angle.known(), mwv.relative.known(), mwv.speed.known()) {
            self.wind.take(now, Some(Wind { angle: Turn::from_mdeg(angle.as_mdeg()).wrapped(), speed }));
        }
    }

    pub(super) fn ordered_rudder(&mut self, now: Instant, htd: &HeadingControl) {
        // Steered by hand the pilot orders nothing, whatever it sends.
        if htd.steering_mode.known() != Some(b'M') && htd.override_in_use.known() != Some(true) {
            self.ordered.take(now, htd.rudder.known());
        }
    }

    pub(super) fn measured(&mut self, now: Instant, xdr: &Xdr<'_>) {
        for measurement in xdr.measurements().filter(|m| m.kind == b'A' && m.unit == b'D') {
            // Names are the talker's own; these two words stand for heel in all that were seen.
            let names_heel =
                |word: &[u8]| measurement.name.get(..word.len()).is_some_and(|n| n.eq_ignore_ascii_case(word));
            if names_heel(b"ROLL") || names_heel(b"HEEL") {
                let heel = measurement.value.known().and_then(|mdeg| i32::try_from(mdeg).ok());
                self.heel.take(now, heel.filter(|mdeg| mdeg.abs() <= 90_000).map(Turn::from_mdeg));
            }
        }
    }
}
