//! `lubber swing sun` and `lubber swing bearings`.

use std::path::PathBuf;

use lubber_core::picture::Name;
use lubber_core::unit::Position;

use super::Keep;
use super::LogArgs;
use super::keep;
use super::replayed;
use super::replayed::Window;
use super::report::Report;
use super::series::Sensor;
use super::series::Wanted;
use super::variation;
use crate::analysis::bearings;
use crate::analysis::bearings::ALIGNMENT_DEG;
use crate::analysis::bearings::Sight;
use crate::analysis::bearings::Sighting;
use crate::analysis::sun;
use crate::analysis::swing::Settings;
use crate::boat::observations::BEARINGS_EXAMPLE;
use crate::boat::observations::KnownBearing;
use crate::boat::observations::Object;
use crate::boat::observations::Observations;
use crate::boat::observations::SUN_EXAMPLE;
use crate::exit::Exit;
use crate::exit::Failure;
use crate::input::Source;
use crate::plot;

/// Find the card by the sun: time, heading, and its bearing from the bow.
#[derive(Debug, clap::Args)]
#[command(after_help = format!("The file of sights, at least five of them, best eight, 45 degrees apart:\n\n{SUN_EXAMPLE}\n\n\
Observe while the sun is below 45 degrees; over 60 a sight is refused (common practice, no source)."))]
pub(super) struct SunArgs {
    #[command(flatten)]
    common: Common,
}

/// Find the card by bearings of a distant object or a transit.
#[derive(Debug, clap::Args)]
#[command(after_help = format!("The file of sights, at least five of them, best eight, 45 degrees apart:\n\n{BEARINGS_EXAMPLE}\n\n\
The object should be so far off that its bearing does not change while she swings: 60 times the breadth\n\
of the water she swings in, for one degree (geometry)."))]
pub(super) struct BearingsArgs {
    #[command(flatten)]
    common: Common,
}

#[derive(Debug, clap::Args)]
struct Common {
    /// The file of sights.
    #[arg(value_name = "FILE")]
    file: PathBuf,
    /// The log that tells the heading at each sight's time, where the file does not.
    #[arg(long = "log", value_name = "LOG")]
    logs: Vec<Source>,
    #[command(flatten)]
    log: LogArgs,
    #[command(flatten)]
    keep: Keep,
}

pub(super) fn sun(args: &SunArgs) -> Result<Exit, Failure> {
    run(&args.common, Object::Sun)
}

pub(super) fn bearings(args: &BearingsArgs) -> Result<Exit, Failure> {
    run(&args.common, Object::Known)
}

fn run(args: &Common, object: Object) -> Result<Exit, Failure> {
    let boat = super::boat_file(&args.keep)?;
    let file = Observations::read(&args.file, object)?;
    let (sensor, digest) = heading_log(args, &file, boat.primary)?;
    let from = file.sights.iter().filter_map(|sight| sight.at_ms).min();
    let to = file.sights.iter().filter_map(|sight| sight.at_ms).max();
    let noon = file.date.map(|day| day.days_since_1970() * 86_400_000 + 43_200_000);
    let is_magnetic = |bearing: Option<KnownBearing>| matches!(bearing, Some(KnownBearing::Magnetic(_)));
    let all_magnetic = object == Object::Known && file.sights.iter().all(|sight| is_magnetic(sight.bearing));
    let given = args.log.variation.or(file.variation_deg);
    let chosen = if all_magnetic && given.is_none() {
        // Nothing leads over true north, so no variation is needed and none can be wrong.
        let none = crate::analysis::swing::Degrees { deg: 0.0, sigma_deg: 0.0 };
        variation::Chosen { variation: none, from: "given", notes: Vec::new() }
    } else {
        variation::choose(given, None, file.position, from.or(noon)).map_err(|_| {
            Failure::new(format!(
                "{}: no variation: write variation = \"4.1 E\", or position and date, for example: position = \"47 00.0 N, \
                 6 00.0 W\" and date = 2026-06-14",
                file.name
            ))
        })?
    };
    let mut notes = chosen.notes.clone();
    let sights = sights(&file, object, sensor.as_ref(), chosen.variation.deg, &mut notes)?;
    // One object, one sun, one pelorus: what is wrong with them is wrong with every sight.
    let variation_sigma = if all_magnetic { 0.0 } else { chosen.variation.sigma_deg };
    let by_sight = sights.iter().all(|sight| matches!(sight.sighting, Sighting::ByCompass(_)));
    let aligned = if by_sight { 0.0 } else { ALIGNMENT_DEG };
    let card = bearings::card(&sights, variation_sigma.hypot(aligned), &Settings::default().limits)
        .map_err(|why| Failure::new(format!("{}: {why}", file.name)))?;
    let mut report = Report::of_card(&card, if object == Object::Sun { "sun" } else { "bearings" });
    report.reasons.append(&mut notes);
    if !by_sight {
        report.reasons.push(format!(
            "the pelorus, or the line of sight ahead, is taken to lie along the keel to {ALIGNMENT_DEG} degree: an error of it \
             goes into A"
        ));
    }
    let sectors: std::collections::BTreeSet<i64> =
        sights.iter().map(|sight| (sight.compass_deg.rem_euclid(360.0) / 10.0) as i64 % 36).collect();
    report.sectors = sectors.len();
    report.marks = sights
        .iter()
        .zip(&card.residuals)
        .map(|(sight, residual)| plot::Mark {
            compass_deg: sight.compass_deg.rem_euclid(360.0),
            deviation_deg: sight.deviation_deg(),
            residual_deg: *residual,
            kind: plot::Kind::Steady,
        })
        .collect();
    let name = file.sensor.or(sensor.as_ref().map(|sensor| sensor.name)).or(boat.primary);
    report.sensor = name.map_or_else(|| "compass".to_owned(), |name| name.to_string());
    (report.variation, report.variation_from) = (chosen.variation, chosen.from);
    (report.from, report.to) = (from, to);
    report.day = file.date.map(|day| (i32::from(day.year()), u32::from(day.month()), u32::from(day.day())));
    report.position = file.position;
    report.boat = file.boat.clone().or(boat.name);
    report.sources = vec![file.name.clone()];
    report.digest = digest;
    keep(&report, &args.keep)
}

