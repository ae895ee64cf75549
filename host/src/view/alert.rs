//! One change of one alert: its name and its words, and its JSON line.

mod rows;
mod values;

pub use rows::{Entry, entry, rows, tone};
pub use values::values_json;

use std::sync::Arc;

use lubber_core::alert::AlertKind;
use lubber_core::alert::Evidence;
use lubber_core::alert::Instance;
use lubber_core::arbiter::AlertChange;
use lubber_core::arbiter::State;
use lubber_core::picture::OrderedBy;
use lubber_core::time::Span;

use crate::view::Sources;
use crate::view::Stamp;
use crate::view::alert::values::values;
use crate::view::json::object;
use crate::view::number::side;
use crate::view::number::whole;

/// What the alert is about, as a person calls it: `HCHDG`, the name of a source, or `boat`.
pub fn instance(instance: Instance, sources: &Sources) -> String {
    match instance {
        Instance::Boat => "boat".into(),
        Instance::Sensor(origin) => origin.to_string(),
        Instance::Source(id) => sources.name(id).into(),
        Instance::Part(part) => part.to_string(),
    }
}

/// What it saw, in words; of an alert that no longer stands it says so first.
pub fn words(change: &AlertChange, sources: &Sources) -> String {
    if !matches!(change.state, State::Normal | State::RectifiedUnacknowledged) {
        return match change.evidence {
            Evidence::Lost { .. } if change.kind == AlertKind::SupplyLow => {
                format!("no battery voltage: {}", change.evidence)
            }
            Evidence::Impaired { lasting } => match cause(change, sources) {
                Some(why) if lasting < Span::from_s(1) => format!("does not work: {why}"),
                Some(why) => format!("{}: {why}", change.evidence),
                None => change.evidence.to_string(),
            },
            evidence => evidence.to_string(),
        };
    }
    // The evidence is of the moment it was over, or of the last moment before.
    match change.evidence {
        Evidence::OffHeading { heading, ordered, off, by, .. } => {
            let order = if by == OrderedBy::FirstSteadyMinute { "first steady minute" } else { "ordered" };
            format!("over: heading {heading}, {order} {ordered}: {} to {}", whole(off), side(off))
        }
        Evidence::Disagreement { of, with, .. } => {
            format!("over: {of} and {} agree again", with.origin())
        }
        Evidence::Lost { .. } => "over: it is there again".into(),
        Evidence::Frozen { .. } => "over: it moves again".into(),
        Evidence::InputLost { .. } => "over: bytes come again".into(),
        Evidence::InputDamaged { .. } => "over: fewer lines are refused".into(),
        Evidence::TurnRate { of, .. } => format!("over: {of} and the gyro agree again"),
        Evidence::RudderUnanswered { .. } => "over: she answers her rudder again".into(),
        Evidence::CardDoubtful { .. } => "over: the card fits again".into(),
        Evidence::SupplyLow { millivolts, .. } => {
            format!("over: battery at {:.1} V", f64::from(millivolts) / 1000.0)
        }
        Evidence::WatchkeeperSilent { .. } => "over: somebody answered".into(),
        Evidence::Impaired { .. } => "over: it works again".into(),
        Evidence::PresentedAgain { .. } if change.state == State::Normal => {
            "answered; if it still stands it is raised anew".into()
        }
        Evidence::PresentedAgain { .. } => "over: it has not been seen since the watch began".into(),
    }
}

/// Appends the change as one JSON object.
pub fn json(out: &mut String, stamp: Stamp, change: &AlertChange, sources: &Sources) {
    object(out, |o| {
        o.text_or_null("at", stamp.iso());
        o.number("since_start_ms", stamp.since_start_ms);
        o.text("alert", change.kind);
        o.text("priority", change.priority);
        o.text("state", change.state.word());
        o.text("instance", instance(change.instance, sources));
        o.number("occurrence", change.occurrence);
        if change.escalated {
            o.flag("escalated", true);
        }
        if change.repeated {
            o.flag("repeated", true);
        }
        if let Evidence::PresentedAgain { .. } = change.evidence {
            o.flag("presented_again", true);
        }
        if let Some(cause) = change.follows {
            o.text("follows", cause);
        }
        if let (Instance::Sensor(origin), true) = (change.instance, sources.several()) {
            o.text("source", sources.name(origin.source));
        }
        o.text("text", words(change, sources));
        o.object("values", |o| values(o, change, sources));
    });
}

