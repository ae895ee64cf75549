//! `lubber swing`.

mod by_log;
mod replayed;
mod report;
mod series;
mod sights;
mod text;
mod variation;
mod wind;

use std::path::PathBuf;

use lubber_core::picture::Name;

use super::page;
use super::watch::Checksum;
use super::words::CARD_SAFETY;
use crate::analysis::swing::Verdict;
use crate::analysis::swing::Wind;
use crate::boat::file::BoatFile;
use crate::boat::words;
use crate::exit::Exit;
use crate::exit::Failure;
use crate::plot;
use report::Report;
use series::KNOT;

/// Find the deviation card of the heading sensor, and how sure it is.
///
/// From the log of a calm morning: one circle each way under engine, with a straight minute before each.
/// The current is found along with the deviation; no bearing compass and no helper is needed. The circles
/// are found in a longer log by themselves.
#[derive(Debug, clap::Args)]
#[command(args_conflicts_with_subcommands = true, subcommand_negates_reqs = true, after_help = HELP)]
pub struct Args {
    #[command(subcommand)]
    what: Option<What>,
    #[command(flatten)]
    by_log: by_log::ByLog,
}

#[derive(Debug, clap::Subcommand)]
enum What {
    Sun(sights::SunArgs),
    Bearings(sights::BearingsArgs),
}

const HELP: &str = "\
How to swing: on a day with less than 5 kn of wind (common practice, no source), away from
traffic and steel, run straight for a minute, then one full circle to port in 90 s or more,
straight again, and one to starboard, with engine and helm steady, at 3 kn or more. The log is
the data line as it comes, kept in a plain file; the receiver's own times in it are enough.

Examples:
  lubber swing morning.nmea
  lubber swing morning.nmea --out card.toml --plot card.svg
  lubber swing monday.nmea friday.nmea --wind 4
  lubber swing morning.nmea --from 08:10 --to 08:25 --variation 4.1E --format json
  lubber swing morning.nmea --reference GPHDT
  lubber swing sun sights.toml --out card.toml
  lubber swing bearings transit.toml

Exit status: 0 done; 1 with --check, the card is not usable; 2 could not do it; 130 interrupted.

An aid, not certified equipment. Check the card against a known bearing before you rely on it.";

/// What is done with the card, whichever way it was found.
#[derive(Debug, clap::Args)]
struct Keep {
    /// Write the card to this file, for example card.toml.
    #[arg(long, value_name = "FILE")]
    out: Option<PathBuf>,
    /// Write over files that are there.
    #[arg(long)]
    replace: bool,
    /// Draw the card as one A4 page, for example card.svg.
    #[arg(long, value_name = "FILE")]
    plot: Option<PathBuf>,
    /// How the answer is written.
    #[arg(long, value_enum, default_value_t)]
    format: super::Format,
    /// Exit with 1 if the card is not usable.
    #[arg(long)]
    check: bool,
    /// The boat file; else boat.toml in the working folder, if there is one.
    #[arg(long, value_name = "FILE")]
    boat: Option<PathBuf>,
}

/// Which log, and what of it.
#[derive(Debug, clap::Args)]
struct LogArgs {
    /// The heading to be swung, talker and formatter; else the boat file's, else the first HDG, else HDM.
    #[arg(long, value_name = "NAME", value_parser = sensor)]
    heading: Option<Name>,
    /// The variation: 4.1E, 2W, or a number that is east plus; else the line's or the magnetic model's.
    #[arg(long, value_name = "DEG", value_parser = east_west, allow_hyphen_values = true)]
    variation: Option<f64>,
    /// What checksums must be; "ignored" lets damaged lines pass.
    #[arg(long, value_enum, value_name = "RULE")]
    checksum: Option<Checksum>,
    /// For a log without a date: the time of its first line, such as 2026-06-14T08:00:00Z.
    #[arg(long, value_name = "TIME", value_parser = super::words::instant)]
    start: Option<i64>,
    /// For a log without any time: its sentences per second.
    #[arg(long, value_name = "N")]
    rate: Option<f64>,
}

fn sensor(text: &str) -> Result<Name, String> {
    let compass = |name: &Name| matches!(&name.formatter.0, b"HDG" | b"HDM");
    Name::parse(text)
        .filter(compass)
        .ok_or_else(|| "a compass is named by talker and formatter HDG or HDM, for example: --heading HCHDG".to_owned())
}

fn east_west(text: &str) -> Result<f64, String> {
    words::east_west(text)
        .map(|turn| f64::from(turn.as_mdeg()) / 1000.0)
        .ok_or_else(|| "degrees up to 180 with the letter E or W, for example: --variation 4.1E".to_owned())
}

/// `4` or `4/220`: knots, and where it blows from, degrees true.
fn wind(text: &str) -> Result<Wind, String> {
    let (speed, from) = match text.split_once('/') {
        Some((speed, from)) => (speed, Some(from)),
        None => (text, None),
    };
    let expected =
        || "the true wind in knots, with where it blows from if known, for example: --wind 4 or --wind 4/220";
    let knots: f64 = speed.trim().trim_end_matches("kn").trim().parse().map_err(|_| expected().to_owned())?;
    let from = from.map(|from| words::bearing(from).ok_or_else(|| expected().to_owned())).transpose()?;
    if !(0.0..=100.0).contains(&knots) {
        return Err(expected().to_owned());
    }
    Ok(Wind { speed_mps: knots * KNOT, from_true_deg: from.map(|bearing| f64::from(bearing.as_mdeg()) / 1000.0) })
}

