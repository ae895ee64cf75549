//! `lubber card show`: the card as a table to be steered by, both ways, with its curve.

use std::fmt::Write;
use std::path::PathBuf;

use lubber_core::angle::Bearing;
use lubber_core::angle::EastWest;
use lubber_core::angle::Turn;
use lubber_core::heading::Compass;
use lubber_core::heading::Magnetic;
use serde_json::Value;
use serde_json::json;

use super::Format;
use super::SAFETY;
use super::degrees;
use super::printable;
use super::size;
use super::whose;
use super::wrapped;
use super::write;
use super::write_json;
use crate::analysis::harmonic::How;
use crate::analysis::harmonic::NAMES;
use crate::boat::card::CardFile;
use crate::command::words::place;
use crate::exit::Exit;
use crate::exit::Failure;

/// Show a deviation card: a table to steer by, both ways, its curve and coefficients.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example: lubber card show card.toml --step 10")]
pub(super) struct Args {
    /// The card, for example card.toml.
    card: PathBuf,
    /// Degrees from line to line of the table: 5, 10, 15, 30 or 45.
    ///
    /// 15 is the step of the United States Navy's deviation table (NAVEDTRA 14067).
    #[arg(long, default_value_t = 15, value_parser = step)]
    step: i32,
    /// How the answer is written.
    #[arg(long, value_enum, default_value_t)]
    format: Format,
}

fn step(typed: &str) -> Result<i32, String> {
    typed
        .parse()
        .ok()
        .filter(|step| [5, 10, 15, 30, 45].contains(step))
        .ok_or_else(|| "one of 5, 10, 15, 30, 45".into())
}

pub(super) fn run(args: &Args) -> Result<Exit, Failure> {
    let card = CardFile::read(&args.card)?;
    match args.format {
        Format::Text => write(&text(&card, args.step)),
        Format::Json => write_json(&json(&card)),
    }
}

/// One line of the table.
struct Row {
    compass: Compass,
    deviation: Turn,
    magnetic: Magnetic,
    to_make_good: Magnetic,
    steer: Compass,
}

fn rows(card: &CardFile, step: i32) -> impl Iterator<Item = Row> {
    (0..360 / step).map(move |at| {
        let bearing = Bearing::from_deg(at * step);
        let (compass, to_make_good) = (Compass(bearing), Magnetic(bearing));
        Row {
            compass,
            deviation: card.card.deviation(compass),
            magnetic: compass.by_card(&card.card),
            to_make_good,
            steer: to_make_good.to_compass(&card.card),
        }
    })
}

fn text(card: &CardFile, step: i32) -> String {
    let mut out = String::new();
    // Writing to a String cannot fail.
    let _ = heading(&mut out, card);
    let _ = table(&mut out, card, step);
    let _ = foot(&mut out, card);
    out
}

fn heading(out: &mut String, card: &CardFile) -> std::fmt::Result {
    writeln!(out, "Deviation card {}", printable(&card.name))?;
    if let Some(whose) = whose(card) {
        writeln!(out, "  {whose}")?;
    }
    let date = card.date.map(|date| format!("{:04}-{:02}-{:02}", date.year(), date.month(), date.day()));
    let place = card.position.map(place);
    match (date, place) {
        (Some(date), Some(place)) => writeln!(out, "  made on {date} at {place}")?,
        (Some(date), None) => writeln!(out, "  made on {date}")?,
        (None, Some(place)) => writeln!(out, "  made at {place}, date not given")?,
        (None, None) => writeln!(out, "  date and place not given")?,
    }
    if let Some(note) = &card.note {
        writeln!(out, "  {}", printable(note))?;
    }
    writeln!(out)
}

/// Columns of the curve on either side of its middle.
const HALF: usize = 15;

fn table(out: &mut String, card: &CardFile, step: i32) -> std::fmt::Result {
    let most = size(card.card.greatest().deviation);
    let scale =
        [1.0, 2.0, 3.0, 5.0, 10.0, 15.0, 20.0, 30.0, 45.0, 60.0].into_iter().find(|s| *s >= most).unwrap_or(90.0);
    let axis = format!("{:<HALF$}0{:>HALF$}", format!("{scale:.0} W"), format!("{scale:.0} E"));
    writeln!(out, "  steering  {:31}  deviation  she      to make  steer", "")?;
    writeln!(out, "  compass   {axis}             heads    good")?;
    for row in rows(card, step) {
        let is_written = card.points.iter().any(|point| point.compass == row.compass);
        writeln!(
            out,
            "    {}   {}  {:>7}    {}    {}    {}",
            row.compass,
            bar(degrees(row.deviation.as_mdeg()) / scale, is_written),
            EastWest(row.deviation).to_string(),
            row.magnetic,
            row.to_make_good,
            row.steer,
        )?;
    }
    writeln!(out)
}

