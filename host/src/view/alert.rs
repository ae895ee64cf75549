//! One change of one alert: its JSON line and its line of text.

use std::sync::Arc;

use lubber_core::alert::AlertKind;
use lubber_core::alert::Disagreeing;
use lubber_core::alert::Evidence;
use lubber_core::alert::Instance;
use lubber_core::alert::Lost;
use lubber_core::alert::Priority;
use lubber_core::alert::Unanswered;
use lubber_core::angle::TurnRate;
use lubber_core::arbiter::AlertChange;
use lubber_core::arbiter::State;
use lubber_core::picture::OrderedBy;
use lubber_core::picture::Reference;
use lubber_core::time::Span;

use crate::view::Sources;
use crate::view::Stamp;
use crate::view::json::Object;
use crate::view::json::object;
use crate::view::notice::ordered_by;
use crate::view::number::degrees;
use crate::view::number::knots;
use crate::view::number::seconds;
use crate::view::number::side;
use crate::view::number::signed;
use crate::view::number::whole;
use crate::view::text::Row;
use crate::view::text::Tone;
use crate::view::text::wrap;

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

/// What an alert saw, as one JSON object.
pub fn values_json(change: &AlertChange, sources: &Sources) -> String {
    let mut out = String::new();
    object(&mut out, |o| values(o, change, sources));
    out
}

/// Why a part of the watch fails, where the host said so: the core does not know.
fn cause(change: &AlertChange, sources: &Sources) -> Option<Arc<str>> {
    match change.instance {
        Instance::Part(part) => sources.cause(part),
        _ => None,
    }
}

fn values(o: &mut Object<'_>, change: &AlertChange, sources: &Sources) {
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

/// Below so many columns the time is left out before an alert.
const NARROW: usize = 50;

/// The tone of an alert of this priority in this state.
pub const fn tone(priority: Priority, state: State) -> Tone {
    match (priority, state) {
        (_, State::Normal) => Tone::Plain,
        (Priority::Alarm, State::ActiveUnacknowledged) => Tone::AlarmUnanswered,
        (Priority::Alarm, _) => Tone::Alarm,
        (Priority::Warning, _) => Tone::Warning,
        (Priority::Caution, _) => Tone::Caution,
    }
}

/// Whether this change is to be heard, where there is something to hear it by.
pub fn sounds(change: &AlertChange) -> bool {
    change.follows.is_none() && change.state == State::ActiveUnacknowledged && change.evidence.is_audible()
}

/// A change as a display shows it: what, and under it what was seen.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Entry {
    /// Which alert of what, and its state.
    pub head: Vec<Row>,
    /// What was seen.
    pub text: Vec<Row>,
}

/// The change for a person: a line that says what, and under it what was seen.
pub fn rows(stamp: Stamp, change: &AlertChange, sources: &Sources, width: usize) -> Vec<Row> {
    let Entry { head, text } = entry(stamp, change, sources, width);
    let mut rows: Vec<Row> = head.into_iter().chain(text).collect();
    if let Some(remedy) = remedy(change) {
        rows.extend(wrap(remedy, width, stamp.clock().len() + 1).into_iter().map(Row::plain));
    }
    rows
}

/// What to do about an alert that only the owner's word can settle, said where it is raised first.
fn remedy(change: &AlertChange) -> Option<&'static str> {
    let raised = change.state == State::ActiveUnacknowledged && change.occurrence <= 1 && !change.repeated;
    match change.evidence {
        Evidence::OffHeading { by: OrderedBy::FirstSteadyMinute, .. } if raised => {
            Some("where she is meant to go is told by: lubber steer here, or steer hand")
        }
        _ => None,
    }
}