/// Runs the verb.
///
/// # Errors
/// [`Failure`] says what could not be done and the remedy.
pub fn run(args: &Args) -> Result<Exit, Failure> {
    match &args.what {
        None => by_log::run(&args.by_log),
        Some(What::Sun(args)) => sights::sun(args),
        Some(What::Bearings(args)) => sights::bearings(args),
    }
}

fn boat_file(keep: &Keep) -> Result<BoatFile, Failure> {
    Ok(BoatFile::find(keep.boat.as_deref())?.map(|(_, boat)| boat).unwrap_or_default())
}

/// Prints the report, and keeps what is to be kept.
fn keep(report: &Report, keep: &Keep) -> Result<Exit, Failure> {
    // What is in the way is said before anything is printed or written.
    let files: Vec<&PathBuf> = keep.out.iter().chain(&keep.plot).collect();
    for file in &files {
        if !keep.replace && file.symlink_metadata().is_ok() {
            return Err(Failure::new(format!(
                "{} is there already and was left as it is; give another name, or --replace to write over it",
                file.display()
            )));
        }
    }
    if let [one, other] = files[..]
        && one == other
    {
        return Err(Failure::new("--out and --plot name the same file; give the page another name"));
    }
    let mut refused = None;
    if let Some(out) = &keep.out {
        if report.verdict == Verdict::NotUsable {
            refused = Some(format!("{} was not written: the card is not usable", out.display()));
        } else {
            page::write_new(out, &crate::boat::card_text::card_text(&report.card_text()), keep.replace)?;
        }
    }
    if let Some(file) = &keep.plot {
        page::write_new(file, &plot::svg(&sheet(report)), keep.replace)?;
    }
    let kept = keep.out.as_ref().filter(|_| refused.is_none()).map(|out| out.display().to_string());
    match keep.format {
        super::Format::Text => super::card::write(&text::text(report, kept.as_deref()))?,
        super::Format::Json => super::card::write_json(&report.json())?,
    };
    if let Some(why) = refused {
        return Err(Failure::new(why));
    }
    Ok(if keep.check && report.verdict == Verdict::NotUsable { Exit::No } else { Exit::Done })
}

/// The page of a report.
fn sheet(report: &Report) -> plot::Sheet {
    // Nobody shall steer by a card that is not usable: its page has no table to steer by.
    let card = report.card().filter(|_| report.verdict != Verdict::NotUsable);
    let (steer, heads) = card.map(|card| page::tables(&card)).unwrap_or_default();
    let terms = crate::analysis::harmonic::NAMES.iter().zip(report.coefficients);
    let mut facts: Vec<(String, String)> = terms
        .map(|(name, term)| {
            let value = term.map(|term| format!("{:+.1} \u{b1} {:.1}", term.deg + 0.0, term.sigma_deg));
            ((*name).to_owned(), value.unwrap_or_else(|| "unknown".to_owned()))
        })
        .collect();
    facts.extend(text::facts(report));
    let about = [
        Some(format!("sensor {}", report.sensor)),
        text::period(report),
        report.position.map(super::words::place),
        Some(format!("by {}", text::reference(report))),
        Some("boat upright".to_owned()),
    ];
    let digest = report.digest.as_ref().map(|digest| format!(" ({digest})")).unwrap_or_default();
    plot::Sheet {
        boat: report.boat.clone(),
        about: about.into_iter().flatten().collect(),
        verdict: Some(report.verdict.to_string()),
        curve: (0..=180)
            .map(|at| f64::from(at) * 2.0)
            .map(|compass_deg| {
                let row = report.deviation(compass_deg);
                plot::Node { compass_deg, deviation_deg: row.deg, sigma_deg: Some(row.sigma_deg) }
            })
            .collect(),
        marks: report.marks.clone(),
        track: report.track.clone(),
        facts,
        steer,
        heads,
        notes: report.reasons.clone(),
        safety: CARD_SAFETY.map(str::to_owned).to_vec(),
        source: format!(
            "Made from {}{digest} by lubber {}.",
            report.sources.iter().map(|name| name.rsplit('/').next().unwrap_or(name)).collect::<Vec<_>>().join(", "),
            env!("CARGO_PKG_VERSION")
        ),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn winds_and_names_as_typed() {
        let knots = |wind: Wind| (wind.speed_mps / KNOT * 10.0).round() / 10.0;
        assert_eq!(wind("4").map(|w| (knots(w), w.from_true_deg)), Ok((4.0, None)));
        assert_eq!(wind("4.5kn/220").map(|w| (knots(w), w.from_true_deg)), Ok((4.5, Some(220.0))));
        for bad in ["", "x", "-1", "4/", "4/361", "NaN"] {
            assert!(wind(bad).is_err(), "{bad}");
        }
        assert!(sensor("HCHDG").is_ok() && sensor("HCHDT").is_err() && sensor("hchdg").is_err());
    }
}
