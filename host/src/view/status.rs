//! The status of the watch as a JSON line, and what cannot be judged as text.

use lubber_core::alert::AlertKind;
use lubber_core::alert::Why;
use lubber_core::arbiter::State;
use lubber_core::frame::Counts;
use lubber_core::monitor::HeadingStatus;
use lubber_core::monitor::Status;

use crate::view::Sources;
use crate::view::Stamp;
use crate::view::alert::instance;
use crate::view::alert::words;
use crate::view::doubt::Doubt;
use crate::view::doubt::doubt;
use crate::view::json::Object;
use crate::view::json::object;
use crate::view::notice::correction_word;
use crate::view::notice::steering_json;
use crate::view::notice::variation_json;
use crate::view::number::E7;
use crate::view::number::degrees;
use crate::view::number::knots;
use crate::view::number::seconds;
use crate::view::number::signed;
use crate::view::policy_word;
use crate::view::text::Row;
use crate::view::text::Tone;
use crate::view::text::wrap;

/// How the witnesses of the heading stand to each other.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Agreement {
    /// They agree, and that is judged just now.
    Agree,
    /// They disagree: the alert stands, and both are there to be compared.
    Disagree,
    /// It cannot be told just now.
    NotJudged(Why),
}

/// How the witnesses stand to each other at `status`.
pub fn agreement(status: &Status) -> Agreement {
    let stands = |state| !matches!(state, State::Normal | State::RectifiedUnacknowledged);
    let disagree = |change: &lubber_core::arbiter::AlertChange| {
        change.kind == AlertKind::HeadingDisagreement && stands(change.state)
    };
    let stood = status.alerts.iter().any(disagree);
    match judging(status, AlertKind::HeadingDisagreement) {
        // The alert stands until something clears it; of a witness that is gone that says nothing of this moment.
        Err(why @ (Why::NoWitness | Why::NoHeading | Why::MayBeCopies)) => Agreement::NotJudged(why),
        Ok(()) | Err(_) if stood => Agreement::Disagree,
        Ok(()) => Agreement::Agree,
        Err(why) => Agreement::NotJudged(why),
    }
}

/// Witnesses that count beside the primary heading: fresh headings that are known to be other sensors,
/// and the receiver, which is one witness whichever of its sentences are heard.
pub fn independent(status: &Status) -> usize {
    let primary = status.heading.map(|heading| heading.origin);
    let other = |w: &&lubber_core::monitor::WitnessStatus| {
        !w.ground && !w.stale && !w.may_be_copy && w.copy_of.is_none() && Some(w.origin) != primary
    };
    let ground = status.witnesses.iter().any(|w| w.ground && !w.stale);
    status.witnesses.iter().filter(other).count() + usize::from(ground)
}

/// Whether `kind` judges just now.
pub fn judging(status: &Status, kind: AlertKind) -> Result<(), Why> {
    let found = AlertKind::ALL.iter().zip(&status.judging).find(|(each, _)| **each == kind);
    found.map_or(Err(Why::Disabled), |(_, judging)| *judging)
}

/// The alerts that do not judge just now, and why.
pub fn unjudged(judging: &[Result<(), Why>]) -> impl Iterator<Item = (AlertKind, Why)> {
    AlertKind::ALL.iter().zip(judging).filter_map(|(kind, judging)| judging.err().map(|why| (*kind, why)))
}