/// Why a part of the watch fails, where the host said so: the core does not know.
fn cause(change: &AlertChange, sources: &Sources) -> Option<Arc<str>> {
    match change.instance {
        Instance::Part(part) => sources.cause(part),
        _ => None,
    }
}

/// Whether this change is to be heard, where there is something to hear it by.
pub fn sounds(change: &AlertChange) -> bool {
    change.follows.is_none() && change.state == State::ActiveUnacknowledged && change.evidence.is_audible()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::view::sample::HCHDG;
    use crate::view::sample::STAMP;
    use crate::view::sample::off_heading;
    use crate::view::sample::sources;

    #[test]
    fn the_first_stage_of_an_unanswered_watch_is_seen_and_not_heard() {
        // MSC.128(75) 4.1.2: visual first, audible 15 s later.
        for (stage, heard) in [(1, false), (2, true), (3, true), (4, true)] {
            let evidence = Evidence::WatchkeeperSilent { silent: Span::from_min(10), stage };
            assert_eq!(sounds(&AlertChange { evidence, ..off_heading() }), heard, "{stage}");
        }
    }

    #[test]
    fn a_pilot_that_stands_by_is_said_of_it() {
        let mut change = off_heading();
        if let Evidence::OffHeading { by, .. } = &mut change.evidence {
            *by = OrderedBy::StoodBy(HCHDG);
        }
        let said = words(&change, &Sources::default());
        assert!(said.ends_with("for 10 s; the pilot itself says it stands by"), "{said}");
        let mut line = String::new();
        json(&mut line, STAMP, &change, &sources(&["night.nmea"]));
        assert!(line.contains(r#""stands_by":true"#), "{line}");
    }

    #[test]
    fn the_json_line_of_the_design() {
        let mut line = String::new();
        json(&mut line, STAMP, &off_heading(), &sources(&["night.nmea"]));
        assert_eq!(
            line,
            concat!(
                r#"{"at":"2026-07-14T02:11:09.300Z","since_start_ms":812300,"alert":"off-heading","#,
                r#""priority":"alarm","state":"active-unacknowledged","instance":"HCHDG","occurrence":1,"#,
                r#""text":"heading 152 C, ordered 135 C: 17 to starboard for 10 s","#,
                r#""values":{"heading_compass_deg":152.1,"ordered_deg":135.0,"ordered_reference":"compass","#,
                r#""ordered_by":"owner"}}"#
            )
        );
    }

    #[test]
    fn an_escalation_and_a_second_source_are_said() {
        let mut change = off_heading();
        change.escalated = true;
        change.follows = Some(AlertKind::InputLost);
        let mut line = String::new();
        json(&mut line, Stamp { utc_ms: None, ..STAMP }, &change, &sources(&["pilot", "gps"]));
        let back: serde_json::Value = serde_json::from_str(&line).expect("it is JSON");
        assert!(back["at"].is_null());
        assert_eq!(back["escalated"], true);
        assert_eq!(back["follows"], "input-lost");
        assert_eq!(back["source"], "pilot");
    }

    #[test]
    fn only_what_nobody_answered_sounds_and_never_what_follows() {
        assert!(sounds(&off_heading()));
        assert!(!sounds(&AlertChange { state: State::ActiveSilenced, ..off_heading() }));
        assert!(!sounds(&AlertChange { state: State::ActiveAcknowledged, ..off_heading() }));
        assert!(!sounds(&AlertChange { follows: Some(AlertKind::InputLost), ..off_heading() }));
    }
}
