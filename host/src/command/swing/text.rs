//! The report for people: the verdict first, why, what was found, the card, and what to do next.

use std::fmt::Write as _;

use anstyle::AnsiColor;
use anstyle::Style;
use chrono::DateTime;

use super::report::Report;
use super::variation::lettered;
use crate::analysis::harmonic::NAMES;
use crate::analysis::swing::Verdict;
use crate::command::words::place;
use crate::command::words::printable;
use crate::command::words::wrapped;

/// The report. `kept` is the file that holds the card now.
pub(super) fn text(report: &Report, kept: Option<&str>) -> String {
    let mut out = String::new();
    // Writing to a String cannot fail.
    let _ = write(&mut out, report, kept);
    out
}

fn write(out: &mut String, report: &Report, kept: Option<&str>) -> std::fmt::Result {
    let (colour, words) = match report.verdict {
        Verdict::Good => (AnsiColor::Green, "good: keep this card."),
        Verdict::Usable => (AnsiColor::Yellow, "usable: keep this card with its reasons in mind."),
        Verdict::NotUsable => (AnsiColor::Red, "not usable: swing again."),
    };
    let style = Style::new().bold().fg_color(Some(colour.into()));
    writeln!(out, "{style}{words}{style:#}")?;
    for reason in &report.reasons {
        writeln!(out, "{}", wrapped(&format!("- {}", capital(reason)), 78))?;
    }
    writeln!(out)?;
    found(out, report)?;
    coefficients(out, report)?;
    card(out, report)?;
    next(out, report, kept)
}

/// The sentence with a capital letter and a full stop.
fn capital(sentence: &str) -> String {
    let mut letters = sentence.chars();
    let first = letters.next().map(|c| c.to_uppercase().to_string()).unwrap_or_default();
    let end = if sentence.ends_with('.') { "" } else { "." };
    printable(&format!("{first}{}{end}", letters.as_str()))
}

/// `2026-06-14 08:02 to 08:15 UTC`.
pub(super) fn period(report: &Report) -> Option<String> {
    let at = |ms: Option<i64>| ms.and_then(DateTime::from_timestamp_millis);
    let (Some(from), Some(to)) = (at(report.from), at(report.to)) else {
        return report.day.map(|(year, month, day)| format!("{year:04}-{month:02}-{day:02}"));
    };
    let day = from.format("%Y-%m-%d");
    Some(if from.date_naive() == to.date_naive() {
        format!("{day} {} to {} UTC", from.format("%H:%M"), to.format("%H:%M"))
    } else {
        format!("{day} {} to {} UTC", from.format("%H:%M"), to.format("%Y-%m-%d %H:%M"))
    })
}

fn found(out: &mut String, report: &Report) -> std::fmt::Result {
    let boat = report.boat.as_ref().map(|boat| format!(" of {}", printable(boat))).unwrap_or_default();
    writeln!(out, "{}", wrapped(&format!("Sensor {}{boat}, by {}.", report.sensor, reference(report)), 80))?;
    let parts = [period(report), report.position.map(place)];
    let when: Vec<String> = parts.into_iter().flatten().collect();
    if !when.is_empty() {
        writeln!(out, "{}.", when.join(", "))?;
    }
    for (name, value) in facts(report) {
        writeln!(out, "  {name:<11}{value}")?;
    }
    writeln!(out)
}

/// What the heading was compared with, in words.
pub(super) fn reference(report: &Report) -> String {
    match report.reference.as_str() {
        "gps" => "course and speed over the ground".to_owned(),
        "sun" => "the sun".to_owned(),
        "bearings" => "bearings".to_owned(),
        other => format!("the heading {other}"),
    }
}

