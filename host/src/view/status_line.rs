//! The one line that says how it stands, as much of it as the width allows.

use lubber_core::alert::Priority;
use lubber_core::alert::Said;
use lubber_core::alert::WatchkeeperStatus;
use lubber_core::alert::Why;
use lubber_core::angle::EastWest;
use lubber_core::angle::Turn;
use lubber_core::arbiter::AlertChange;
use lubber_core::arbiter::State;
use lubber_core::monitor::Correction;
use lubber_core::monitor::HeadingStatus;
use lubber_core::monitor::Status;
use lubber_core::monitor::VariationFrom;
use lubber_core::picture::Reference;
use lubber_core::picture::Referred;
use lubber_core::picture::Steering;
use lubber_core::time::Span;

use crate::view::Sources;
use crate::view::Stamp;
use crate::view::alert::tone;
use crate::view::number::knots;
use crate::view::number::seconds;
use crate::view::number::whole;
use crate::view::status::Agreement;
use crate::view::status::agreement;
use crate::view::status::independent;
use crate::view::status::unjudged;
use crate::view::text::Row;
use crate::view::text::Tone;

/// A part of the line.
pub(super) struct Part {
    pub(super) text: String,
    pub(super) tone: Tone,
    /// 0 is never left out; the others go from the highest.
    rank: u8,
}

const GAP: usize = 2;

/// From this age on a value says how old it is.
const OLD: Span = Span::from_s(10);

fn length(parts: &[Part]) -> usize {
    parts.iter().map(|part| part.text.chars().count()).sum::<usize>() + GAP * parts.len().saturating_sub(1)
}

/// The status in at most `width` characters; `remark` is how far a replay is. The usual parts stand in
/// columns, so that the eye finds them; where there is no room the least important are left out.
/// What must not be missed (time, alerts, an ignored checksum, the heading) is only cut off in the end.
pub fn row(stamp: Stamp, status: &Status, sources: &Sources, remark: Option<&str>, width: usize) -> Row {
    let mut parts = parts(stamp, status, sources, remark);
    let mut ranks: Vec<u8> = parts.iter().map(|part| part.rank).filter(|rank| *rank > 0).collect();
    ranks.sort_unstable();
    ranks.dedup();
    for rank in ranks.iter().rev() {
        if length(&parts) > width {
            parts.retain(|part| part.rank != *rank);
        }
    }
    if let Some(last) = parts.last_mut() {
        last.text.truncate(last.text.trim_end().len());
    }
    let mut row = Row::default();
    for (place, part) in parts.into_iter().enumerate() {
        if place > 0 {
            row = row.and(Tone::Plain, " ".repeat(GAP));
        }
        row = row.and(part.tone, part.text);
    }
    row.cut(width)
}

fn parts(stamp: Stamp, status: &Status, sources: &Sources, remark: Option<&str>) -> Vec<Part> {
    let clock = stamp.clock();
    let mut parts = vec![part(clock, Tone::Plain, 0), alerts(status)];
    if sources.unchecked().next().is_some() {
        parts.push(part("CHECKSUM IGNORED", Tone::Warning, 0));
    }
    parts.push(heading(status.heading.as_ref()));
    parts.push(order(status));
    // What the boat does not have and nobody asked for is told at the start and on demand; counted here it
    // would hide for good what cannot be watched just now.
    let count = unjudged(&status.judging).filter(|(_, why)| !never(*why)).count();
    if count > 0 {
        parts.push(part(format!("{count} not watched"), Tone::Caution, 2));
    }
    if let Some((course, speed, age)) = status.ground {
        let course = course.map_or("none".to_owned(), |course| format!("{}T", course.0));
        parts.push(part(format!("COG {course} {:>3} kn{}", knots(speed).to_string(), old(age)), Tone::Plain, 3));
    }
    parts.push(witnesses(status));
    if let Some((angle, age)) = status.rudder {
        parts.push(part(format!("rudder {:<7}{}", to_side(angle), old(age)), Tone::Plain, 5));
    }
    if let Some(watchkeeper) = status.watchkeeper {
        parts.push(answer(watchkeeper));
    }
    if let Some((millivolts, age)) = status.supply {
        parts.push(part(format!("battery {:.1} V{}", f64::from(millivolts) / 1000.0, old(age)), Tone::Plain, 6));
    }
    if let Some(variation) = status.variation {
        let from = match variation.from {
            VariationFrom::Wire(origin) => format!("by {origin}"),
            VariationFrom::Model => "by the model".into(),
        };
        parts.push(part(format!("variation {} {from}", EastWest(variation.variation.0)), Tone::Plain, 6));
    }
    if let Some(remark) = remark {
        parts.push(part(remark, Tone::Quiet, 7));
    }
    parts
}

