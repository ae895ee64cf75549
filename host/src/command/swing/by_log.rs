//! A swing from logs: by course and speed over the ground, or by another heading on board.

use lubber_core::picture::Name;

use super::Keep;
use super::LogArgs;
use super::keep;
use super::replayed;
use super::replayed::Moment;
use super::replayed::Replayed;
use super::replayed::Window;
use super::report::Report;
use super::report::iso;
use super::series::Sensor;
use super::series::Series;
use super::series::Wanted;
use super::variation;
use crate::analysis::bearings::ALIGNMENT_DEG;
use crate::analysis::bearings::signed;
use crate::analysis::headings;
use crate::analysis::swing::Block;
use crate::analysis::swing::Gathered;
use crate::analysis::swing::Measured;
use crate::analysis::swing::Refusal;
use crate::analysis::swing::Settings;
use crate::analysis::swing::Swing;
use crate::analysis::swing::Wind;
use crate::analysis::swing::analyse;
use crate::exit::Exit;
use crate::exit::Failure;
use crate::input::Source;
use crate::plot;

/// A swing from logs.
#[derive(Debug, clap::Args)]
pub(super) struct ByLog {
    /// The log of the swing: FILE, or - (standard input); several logs of one boat are pooled.
    #[arg(value_name = "LOG", required = true)]
    logs: Vec<Source>,
    /// Take the log from here on only: 08:02, or 2026-06-14T08:02:00Z; UTC.
    #[arg(long, value_name = "TIME", value_parser = replayed::moment)]
    from: Option<Moment>,
    /// Take the log up to here only.
    #[arg(long, value_name = "TIME", value_parser = replayed::moment)]
    to: Option<Moment>,
    /// The true wind during the swing, knots, and where it blows from: 4 or 4/220; else the line's.
    #[arg(long, value_name = "KN", value_parser = super::wind)]
    wind: Option<Wind>,
    /// What the heading is compared with: gps, HDT, THS, or one by its name, such as GPHDT.
    #[arg(long, value_name = "NAME", default_value = "gps", value_parser = reference)]
    reference: Reference,
    #[command(flatten)]
    log: LogArgs,
    #[command(flatten)]
    keep: Keep,
}

/// What the heading is compared with.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Reference {
    Gps,
    /// Any talker's HDT or THS: the first in the log.
    Formatter([u8; 3]),
    Named(Name),
}

fn reference(text: &str) -> Result<Reference, String> {
    match text {
        "gps" | "GPS" => return Ok(Reference::Gps),
        "HDT" => return Ok(Reference::Formatter(*b"HDT")),
        "THS" => return Ok(Reference::Formatter(*b"THS")),
        _ => {}
    }
    let is_true = |name: &Name| matches!(&name.formatter.0, b"HDT" | b"THS");
    Name::parse(text).filter(is_true).map(Reference::Named).ok_or_else(|| {
        "gps, HDT, THS, or a true heading by talker and formatter, for example: --reference GPHDT".to_owned()
    })
}

