//! What an alert saw, as JSON values with their units.

use lubber_core::alert::Disagreeing;
use lubber_core::alert::Evidence;
use lubber_core::alert::Lost;
use lubber_core::alert::Unanswered;
use lubber_core::angle::TurnRate;
use lubber_core::arbiter::AlertChange;
use lubber_core::picture::OrderedBy;
use lubber_core::picture::Reference;

use crate::view::Sources;
use crate::view::alert::cause;
use crate::view::json::Object;
use crate::view::json::object;
use crate::view::notice::ordered_by;
use crate::view::number::degrees;
use crate::view::number::knots;
use crate::view::number::seconds;
use crate::view::number::signed;

/// What an alert saw, as one JSON object.
pub fn values_json(change: &AlertChange, sources: &Sources) -> String {
    let mut out = String::new();
    object(&mut out, |o| values(o, change, sources));
    out
}

/// Writes what an alert saw into an object that is open.
pub(super) fn values(o: &mut Object<'_>, change: &AlertChange, sources: &Sources) {
    match change.evidence {
        Evidence::OffHeading { heading, ordered, by, .. } => {
            let key = match heading.reference {
                Reference::Compass => "heading_compass_deg",
                Reference::Magnetic => "heading_magnetic_deg",
                Reference::True => "heading_true_deg",
            };
            o.number(key, degrees(heading.bearing));
            o.number("ordered_deg", degrees(ordered.bearing));
            o.text("ordered_reference", ordered.reference.word());
            ordered_by(o, "ordered_by", by);
            if let OrderedBy::StoodBy(_) = by {
                o.flag("stands_by", true);
            }
        }
        Evidence::Disagreement { of, with, by, .. } => {
            o.text("of", of);
            match with {
                Disagreeing::Heading { origin, heading } => {
                    o.text("with", origin);
                    o.number("with_heading_true_deg", degrees(heading.0));
                }
                Disagreeing::Ground { origin, course, speed } => {
                    o.text("with", origin);
                    o.number("course_true_deg", degrees(course.0));
                    o.number("speed_kn", knots(speed));
                }
            }
            o.number("by_deg", signed(by));
            if let Some(alone) = change.evidence.stands_alone() {
                o.text("stands_alone", alone);
            }
        }
        Evidence::Lost { how, silent } => {
            o.text(
                "how",
                match how {
                    Lost::NeverCame => "never-came",
                    Lost::Silent => "silent",
                    Lost::Void => "void",
                },
            );
            o.number("silent_s", seconds(silent));
        }
        Evidence::Frozen { at, still, turned } => {
            o.number("at_deg", degrees(at.bearing));
            o.text("at_reference", at.reference.word());
            o.number("still_s", seconds(still));
            o.number_or_null("turned_deg", turned.map(signed));
        }
        Evidence::InputLost { failed, silent } => {
            o.flag("failed", failed);
            o.number("silent_s", seconds(silent));
        }
        Evidence::InputDamaged { refused, of } => {
            o.number("refused", refused);
            o.number("lines", of);
        }
        Evidence::TurnRate { of, shows, gyro, lasting } => {
            o.text("of", of);
            o.number("heading_turns_deg_per_s", rate(shows));
            o.number("gyro_turns_deg_per_s", rate(gyro));
            o.number("lasting_s", seconds(lasting));
        }
        Evidence::RudderUnanswered { how, rudder, turns, lasting } => {
            o.text(
                "how",
                match how {
                    Unanswered::NoTurn => "no-turn",
                    Unanswered::WrongWay => "wrong-way",
                    Unanswered::TurnsAlone => "turns-alone",
                    Unanswered::Stands => "stands",
                },
            );
            o.number("rudder_deg", signed(rudder));
            o.number("turns_deg_per_s", rate(turns));
            o.number("lasting_s", seconds(lasting));
        }
        Evidence::CardDoubtful { of, at, seen, card, lasting } => {
            o.text("of", of);
            o.number("compass_deg", degrees(at.0));
            o.number("seen_deg", signed(seen));
            o.number("card_deg", signed(card));
            o.number("lasting_s", seconds(lasting));
        }
        Evidence::SupplyLow { millivolts, limit_millivolts, lasting } => {
            o.number("volts", f64::from(millivolts) / 1000.0);
            o.number("limit_volts", f64::from(limit_millivolts) / 1000.0);
            o.number("lasting_s", seconds(lasting));
        }
        Evidence::WatchkeeperSilent { silent, stage } => {
            o.number("stage", stage);
            o.number("silent_s", seconds(silent));
        }
        Evidence::Impaired { lasting } => {
            o.number("lasting_s", seconds(lasting));
            o.text_or_null("why", cause(change, sources));
        }
        Evidence::PresentedAgain { ago } => o.number("ago_s", seconds(ago)),
    }
}