fn part(text: impl Into<String>, tone: Tone, rank: u8) -> Part {
    Part { text: text.into(), tone, rank }
}

/// An angle to one side: `3 stbd`, `12 port`, `0`.
pub(super) fn to_side(angle: Turn) -> String {
    match (whole(angle), angle.as_mdeg() < 0) {
        (0, _) => "0".into(),
        (size, true) => format!("{size} port"),
        (size, false) => format!("{size} stbd"),
    }
}

fn referred(bearing: lubber_core::angle::Bearing, reference: Reference) -> Referred {
    Referred { bearing, reference }
}

/// Whether it is never watched on this boat: said once at the start, and no news after that.
fn never(why: Why) -> bool {
    matches!(why, Why::NotWanted | Why::NotAskedFor | Why::NoGyro | Why::NoCard | Why::NoTrueWitness)
}

/// Said of a value that is not of this moment.
pub(super) fn old(age: Span) -> String {
    if age >= OLD { format!(" {} s ago", age.as_s()) } else { String::new() }
}

/// Without the space: `135C`.
pub(super) fn compact(direction: Referred) -> String {
    format!("{}{}", direction.bearing, direction.reference.letter())
}

/// How many alerts stand, by priority; and how many are over that nobody has answered.
pub(super) fn alerts(status: &Status) -> Part {
    let active = |change: &&AlertChange| !matches!(change.state, State::Normal | State::RectifiedUnacknowledged);
    let over = status.alerts.iter().filter(|change| change.state == State::RectifiedUnacknowledged).count();
    let mut words = Vec::new();
    let mut loudest = Tone::Plain;
    let mut others = 0;
    for (priority, one, many) in [
        (Priority::Alarm, "ALARM", "ALARMS"),
        (Priority::Warning, "WARNING", "WARNINGS"),
        (Priority::Caution, "caution", "cautions"),
    ] {
        let standing = || status.alerts.iter().filter(active).filter(|change| change.priority == priority);
        let count = standing().count();
        if count == 0 {
            continue;
        }
        if words.is_empty() {
            let unanswered = standing().any(|change| change.state == State::ActiveUnacknowledged);
            let state = if unanswered { State::ActiveUnacknowledged } else { State::ActiveAcknowledged };
            loudest = tone(priority, state);
        } else {
            others += count;
        }
        words.push(format!("{count} {}", if count == 1 { one } else { many }));
    }
    let mut text = match words.first() {
        None => "no alert".to_owned(),
        Some(first) if others == 0 => first.clone(),
        Some(first) => format!("{first} +{others}"),
    };
    if over > 0 {
        text = format!("{text}, {over} over");
    }
    part(format!("{text:<9}"), loudest, 0)
}

/// The heading in every reference it is known in.
pub(super) fn heading(heading: Option<&HeadingStatus>) -> Part {
    let Some(heading) = heading else { return part("NO HEADING", Tone::Alarm, 0) };
    let known: Vec<Referred> = [
        heading.compass.map(|h| referred(h.0, Reference::Compass)),
        heading.magnetic.map(|h| referred(h.0, Reference::Magnetic)),
        heading.truth.map(|h| referred(h.0, Reference::True)),
    ]
    .into_iter()
    .flatten()
    .collect();
    // A heading in no reference at all cannot be; the raw one is then what there is.
    let known = if known.is_empty() { vec![heading.raw] } else { known };
    // Magnetic equals compass where nothing corrects it: leaving it out makes room for the word that matters.
    let uncorrected = heading.correction == Correction::Uncorrected;
    let repeats = uncorrected && heading.compass.is_some();
    let shown = known.iter().filter(|r| !repeats || r.reference != Reference::Magnetic);
    let mut text = shown.copied().map(compact).collect::<Vec<String>>().join(" ");
    if uncorrected {
        text.push_str(" uncorrected");
    }
    if heading.stale {
        let age = seconds(heading.age).0 / 10;
        return part(format!("{text} LOST {age}s"), Tone::Alarm, 0);
    }
    part(text, Tone::Plain, 0)
}

/// The order and how far off it she is.
pub(super) fn order(status: &Status) -> Part {
    let (order, held) = match status.steering {
        Steering::Unknown => return part("no order yet", Tone::Plain, 1),
        Steering::Wind => return part("by the wind", Tone::Caution, 1),
        Steering::Hand => return part("by hand", Tone::Caution, 1),
        Steering::Heading { order, held, .. } => (order, held),
    };
    let held = if held { " held" } else { "" };
    let off = match status.off {
        None => String::new(),
        Some(off) if whole(off) == 0 => "on it".into(),
        Some(off) => to_side(off),
    };
    part(format!("order {}{held} {off:<7}", compact(order)), Tone::Plain, 1)
}

