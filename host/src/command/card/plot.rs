//! `lubber card plot`: a card as one printed page.

use std::path::PathBuf;

use lubber_core::angle::Bearing;
use lubber_core::angle::EastWest;
use lubber_core::heading::Compass;

use super::SAFETY;
use super::degrees;
use super::printable;
use super::write;
use crate::analysis::harmonic::How;
use crate::analysis::harmonic::NAMES;
use crate::boat::card::CardFile;
use crate::command::page;
use crate::command::words::place;
use crate::exit::Exit;
use crate::exit::Failure;
use crate::plot;
use crate::plot::Kind;
use crate::plot::Mark;
use crate::plot::Node;
use crate::plot::Sheet;

/// Draw a card as one A4 page, SVG: its curve, and the tables to steer by.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example: lubber card plot card.toml --out card.svg")]
pub(super) struct Args {
    /// The card, for example card.toml.
    card: PathBuf,
    /// The page, for example card.svg.
    #[arg(long, value_name = "FILE")]
    out: PathBuf,
    /// Write over a file that is there.
    #[arg(long)]
    replace: bool,
}

pub(super) fn run(args: &Args) -> Result<Exit, Failure> {
    let card = CardFile::read(&args.card)?;
    page::write_new(&args.out, &plot::svg(&sheet(&card)), args.replace)?;
    write(&format!("{}: one page, A4 upright.\n", printable(&args.out.display().to_string())))
}

/// The sigma of a heading on straight lines between the points', where every point has one.
fn sigma(card: &CardFile, compass_deg: f64) -> Option<f64> {
    let known: Option<Vec<(f64, f64)>> = card
        .points
        .iter()
        .zip(&card.sigmas)
        .map(|(point, sigma)| Some((degrees(point.compass.0.as_mdeg()), (*sigma)?)))
        .collect();
    let points: Vec<crate::analysis::harmonic::Point> = known?
        .into_iter()
        .map(|(compass_deg, deviation_deg)| crate::analysis::harmonic::Point { compass_deg, deviation_deg })
        .collect();
    Some(crate::analysis::harmonic::straight(&points, compass_deg.rem_euclid(360.0)))
}

fn sheet(card: &CardFile) -> Sheet {
    let (steer, heads) = page::tables(&card.card);
    let date = card.date.map(|date| format!("made {:04}-{:02}-{:02}", date.year(), date.month(), date.day()));
    let about = [
        card.sensor.map(|name| format!("sensor {name}")),
        date,
        card.position.map(place),
        Some(if card.upright { "boat upright".to_owned() } else { "boat NOT upright".to_owned() }),
        card.note.clone(),
    ];
    let terms = NAMES.iter().enumerate().filter_map(|(at, name)| {
        let fitted = card.fit.as_ref().filter(|fit| fit.determined[at]).map(|fit| fit.coefficients.0[at])?;
        let sigma = card.coefficient_sigmas[at].map(|sigma| format!(" \u{b1} {sigma:.1}")).unwrap_or_default();
        Some(((*name).to_owned(), format!("{:+.1}{sigma}", fitted + 0.0)))
    });
    let mut facts: Vec<(String, String)> = terms.collect();
    let greatest = card.card.greatest();
    facts.push(("greatest".to_owned(), format!("{} on {:03.0} C", EastWest(greatest.deviation), greatest.compass.0)));
    facts.push(("points".to_owned(), format!("{} as written", card.points.len())));
    facts.push((
        "between".to_owned(),
        match card.how {
            How::FiveTerm(_) => "the five-term curve through every point".to_owned(),
            How::Straight(_) => "straight lines".to_owned(),
        },
    ));
    let curve = (0..=72).map(|at| {
        let bearing = Bearing::from_deg(at * 5);
        let compass_deg = f64::from(at) * 5.0;
        Node {
            compass_deg,
            deviation_deg: degrees(card.card.deviation(Compass(bearing)).as_mdeg()),
            sigma_deg: sigma(card, compass_deg),
        }
    });
    // The points of a full table lie on the curve and would only hide it.
    let points = if card.points.len() <= crate::analysis::harmonic::MOST { &card.points[..] } else { &[] };
    Sheet {
        boat: card.boat.clone(),
        about: about.into_iter().flatten().collect(),
        verdict: None,
        curve: curve.collect(),
        marks: points
            .iter()
            .map(|point| Mark {
                compass_deg: degrees(point.compass.0.as_mdeg()),
                deviation_deg: degrees(point.deviation.as_mdeg()),
                residual_deg: 0.0,
                kind: Kind::Written,
            })
            .collect(),
        track: None,
        facts,
        steer,
        heads,
        notes: card.findings.clone(),
        safety: SAFETY.map(str::to_owned).to_vec(),
        source: format!(
            "Drawn from {}{} by lubber {}.",
            card.name.rsplit('/').next().unwrap_or(&card.name),
            card.log.as_ref().map(|log| format!(" (log {log})")).unwrap_or_default(),
            env!("CARGO_PKG_VERSION")
        ),
    }
}
