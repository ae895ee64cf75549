//! Headings: how often, how fine, whether they stand still; deviation and variation beside them.

use lubber_core::angle::EastWest;
use lubber_core::angle::Turn;
use lubber_core::monitor::DeviationRule;
use lubber_core::picture::Name;
use lubber_core::time::Span;

use super::About;
use super::is_heading;
use super::times;
use crate::analysis::listen::At;
use crate::analysis::listen::Finding;
use crate::analysis::listen::Kind;
use crate::analysis::listen::Length;
use crate::analysis::listen::Level;
use crate::analysis::listen::Tally;
use crate::analysis::listen::heading::Claim;
use crate::analysis::listen::tally::WILD_DEG;
use crate::analysis::variation;
use crate::analysis::variation::Zone;

/// A heading that comes less often than this is too slow for a pilot. Common practice, no source.
const SLOW_MS: f64 = 1050.0;
/// So many headings show how fine they are.
const FINE_FROM: u64 = 30;
/// A variation that comes later than this, and after so many sentences without it, came late.
const LATE: Span = Span::from_s(10);
const LATE_SENTENCES: u64 = 10;
/// The wire's variation must be within this of the model, degrees, or within three sigma: the rule of the watch.
const TOLERANCE_DEG: f64 = 2.0;

pub(super) fn rules(about: &About<'_>, out: &mut Vec<Finding>) {
    for tally in about.headings() {
        still(about, tally, out);
        leaps(about, tally, out);
        slow(about, tally, out);
        coarse(about, tally, out);
        deviation(about, tally, out);
    }
    for tally in about.steady() {
        not_measured(about, tally, out);
        half(about, tally, &tally.claims.deviation, "deviation", out);
        half(about, tally, &tally.claims.variation, "variation", out);
        late(about, tally, out);
        off(about, tally, out);
    }
    absent(about, out);
    weak(about, out);
}

fn still(about: &About<'_>, tally: &Tally, out: &mut Vec<Finding>) {
    let mut still = tally.still;
    still.settle();
    let Some((stretch, turned)) = still.longest else { return };
    let text = format!(
        "{} stood still for {} from {}, while the course over ground turned by {} degrees.",
        about.name(tally),
        Length(stretch.length),
        about.survey.clock(stretch.from),
        turned.as_mdeg() / 1000,
    );
    let remedy = "A heading that does not follow the boat is worse than none: switch the sensor off and on, and look \
                  at what lies between it and this line.";
    out.push(Finding::advice(Kind::HeadingStill, text, remedy).of(tally.source).about([tally.name()]));
}

fn leaps(about: &About<'_>, tally: &Tally, out: &mut Vec<Finding>) {
    let Some((leap, at)) = tally.leap.filter(|_| tally.wild > 0 && !about.around.untimed) else { return };
    let text = format!(
        "{} leapt {} by more than {WILD_DEG} degrees from one value to the next, at most by {} degrees at {}.",
        about.name(tally),
        times(tally.wild),
        leap.thousandths / 1000,
        about.survey.clock(at),
    );
    let remedy = "No boat turns so fast: damage that the checksum does not show, or two sensors under one name.";
    out.push(Finding::advice(Kind::HeadingLeaps, text, remedy).of(tally.source).about([tally.name()]));
}

fn slow(about: &About<'_>, tally: &Tally, out: &mut Vec<Finding>) {
    let is_slow = |tally: &Tally| tally.beat.usual_ms().is_some_and(|ms| ms > SLOW_MS);
    if about.around.untimed || !is_slow(tally) {
        return;
    }
    let text = format!(
        "{} comes every {}: a pilot wants a heading once a second at the least, ten times if it can be had (common \
         practice).",
        about.name(tally),
        Length(tally.beat.usual().unwrap_or_default()),
    );
    let remedy = "Set the sensor, or what forwards it, to send more often.";
    let level = if about.headings().all(is_slow) { Level::Advice } else { Level::Note };
    out.push(Finding::advice(Kind::HeadingSlow, text, remedy).at_level(level).of(tally.source).about([tally.name()]));
}

fn coarse(about: &About<'_>, tally: &Tally, out: &mut Vec<Finding>) {
    let moved = tally.leap.is_some_and(|(leap, _)| leap.thousandths > 0);
    if tally.claims.fine || tally.claims.headings < FINE_FROM || !(moved || tally.claims.decimals == 0) {
        return;
    }
    let text = format!("{} comes in whole degrees: nothing finer can be judged by it.", about.name(tally));
    out.push(Finding::note(Kind::HeadingCoarse, text, "").of(tally.source).about([tally.name()]));
}

fn not_measured(about: &About<'_>, tally: &Tally, out: &mut Vec<Finding>) {
    let count = tally.claims.not_measured;
    if count > 0 {
        let text =
            format!("{} says {} that its heading is not measured: its mode is not A.", about.name(tally), times(count));
        let remedy = "A simulator or a typed-in heading must be switched off before anybody steers by this line; an \
                      estimated one means that the sensor has lost its reference.";
        out.push(Finding::advice(Kind::HeadingNotMeasured, text, remedy).of(tally.source).about([tally.name()]));
    }
}

