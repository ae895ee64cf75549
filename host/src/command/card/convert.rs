//! `lubber card convert`: a heading from any of compass, magnetic and true to the other two.

use std::fmt::Write;
use std::path::PathBuf;

use chrono::NaiveDate;
use lubber_core::angle::EastWest;
use lubber_core::angle::Turn;
use lubber_core::heading::Card;
use lubber_core::heading::Compass;
use lubber_core::heading::Magnetic;
use lubber_core::heading::True;
use lubber_core::heading::Variation;
use lubber_core::picture::Reference;
use lubber_core::picture::Referred;
use serde_json::Value;
use serde_json::json;

use super::Format;
use super::card_in_force;
use super::degrees;
use super::printable;
use super::write;
use super::write_json;
use crate::analysis::variation;
use crate::analysis::variation::Field;
use crate::analysis::variation::Zone;
use crate::boat::card::CardFile;
use crate::boat::words;
use crate::exit::Exit;
use crate::exit::Failure;

/// Convert headings between compass, magnetic and true.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  lubber card convert 135C 090M --card card.toml --variation 4.1E
  lubber card convert 007.5T --card card.toml --at 50.35,-4.15 --date 2026-06-14")]
pub(super) struct Args {
    /// The headings, each with its letter: 135C, 135M, 007.5T.
    #[arg(required = true, value_name = "HEADING")]
    headings: Vec<String>,
    /// The deviation card; else the one of the boat file.
    #[arg(long, value_name = "FILE")]
    card: Option<PathBuf>,
    /// The boat file; else boat.toml in the working folder, if there is one.
    #[arg(long, value_name = "FILE", conflicts_with = "card")]
    boat: Option<PathBuf>,
    /// The variation: 4.1E, 2W, or a number that is east plus.
    #[arg(long, allow_hyphen_values = true, conflicts_with = "at")]
    variation: Option<String>,
    /// Take the variation from the World Magnetic Model for this place: 50.35,-4.15.
    #[arg(long, value_name = "LAT,LON", allow_hyphen_values = true, requires = "date")]
    at: Option<String>,
    /// The date for the model: 2026-06-14.
    #[arg(long, value_name = "YYYY-MM-DD", requires = "at")]
    date: Option<String>,
    /// How the answer is written.
    #[arg(long, value_enum, default_value_t)]
    format: Format,
}

/// The variation to convert by, and where it is from.
enum Source {
    Given(Variation),
    Model(Variation, Field),
}

/// One heading in all three references, as far as card and variation lead.
struct Converted<'a> {
    typed: &'a str,
    compass: Option<Compass>,
    deviation: Option<Turn>,
    magnetic: Option<Magnetic>,
    truth: Option<True>,
}

pub(super) fn run(args: &Args) -> Result<Exit, Failure> {
    let headings = args.headings.iter().map(|typed| heading(typed)).collect::<Result<Vec<_>, _>>()?;
    let source = source(args)?;
    let card = card_in_force(args.card.as_deref(), args.boat.as_ref())?;
    let variation = source.as_ref().map(Source::variation);
    let converted = headings
        .into_iter()
        .map(|(typed, heading)| convert(typed, heading, card.as_ref().map(|file| &file.card), variation))
        .collect::<Result<Vec<_>, _>>()?;
    let findings = findings(card.as_ref(), source.as_ref());
    match args.format {
        Format::Text => {
            for finding in &findings {
                anstream::eprintln!("lubber: note: {finding}");
            }
            write(&text(&converted, card.as_ref(), source.as_ref()))
        }
        Format::Json => write_json(&json(&converted, card.as_ref(), source.as_ref(), &findings)),
    }
}

fn heading(typed: &str) -> Result<(&str, Referred), Failure> {
    words::heading(typed).map(|heading| (typed, heading)).ok_or_else(|| {
        Failure::new(format!(
            "\"{}\" is no heading: expected degrees from 0 to 360 and C, M or T for compass, magnetic or true, for \
             example: 135C",
            printable(typed)
        ))
    })
}

fn source(args: &Args) -> Result<Option<Source>, Failure> {
    if let Some(typed) = &args.variation {
        let turn = words::east_west(typed).ok_or_else(|| {
            Failure::new(format!(
                "--variation \"{}\": expected degrees up to 180 with the letter E or W, for example: --variation 4.1E",
                printable(typed)
            ))
        })?;
        return Ok(Some(Source::Given(Variation(turn))));
    }
    let (Some(at), Some(date)) = (&args.at, &args.date) else { return Ok(None) };
    let position = words::position(at).ok_or_else(|| {
        Failure::new(format!(
            "--at \"{}\": expected latitude and longitude in degrees, north and east plus, for example: --at 50.35,-4.15",
            printable(at)
        ))
    })?;
    let noon = NaiveDate::parse_from_str(date, "%Y-%m-%d").ok().and_then(|day| day.and_hms_opt(12, 0, 0)).ok_or_else(
        || {
            Failure::new(format!(
                "--date \"{}\": expected a day that exists, for example: --date 2026-06-14",
                printable(date)
            ))
        },
    )?;
    let field = variation::year(noon.and_utc().timestamp_millis())
        .and_then(|year| variation::field(f64::from(position.lat_e7) / 1e7, f64::from(position.lon_e7) / 1e7, year))
        .map_err(|why| Failure::new(why.to_string()))?;
    Ok(Some(Source::Model(field.for_core().variation, field)))
}

