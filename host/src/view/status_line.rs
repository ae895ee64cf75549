//! The one line that says how it stands, as much of it as the width allows.

use lubber_core::alert::Priority;
use lubber_core::angle::EastWest;
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

/// A part of the line: how it is written with room and without, and how long it is kept.
struct Part {
    long: String,
    short: String,
    tone: Tone,
    /// 0 is never left out; the others go from the highest.
    rank: u8,
    /// Whether it is written short.
    brief: bool,
}

const GAP: usize = 2;

/// From this age on a value says how old it is.
const OLD: Span = Span::from_s(10);

fn length(parts: &[Part]) -> usize {
    let written = parts.iter().map(|part| if part.brief { &part.short } else { &part.long }.chars().count());
    written.sum::<usize>() + GAP * parts.len().saturating_sub(1)
}

/// The status in at most `width` characters; `remark` is how far a replay is. What must not be missed
/// (time, alerts, an ignored checksum, the heading) is never left out, only cut off in the end.
pub fn row(stamp: Stamp, status: &Status, sources: &Sources, remark: Option<&str>, width: usize) -> Row {
    let mut parts = parts(stamp, status, sources, remark);
    let mut ranks: Vec<u8> = parts.iter().map(|part| part.rank).collect();
    ranks.sort_unstable();
    ranks.dedup();
    // First everything short that must be, the least important first; then left out; and what that
    // leaves free goes back to the most important.
    for rank in ranks.iter().rev() {
        for place in (0..parts.len()).rev() {
            if parts[place].rank == *rank && length(&parts) > width {
                parts[place].brief = true;
            }
        }
    }
    for rank in ranks.iter().rev().filter(|rank| **rank > 0) {
        if length(&parts) > width {
            parts.retain(|part| part.rank != *rank);
        }
    }
    for rank in &ranks {
        for place in 0..parts.len() {
            if parts[place].rank == *rank && parts[place].brief {
                parts[place].brief = false;
                parts[place].brief = length(&parts) > width;
            }
        }
    }
    let mut row = Row::default();
    for (place, part) in parts.into_iter().enumerate() {
        if place > 0 {
            row = row.and(Tone::Plain, " ".repeat(GAP));
        }
        row = row.and(part.tone, if part.brief { part.short } else { part.long });
    }
    row.cut(width)
}

fn parts(stamp: Stamp, status: &Status, sources: &Sources, remark: Option<&str>) -> Vec<Part> {
    let clock = stamp.clock();
    let mut parts = vec![same(&clock, Tone::Plain, 0), alerts(status)];
    if sources.unchecked().next().is_some() {
        parts.push(same("CHECKSUM IGNORED", Tone::Warning, 0));
    }
    parts.push(heading(status.heading.as_ref()));
    parts.push(order(status));
    let count = unjudged(status).count();
    if count > 0 {
        parts.push(part(
            format!("{count} {} not watched", if count == 1 { "alert" } else { "alerts" }),
            format!("{count} not watched"),
            Tone::Caution,
            2,
        ));
    }
    if let Some((course, speed, age)) = status.ground {
        let (speed, old) = (knots(speed), old(age));
        let course = course.map(|course| course.0);
        let (long, short) = match course {
            Some(course) => {
                (format!("over ground {course} T, {speed} kn{old}"), format!("ground {course}T {speed}kn{old}"))
            }
            None => (format!("over ground {speed} kn, no course{old}"), format!("ground {speed}kn{old}")),
        };
        parts.push(part(long, short, Tone::Plain, 3));
    }
    if let Some((angle, age)) = status.rudder {
        let old = old(age);
        let side = if angle.as_mdeg() < 0 { "port" } else { "stbd" };
        let (long, short) = match whole(angle) {
            0 => (format!("rudder amidships{old}"), format!("rudder 0{old}")),
            size => (format!("rudder {size} {side}{old}"), format!("rudder {size} {side}{old}")),
        };
        parts.push(part(long, short, Tone::Plain, 5));
    }
    parts.push(witnesses(status));
    if let Some(variation) = status.variation {
        let (amount, from) = (EastWest(variation.variation.0), variation.from);
        let from = match from {
            VariationFrom::Wire(origin) => format!("by {origin}"),
            VariationFrom::Model => "by the model".into(),
        };
        parts.push(part(format!("variation {amount} {from}"), format!("var {amount}"), Tone::Plain, 6));
    }
    if let Some(remark) = remark {
        parts.push(same(remark, Tone::Quiet, 7));
    }
    parts
}

fn part(long: String, short: String, tone: Tone, rank: u8) -> Part {
    Part { long, short, tone, rank, brief: false }
}

fn same(text: &str, tone: Tone, rank: u8) -> Part {
    part(text.into(), text.into(), tone, rank)
}

fn referred(bearing: lubber_core::angle::Bearing, reference: Reference) -> Referred {
    Referred { bearing, reference }
}

/// Said of a value that is not of this moment.
fn old(age: Span) -> String {
    if age >= OLD { format!(" {} s ago", age.as_s()) } else { String::new() }
}

/// Without the space: `135C`.
fn compact(direction: Referred) -> String {
    format!("{}{}", direction.bearing, direction.reference.letter())
}

