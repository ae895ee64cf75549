//! How it stands, a name and a text for each fact: for displays with room for a line each.

use lubber_core::angle::EastWest;
use lubber_core::monitor::Status;
use lubber_core::monitor::VariationFrom;
use lubber_core::picture::OrderedBy;
use lubber_core::picture::Steering;

use crate::view::number::knots;
use crate::view::status_line;
use crate::view::status_line::compact;
use crate::view::status_line::old;
use crate::view::status_line::to_side;
use crate::view::text::Row;
use crate::view::text::Tone;

/// The facts at one moment, the most important first. What is not there says so.
pub fn facts(status: &Status) -> Vec<(&'static str, Row)> {
    let part = |part: status_line::Part| Row::default().and(part.tone, part.text.trim_end());
    let mut facts = vec![("heading", part(status_line::heading(status.heading.as_ref())))];
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
                    Some(off) => Row::plain(to_side(off)),
                    None => Row::default().and(Tone::Caution, "cannot be compared"),
                },
            ));
        }
        _ => facts.push(("order", part(status_line::order(status)))),
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
    facts.push(("witnesses", part(status_line::witnesses(status))));
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
    let part = status_line::alerts(status);
    Row::default().and(part.tone, part.text.trim_end())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::view::sample::nothing_known;

    #[test]
    fn what_is_not_there_says_so() {
        let words: Vec<String> =
            facts(&nothing_known()).into_iter().map(|(name, row)| format!("{name}: {}", row.words())).collect();
        assert_eq!(words, ["heading: NO HEADING", "order: no order yet", "ground: not there", "witnesses: no witness"]);
        assert_eq!(alerts(&nothing_known()).words(), "no alert");
    }
}
