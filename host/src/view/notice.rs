//! What is worth a line without being an alert.

use lubber_core::angle::EastWest;
use lubber_core::monitor::Correction;
use lubber_core::monitor::Notice;
use lubber_core::monitor::VariationFrom;
use lubber_core::monitor::VariationInUse;
use lubber_core::picture::OrderedBy;
use lubber_core::picture::Steering;

use crate::view::Stamp;
use crate::view::json::Object;
use crate::view::json::object;
use crate::view::number::degrees;
use crate::view::number::signed;
use crate::view::text::Row;
use crate::view::text::Tone;
use crate::view::text::wrap;

/// How the heading becomes magnetic, in the word of every output.
pub const fn correction_word(correction: Correction) -> &'static str {
    match correction {
        Correction::Card => "card",
        Correction::Wire => "wire",
        Correction::Uncorrected => "uncorrected",
        Correction::NotNeeded => "not-needed",
    }
}

/// How the heading becomes magnetic, for a person.
pub const fn correction_words(correction: Correction) -> &'static str {
    match correction {
        Correction::Card => "deviation by the card",
        Correction::Wire => "deviation as the sensor sends it",
        Correction::Uncorrected => "uncorrected: no card, and the sensor sends no deviation",
        Correction::NotNeeded => "no deviation to take out",
    }
}

/// Where the variation is from, for a person.
pub fn variation_words(variation: VariationInUse) -> String {
    let amount = EastWest(variation.variation.0);
    match variation.from {
        VariationFrom::Wire(origin) => format!("{amount}, from {origin}"),
        VariationFrom::Model => format!("{amount}, from the World Magnetic Model"),
    }
}

/// Writes the variation's members.
pub(super) fn variation_json(o: &mut Object<'_>, variation: VariationInUse) {
    o.number("deg", signed(variation.variation.0));
    match variation.from {
        VariationFrom::Wire(origin) => {
            o.text("from", "wire");
            o.text("sent_by", origin);
        }
        VariationFrom::Model => o.text("from", "model"),
    }
}

/// Writes who gave an order.
pub(super) fn ordered_by(o: &mut Object<'_>, key: &str, by: OrderedBy) {
    match by {
        OrderedBy::Owner => o.text(key, "owner"),
        OrderedBy::Wire(origin) | OrderedBy::StoodBy(origin) => o.text(key, origin),
        OrderedBy::FirstSteadyMinute => o.text(key, "first-steady-minute"),
    }
}

/// Writes the members that say how the boat is steered.
pub(super) fn steering_json(o: &mut Object<'_>, steering: Steering) {
    match steering {
        Steering::Unknown => o.text("steering", "unknown"),
        Steering::Wind => o.text("steering", "wind"),
        Steering::Hand => o.text("steering", "hand"),
        Steering::Heading { order, by, held } => {
            o.text("steering", "heading");
            o.number("deg", degrees(order.bearing));
            o.text("reference", order.reference.word());
            ordered_by(o, "by", by);
            o.flag("held", held);
            if let OrderedBy::StoodBy(_) = by {
                o.flag("stands_by", true);
            }
        }
    }
}

/// How the boat is steered, for a person.
pub fn steering_words(steering: Steering) -> String {
    match steering {
        Steering::Unknown => "no heading is ordered yet".into(),
        Steering::Wind => "steered by the wind: off-heading is not watched".into(),
        Steering::Hand => "steered by hand: off-heading is not watched".into(),
        Steering::Heading { order, by, held } => {
            let by = match by {
                OrderedBy::Owner => "ordered by the owner".into(),
                OrderedBy::Wire(origin) => format!("ordered by {origin}"),
                OrderedBy::StoodBy(origin) => {
                    format!("ordered by {origin}; THE PILOT ITSELF SAYS IT STANDS BY (steer hand, if so)")
                }
                OrderedBy::FirstSteadyMinute => "the mean of the first steady minute, nobody ordered it".into(),
            };
            let held = if held { "; no longer sent, held" } else { "" };
            format!("ordered heading {order}: {by}{held}")
        }
    }
}

/// The notice in words.
pub fn words(notice: &Notice) -> String {
    match *notice {
        Notice::HeadingSource { origin, correction } => {
            format!("the watch is kept by {origin}, {}", correction_words(correction))
        }
        Notice::Steering(steering) => steering_words(steering),
        Notice::Variation(variation) => format!("variation {}", variation_words(variation)),
        Notice::DeviationConflict { origin, wire } => format!(
            "{origin} carries a deviation of {} and there is a card too: the sensor's is used. \
             Say in the boat file which is right: [heading] deviation = \"card\" or \"wire\"",
            EastWest(wire)
        ),
        Notice::OneSensor { kept, copy } => {
            format!("{copy} is a copy of {kept}: one sensor, and one witness")
        }
        Notice::MayNotAcknowledge { origin } => format!(
            "{origin} wants an alert acknowledged or silenced, but its source may not: it is refused. To let it, write \
             may_acknowledge = true under its [[source]] in the boat file"
        ),
        Notice::WeakField { horizontal_nt } => {
            format!("the horizontal field is only {horizontal_nt} nT here, under 6000: do not trust a magnetic heading")
        }
    }
}