/// As [`rows`], apart: where there is no room for both the head is what is shown.
pub fn entry(stamp: Stamp, change: &AlertChange, sources: &Sources, width: usize) -> Entry {
    let clock = stamp.clock();
    let word = match change.priority {
        // Something that is over must not look like something that stands.
        priority if change.state == State::Normal => format!("over ({priority})"),
        Priority::Alarm => "ALARM".into(),
        Priority::Warning => "WARNING".into(),
        Priority::Caution => "caution".into(),
    };
    let mut remarks = if change.escalated {
        ", was a warning that nobody answered".into()
    } else if change.repeated {
        ", not answered".into()
    } else if change.occurrence > 1 {
        format!(", number {}", change.occurrence)
    } else {
        String::new()
    };
    if let Some(cause) = change.follows {
        remarks = format!("{remarks}, follows from {cause}");
    }
    let about = match change.instance {
        Instance::Sensor(origin) if sources.several() => format!("{origin} on {}", sources.name(origin.source)),
        other => instance(other, sources),
    };
    // On a narrow screen every column is for what is wrong, and when it began stands in the log. Whether it is
    // over stands first there: the state comes last, and may find no room.
    let (clock, indent) = match change.state {
        State::RectifiedUnacknowledged if width < NARROW => ("over: ".into(), 1),
        _ if width < NARROW => (String::new(), 1),
        _ => (format!("{clock} "), clock.len() + 1),
    };
    let what = format!("{} {about}: {}{remarks}", change.kind, change.state.word());
    let before = word.len() + 1 + if indent == 1 { clock.len() } else { 0 };
    let mut lines = wrap(&what, width.saturating_sub(before), indent).into_iter();
    let first = lines.next().unwrap_or_default();
    let head = Row::plain(clock).and(tone(change.priority, change.state), word);
    let head = head.and(Tone::Plain, format!(" {}", first.trim_start()));
    let text = wrap(&words(change, sources), width, indent).into_iter().map(Row::plain).collect();
    Entry { head: std::iter::once(head).chain(lines.map(Row::plain)).collect(), text }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::view::Source;
    use lubber_core::alert::AlertKind;
    use lubber_core::alert::Alone;
    use lubber_core::alert::Suspect;
    use lubber_core::alert::Third;
    use lubber_core::angle::Bearing;
    use lubber_core::angle::Turn;
    use lubber_core::frame::ChecksumPolicy;
    use lubber_core::frame::Formatter;
    use lubber_core::frame::Talker;
    use lubber_core::heading::True;
    use lubber_core::picture::Origin;
    use lubber_core::picture::Referred;
    use lubber_core::picture::SourceId;
    use lubber_core::time::Instant;
    use lubber_core::time::Span;
    use lubber_core::unit::Speed;

    const HCHDG: Origin = Origin { source: SourceId(0), talker: Talker(*b"HC"), formatter: Formatter(*b"HDG") };
    const GPRMC: Origin = Origin { source: SourceId(1), talker: Talker(*b"GP"), formatter: Formatter(*b"RMC") };
    const STAMP: Stamp = Stamp { utc_ms: Some(1_783_995_069_300), since_start_ms: 812_300 };

    fn sources(names: &[&str]) -> Sources {
        let source = |name: &&str| Source { name: (*name).into(), checksum: ChecksumPolicy::Required };
        Sources::new(names.iter().map(source).collect())
    }

    fn off_heading() -> AlertChange {
        let compass = |mdeg| Referred { bearing: Bearing::from_mdeg(mdeg), reference: Reference::Compass };
        AlertChange {
            at: Instant::from_ms(812_300),
            kind: AlertKind::OffHeading,
            instance: Instance::Sensor(HCHDG),
            number: 1,
            revision: 1,
            escalations: 0,
            occurrence: 1,
            priority: Priority::Alarm,
            state: State::ActiveUnacknowledged,
            escalated: false,
            repeated: false,
            follows: None,
            evidence: Evidence::OffHeading {
                heading: compass(152_100),
                ordered: compass(135_000),
                off: Turn::from_mdeg(17_100),
                lasting: Span::from_s(10),
                by: OrderedBy::Owner,
            },
        }
    }

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
    fn an_order_that_nobody_gave_is_not_said_to_be_one() {
        let mut change = off_heading();
        if let Evidence::OffHeading { by, .. } = &mut change.evidence {
            *by = OrderedBy::FirstSteadyMinute;
        }
        let said = |change: &AlertChange| -> Vec<String> {
            rows(STAMP, change, &sources(&["night.nmea"]), 80).iter().map(Row::words).collect()
        };
        assert_eq!(
            said(&change),
            [
                "02:11:09 ALARM off-heading HCHDG: active-unacknowledged",
                "         heading 152 C: 17 to starboard of the first steady minute (135 C),",
                "         which nobody ordered, for 10 s",
                "         where she is meant to go is told by: lubber steer here, or steer hand",
            ]
        );
        let mut line = String::new();
        json(&mut line, STAMP, &change, &sources(&["night.nmea"]));
        assert!(line.contains(r#""ordered_by":"first-steady-minute""#), "{line}");
        // The remedy is said once.
        let again = AlertChange { occurrence: 2, ..change };
        assert!(said(&again).iter().all(|row| !row.contains("steer hand")), "{:?}", said(&again));
        let over = AlertChange { state: State::RectifiedUnacknowledged, ..change };
        assert_eq!(said(&over)[1], "         over: heading 152 C, first steady minute 135 C: 17 to starboard");
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

    #[test]
    fn the_text_fits_80_columns_and_says_state_and_priority_in_words() {
        let said = |change: &AlertChange, width| -> Vec<String> {
            rows(STAMP, change, &sources(&["night.nmea"]), width).iter().map(Row::words).collect()
        };
        assert_eq!(
            said(&off_heading(), 80),
            [
                "02:11:09 ALARM off-heading HCHDG: active-unacknowledged",
                "         heading 152 C, ordered 135 C: 17 to starboard for 10 s",
            ]
        );
        let over = AlertChange { state: State::Normal, occurrence: 2, ..off_heading() };
        assert_eq!(
            said(&over, 60),
            [
                "02:11:09 over (alarm) off-heading HCHDG: normal, number 2",
                "         over: heading 152 C, ordered 135 C: 17 to starboard",
            ]
        );
    }

    #[test]
    fn on_a_narrow_screen_what_is_over_says_so_first() {
        let first = |state| {
            let change = AlertChange { state, ..off_heading() };
            let entry = entry(STAMP, &change, &sources(&["night.nmea"]), 20);
            entry.head[0].words()
        };
        assert_eq!(first(State::ActiveUnacknowledged), "ALARM off-heading");
        assert_eq!(first(State::RectifiedUnacknowledged), "over: ALARM off-heading");
    }

    #[test]
    fn only_what_nobody_answered_sounds_and_never_what_follows() {
        assert!(sounds(&off_heading()));
        assert!(!sounds(&AlertChange { state: State::ActiveSilenced, ..off_heading() }));
        assert!(!sounds(&AlertChange { state: State::ActiveAcknowledged, ..off_heading() }));
        assert!(!sounds(&AlertChange { follows: Some(AlertKind::InputLost), ..off_heading() }));
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