pub(super) fn run(args: &ByLog) -> Result<Exit, Failure> {
    let boat = super::boat_file(&args.keep)?;
    let window = Window { from: args.from, to: args.to };
    let named = match args.reference {
        Reference::Gps => None,
        Reference::Named(name) => Some(name),
        // Which talker it is shows only in the log: one more pass is cheaper than a guess.
        Reference::Formatter(formatter) => {
            if args.logs.contains(&Source::Stdin) {
                return Err(Failure::new(
                    "from standard input the reference must be named whole, for example: --reference GPHDT",
                ));
            }
            let first = replayed::replay(&args.logs, &args.log, Wanted::default(), &window)?;
            Some(name_of(&first.series, formatter)?)
        }
    };
    let wanted = Wanted { reference: named, ..Wanted::default() };
    let Replayed { mut series, digest, names } = replayed::replay(&args.logs, &args.log, wanted, &window)?;
    if let (None, Some((first, last))) = (series.from, series.whole) {
        let (first, last) = (iso(first).unwrap_or_default(), iso(last).unwrap_or_default());
        return Err(Failure::new(format!(
            "nothing in the log between --from and --to: it runs from {first} to {last}"
        )));
    }
    two_boats(&series)?;
    let sensor = series.sensor(args.log.heading, boat.primary)?;
    let chosen = match variation::choose(args.log.variation, series.wire_variation, series.position, series.from) {
        Ok(chosen) => chosen,
        // A log that lacks more than a variation says so first: it is what the owner must mend.
        Err(no_variation) => {
            analyse(&sensor.collector.finish(), &Settings::default()).map_err(|why| refused(&why, &series))?;
            return Err(no_variation);
        }
    };
    let mut report = match named {
        None => by_ground(sensor, &series, &chosen, args.wind)?,
        Some(name) => by_heading(sensor, &series, &chosen, name)?,
    };
    if report.sensor.ends_with("HDM") {
        report.reasons.push(format!(
            "{0} is called magnetic, so its sensor may correct itself already: the card is for {0} as it comes, and is used \
             only where boat.toml or --card gives it to {0}",
            report.sensor
        ));
    }
    report.reasons.extend(chosen.notes);
    (report.variation, report.variation_from) = (chosen.variation, chosen.from);
    (report.from, report.to, report.position) = (series.from, series.to, series.position);
    (report.boat, report.sources, report.digest) = (boat.name, names, Some(digest));
    keep(&report, &args.keep)
}

fn name_of(series: &Series, formatter: [u8; 3]) -> Result<Name, Failure> {
    let with = |name: &&[u8; 5]| name.ends_with(&formatter);
    let most = series.seen.iter().filter(|(name, _)| with(name)).max_by_key(|(_, count)| **count);
    most.and_then(|(name, _)| Name::parse(&String::from_utf8_lossy(name))).ok_or_else(|| {
        Failure::new(format!(
            "no {} in the log to compare with: {}",
            String::from_utf8_lossy(&formatter),
            series.holds()
        ))
    })
}

/// Part of the fixes that may jump before two boats are suspected, and the fewest that count.
const JUMPS: (f64, u64) = (0.02, 10);

fn two_boats(series: &Series) -> Result<(), Failure> {
    if series.jumps >= JUMPS.1 && series.jumps as f64 > JUMPS.0 * series.fixes as f64 {
        return Err(Failure::new(format!(
            "the position jumps farther than a boat goes, {} times: the logs of two boats are mixed, or \
             two receivers, one of which has lost its senses. Give the log of one boat",
            series.jumps
        )));
    }
    Ok(())
}

fn by_ground(
    sensor: Sensor,
    series: &Series,
    chosen: &variation::Chosen,
    wind: Option<Wind>,
) -> Result<Report, Failure> {
    let gathered = sensor.collector.finish();
    let settings = Settings {
        variation_deg: chosen.variation.deg,
        variation_sigma_deg: chosen.variation.sigma_deg,
        wind: wind.or_else(|| series.wind.mean()),
        ..Settings::default()
    };
    let swing = analyse(&gathered, &settings).map_err(|why| refused(&why, series))?;
    let mut report = Report::of(&swing);
    report.track = Some(track(&gathered, &swing)).filter(|track| !track.ground.is_empty());
    report.sensor = sensor.name.to_string();
    // Zero is what a sensor without a correction sends.
    if sensor.wire_deviation != 0.0 {
        report.reasons.push(format!(
            "{} carries a deviation of its own, up to {}: the card is for its raw heading, and lubber will not use both; \
             set the sensor's own correction to none",
            sensor.name,
            variation::lettered(sensor.wire_deviation)
        ));
    }
    Ok(report)
}

fn refused(why: &Refusal, series: &Series) -> Failure {
    let void = match (why, series.void_fixes) {
        (Refusal::NoGround, 1..) => format!(
            " ({} fixes, every one marked void by the receiver: see to its antenna and its view of the sky)",
            series.void_fixes
        ),
        _ => String::new(),
    };
    let holds = match why {
        Refusal::NoGround | Refusal::NoHeading => format!("; {}", series.holds()),
        _ => String::new(),
    };
    Failure::new(format!("{why}{void}{holds}"))
}

