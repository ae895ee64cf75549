//! The one line that says how it stands, as much of it as the width allows.

use lubber_core::alert::Why;
use lubber_core::angle::EastWest;
use lubber_core::monitor::Status;
use lubber_core::monitor::VariationFrom;

use crate::view::Sources;
use crate::view::Stamp;
use crate::view::part::Part;
use crate::view::part::alerts;
use crate::view::part::answer;
use crate::view::part::contrary;
use crate::view::part::ground;
use crate::view::part::heading;
use crate::view::part::old;
use crate::view::part::order;
use crate::view::part::part;
use crate::view::part::to_side;
use crate::view::part::witnesses;
use crate::view::status::unjudged;
use crate::view::text::Row;
use crate::view::text::Tone;

const GAP: usize = 2;

fn length(parts: &[Part]) -> usize {
    let texts = parts.iter().map(|part| part.text.chars().count()).sum::<usize>();
    // What stands in a column ends in spaces, and at the end of the line they take no room.
    let last = parts.last().map_or(0, |last| last.text.chars().count() - last.text.trim_end().chars().count());
    texts - last + GAP * parts.len().saturating_sub(1)
}

/// The status in at most `width` characters; `remark` is how far a replay is. The usual parts stand in
/// columns, so that the eye finds them; where there is no room the least important are left out.
/// What must not be missed (time, alerts, an ignored checksum, the heading) is only cut off in the end.
pub fn row(stamp: Stamp, status: &Status, sources: &Sources, remark: Option<&str>, width: usize) -> Row {
    let mut parts = parts(stamp, status, sources, remark);
    let highest = parts.iter().map(|part| part.rank).max().unwrap_or(0);
    for rank in (1..=highest).rev() {
        for place in 0..parts.len() {
            let too_long = length(&parts) > width;
            if let Some((_, shorter)) = parts[place].shorter.iter().find(|(at, _)| *at == rank && too_long) {
                parts[place].text = shorter.clone();
            }
        }
        if length(&parts) > width {
            parts.retain(|part| part.rank != rank);
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
    parts.push(heading(status));
    parts.push(order(status));
    // What the boat does not have and nobody asked for is told at the start and on demand; counted here it
    // would hide for good what cannot be watched just now.
    let count = unjudged(&status.judging).filter(|(_, why)| !never(*why)).count();
    if count > 0 {
        parts.push(part(format!("{count} not watched"), Tone::Caution, 5));
    }
    parts.extend(contrary(status));
    parts.extend(status.ground.map(|there| ground(status, there)));
    parts.push(witnesses(status));
    if let Some((angle, age)) = status.rudder {
        parts.push(part(format!("rudder {:<7}{}", to_side(angle), old(age)), Tone::Plain, 10));
    }
    if let Some(watchkeeper) = status.watchkeeper {
        parts.push(answer(watchkeeper));
    }
    if let Some((millivolts, age)) = status.supply {
        parts.push(part(format!("battery {:.1} V{}", f64::from(millivolts) / 1000.0, old(age)), Tone::Plain, 11));
    }
    if let Some(variation) = status.variation {
        let from = match variation.from {
            VariationFrom::Wire(origin) => format!("by {origin}"),
            VariationFrom::Model => "by the model".into(),
        };
        parts.push(part(format!("variation {} {from}", EastWest(variation.variation.0)), Tone::Plain, 11));
    }
    if let Some(remark) = remark {
        parts.push(part(remark, Tone::Quiet, 12));
    }
    parts
}

/// Whether it is never watched on this boat: said once at the start, and no news after that.
fn never(why: Why) -> bool {
    matches!(why, Why::NotWanted | Why::NotAskedFor | Why::NoGyro | Why::NoCard | Why::NoTrueWitness)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::view::Source;
    use crate::view::sample::HCHDG;
    use crate::view::sample::alarm;
    use crate::view::sample::contradicted;
    use crate::view::sample::nothing_known;
    use lubber_core::alert::AlertKind;
    use lubber_core::alert::Disagreeing;
    use lubber_core::alert::Evidence;
    use lubber_core::alert::Priority;
    use lubber_core::alert::WatchkeeperStatus;
    use lubber_core::angle::Bearing;
    use lubber_core::angle::Turn;
    use lubber_core::arbiter::AlertChange;
    use lubber_core::arbiter::State;
    use lubber_core::frame::ChecksumPolicy;
    use lubber_core::frame::Formatter;
    use lubber_core::heading::Compass;
    use lubber_core::heading::Magnetic;
    use lubber_core::heading::True;
    use lubber_core::heading::Variation;
    use lubber_core::monitor::Correction;
    use lubber_core::monitor::HeadingStatus;
    use lubber_core::monitor::VariationInUse;
    use lubber_core::picture::OrderedBy;
    use lubber_core::picture::Origin;
    use lubber_core::picture::Reference;
    use lubber_core::picture::Referred;
    use lubber_core::picture::Steering;
    use lubber_core::time::Span;
    use lubber_core::unit::Speed;

    const STAMP: Stamp = Stamp { utc_ms: Some(1_783_995_069_300), since_start_ms: 812_300 };

    fn compass(deg: i32) -> Referred {
        Referred { bearing: Bearing::from_deg(deg), reference: Reference::Compass }
    }

    fn all_known() -> Status {
        let mut status = nothing_known();
        status.heading = Some(HeadingStatus {
            origin: HCHDG,
            raw: compass(137),
            compass: Some(Compass(Bearing::from_deg(137))),
            magnetic: Some(Magnetic(Bearing::from_deg(139))),
            truth: Some(True(Bearing::from_deg(143))),
            correction: Correction::Card,
            age: Span::from_ms(100),
            stale: false,
            unchanged: Span::ZERO,
        });
        let order = compass(135);
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
        let order = compass(135);
        let evidence = Evidence::OffHeading {
            heading: order,
            ordered: order,
            off: Turn::ZERO,
            lasting: Span::ZERO,
            by: OrderedBy::Owner,
        };
        let change = |priority, state| AlertChange { priority, state, ..alarm(AlertKind::OffHeading, evidence) };
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
        assert_eq!(with(&[alarm, warning, warning, over]), ("1 ALARM off-heading +2, 1 over".into(), Tone::Alarm));
        let standing = change(Priority::Alarm, State::ActiveUnacknowledged);
        assert_eq!(with(&[standing]).1, Tone::AlarmUnanswered);
    }

    #[test]
    fn a_heading_in_doubt_is_marked_and_what_contradicts_it_stands_beside_it() {
        let status = contradicted();
        assert_eq!(
            said(&status, 200),
            "02:11:09  1 ALARM heading-disagreement  137C 141T uncorrected DOUBTED  order 137C, heading doubted  \
             COG 199T 5.2 kn  witnesses DISAGREE"
        );
        // A terminal of 80 columns leaves 79.
        assert_eq!(said(&status, 79), "02:11:09  1 ALARM    137C 141T uncorrected DOUBTED  order 137C  COG 199T");
        let mut heading = status;
        let seen = True(Bearing::from_deg(198));
        if let Evidence::Disagreement { with, .. } = &mut heading.alerts[0].evidence {
            *with = Disagreeing::Heading { origin: Origin { formatter: Formatter(*b"HDT"), ..HCHDG }, heading: seen };
        }
        assert!(said(&heading, 200).contains("heading doubted  HCHDT 198T  COG 199T"), "{}", said(&heading, 200));
    }

    #[test]
    fn a_course_far_from_the_heading_stays_and_the_alarm_has_its_name() {
        let mut status = all_known();
        let off = Evidence::PresentedAgain { ago: Span::ZERO };
        status.alerts.push(alarm(AlertKind::OffHeading, off)).expect("there is room");
        for kind in [AlertKind::SupplyLow, AlertKind::RudderLost] {
            status.judging[kind as usize] = Err(Why::NoHeading);
        }
        assert_eq!(
            said(&status, 80),
            "02:11:09  1 ALARM off-heading  137C 139M 143T  order 135C 2 stbd   2 not watched"
        );
        if let Some((course, ..)) = &mut status.ground {
            *course = Some(True(Bearing::from_deg(185)));
        }
        assert_eq!(said(&status, 79), "02:11:09  1 ALARM off-heading  137C 139M 143T  order 135C 2 stbd   COG 185T");
        assert_eq!(said(&status, 72), "02:11:09  1 ALARM off-heading  137C 139M 143T  2 stbd of 135C  COG 185T");
        assert_eq!(said(&status, 62), "02:11:09  1 ALARM    137C 139M 143T  2 stbd of 135C  COG 185T");
    }

    #[test]
    fn every_age_is_said_one_way() {
        let mut status = all_known();
        if let Some(heading) = &mut status.heading {
            (heading.stale, heading.age) = (true, Span::from_s(3555));
        }
        status.rudder = Some((Turn::ZERO, Span::from_s(3555)));
        let line = said(&status, 200);
        assert!(line.contains("143T LOST 59 min") && line.contains("rudder 0       59 min ago"), "{line}");
    }

    #[test]
    fn nothing_known_says_so() {
        assert_eq!(said(&nothing_known(), 80), "02:11:09  no alert   NO HEADING  no order yet  no witness");
    }
}