/// Appends the notice as one JSON object.
pub fn json(out: &mut String, stamp: Stamp, notice: &Notice) {
    object(out, |o| {
        o.text_or_null("at", stamp.iso());
        o.number("since_start_ms", stamp.since_start_ms);
        match *notice {
            Notice::HeadingSource { origin, correction } => {
                o.text("notice", "heading-source");
                o.text("heading", origin);
                o.text("correction", correction_word(correction));
            }
            Notice::Steering(steering) => {
                o.text("notice", "order");
                steering_json(o, steering);
            }
            Notice::Variation(variation) => {
                o.text("notice", "variation");
                variation_json(o, variation);
            }
            Notice::DeviationConflict { origin, wire } => {
                o.text("notice", "deviation-conflict");
                o.text("heading", origin);
                o.number("deg", signed(wire));
            }
            Notice::OneSensor { kept, copy } => {
                o.text("notice", "one-sensor");
                o.text("kept", kept);
                o.text("copy", copy);
            }
            Notice::MayNotAcknowledge { origin } => {
                o.text("notice", "may-not-acknowledge");
                o.text("from", origin);
            }
            Notice::WeakField { horizontal_nt } => {
                o.text("notice", "weak-field");
                o.number("horizontal_nt", horizontal_nt);
            }
        }
        o.text("text", words(notice));
    });
}

/// Anything worth a line, behind its time and broken to `width`.
pub fn rows(stamp: Stamp, text: &str, width: usize) -> Vec<Row> {
    let clock = stamp.clock();
    let mut lines = wrap(text, width, clock.len() + 1).into_iter();
    let Some(first) = lines.next() else { return Vec::new() };
    let head = Row::default().and(Tone::Plain, format!("{clock} {}", first.trim_start()));
    std::iter::once(head).chain(lines.map(Row::plain)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use lubber_core::angle::Bearing;
    use lubber_core::angle::Turn;
    use lubber_core::frame::Formatter;
    use lubber_core::frame::Talker;
    use lubber_core::heading::Variation;
    use lubber_core::picture::Origin;
    use lubber_core::picture::Reference;
    use lubber_core::picture::Referred;
    use lubber_core::picture::SourceId;

    const HCHDG: Origin = Origin { source: SourceId(0), talker: Talker(*b"HC"), formatter: Formatter(*b"HDG") };

    #[test]
    fn an_uncorrected_heading_says_so() {
        let notice = Notice::HeadingSource { origin: HCHDG, correction: Correction::Uncorrected };
        let mut line = String::new();
        json(&mut line, Stamp::default(), &notice);
        assert_eq!(
            line,
            concat!(
                r#"{"at":null,"since_start_ms":0,"notice":"heading-source","heading":"HCHDG","#,
                r#""correction":"uncorrected","text":"the watch is kept by HCHDG, uncorrected: no card, "#,
                r#"and the sensor sends no deviation"}"#
            )
        );
    }

    #[test]
    fn an_order_whose_pilot_stands_by_says_so_in_both() {
        let order = Referred { bearing: Bearing::from_deg(135), reference: Reference::Compass };
        let notice = Notice::Steering(Steering::Heading { order, by: OrderedBy::StoodBy(HCHDG), held: true });
        let said = words(&notice);
        assert!(said.contains("THE PILOT ITSELF SAYS IT STANDS BY") && said.contains("held"), "{said}");
        let mut line = String::new();
        json(&mut line, Stamp::default(), &notice);
        let back: serde_json::Value = serde_json::from_str(&line).expect("it is JSON");
        assert_eq!((&back["by"], &back["stands_by"]), (&"HCHDG".into(), &true.into()));
    }

    #[test]
    fn a_held_order_says_so_in_both() {
        let order = Referred { bearing: Bearing::from_deg(135), reference: Reference::Compass };
        let notice = Notice::Steering(Steering::Heading { order, by: OrderedBy::Wire(HCHDG), held: true });
        assert_eq!(words(&notice), "ordered heading 135 C: ordered by HCHDG; no longer sent, held");
        let mut line = String::new();
        json(&mut line, Stamp::default(), &notice);
        let back: serde_json::Value = serde_json::from_str(&line).expect("it is JSON");
        assert_eq!((&back["deg"], &back["held"]), (&135.0.into(), &true.into()));
    }

    #[test]
    fn long_notices_break_at_80_columns() {
        let notice = Notice::DeviationConflict { origin: HCHDG, wire: Turn::from_deg(2) };
        let rows = rows(Stamp::default(), &words(&notice), 80);
        assert!(rows.len() >= 2 && rows.iter().all(|row| row.width() <= 80));
        assert!(rows[1].words().starts_with("         "), "continued under its text");
        let variation = VariationInUse { variation: Variation(Turn::from_mdeg(-4_100)), from: VariationFrom::Model };
        assert_eq!(words(&Notice::Variation(variation)), "variation 4.1 W, from the World Magnetic Model");
    }
}
