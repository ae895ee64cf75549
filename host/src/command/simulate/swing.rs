//! `lubber simulate swing`.

use std::io;
use std::path::PathBuf;

use serde_json::json;

use super::options::start;
use crate::analysis::variation;
use crate::command::Format;
use crate::command::card::write_json;
use crate::command::page;
use crate::exit::Exit;
use crate::exit::Failure;
use crate::simulate::Stamps;
use crate::simulate::swing::Case;
use crate::simulate::swing::KNOT;
use crate::simulate::swing::Plan;

/// Make the log of a boat that swings her compass, with a known truth.
///
/// The same options give the same bytes on every machine. What is not given is drawn by the seed.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Example, the log of the demonstration:
  lubber simulate swing --demo --out swing.nmea --truth swing.truth.json")]
pub(super) struct Args {
    /// Where the log goes; `-` is standard output
    #[arg(long, value_name = "FILE")]
    out: PathBuf,
    /// Where the truth goes, as JSON
    #[arg(long, value_name = "FILE")]
    truth: Option<PathBuf>,
    /// Write over files that are there
    #[arg(long)]
    replace: bool,
    /// How the summary is written
    #[arg(long, value_enum, default_value_t)]
    format: Format,
    /// The demo: the boat of the fixtures
    #[arg(long)]
    demo: bool,
    /// What she does
    #[arg(long, value_enum, default_value_t)]
    case: Kind,
    /// Fixes all chance
    #[arg(long, value_name = "NUMBER", default_value_t = 1)]
    seed: u64,
    /// When it begins, e.g. 2026-06-14T08:00:00Z
    #[arg(long, value_name = "TIME", value_parser = start, default_value = "2026-06-14T08:00:00Z")]
    start: i64,
    /// Deviation of the sensor: its coefficients A to E, in degrees
    #[arg(long, value_name = "A,B,C,D,E", value_parser = super::options::deviation, allow_hyphen_values = true)]
    deviation: Option<[f64; 5]>,
    /// The current: direction it flows towards and knots
    #[arg(long, value_name = "DEG/KN", value_parser = super::options::vector)]
    current: Option<(f64, f64)>,
    /// Speed through the water, in knots
    #[arg(long, value_name = "KN")]
    speed: Option<f64>,
    /// Turn rate, in degrees a second
    #[arg(long, value_name = "DEG")]
    rate: Option<f64>,
    /// Headings a second: 1, 2, 5 or 10
    #[arg(long, value_name = "N", value_parser = rate)]
    headings: Option<u32>,
}

/// What she does.
#[derive(Clone, Copy, Debug, Default, clap::ValueEnum)]
enum Kind {
    /// One circle each way, a straight minute before each, a calm.
    #[default]
    Both,
    /// One circle to port, a straight minute before and after.
    Port,
    /// 225 degrees each way.
    Arcs,
    /// Both circles in a seaway, with a worse receiver and a coarser sensor.
    Noisy,
    /// Eight steady legs of two minutes.
    Legs,
}

impl From<Kind> for Case {
    fn from(kind: Kind) -> Self {
        match kind {
            Kind::Both => Self::Both,
            Kind::Port => Self::Port,
            Kind::Arcs => Self::Arcs,
            Kind::Noisy => Self::Noisy,
            Kind::Legs => Self::Legs,
        }
    }
}

fn rate(text: &str) -> Result<u32, String> {
    text.parse().ok().filter(|rate| [1, 2, 5, 10].contains(rate)).ok_or_else(|| "one of 1, 2, 5, 10".to_owned())
}

/// Where the simulated boat begins, degrees north and east.
const PLACE: (f64, f64) = (47.0, -6.0);