fn convert<'a>(
    typed: &'a str,
    heading: Referred,
    card: Option<&Card>,
    variation: Option<Variation>,
) -> Result<Converted<'a>, Failure> {
    let missing = |what: &str, remedy: &str| {
        Failure::new(format!("{} leads nowhere without {what}: give {remedy}", printable(typed)))
    };
    let (compass, magnetic, truth) = match heading.reference {
        Reference::Compass => {
            let compass = Compass(heading.bearing);
            let card = card.ok_or_else(|| missing("a deviation card", "--card FILE, for example: --card card.toml"))?;
            let magnetic = compass.by_card(card);
            (Some(compass), Some(magnetic), variation.map(|variation| magnetic.to_true(variation)))
        }
        Reference::Magnetic => {
            let magnetic = Magnetic(heading.bearing);
            if card.is_none() && variation.is_none() {
                return Err(missing(
                    "a card or a variation",
                    "--card FILE or --variation, for example: --variation 4.1E",
                ));
            }
            let compass = card.map(|card| magnetic.to_compass(card));
            (compass, Some(magnetic), variation.map(|variation| magnetic.to_true(variation)))
        }
        Reference::True => {
            let truth = True(heading.bearing);
            let variation = variation
                .ok_or_else(|| missing("a variation", "--variation 4.1E, or --at LAT,LON with --date YYYY-MM-DD"))?;
            let magnetic = truth.to_magnetic(variation);
            (card.map(|card| magnetic.to_compass(card)), Some(magnetic), Some(truth))
        }
    };
    let deviation = compass.zip(magnetic).map(|(compass, magnetic)| compass.0.turn_to(magnetic.0));
    Ok(Converted { typed, compass, deviation, magnetic, truth })
}

impl Source {
    fn variation(&self) -> Variation {
        match self {
            Self::Given(variation) | Self::Model(variation, _) => *variation,
        }
    }
}

fn findings(card: Option<&CardFile>, source: Option<&Source>) -> Vec<String> {
    let mut findings = card.map(|card| card.findings.clone()).unwrap_or_default();
    if let Some(Source::Model(_, field)) = source {
        if field.extrapolated_years > 0.0 {
            findings.push(format!(
                "the date is {:.1} years outside what the model of {} is for; its variation is carried there and is less sure",
                field.extrapolated_years, field.epoch
            ));
        }
        match field.zone {
            Zone::Sound => {}
            Zone::Caution => findings.push(format!(
                "the horizontal field there is {:.0} nT, under 6000: a compass is to be used with caution",
                field.horizontal_nt
            )),
            Zone::Blackout => findings.push(format!(
                "the horizontal field there is {:.0} nT, under 2000: a compass is not to be relied on",
                field.horizontal_nt
            )),
        }
    }
    findings
}

fn text(converted: &[Converted<'_>], card: Option<&CardFile>, source: Option<&Source>) -> String {
    let mut out = String::new();
    let by_card = card.map_or_else(|| "no card".to_owned(), |card| format!("card {}", printable(&card.name)));
    let by_variation = match source {
        None => "no variation".to_owned(),
        Some(Source::Given(variation)) => format!("variation {} as given", EastWest(variation.0)),
        Some(Source::Model(variation, field)) => format!(
            "variation {} by the model of {}, sigma {:.2} degrees",
            EastWest(variation.0),
            field.epoch,
            field.sigma_deg
        ),
    };
    let variation = source.map_or_else(|| "-".to_owned(), |source| EastWest(source.variation().0).to_string());
    // Writing to a String cannot fail.
    let _ = writeln!(out, "By {by_card}, {by_variation}.\n");
    let _ = writeln!(
        out,
        "{:<10}  {:>9}  {:>9}  {:>9}  {:>9}  {:>9}",
        "given", "compass", "deviation", "magnetic", "variation", "true"
    );
    for one in converted {
        let cell = |text: Option<String>| text.unwrap_or_else(|| "-".to_owned());
        let _ = writeln!(
            out,
            "{:<10}  {:>9}  {:>9}  {:>9}  {:>9}  {:>9}",
            printable(one.typed.trim()),
            cell(one.compass.map(|compass| format!("{:.1} C", compass.0))),
            cell(one.deviation.map(|deviation| EastWest(deviation).to_string())),
            cell(one.magnetic.map(|magnetic| format!("{:.1} M", magnetic.0))),
            variation,
            cell(one.truth.map(|truth| format!("{:.1} T", truth.0))),
        );
    }
    out
}

fn json(converted: &[Converted<'_>], card: Option<&CardFile>, source: Option<&Source>, findings: &[String]) -> Value {
    let rows: Vec<Value> = converted
        .iter()
        .map(|one| {
            json!({
                "given": one.typed.trim(),
                "compass_deg": one.compass.map(|compass| degrees(compass.0.as_mdeg())),
                "deviation_deg": one.deviation.map(|deviation| degrees(deviation.as_mdeg())),
                "magnetic_deg": one.magnetic.map(|magnetic| degrees(magnetic.0.as_mdeg())),
                "variation_deg": source.map(|source| degrees(source.variation().0.as_mdeg())),
                "true_deg": one.truth.map(|truth| degrees(truth.0.as_mdeg())),
            })
        })
        .collect();
    let variation = match source {
        None => Value::Null,
        Some(Source::Given(variation)) => {
            json!({"deg": degrees(variation.0.as_mdeg()), "sigma_deg": null, "from": "given"})
        }
        Some(Source::Model(variation, field)) => json!({
            "deg": degrees(variation.0.as_mdeg()),
            "sigma_deg": degrees(field.for_core().sigma.as_mdeg()),
            "from": "model",
            "epoch": field.epoch,
            "extrapolated_years": (field.extrapolated_years * 10.0).round() / 10.0,
            "horizontal_nt": field.horizontal_nt.round(),
        }),
    };
    json!({"schema": 1, "card": card.map(|card| &card.name), "variation": variation, "headings": rows, "findings": findings})
}