/// One line of the curve: `part` of the scale, west to the left.
fn bar(part: f64, is_written: bool) -> String {
    let mut cells = vec![' '; 2 * HALF + 1];
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "held between 0 and the width")]
    let at = (HALF as f64 + part * HALF as f64).round().clamp(0.0, 2.0 * HALF as f64) as usize;
    let (from, to) = if at < HALF { (at, HALF) } else { (HALF, at) };
    cells[from..=to].fill('-');
    cells[HALF] = '|';
    cells[at] = if is_written { 'o' } else { '*' };
    cells.into_iter().collect()
}

fn foot(out: &mut String, card: &CardFile) -> std::fmt::Result {
    writeln!(out, "C compass, M magnetic; E makes magnetic the larger. o as written, * between.")?;
    let greatest = card.card.greatest();
    writeln!(out, "Greatest deviation {} on compass {}.", EastWest(greatest.deviation), greatest.compass.0)?;
    if let Some(fit) = &card.fit {
        let terms: Vec<String> = NAMES
            .iter()
            .enumerate()
            .filter(|(term, _)| fit.determined[*term])
            .map(|(term, name)| format!("{name} {:+.1}", fit.coefficients.0[term]))
            .collect();
        writeln!(out, "Coefficients fitted to the points: {}.", terms.join("  "))?;
        if let Some(sigma) = fit.sigma_deg {
            writeln!(out, "One point lies {sigma:.2} off that curve (standard deviation).")?;
        }
    }
    let drawn = match card.how {
        How::FiveTerm(_) => "the five-term curve, led through every point",
        How::Straight(_) => "straight lines",
    };
    writeln!(out, "Between its {} points the card is {drawn}.", card.points.len())?;
    for finding in &card.findings {
        writeln!(out, "{}", wrapped(&format!("Note: {finding}.")))?;
    }
    writeln!(out)?;
    for words in SAFETY {
        writeln!(out, "{}", wrapped(words))?;
    }
    Ok(())
}

fn json(card: &CardFile) -> Value {
    let mut coefficients = serde_json::Map::new();
    for (term, name) in NAMES.iter().enumerate() {
        let fitted =
            card.fit.as_ref().filter(|fit| fit.determined[term]).map(|fit| thousandths(fit.coefficients.0[term]));
        coefficients.insert(
            (*name).to_owned(),
            json!({"deg": fitted, "written_deg": card.coefficients[term], "written_sigma_deg": card.coefficient_sigmas[term]}),
        );
    }
    let points: Vec<Value> = card
        .points
        .iter()
        .zip(&card.sigmas)
        .map(|(point, sigma)| {
            json!({"compass_deg": degrees(point.compass.0.as_mdeg()), "deviation_deg": degrees(point.deviation.as_mdeg()),
                   "sigma_deg": sigma})
        })
        .collect();
    let table: Vec<Value> = rows(card, 10)
        .map(|row| {
            json!({"compass_deg": degrees(row.compass.0.as_mdeg()), "deviation_deg": degrees(row.deviation.as_mdeg()),
                   "magnetic_deg": degrees(row.magnetic.0.as_mdeg())})
        })
        .collect();
    let steer: Vec<Value> = rows(card, 5)
        .map(|row| {
            json!({"magnetic_deg": degrees(row.to_make_good.0.as_mdeg()), "compass_deg": degrees(row.steer.0.as_mdeg())})
        })
        .collect();
    let greatest = card.card.greatest();
    json!({
        "schema": 1,
        "file": card.name,
        "boat": card.boat,
        "sensor": card.sensor.map(|name| name.to_string()),
        "date": card.date.map(|date| format!("{:04}-{:02}-{:02}", date.year(), date.month(), date.day())),
        "position": card.position.map(|at| json!({"lat": f64::from(at.lat_e7) / 1e7, "lon": f64::from(at.lon_e7) / 1e7})),
        "note": card.note,
        "log": card.log,
        "version": card.version,
        "upright": card.upright,
        "points": points,
        "between": match card.how { How::FiveTerm(_) => "five-term", How::Straight(_) => "straight" },
        "coefficients": coefficients,
        "residual_sigma_deg": card.fit.as_ref().and_then(|fit| fit.sigma_deg).map(thousandths),
        "card": table,
        "steer": steer,
        "greatest_deviation": {"deg": degrees(greatest.deviation.as_mdeg()), "compass_deg": degrees(greatest.compass.0.as_mdeg())},
        "findings": card.findings,
        "safety": SAFETY,
    })
}

fn thousandths(value: f64) -> f64 {
    (value * 1000.0).round() / 1000.0
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_bar_starts_at_the_middle() {
        assert_eq!(bar(0.0, false), format!("{:15}*{:15}", "", ""));
        assert_eq!(bar(1.0, true), format!("{:15}|{}o", "", "-".repeat(14)));
        assert_eq!(bar(-0.2, false), format!("{:12}*--|{:15}", "", ""));
    }
}