/// Appends the status as one JSON object; `counts` gives the byte account of each source.
pub fn json<'a>(
    out: &mut String,
    stamp: Stamp,
    status: &Status,
    sources: &Sources,
    counts: impl Fn(lubber_core::picture::SourceId) -> &'a Counts,
) {
    object(out, |o| {
        o.text_or_null("at", stamp.iso());
        o.number("since_start_ms", stamp.since_start_ms);
        o.object("status", |o| {
            o.object_or_null("heading", status.heading, |o, it| heading(o, it, doubt(status)));
            o.object("order", |o| steering_json(o, status.steering));
            o.number_or_null("off_deg", status.off.map(signed));
            o.object_or_null("ground", status.ground, |o, (course, speed, age)| {
                o.number_or_null("course_true_deg", course.map(|course| degrees(course.0)));
                o.number("speed_kn", knots(speed));
                o.number("age_s", seconds(age));
            });
            o.object_or_null("position", status.position, |o, (position, age)| {
                o.number("latitude_deg", E7(position.lat_e7));
                o.number("longitude_deg", E7(position.lon_e7));
                o.number("age_s", seconds(age));
            });
            o.object_or_null("rudder", status.rudder, |o, (angle, age)| {
                o.number("deg", signed(angle));
                o.number("age_s", seconds(age));
            });
            o.object_or_null("supply", status.supply, |o, (millivolts, age)| {
                o.number("volts", f64::from(millivolts) / 1000.0);
                o.number("age_s", seconds(age));
            });
            o.object_or_null("watchkeeper", status.watchkeeper, |o, watchkeeper| {
                o.number("remaining_s", seconds(watchkeeper.remaining));
                o.number("silent_s", seconds(watchkeeper.silent));
                o.number("stage", watchkeeper.stage);
            });
            o.object_or_null("variation", status.variation, variation_json);
            o.objects("witnesses", &status.witnesses, |o, witness| {
                o.text("from", witness.origin);
                o.text("kind", if witness.ground { "ground" } else { "heading" });
                o.number_or_null("true_deg", witness.truth.map(|truth| degrees(truth.0)));
                o.number_or_null("differs_deg", witness.differs.map(signed));
                o.number("age_s", seconds(witness.age));
                o.flag("stale", witness.stale);
                o.text_or_null("copy_of", witness.copy_of);
            });
            match agreement(status) {
                Agreement::Agree => o.text("agreement", "yes"),
                Agreement::Disagree => o.text("agreement", "no"),
                Agreement::NotJudged(why) => o.text("agreement", format_args!("not judged: {why}")),
            }
            o.object("judging", |o| {
                for (kind, judging) in AlertKind::ALL.iter().zip(&status.judging) {
                    match judging {
                        Ok(()) => o.text(kind.name(), "yes"),
                        Err(why) => o.text(kind.name(), format_args!("no: {why}")),
                    }
                }
            });
            o.objects("alerts", &status.alerts, |o, change| {
                o.text("alert", change.kind);
                o.text("priority", change.priority);
                o.text("state", change.state.word());
                o.text("instance", instance(change.instance, sources));
                o.text("text", words(change, sources));
            });
            o.objects("sources", sources.iter(), |o, (id, source)| {
                let counts = counts(id);
                o.text("name", &source.name);
                o.text("checksum", policy_word(source.checksum));
                o.number("sentences", counts.sentences);
                o.number("refused", counts.refused_total());
            });
        });
    });
}

fn heading(o: &mut Object<'_>, heading: HeadingStatus, doubt: Option<Doubt>) {
    o.text("from", heading.origin);
    o.number_or_null("compass_deg", heading.compass.map(|h| degrees(h.0)));
    o.number_or_null("magnetic_deg", heading.magnetic.map(|h| degrees(h.0)));
    o.number_or_null("true_deg", heading.truth.map(|h| degrees(h.0)));
    o.text("correction", correction_word(heading.correction));
    o.number("age_s", seconds(heading.age));
    o.flag("stale", heading.stale);
    o.number("unchanged_s", seconds(heading.unchanged));
    o.flag("doubted", doubt.is_some());
    if let Some(doubt) = doubt {
        o.text("doubted_by", doubt.by);
        o.object_or_null("contradicted_by", doubt.contrary, |o, contrary| {
            o.text("from", contrary.origin);
            o.text("kind", if contrary.ground { "ground" } else { "heading" });
            o.number("true_deg", degrees(contrary.says.0));
        });
    }
}

