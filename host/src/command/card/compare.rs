//! `lubber card compare`: whether a new card differs from an old one by more than chance.

use std::fmt::Write;
use std::path::PathBuf;

use lubber_core::heading::Compass;
use serde_json::Value;
use serde_json::json;

use super::Format;
use super::degrees;
use super::printable;
use super::wrapped;
use super::write;
use super::write_json;
use crate::analysis::compare;
use crate::analysis::compare::Comparison;
use crate::analysis::compare::Curve;
use crate::analysis::compare::REAL;
use crate::analysis::harmonic::NAMES;
use crate::analysis::harmonic::TERMS;
use crate::analysis::variation;
use crate::boat::card::CardFile;
use crate::exit::Exit;
use crate::exit::Failure;

/// Compare two cards: is the change real, given both uncertainties?
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Example: lubber card compare card-2025.toml card.toml --check

Exit status: 0 done; 1 with --check, the change is real; 2 could not do it.")]
pub(super) struct Args {
    /// The old card.
    old: PathBuf,
    /// The new card.
    new: PathBuf,
    /// How the answer is written.
    #[arg(long, value_enum, default_value_t)]
    format: Format,
    /// Exit with 1 if the change is real.
    #[arg(long)]
    check: bool,
}

/// A point of a card without sigmas is taken to be good for this, degrees, one standard deviation:
/// adjusters work to half a degree (training text at seaspirit.ru), an owner with a hand compass to less.
const UNTOLD_DEG: f64 = 1.0;
/// A change of the horizontal field by this part is told: B and C change by as much.
const FIELD_PART: f64 = 0.05;

pub(super) fn run(args: &Args) -> Result<Exit, Failure> {
    let (old, new) = (CardFile::read(&args.old)?, CardFile::read(&args.new)?);
    let mut notes = Vec::new();
    let curves = (curve(&old, &mut notes)?, curve(&new, &mut notes)?);
    let found = compare::compare(&curves.0, &curves.1);
    if let (Some(one), Some(other)) = (old.sensor, new.sensor)
        && one != other
    {
        notes.push(format!("{} is of {one}, {} of {other}: two sensors need not agree", old.name, new.name));
    }
    field_note(&old, &new, &mut notes);
    match args.format {
        Format::Text => write(&text(&old, &new, &found, &notes))?,
        Format::Json => write_json(&json(&old, &new, &found, &notes))?,
    };
    Ok(if args.check && found.is_real() { Exit::No } else { Exit::Done })
}

/// The curve of a card and its sigmas: as written beside it, else by its points' sigmas, else assumed.
fn curve(file: &CardFile, notes: &mut Vec<String>) -> Result<Curve, Failure> {
    let Some(fit) = &file.fit else {
        return Err(Failure::new(format!(
            "{}: its {} points do not determine a curve; a comparison needs five or more, spread around the circle",
            file.name,
            file.points.len()
        )));
    };
    let mut sigmas = file.coefficient_sigmas;
    if sigmas.iter().all(Option::is_none) {
        let known: Vec<f64> = file.sigmas.iter().flatten().copied().collect();
        let point = if known.len() == file.points.len() {
            (known.iter().map(|sigma| sigma * sigma).sum::<f64>() / known.len() as f64).sqrt()
        } else {
            notes.push(format!(
                "{} does not say how sure it is: each of its points is taken to be good for {UNTOLD_DEG:.0} degree",
                printable(&file.name)
            ));
            UNTOLD_DEG.max(fit.sigma_deg.unwrap_or(0.0))
        };
        sigmas = std::array::from_fn(|term| fit.determined[term].then(|| point * fit.inverse[term][term].sqrt()));
    }
    Ok(Curve { coefficients: fit.coefficients, sigmas })
}

/// B and C come of the boat's own magnets and go by one over the horizontal field.
fn field_note(old: &CardFile, new: &CardFile, notes: &mut Vec<String>) {
    let field = |file: &CardFile| {
        let (place, date) = (file.position?, file.date?);
        let year = variation::year(date.days_since_1970() * 86_400_000).ok()?;
        variation::field(f64::from(place.lat_e7) / 1e7, f64::from(place.lon_e7) / 1e7, year).ok()
    };
    if let (Some(before), Some(after)) = (field(old), field(new)) {
        let part = before.horizontal_nt / after.horizontal_nt - 1.0;
        if part.abs() > FIELD_PART {
            notes.push(format!(
                "the horizontal field is {:.0} nT where the old card was made and {:.0} where the new one was: by that alone B \
                 and C become {:.0} % {}",
                before.horizontal_nt,
                after.horizontal_nt,
                100.0 * part.abs(),
                if part > 0.0 { "larger" } else { "smaller" }
            ));
        }
    }
}