/// Within what time somebody must answer. The last minute stands where it is not left out.
fn answer(watchkeeper: WatchkeeperStatus) -> Part {
    let left = watchkeeper.remaining;
    match watchkeeper.stage {
        0 if left > Span::from_min(1) => part(format!("answer in {}", Said(left)), Tone::Plain, 5),
        0 => part(format!("answer in {}", Said(left)), Tone::Caution, 1),
        stage => part(format!("ANSWER, stage {stage} of 4"), Tone::AlarmUnanswered, 0),
    }
}

/// Whether the witnesses of the heading agree.
pub(super) fn witnesses(status: &Status) -> Part {
    let count = independent(status);
    match agreement(status) {
        Agreement::Disagree => part("witnesses DISAGREE", Tone::Alarm, 1),
        _ if count == 0 => part("no witness", Tone::Plain, 4),
        Agreement::Agree => part(format!("{count} agree"), Tone::Plain, 4),
        Agreement::NotJudged(_) => part(format!("{count} not compared"), Tone::Plain, 4),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::view::Source;
    use crate::view::sample::nothing_known;
    use lubber_core::alert::AlertKind;
    use lubber_core::alert::Evidence;
    use lubber_core::alert::Instance;
    use lubber_core::angle::Bearing;
    use lubber_core::frame::ChecksumPolicy;
    use lubber_core::frame::Formatter;
    use lubber_core::frame::Talker;
    use lubber_core::heading::Compass;
    use lubber_core::heading::Magnetic;
    use lubber_core::heading::True;
    use lubber_core::heading::Variation;
    use lubber_core::monitor::VariationInUse;
    use lubber_core::picture::OrderedBy;
    use lubber_core::picture::Origin;
    use lubber_core::picture::SourceId;
    use lubber_core::time::Instant;
    use lubber_core::unit::Speed;

    const STAMP: Stamp = Stamp { utc_ms: Some(1_783_995_069_300), since_start_ms: 812_300 };
    const HCHDG: Origin = Origin { source: SourceId(0), talker: Talker(*b"HC"), formatter: Formatter(*b"HDG") };

    fn all_known() -> Status {
        let mut status = nothing_known();
        status.heading = Some(HeadingStatus {
            origin: HCHDG,
            raw: referred(Bearing::from_deg(137), Reference::Compass),
            compass: Some(Compass(Bearing::from_deg(137))),
            magnetic: Some(Magnetic(Bearing::from_deg(139))),
            truth: Some(True(Bearing::from_deg(143))),
            correction: Correction::Card,
            age: Span::from_ms(100),
            stale: false,
            unchanged: Span::ZERO,
        });
        let order = referred(Bearing::from_deg(135), Reference::Compass);
        status.steering = Steering::Heading { order, by: OrderedBy::Owner, held: false };
        status.off = Some(Turn::from_deg(2));
        status.ground = Some((Some(True(Bearing::from_deg(145))), Speed::from_milliknots(5_200), Span::from_ms(400)));
        status.rudder = Some((Turn::from_deg(-3), Span::from_ms(200)));
        let variation = Variation(Turn::from_mdeg(4_100));
        status.variation = Some(VariationInUse { variation, from: VariationFrom::Model });
        status
    }

    fn said(status: &Status, width: usize) -> String {
        row(STAMP, status, &Sources::default(), None, width).words()
    }

    #[test]
    fn as_much_as_fits() {
        let status = all_known();
        assert_eq!(
            said(&status, 200),
            "02:11:09  no alert   137C 139M 143T  order 135C 2 stbd   COG 145T 5.2 kn  no witness  \
             rudder 3 port   variation 4.1 E by the model"
        );
        assert_eq!(said(&status, 80), "02:11:09  no alert   137C 139M 143T  order 135C 2 stbd   COG 145T 5.2 kn");
        assert_eq!(said(&status, 60), "02:11:09  no alert   137C 139M 143T  order 135C 2 stbd");
    }

    #[test]
    fn what_nobody_asked_for_is_not_counted_and_what_cannot_be_judged_is() {
        let mut status = all_known();
        status.judging[AlertKind::SupplyLow as usize] = Err(Why::NotWanted);
        status.judging[AlertKind::WatchkeeperSilent as usize] = Err(Why::NotAskedFor);
        assert!(!said(&status, 200).contains("not watched"));
        status.judging[AlertKind::OffHeading as usize] = Err(Why::NoHeading);
        status.judging[AlertKind::HeadingFrozen as usize] = Err(Why::Disabled);
        assert!(said(&status, 200).contains("2 not watched"));
    }

    #[test]
    fn battery_and_watchkeeper_where_there_is_room_and_who_must_answer_always() {
        let mut status = all_known();
        status.supply = Some((12_449, Span::from_s(12)));
        status.watchkeeper =
            Some(WatchkeeperStatus { silent: Span::from_min(2), remaining: Span::from_min(8), stage: 0 });
        let line = said(&status, 200);
        assert!(line.contains("answer in 8 min  battery 12.4 V 12 s ago  variation 4.1 E"), "{line}");
        assert!(!said(&status, 80).contains("answer"));
        status.watchkeeper =
            Some(WatchkeeperStatus { silent: Span::from_s(570), remaining: Span::from_s(30), stage: 0 });
        assert!(said(&status, 80).contains("answer in 30 s"), "{}", said(&status, 80));
        status.watchkeeper = Some(WatchkeeperStatus { silent: Span::from_s(620), remaining: Span::ZERO, stage: 2 });
        assert!(said(&status, 60).contains("ANSWER, stage 2 of 4"), "{}", said(&status, 60));
    }

    #[test]
    fn what_must_not_be_missed_stays_at_any_width() {
        let mut status = all_known();
        if let Some(heading) = &mut status.heading {
            heading.correction = Correction::Uncorrected;
            heading.magnetic = Some(Magnetic(Bearing::from_deg(137)));
            heading.stale = true;
            heading.age = Span::from_s(12);
        }
        status.judging[0] = Err(Why::NoHeading);
        status.off = None;
        let ignored = Sources::new(vec![Source { name: "wind".into(), checksum: ChecksumPolicy::Ignored }]);
        for width in [70, 80, 200] {
            let words = row(STAMP, &status, &ignored, None, width).words();
            for must in ["02:11:09", "no alert", "CHECKSUM IGNORED", "137", "uncorrected", "LOST 12"] {
                assert!(words.contains(must), "{must:?} at {width}: {words}");
            }
        }
        assert_eq!(row(STAMP, &status, &ignored, None, 12).words(), "02:11:09  no");
    }

    #[test]
    fn every_state_of_the_heading_fits_80_columns_with_the_order() {
        let mut status = all_known();
        for correction in [Correction::Card, Correction::Wire, Correction::Uncorrected, Correction::NotNeeded] {
            if let Some(heading) = &mut status.heading {
                heading.correction = correction;
            }
            for steering in [Steering::Unknown, Steering::Wind, Steering::Hand, status.steering] {
                let status = Status { steering, ..status.clone() };
                let line = row(STAMP, &status, &Sources::default(), Some("37 %"), 80);
                assert!(line.width() <= 80, "{} wide: {}", line.width(), line.words());
            }
        }
    }

    #[test]
    fn what_stands_is_told_from_what_is_over() {
        let order = referred(Bearing::from_deg(135), Reference::Compass);
        let evidence = Evidence::OffHeading {
            heading: order,
            ordered: order,
            off: Turn::ZERO,
            lasting: Span::ZERO,
            stands_by: false,
        };
        let change = |priority, state| AlertChange {
            at: Instant::default(),
            kind: AlertKind::OffHeading,
            instance: Instance::Boat,
            number: 1,
            revision: 1,
            escalations: 0,
            occurrence: 1,
            priority,
            state,
            escalated: false,
            repeated: false,
            follows: None,
            evidence,
        };
        let with = |changes: &[AlertChange]| {
            let mut status = nothing_known();
            for change in changes {
                status.alerts.push(*change).expect("there is room");
            }
            let part = alerts(&status);
            (part.text, part.tone)
        };
        let alarm = change(Priority::Alarm, State::ActiveAcknowledged);
        let warning = change(Priority::Warning, State::ActiveUnacknowledged);
        let over = change(Priority::Alarm, State::RectifiedUnacknowledged);
        assert_eq!(with(&[over]), ("no alert, 1 over".into(), Tone::Plain));
        assert_eq!(with(&[alarm, warning, warning, over]), ("1 ALARM +2, 1 over".into(), Tone::Alarm));
        let standing = change(Priority::Alarm, State::ActiveUnacknowledged);
        assert_eq!(with(&[standing]).1, Tone::AlarmUnanswered);
    }

    #[test]
    fn nothing_known_says_so() {
        assert_eq!(said(&nothing_known(), 80), "02:11:09  no alert   NO HEADING  no order yet  no witness");
    }
}
