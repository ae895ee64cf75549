//! Whether the heading is to be believed, and what contradicts it.

use lubber_core::alert::AlertKind;
use lubber_core::alert::Disagreeing;
use lubber_core::alert::Evidence;
use lubber_core::alert::Instance;
use lubber_core::arbiter::State;
use lubber_core::heading::True;
use lubber_core::monitor::Status;
use lubber_core::picture::Origin;

/// The heading is in doubt: an alert stands that says it is false.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Doubt {
    /// The alert.
    pub by: AlertKind,
    /// What the witness that contradicts it says just now; none where the alert names no other one.
    pub contrary: Option<Contrary>,
}

/// A witness that contradicts the heading.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Contrary {
    /// Who.
    pub origin: Origin,
    /// What it says, true.
    pub says: True,
    /// Whether that is the course over the ground, and not a heading.
    pub ground: bool,
}

impl Contrary {
    /// In a few words: `IIHDT 199T`, `GPRMC course 199T`.
    pub fn words(&self) -> String {
        format!("{}{} {}T", self.origin, if self.ground { " course" } else { "" }, self.says.0)
    }
}

/// Whether the heading that the watch is kept by is in doubt at `status`. Where two witnesses stand against a
/// third that is another one, it is not.
pub fn doubt(status: &Status) -> Option<Doubt> {
    let primary = status.heading?.origin;
    let against = status.alerts.iter().find(|change| {
        matches!(change.kind, AlertKind::HeadingDisagreement | AlertKind::HeadingFrozen)
            && change.instance == Instance::Sensor(primary)
            && !matches!(change.state, State::Normal | State::RectifiedUnacknowledged)
            && change.evidence.stands_alone().is_none_or(|alone| alone == primary)
    })?;
    let contrary = match against.evidence {
        Evidence::Disagreement { with, .. } => {
            let (ground, seen) = match with {
                Disagreeing::Heading { heading, .. } => (false, heading),
                Disagreeing::Ground { course, .. } => (true, course),
            };
            let now = status.witnesses.iter().find(|w| w.origin == with.origin() && w.ground == ground && !w.stale);
            Some(Contrary { origin: with.origin(), says: now.and_then(|w| w.truth).unwrap_or(seen), ground })
        }
        _ => None,
    };
    Some(Doubt { by: against.kind, contrary })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::view::sample::GPRMC;
    use crate::view::sample::HCHDG;
    use crate::view::sample::contradicted;
    use lubber_core::alert::Alone;
    use lubber_core::alert::Suspect;
    use lubber_core::alert::Third;
    use lubber_core::angle::Bearing;

    #[test]
    fn it_is_in_doubt_for_as_long_as_the_alarm_stands_and_the_witness_says_what_it_says_now() {
        let mut status = contradicted();
        let says = |deg| Some(Contrary { origin: GPRMC, says: True(Bearing::from_deg(deg)), ground: true });
        assert_eq!(doubt(&status).map(|doubt| doubt.contrary), Some(says(199)));
        status.alerts[0].state = State::ActiveAcknowledged;
        assert_eq!(doubt(&status).map(|doubt| doubt.contrary), Some(says(199)));
        // A witness that has fallen silent said so last.
        status.witnesses[0].stale = true;
        assert_eq!(doubt(&status).map(|doubt| doubt.contrary), Some(says(190)));
        status.alerts[0].state = State::RectifiedUnacknowledged;
        assert_eq!(doubt(&status), None);
    }

    #[test]
    fn two_against_a_third_clear_the_heading_or_damn_it() {
        for (who, doubted) in [(Suspect::Primary, true), (Suspect::Other, false)] {
            let mut status = contradicted();
            if let Evidence::Disagreement { alone, .. } = &mut status.alerts[0].evidence {
                *alone = Some(Alone { who, third: Third::Gyro });
            }
            assert_eq!(doubt(&status).is_some(), doubted, "{who:?}");
        }
        let mut other = contradicted();
        other.alerts[0].instance = Instance::Sensor(GPRMC);
        assert_eq!(doubt(&other), None, "the alarm is of another sensor than {HCHDG}");
    }
}