pub(super) fn run(args: &Args) -> Result<Exit, Failure> {
    let plan = plan(args)?;
    let log = plan.run();
    let mut bytes = Vec::new();
    log.write(Stamps::Tag, args.start, &mut bytes);
    let text = String::from_utf8(bytes).map_err(|_| Failure::new("the log is not text"))?;
    if let Some(truth) = &args.truth {
        if *truth == args.out {
            return Err(Failure::new("the truth needs a file of its own; give --truth another name"));
        }
        page::write_new(truth, &format!("{:#}\n", told(&plan)), args.replace)?;
    }
    if args.out.as_os_str() == "-" {
        use io::Write;
        return match io::stdout().lock().write_all(text.as_bytes()) {
            Err(error) if error.kind() != io::ErrorKind::BrokenPipe => {
                Err(Failure::new(format!("standard output cannot be written: {error}")))
            }
            _ => Ok(Exit::Done),
        };
    }
    page::write_new(&args.out, &text, args.replace)?;
    let seconds = log.headings.last().map_or(0.0, |last| last.0);
    let lines = text.lines().count();
    if args.format == Format::Json {
        return write_json(&json!({
            "schema": 1, "seed": plan.seed, "lines": lines, "bytes": text.len(), "seconds": seconds,
        }));
    }
    let out = args.out.display();
    anstream::println!("{out}: {lines} lines, {} bytes, {seconds:.0} s, seed {}", text.len(), plan.seed);
    Ok(Exit::Done)
}

/// The boat: drawn by the seed, then what was asked for.
fn plan(args: &Args) -> Result<Plan, Failure> {
    let mut plan = Plan::drawn(args.seed, args.case.into());
    // The wire's variation must be near the model's at the place, or the log would be doubted for it.
    let year = variation::year(args.start).map_err(|why| Failure::new(why.to_string()))?;
    let field = variation::field(PLACE.0, PLACE.1, year).map_err(|why| Failure::new(why.to_string()))?;
    let error = plan.variation_true_deg - plan.variation_told_deg;
    plan.variation_told_deg = (field.variation_deg * 10.0).round() / 10.0;
    // Rounded, for the last bits of a model differ from machine to machine.
    let sigma = (field.sigma_deg * 100.0).round() / 100.0;
    plan.variation_true_deg = plan.variation_told_deg + error * sigma / plan.variation_sigma_deg;
    plan.variation_sigma_deg = sigma;
    if args.demo {
        plan.coefficients = [0.4, 3.6, -2.1, 0.8, -0.2];
        plan.current_mps = vector(210.0, 0.6);
        (plan.speed_mps, plan.turn_rate_dps) = (4.9 * KNOT, 3.0);
        (plan.heading_hz, plan.heading_step_deg) = (2, 0.1);
    }
    if let Some(coefficients) = args.deviation {
        plan.coefficients = coefficients;
    }
    if let Some((set, drift)) = args.current {
        plan.current_mps = vector(set, drift);
    }
    let within = |value: Option<f64>, low: f64, high: f64, what: &str| match value {
        Some(value) if !(low..=high).contains(&value) => {
            Err(Failure::new(format!("{what} {value}: from {low} to {high} was expected")))
        }
        value => Ok(value),
    };
    if let Some(speed) = within(args.speed, 0.0, 20.0, "--speed")? {
        plan.speed_mps = speed * KNOT;
    }
    if let Some(rate) = within(args.rate, 0.5, 20.0, "--rate")? {
        plan.turn_rate_dps = rate;
    }
    if let Some(headings) = args.headings {
        plan.heading_hz = headings;
    }
    Ok(plan)
}

/// North and east, m/s, to the millimetre: the last bits of a sine differ from machine to machine.
fn vector(towards_deg: f64, knots: f64) -> [f64; 2] {
    let (sin, cos) = towards_deg.to_radians().sin_cos();
    [cos, sin].map(|part| (part * knots * KNOT * 1000.0).round() / 1000.0)
}

/// What is true of the boat.
fn told(plan: &Plan) -> serde_json::Value {
    let rounded = |value: f64| (value * 1000.0).round() / 1000.0 + 0.0;
    let [north, east] = plan.current_mps;
    let card: Vec<_> = (0..36)
        .map(|at| f64::from(at) * 10.0)
        .map(|compass| json!({"compass_deg": compass, "deviation_deg": rounded(plan.deviation(compass))}))
        .collect();
    json!({
        "schema": 1,
        "seed": plan.seed,
        "coefficients_deg": plan.coefficients.map(rounded),
        "card": card,
        "speed_kn": rounded(plan.speed_mps / KNOT),
        "set_deg": rounded(east.atan2(north).to_degrees().rem_euclid(360.0)),
        "drift_kn": rounded(north.hypot(east) / KNOT),
        "lag_s": rounded(plan.lag_s()),
        "variation_told_deg": rounded(plan.variation_told_deg),
        "variation_true_deg": rounded(plan.variation_true_deg),
    })
}