fn deviation(about: &About<'_>, tally: &Tally, out: &mut Vec<Finding>) {
    let claim = &tally.claims.deviation;
    let name = about.name(tally);
    let own = Name { talker: tally.talker, formatter: tally.formatter };
    let card = about.around.card.is_some_and(|sensor| sensor.is_none_or(|sensor| sensor == own));
    let finding = match (claim.last_not_zero, card, about.around.deviation) {
        (Some(wire), true, DeviationRule::Auto) => Finding::advice(
            Kind::DeviationAndCard,
            format!(
                "{name} carries a deviation of {} and a card is configured: the sensor's is used, the card is not.",
                EastWest(wire)
            ),
            "Say in boat.toml which is right: [heading] deviation = \"card\" or \"wire\". A card that was made from a \
             corrected heading would be applied twice.",
        ),
        (Some(wire), true, rule) => {
            let which = match rule {
                DeviationRule::Card => "the card",
                DeviationRule::None => "neither",
                _ => "the sensor's",
            };
            let text = format!(
                "{name} carries a deviation of {} and there is a card: {which} is used, as the boat file says.",
                EastWest(wire)
            );
            Finding::note(Kind::DeviationAndCard, text, "")
        }
        (Some(wire), false, _) => {
            let text = format!("{name} carries a deviation of {}: its heading is corrected by that.", EastWest(wire));
            Finding::note(Kind::DeviationOnWire, text, "Before a swing, switch that correction off in the sensor.")
        }
        (None, false, _) if claim.known > 0 => {
            let text = format!("{name} sends a deviation of 0.0, which is no correction: its heading is uncorrected.");
            Finding::note(Kind::DeviationZero, text, "")
        }
        _ => return,
    };
    out.push(finding.of(tally.source).about([tally.name()]));
}

fn half(about: &About<'_>, tally: &Tally, claim: &Claim, what: &str, out: &mut Vec<Finding>) {
    if claim.half > 0 {
        let text = format!(
            "{} has a {what} without E or W, or a letter without the {what}, {}: not used, for its sign is not known.",
            about.name(tally),
            times(claim.half)
        );
        let remedy = format!("Set the {what} anew in the talker.");
        out.push(Finding::advice(Kind::HalfPresent, text, remedy).of(tally.source).about([tally.name()]));
    }
}

fn late(about: &About<'_>, tally: &Tally, out: &mut Vec<Finding>) {
    let claim = &tally.claims.variation;
    let Some(first) = claim.first.filter(|_| claim.absent_first >= LATE_SENTENCES && !about.around.untimed) else {
        return;
    };
    let waited = first.now.since(tally.first.now);
    if waited >= LATE {
        let text = format!(
            "{} variation empty until {}: {} without it.",
            about.name(tally),
            about.survey.clock(first),
            Length(waited)
        );
        let remedy = "Until then a true heading needs the World Magnetic Model, and that a position and a date.";
        out.push(Finding::note(Kind::VariationLate, text, remedy).of(tally.source).about([tally.name()]));
    }
}

fn absent(about: &About<'_>, out: &mut Vec<Finding>) {
    let claims = || about.steady().filter(|tally| tally.claims.variation.known + tally.claims.variation.absent > 0);
    if about.steady().any(|tally| tally.claims.variation.half > 0) {
        return;
    }
    let magnetic = about.steady().any(|tally| matches!(&tally.formatter.0, b"HDG" | b"HDM"));
    if magnetic && claims().all(|tally| tally.claims.variation.known == 0) {
        let names: Vec<String> = claims().map(|tally| about.name(tally)).collect();
        let whose = if names.is_empty() { String::new() } else { format!(": empty in {}", super::listed(&names)) };
        let text = format!(
            "No talker sends the variation{whose}. It is taken from the World Magnetic Model, once position and date \
             are known."
        );
        out.push(Finding::note(Kind::VariationAbsent, text, ""));
    }
}

/// The field of the model where the boat was last, if place and date are known to it.
fn field(about: &About<'_>) -> Option<(At, variation::Field)> {
    let (at, position) = about.survey.heard.last_position?;
    let year = variation::year(at.utc_ms?).ok()?;
    let deg = |e7: i32| f64::from(e7) / 1e7;
    Some((at, variation::field(deg(position.lat_e7), deg(position.lon_e7), year).ok()?))
}

fn off(about: &About<'_>, tally: &Tally, out: &mut Vec<Finding>) {
    let Some((_, said)) = tally.claims.variation.last else { return };
    let Some((_, field)) = field(about) else { return };
    let said_deg = f64::from(said.as_mdeg()) / 1000.0;
    let apart = ((said_deg - field.variation_deg + 540.0).rem_euclid(360.0) - 180.0).abs();
    if apart <= TOLERANCE_DEG.max(3.0 * field.sigma_deg) {
        return;
    }
    #[expect(clippy::cast_possible_truncation, reason = "within 180 degrees")]
    let model = Turn::from_mdeg((field.variation_deg * 1000.0).round() as i32);
    let text = format!(
        "{} says that the variation is {}, the World Magnetic Model {} (one sigma {:.1}): {apart:.1} degrees apart. \
         The watch takes the model's.",
        about.name(tally),
        EastWest(said),
        EastWest(model),
        field.sigma_deg,
    );
    let remedy = "Set the variation in the talker to automatic, or to the right value: its true headings are off by as \
                  much.";
    out.push(Finding::advice(Kind::VariationOff, text, remedy).of(tally.source).about([tally.name()]));
}

fn weak(about: &About<'_>, out: &mut Vec<Finding>) {
    let Some((_, field)) = field(about).filter(|(_, field)| field.zone != Zone::Sound) else { return };
    if about.tallies.iter().any(|tally| is_heading(tally)) {
        let text = format!(
            "The earth's field that turns a compass is only {:.0} nT here, under {:.0}: do not trust a magnetic heading.",
            field.horizontal_nt,
            variation::CAUTION_NT
        );
        out.push(Finding::note(Kind::WeakField, text, ""));
    }
}