/// A turn rate in degrees a second.
fn rate(turns: TurnRate) -> f64 {
    f64::from(turns.as_mdeg_per_s()) / 1000.0
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::view::alert::json;
    use crate::view::alert::words;
    use crate::view::sample::GPRMC;
    use crate::view::sample::HCHDG;
    use crate::view::sample::STAMP;
    use crate::view::sample::off_heading;
    use crate::view::sample::sources;
    use lubber_core::alert::AlertKind;
    use lubber_core::alert::Alone;
    use lubber_core::alert::Suspect;
    use lubber_core::alert::Third;
    use lubber_core::angle::Bearing;
    use lubber_core::angle::Turn;
    use lubber_core::heading::True;
    use lubber_core::picture::Referred;
    use lubber_core::time::Span;
    use lubber_core::unit::Speed;

    #[test]
    fn every_kind_of_evidence_is_json() {
        let t = |deg| True(Bearing::from_deg(deg));
        let at = Referred { bearing: Bearing::from_deg(7), reference: Reference::Magnetic };
        let kinds = [
            Evidence::Disagreement {
                of: HCHDG,
                with: Disagreeing::Heading { origin: GPRMC, heading: t(12) },
                by: Turn::from_deg(-9),
                alone: None,
            },
            Evidence::Disagreement {
                of: HCHDG,
                with: Disagreeing::Ground { origin: GPRMC, course: t(12), speed: Speed::from_milliknots(5_200) },
                by: Turn::from_deg(15),
                alone: Some(Alone { who: Suspect::Primary, third: Third::Gyro }),
            },
            Evidence::Lost { how: Lost::Void, silent: Span::from_s(5) },
            Evidence::Frozen { at, still: Span::from_s(90), turned: None },
            Evidence::Frozen { at, still: Span::from_s(90), turned: Some(Turn::from_deg(6)) },
            Evidence::InputLost { failed: true, silent: Span::from_s(4) },
            Evidence::InputDamaged { refused: 8, of: 60 },
        ];
        for evidence in kinds {
            let mut line = String::new();
            json(&mut line, STAMP, &AlertChange { evidence, ..off_heading() }, &sources(&["a"]));
            let back: serde_json::Value = serde_json::from_str(&line).expect("it is JSON");
            assert!(back["values"].as_object().is_some_and(|o| o.len() >= 2), "{line}");
            let named = matches!(evidence, Evidence::Disagreement { alone: Some(_), .. });
            assert_eq!(back["values"]["stands_alone"].as_str(), named.then_some("HCHDG"), "{line}");
        }
    }

    /// Signs and units of the values that no other alert has: degrees a second, starboard and east plus,
    /// volts.
    #[test]
    fn values_of_turn_rudder_card_and_battery() {
        let of = |evidence| {
            let mut line = String::new();
            json(&mut line, STAMP, &AlertChange { evidence, ..off_heading() }, &sources(&["line"]));
            let line: serde_json::Value = serde_json::from_str(&line).unwrap();
            (line["values"].clone(), line["text"].as_str().unwrap().to_owned())
        };
        // A thousandth of a degree a second is six hundredths of a degree a minute.
        let rate = |mdeg_per_s: i32| TurnRate::from_centideg_per_min(mdeg_per_s * 6);
        let lasting = Span::from_s(20);
        let (values, text) = of(Evidence::TurnRate { of: HCHDG, shows: rate(-500), gyro: rate(1500), lasting });
        assert_eq!(
            (&values["heading_turns_deg_per_s"], &values["gyro_turns_deg_per_s"]),
            (&(-0.5).into(), &1.5.into())
        );
        assert_eq!(text, "the gyro turns 1.5 deg/s to starboard, HCHDG turns 0.5 deg/s to port, for 20 s");
        let how = Unanswered::WrongWay;
        let (values, text) =
            of(Evidence::RudderUnanswered { how, rudder: Turn::from_deg(-8), turns: rate(2040), lasting });
        assert_eq!((&values["rudder_deg"], &values["turns_deg_per_s"]), (&(-8.0).into(), &2.04.into()));
        assert!(
            text.contains("rudder 8 to port of") && text.contains("the other way, 2.0 deg/s to starboard"),
            "{text}"
        );
        let at = lubber_core::heading::Compass(Bearing::from_deg(45));
        let (seen, card) = (Turn::from_mdeg(-6_200), Turn::from_mdeg(1_500));
        let (values, text) = of(Evidence::CardDoubtful { of: HCHDG, at, seen, card, lasting: Span::from_min(90) });
        assert_eq!((&values["seen_deg"], &values["card_deg"]), (&(-6.2).into(), &1.5.into()));
        assert_eq!(text, "HCHDG on 045 C: deviation 6.2 W seen over 90 min, the card says 1.5 E");
        let (values, text) =
            of(Evidence::SupplyLow { millivolts: 11_640, limit_millivolts: 11_800, lasting: Span::from_s(30) });
        assert_eq!((&values["volts"], &values["limit_volts"]), (&11.64.into(), &11.8.into()));
        assert_eq!(text, "battery at 11.6 V, below 11.8 V for 30 s");
        let evidence = Evidence::Lost { how: Lost::Silent, silent: Span::from_s(60) };
        let gone = AlertChange { kind: AlertKind::SupplyLow, evidence, ..off_heading() };
        assert_eq!(words(&gone, &Sources::default()), "no battery voltage: last heard 60 s ago");
    }
}