/// How many alerts stand, by priority; and how many are over that nobody has answered.
fn alerts(status: &Status) -> Part {
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
    let (mut long, mut short) = match words.first() {
        None => ("no alert".to_owned(), "no alert".to_owned()),
        Some(first) if others == 0 => (first.clone(), first.clone()),
        Some(first) => (words.join(" "), format!("{first} +{others}")),
    };
    if over > 0 {
        long = format!("{long}, {over} over, not answered");
        short = format!("{short}, {over} over");
    }
    part(long, short, loudest, 0)
}

/// The heading in every reference it is known in.
fn heading(heading: Option<&HeadingStatus>) -> Part {
    let Some(heading) = heading else { return same("NO HEADING", Tone::Alarm, 0) };
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
    let long: Vec<String> = known.iter().map(Referred::to_string).collect();
    let short: Vec<String> = known.iter().copied().map(compact).collect();
    let (mut long, mut short) = (format!("heading {}", long.join(" ")), short.join(" "));
    if heading.correction == Correction::Uncorrected {
        // Magnetic equals compass then: leaving it out makes room for the word that matters.
        let fewer: Vec<String> =
            known.iter().filter(|r| r.reference != Reference::Magnetic).map(|r| compact(*r)).collect();
        short = format!("{} uncorrected", fewer.join(" "));
        long = format!("{long} uncorrected");
    }
    if heading.stale {
        let age = seconds(heading.age).0 / 10;
        return part(format!("{long} LOST {age} s ago"), format!("{short} LOST {age}s"), Tone::Alarm, 0);
    }
    part(long, short, Tone::Plain, 0)
}

/// The order and how far off it she is.
fn order(status: &Status) -> Part {
    let (order, held) = match status.steering {
        Steering::Unknown => return part("no order yet".into(), "no order".into(), Tone::Plain, 1),
        Steering::Wind => return part("steered by the wind".into(), "by wind".into(), Tone::Caution, 1),
        Steering::Hand => return part("steered by hand".into(), "by hand".into(), Tone::Caution, 1),
        Steering::Heading { order, held, .. } => (order, held),
    };
    let held = if held { " held" } else { "" };
    let brief = format!("order {}{held}", compact(order));
    match status.off {
        None => part(format!("ordered {order}{held}"), brief, Tone::Plain, 1),
        Some(off) if whole(off) == 0 => {
            part(format!("ordered {order}{held}, on it"), format!("{brief} on"), Tone::Plain, 1)
        }
        Some(off) => {
            let (side, short) = if off.as_mdeg() < 0 { ("port", "port") } else { ("starboard", "stbd") };
            let size = whole(off);
            part(format!("ordered {order}{held}, {size} to {side}"), format!("{brief} {size} {short}"), Tone::Plain, 1)
        }
    }
}

/// Whether the witnesses of the heading agree.
fn witnesses(status: &Status) -> Part {
    let count = independent(status);
    let noun = if count == 1 { "witness" } else { "witnesses" };
    match agreement(status) {
        Agreement::Disagree => same("witnesses DISAGREE", Tone::Alarm, 1),
        _ if count == 0 => part("no other witness".into(), "no witness".into(), Tone::Plain, 4),
        Agreement::Agree => part(
            format!("{count} {noun} {}", if count == 1 { "agrees" } else { "agree" }),
            format!("{count} agree"),
            Tone::Plain,
            4,
        ),
        Agreement::NotJudged(_) => {
            part(format!("{count} {noun}, not compared"), format!("{count} uncompared"), Tone::Plain, 4)
        }
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
    use lubber_core::alert::Why;
    use lubber_core::angle::Bearing;
    use lubber_core::angle::Turn;
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
            "02:11:09  no alert  heading 137 C 139 M 143 T  ordered 135 C, 2 to starboard  \
             over ground 145 T, 5.2 kn  rudder 3 port  no other witness  variation 4.1 E by the model"
        );
        assert_eq!(
            said(&status, 80),
            "02:11:09  no alert  137C 139M 143T  order 135C 2 stbd  over ground 145 T, 5.2 kn"
        );
        assert_eq!(said(&status, 60), "02:11:09  no alert  137C 139M 143T  order 135C 2 stbd");
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
        let evidence = Evidence::OffHeading { heading: order, ordered: order, off: Turn::ZERO, lasting: Span::ZERO };
        let change = |priority, state| AlertChange {
            at: Instant::default(),
            kind: AlertKind::OffHeading,
            instance: Instance::Boat,
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
            (part.long, part.short, part.tone)
        };
        let alarm = change(Priority::Alarm, State::ActiveAcknowledged);
        let warning = change(Priority::Warning, State::ActiveUnacknowledged);
        let over = change(Priority::Alarm, State::RectifiedUnacknowledged);
        assert_eq!(with(&[over]), ("no alert, 1 over, not answered".into(), "no alert, 1 over".into(), Tone::Plain));
        assert_eq!(
            with(&[alarm, warning, warning, over]),
            ("1 ALARM 2 WARNINGS, 1 over, not answered".into(), "1 ALARM +2, 1 over".into(), Tone::Alarm)
        );
        let standing = change(Priority::Alarm, State::ActiveUnacknowledged);
        assert_eq!(with(&[standing]).2, Tone::AlarmUnanswered);
    }

    #[test]
    fn nothing_known_says_so() {
        assert_eq!(said(&nothing_known(), 80), "02:11:09  no alert  NO HEADING  no order yet  no other witness");
    }
}