/// The sensor of the log, where one is needed.
fn heading_log(
    args: &Common,
    file: &Observations,
    boats: Option<Name>,
) -> Result<(Option<Sensor>, Option<String>), Failure> {
    let missing = file.sights.iter().find(|sight| sight.compass_deg.is_none());
    if args.logs.is_empty() {
        return match missing {
            None => Ok((None, None)),
            Some(sight) => Err(Failure::new(format!(
                "{}:{}: compass is missing: expected a COMPASS heading, for example: compass = 5; or give --log LOG, and \
                 the log tells it",
                file.name, sight.line
            ))),
        };
    }
    let wanted = Wanted {
        moments: file.sights.iter().map(|sight| sight.at_ms.unwrap_or(i64::MIN / 2)).collect(),
        ..Wanted::default()
    };
    let mut replayed = replayed::replay(&args.logs, &args.log, wanted, &Window::default())?;
    let sensor = replayed.series.sensor(args.log.heading.or(file.sensor), boats)?;
    Ok((Some(sensor), Some(replayed.digest)))
}

/// The sights as numbers; the ones that cannot be used are told in `notes`.
fn sights(
    file: &Observations,
    object: Object,
    sensor: Option<&Sensor>,
    variation_deg: f64,
    notes: &mut Vec<String>,
) -> Result<Vec<Sight>, Failure> {
    let mut out = Vec::new();
    let mut high = 0.0_f64;
    for (at, sight) in file.sights.iter().enumerate() {
        let place = format!("{}:{}", file.name, sight.line);
        let compass_deg = match (sight.compass_deg, sensor) {
            (Some(compass), _) => compass,
            (None, Some(sensor)) => sensor.at_moment(at).ok_or_else(|| {
                Failure::new(format!(
                    "{place}: the log has no heading of {} within 3 seconds of that time; is the time UTC? Else write \
                     compass = 5 in the sight",
                    sensor.name
                ))
            })?,
            (None, None) => continue,
        };
        let (magnetic_deg, altitude) = match (object, sight.bearing) {
            (Object::Known, Some(KnownBearing::Magnetic(bearing))) => (bearing, 0.0),
            (Object::Known, Some(KnownBearing::True(bearing))) => (bearing - variation_deg, 0.0),
            (Object::Known, None) => continue,
            (Object::Sun, _) => {
                let (Some(position), Some(at_ms)) = (file.position, sight.at_ms) else { continue };
                let (lat, lon) = degrees(position);
                match sun::observable(lat, lon, at_ms) {
                    Ok(sun) => {
                        high = high.max(sun.altitude_deg);
                        (sun.azimuth_deg - variation_deg, sun.altitude_deg)
                    }
                    Err(why @ sun::NoSun::TooHigh { .. }) => {
                        notes.push(format!("the sight of line {} is left out: {why}", sight.line));
                        continue;
                    }
                    Err(why) => return Err(Failure::new(format!("{place}: {why}"))),
                }
            }
        };
        let sigma_deg = bearings::sigma_deg(sight.sighting, altitude);
        out.push(Sight { compass_deg, magnetic_deg, sighting: sight.sighting, sigma_deg });
    }
    if out.is_empty() && !notes.is_empty() {
        return Err(Failure::new(format!("{}: no sight can be used: {}", file.name, notes[notes.len() - 1])));
    }
    if high > sun::HIGH_DEG {
        notes.push(format!(
            "the sun stood up to {high:.0} degrees high: a tilt of the pelorus shows whole in the bearing; observe it below \
             {:.0}",
            sun::HIGH_DEG
        ));
    }
    Ok(out)
}

fn degrees(position: Position) -> (f64, f64) {
    (f64::from(position.lat_e7) / 1e7, f64::from(position.lon_e7) / 1e7)
}
