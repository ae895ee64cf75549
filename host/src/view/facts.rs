//! How it stands, a name and a text for each fact: for displays with room for a line each.

use lubber_core::angle::EastWest;
use lubber_core::monitor::Status;
use lubber_core::monitor::VariationFrom;
use lubber_core::picture::OrderedBy;
use lubber_core::picture::Steering;

use crate::view::doubt::doubt;
use crate::view::number::knots;
use crate::view::part;
use crate::view::part::compact;
use crate::view::part::old;
use crate::view::part::to_side;
use crate::view::text::Row;
use crate::view::text::Tone;

/// The facts at one moment, the most important first. What is not there says so.
pub fn facts(status: &Status) -> Vec<(&'static str, Row)> {
    let part = |part: part::Part| Row::default().and(part.tone, part.text.trim_end());
    let doubt = doubt(status);
    let heading = match (doubt, part::sent_and_true(status)) {
        (Some(_), Some((sent, truth))) => Row::default().and(Tone::Alarm, format!("{sent} DOUBTED{truth}")),
        _ => part(part::heading(status)),
    };
    let mut facts = vec![("heading", heading)];
    if let Some(contrary) = doubt.and_then(|doubt| doubt.contrary) {
        facts.push(("but", Row::default().and(Tone::Alarm, contrary.words())));
    }
    match status.steering {
        Steering::Heading { order, by, held } => {
            let by = match by {
                OrderedBy::Owner => "by the owner".to_owned(),
                OrderedBy::Wire(origin) => format!("by {origin}"),
                OrderedBy::StoodBy(origin) => format!("by {origin}, PILOT STANDS BY"),
                OrderedBy::FirstSteadyMinute => "steady minute".to_owned(),
            };
            let held = if held { ", held" } else { "" };
            facts.push(("order", Row::plain(format!("{} {by}{held}", compact(order)))));
            facts.push((
                "off it",
                match status.off {
                    Some(_) if doubt.is_some() => Row::default().and(Tone::Caution, "heading doubted"),
                    Some(off) => Row::plain(to_side(off)),
                    None => Row::default().and(Tone::Caution, "cannot be compared"),
                },
            ));
        }
        _ => facts.push(("order", part(part::order(status)))),
    }
    let ground = match status.ground {
        Some((course, speed, age)) => {
            let course = course.map_or("no course".to_owned(), |course| format!("{}T", course.0));
            Row::plain(format!("{course}, {} kn{}", knots(speed), old(age)))
        }
        None => Row::default().and(Tone::Caution, "not there"),
    };
    facts.push(("ground", ground));
    if let Some((angle, age)) = status.rudder {
        facts.push(("rudder", Row::plain(format!("{}{}", to_side(angle), old(age)))));
    }
    let witnesses = part::witnesses(status);
    let said = witnesses.text.strip_prefix("witnesses ").unwrap_or(&witnesses.text);
    facts.push(("witnesses", Row::default().and(witnesses.tone, said.trim_end())));
    if let Some(variation) = status.variation {
        let from = match variation.from {
            VariationFrom::Wire(origin) => format!("by {origin}"),
            VariationFrom::Model => "by the model".into(),
        };
        facts.push(("variation", Row::plain(format!("{} {from}", EastWest(variation.variation.0)))));
    }
    facts
}

/// How many alerts stand, in a few words.
pub fn alerts(status: &Status) -> Row {
    let part = part::alerts(status);
    Row::default().and(part.tone, part.text.trim_end())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::view::sample::contradicted;
    use crate::view::sample::nothing_known;

    #[test]
    fn what_is_not_there_says_so() {
        let words: Vec<String> =
            facts(&nothing_known()).into_iter().map(|(name, row)| format!("{name}: {}", row.words())).collect();
        assert_eq!(words, ["heading: NO HEADING", "order: no order yet", "ground: not there", "witnesses: no witness"]);
        assert_eq!(alerts(&nothing_known()).words(), "no alert");
    }

    #[test]
    fn a_heading_in_doubt_is_no_plain_fact() {
        let facts: Vec<String> =
            facts(&contradicted()).into_iter().map(|(name, row)| format!("{name}: {}", row.words())).collect();
        assert_eq!(
            facts,
            [
                "heading: 137C DOUBTED, 141T",
                "but: GPRMC course 199T",
                "order: 137C by the owner",
                "off it: heading doubted",
                "ground: 199T, 5.2 kn",
                "witnesses: DISAGREE",
            ]
        );
        // A screen with room for a line each gives them 25 columns.
        assert!(facts.iter().all(|fact| fact.split_once(": ").is_some_and(|(_, text)| text.len() <= 25)), "{facts:?}");
    }
}