/// The change that is greatest beside its sigma: heading, change, sigma.
fn clearest(found: &Comparison) -> (f64, f64, f64) {
    let all = (0..36).map(|at| f64::from(at) * 10.0).map(|heading| {
        let (change, sigma) = found.on(heading);
        (heading, change, sigma)
    });
    all.max_by(|a, b| (a.1.abs() / a.2.max(1e-6)).total_cmp(&(b.1.abs() / b.2.max(1e-6)))).unwrap_or((0.0, 0.0, 0.0))
}

/// A card is written to a tenth of a degree: curves that never differ by half of that are one.
const SAME_DEG: f64 = 0.05;

fn verdict(found: &Comparison) -> String {
    if (0..36).all(|at| found.on(f64::from(at) * 10.0).0.abs() < SAME_DEG) {
        return "There is no change: the two cards give the same deviations, to a tenth of a degree.".into();
    }
    let chance = match found.by_chance {
        tiny if tiny < 0.001 => "less often than once in 1000".to_owned(),
        sure if sure > 0.999 => "nearly always".to_owned(),
        often => format!("{:.0} times in 1000", often * 1000.0),
    };
    if found.is_real() {
        format!("The change is real: chance alone makes as much of one {chance}.")
    } else {
        format!("The change may be chance, which alone makes as much of one {chance}.")
    }
}

fn text(old: &CardFile, new: &CardFile, found: &Comparison, notes: &[String]) -> String {
    let mut out = String::new();
    // Writing to a String cannot fail.
    let _ = body(&mut out, old, new, found, notes);
    out
}

fn body(out: &mut String, old: &CardFile, new: &CardFile, found: &Comparison, notes: &[String]) -> std::fmt::Result {
    writeln!(out, "{}", wrapped(&verdict(found)))?;
    let (heading, change, sigma) = clearest(found);
    if change.abs() >= 0.05 {
        writeln!(
            out,
            "{}",
            wrapped(&format!(
                "Clearest on compass {heading:03.0}: the deviation changed by {change:+.1} \u{b1} {sigma:.1} degrees."
            ))
        )?;
    }
    writeln!(out)?;
    writeln!(out, "  old  {}", printable(&old.name))?;
    writeln!(out, "  new  {}", printable(&new.name))?;
    writeln!(out)?;
    writeln!(out, "  term   change  sigma        heading    old     new   change  sigma")?;
    for at in 0..8 {
        let left = match (NAMES.get(at), at) {
            (Some(name), at) if at < TERMS => match found.change[at].zip(found.sigmas[at]) {
                Some((change, sigma)) => format!("  {name}     {change:>+6.1}   {sigma:>4.1}"),
                None => format!("  {name}     unknown     "),
            },
            _ => " ".repeat(21),
        };
        let heading = 45.0 * at as f64;
        let deviation = |file: &CardFile| {
            #[expect(clippy::cast_possible_truncation, reason = "eight small angles")]
            let compass = Compass(lubber_core::angle::Bearing::from_deg(heading as i32));
            degrees(file.card.deviation(compass).as_mdeg())
        };
        let (_, sigma) = found.on(heading);
        let (before, after) = (deviation(old), deviation(new));
        writeln!(
            out,
            "{left:<21}          {heading:03.0} C   {before:>+5.1}   {after:>+5.1}   {:>+5.1}   {sigma:>4.1}",
            after - before
        )?;
    }
    writeln!(out)?;
    writeln!(
        out,
        "{}",
        wrapped(&format!(
            "Chi-square {:.1} of {} (real if chance makes it less often than {:.0} times in 1000).",
            found.chi_square,
            found.freedom,
            REAL * 1000.0
        ))
    )?;
    for note in notes {
        writeln!(out, "{}", wrapped(&format!("Note: {note}.")))?;
    }
    if found.is_real() {
        writeln!(
            out,
            "{}",
            wrapped(
                "Next: look for what was moved, fitted or switched on near the sensor since; steer by the new card; check it \
                 against a known bearing."
            )
        )?;
    }
    Ok(())
}

fn json(old: &CardFile, new: &CardFile, found: &Comparison, notes: &[String]) -> Value {
    let rounded = |value: f64| (value * 1000.0).round() / 1000.0 + 0.0;
    let terms = NAMES.iter().enumerate().map(|(at, name)| {
        let change = json!({"deg": found.change[at].map(rounded), "sigma_deg": found.sigmas[at].map(rounded)});
        ((*name).to_owned(), change)
    });
    let rows: Vec<Value> = (0..36)
        .map(|at| {
            let heading = f64::from(at) * 10.0;
            let (change, sigma) = found.on(heading);
            json!({"compass_deg": heading, "change_deg": rounded(change), "sigma_deg": rounded(sigma)})
        })
        .collect();
    json!({
        "schema": 1,
        "old": old.name,
        "new": new.name,
        "real": found.is_real(),
        "by_chance": (found.by_chance * 1e6).round() / 1e6,
        "chi_square": rounded(found.chi_square),
        "freedom": found.freedom,
        "coefficients": terms.collect::<serde_json::Map<_, _>>(),
        "changes": rows,
        "notes": notes,
    })
}