/// The track of the turns, by adding up the velocity over the ground.
fn track(gathered: &Gathered, swing: &Swing) -> plot::Track {
    let mut track = plot::Track { current: None, ..plot::Track::default() };
    if let (Some(set), drift) = (swing.set_deg, swing.drift_kn) {
        track.current = Some((set.value, drift.value));
    }
    let blocks: &[Block] = if gathered.turns.is_empty() { &gathered.legs } else { &gathered.turns };
    for block in blocks {
        let middle = block.ground.get(block.ground.len() / 2).map_or(0.0, |at| at.0);
        let nearest = swing.currents.iter().filter(|current| current.log == block.log);
        let nearest = nearest.min_by(|a, b| (a.t_s - middle).abs().total_cmp(&(b.t_s - middle).abs()));
        let flow = nearest.map_or([0.0, 0.0], |current| current.flow_mps);
        let (mut ground, mut water) = (vec![[0.0, 0.0]], vec![[0.0, 0.0]]);
        for pair in block.ground.windows(2) {
            // Over a gap of the receiver she is taken to go on as she went.
            let way = (pair[1].0 - pair[0].0).clamp(0.0, 60.0);
            let mean = [(pair[0].1 + pair[1].1) / 2.0, (pair[0].2 + pair[1].2) / 2.0];
            let next = |from: [f64; 2], flow: [f64; 2]| {
                [from[0] + way * (mean[0] - flow[0]), from[1] + way * (mean[1] - flow[1])]
            };
            ground.push(next(ground[ground.len() - 1], [0.0, 0.0]));
            water.push(next(water[water.len() - 1], flow));
        }
        track.ground.push(ground);
        track.water.push(water);
    }
    track
}

fn by_heading(mut sensor: Sensor, series: &Series, chosen: &variation::Chosen, name: Name) -> Result<Report, Failure> {
    let ([a, b], [c, d, e]) = (name.talker.0, name.formatter.0);
    if !series.seen.contains_key(&[a, b, c, d, e]) {
        return Err(Failure::new(format!("no heading {name} in the log to compare with: {}", series.holds())));
    }
    if let Some(same) = replayed::same_sensor(&sensor, name, None) {
        return Err(same);
    }
    let common = chosen.variation.sigma_deg.hypot(ALIGNMENT_DEG);
    let bins = std::mem::take(&mut sensor.pairs).finish();
    let turned: f64 = bins.windows(2).map(|pair| signed(pair[1].compass_deg - pair[0].compass_deg).abs()).sum();
    let limits = Settings::default().limits;
    let found = headings::compare(&bins, chosen.variation.deg, common, &limits).map_err(|_| {
        Failure::new(format!(
            "{name} and {} do not meet on enough headings (she turned {turned:.0} degrees in all): motor one circle each \
             way, or hold a minute on each of eight headings all round",
            sensor.name
        ))
    })?;
    if let Some(same) = replayed::same_sensor(&sensor, name, Some(found.stray_deg)) {
        return Err(same);
    }
    let mut report = Report::of_card(&found.card, &name.to_string());
    let bar = |name: &str| {
        format!("{name} itself is taken to be aligned to {ALIGNMENT_DEG} degree: an error of it goes into A")
    };
    report.reasons.push(bar(&name.to_string()));
    report.sensor = sensor.name.to_string();
    report.sectors = found.sectors;
    report.lag_s = Some(Measured { value: -found.lag_s.0, sigma: found.lag_s.1 });
    report.marks = found
        .seen
        .iter()
        .map(|&(compass_deg, deviation_deg, rate)| plot::Mark {
            compass_deg,
            deviation_deg,
            residual_deg: signed(deviation_deg - found.card.coefficients.deviation(compass_deg)),
            kind: match rate {
                rate if rate < -0.5 => plot::Kind::Port,
                rate if rate > 0.5 => plot::Kind::Starboard,
                _ => plot::Kind::Steady,
            },
        })
        .collect();
    Ok(report)
}