/// What is not watched just now and why, one line for each; one line too where all is watched.
pub fn unjudged_rows(stamp: Stamp, status: &Status, width: usize) -> Vec<Row> {
    let clock = stamp.clock();
    let indent = clock.len() + 1;
    let list: Vec<_> = unjudged(&status.judging).collect();
    if list.is_empty() {
        return vec![Row::plain(format!("{clock} every alert is watched for"))];
    }
    let widest = list.iter().map(|(kind, _)| kind.name().len()).max().unwrap_or(0);
    let mut rows =
        vec![Row::plain(format!("{clock} ")).and(Tone::Caution, "NOT WATCHED").and(Tone::Plain, " just now, and why:")];
    for (kind, why) in list {
        let lines = wrap(&why.to_string(), width, indent + 2 + widest + 2);
        for (place, line) in lines.into_iter().enumerate() {
            let name = if place == 0 { kind.name() } else { "" };
            rows.push(Row::plain(format!("{:indent$}  {name:widest$}  {}", "", line.trim_start())));
        }
    }
    rows
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::view::sample::nothing_known;
    use lubber_core::unit::Speed;

    #[test]
    fn a_witness_that_is_gone_does_not_disagree_for_hours() {
        use lubber_core::alert::Evidence;
        use lubber_core::alert::Instance;
        use lubber_core::alert::Priority;
        use lubber_core::arbiter::AlertChange;
        use lubber_core::time::Instant;
        use lubber_core::time::Span;
        let mut status = nothing_known();
        let change = AlertChange {
            at: Instant::default(),
            kind: AlertKind::HeadingDisagreement,
            instance: Instance::Boat,
            number: 1,
            revision: 1,
            escalations: 0,
            occurrence: 1,
            priority: Priority::Alarm,
            state: State::ActiveAcknowledged,
            escalated: false,
            repeated: false,
            follows: None,
            evidence: Evidence::PresentedAgain { ago: Span::ZERO },
        };
        status.alerts.push(change).expect("there is room");
        for (judging, said) in [
            (Ok(()), Agreement::Disagree),
            (Err(Why::Settling), Agreement::Disagree),
            (Err(Why::NoWitness), Agreement::NotJudged(Why::NoWitness)),
            (Err(Why::NoHeading), Agreement::NotJudged(Why::NoHeading)),
        ] {
            status.judging[AlertKind::HeadingDisagreement as usize] = judging;
            assert_eq!(agreement(&status), said);
        }
    }

    #[test]
    fn nothing_known_is_null_and_never_zero() {
        let mut line = String::new();
        let counts = Counts::default();
        json(&mut line, Stamp::default(), &nothing_known(), &Sources::default(), |_| &counts);
        let back: serde_json::Value = serde_json::from_str(&line).expect("it is JSON");
        for key in ["heading", "off_deg", "ground", "position", "rudder", "supply", "watchkeeper", "variation"] {
            assert!(back["status"][key].is_null(), "{key}");
        }
        assert_eq!(back["status"]["judging"]["off-heading"], "yes");
    }

    #[test]
    fn a_heading_in_doubt_says_so_and_what_contradicts_it() {
        let mut status = crate::view::sample::contradicted();
        let heading = |status: &Status| {
            let mut line = String::new();
            let counts = Counts::default();
            json(&mut line, Stamp::default(), status, &Sources::default(), |_| &counts);
            serde_json::from_str::<serde_json::Value>(&line).expect("it is JSON")["status"]["heading"].clone()
        };
        let doubted = heading(&status);
        assert_eq!((&doubted["doubted"], &doubted["doubted_by"]), (&true.into(), &"heading-disagreement".into()));
        let contrary = serde_json::json!({ "from": "GPRMC", "kind": "ground", "true_deg": 199.0 });
        assert_eq!(doubted["contradicted_by"], contrary);
        status.alerts.clear();
        let believed = heading(&status);
        assert_eq!((&believed["doubted"], believed.get("doubted_by")), (&false.into(), None));
    }

    #[test]
    fn what_is_not_judged_says_why_in_the_words_of_the_design() {
        let mut status = nothing_known();
        status.judging[1] =
            Err(Why::TooSlow { speed: Speed::from_milliknots(800), least: Speed::from_milliknots(1500) });
        let mut line = String::new();
        let counts = Counts::default();
        json(&mut line, Stamp::default(), &status, &Sources::default(), |_| &counts);
        assert!(line.contains(r#""heading-disagreement":"no: speed 0.8 kn, course useless below 1.5""#), "{line}");
        let rows: Vec<String> = unjudged_rows(Stamp::default(), &status, 80).iter().map(Row::words).collect();
        assert_eq!(
            rows,
            [
                "+0:00:00 NOT WATCHED just now, and why:",
                "           heading-disagreement  speed 0.8 kn, course useless below 1.5",
            ]
        );
    }
}