/// Names and values beside the card, for the text and for the page.
pub(super) fn facts(report: &Report) -> Vec<(String, String)> {
    let mut facts: Vec<(&str, String)> = Vec::new();
    if report.reference == "gps" {
        let (port, starboard) = report.circles;
        facts.push(("circles", format!("{port} to port, {starboard} to starboard")));
    }
    facts.push(("sectors", format!("{} of 36 seen", report.sectors)));
    if let Some(speed) = report.speed_kn {
        facts.push(("speed", format!("{:.1} \u{b1} {:.1} kn through the water", speed.value, speed.sigma)));
    }
    if let Some(drift) = report.drift_kn {
        let set = match report.set_deg {
            Some(set) => format!(" to {:03.0} T", set.value.rem_euclid(360.0)),
            None => ", too little to have a direction".to_owned(),
        };
        facts.push(("current", format!("{:.2} \u{b1} {:.2} kn{set}", drift.value, drift.sigma)));
    }
    if let Some(lag) = report.lag_s {
        facts.push(("lag", format!("{:+.1} \u{b1} {:.1} s, course behind heading", lag.value, lag.sigma)));
    }
    let from = match report.variation_from {
        "given" => "as given",
        "wire" => "from the line",
        _ => "by the magnetic model",
    };
    facts.push((
        "variation",
        format!("{} \u{b1} {:.1}, {from}", lettered(report.variation.deg), report.variation.sigma_deg),
    ));
    let (heading, greatest) = report.greatest();
    facts
        .push(("greatest", format!("{} \u{b1} {:.1} on {heading:03.0} C", lettered(greatest.deg), greatest.sigma_deg)));
    facts.push(("residuals", format!("{:.1} degrees rms", report.residual_rms_deg)));
    facts.into_iter().map(|(name, value)| (name.to_owned(), value)).collect()
}

fn coefficients(out: &mut String, report: &Report) -> std::fmt::Result {
    let terms: Vec<String> = NAMES
        .iter()
        .zip(report.coefficients)
        .map(|(name, term)| match term {
            Some(term) => format!("{name} {:+.1} \u{b1} {:.1}", term.deg + 0.0, term.sigma_deg),
            None => format!("{name} unknown"),
        })
        .collect();
    writeln!(out, "Coefficients in degrees (one sigma):")?;
    writeln!(out, "  {}", terms.join("   "))?;
    writeln!(out)
}

/// Three columns of twelve rows.
fn card(out: &mut String, report: &Report) -> std::fmt::Result {
    let rows: Vec<String> = report
        .rows()
        .map(|(heading, row)| format!("{heading:03.0}  {:>6} \u{b1} {:.1}", lettered(row.deg), row.sigma_deg))
        .collect();
    writeln!(out, "Deviation by compass heading:")?;
    for at in 0..12 {
        writeln!(
            out,
            "  {}",
            [&rows[at], &rows[at + 12], &rows[at + 24]].map(|row| format!("{row:<22}")).concat().trim_end()
        )?;
    }
    writeln!(out)
}

fn next(out: &mut String, report: &Report, kept: Option<&str>) -> std::fmt::Result {
    let mut steps: Vec<String> = Vec::new();
    if report.verdict == Verdict::NotUsable {
        steps.push(
            "Mend what is named above, and swing again on a calm day: one circle each way, 60 s or more for a \
                    circle, a straight minute before each, engine and helm steady."
                .to_owned(),
        );
    } else {
        match kept {
            Some(file) => {
                steps.push(format!("Name the card in boat.toml: under [heading], card = \"{}\".", printable(file)));
                steps.push(format!("Steer by it: lubber card show {}", printable(file)));
            }
            None => steps.push(
                "Keep the card: the same command with --out card.toml, and --plot card.svg to print it.".to_owned(),
            ),
        }
        steps.push("Check the card against a known bearing before you rely on it.".to_owned());
        steps
            .push("Swing again after a year, or when iron, magnets or cables near the sensor have changed.".to_owned());
    }
    writeln!(out, "Next:")?;
    for step in steps {
        writeln!(out, "{}", wrapped(&format!("- {step}"), 78))?;
    }
    writeln!(out)?;
    for words in crate::command::words::CARD_SAFETY.iter().filter(|words| !words.starts_with("Check")) {
        writeln!(out, "{}", wrapped(words, 80))?;
    }
    Ok(())
}
