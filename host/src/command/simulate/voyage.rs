//! `lubber simulate voyage`.

use std::fs::File;
use std::fs::OpenOptions;
use std::io;
use std::io::BufWriter;
use std::io::ErrorKind;
use std::io::Write;
use std::path::Path;
use std::path::PathBuf;

use serde_json::json;

use crate::command::Format;
use crate::command::page;
use crate::command::simulate::options;
use crate::command::simulate::options::Planned;
use crate::command::simulate::options::RotFrom;
use crate::command::simulate::options::SecondHeading;
use crate::command::simulate::options::Sentences;
use crate::command::simulate::options::StampKind;
use crate::exit::Exit;
use crate::exit::Failure;
use crate::simulate;
use crate::simulate::Happening;
use crate::simulate::Heard;
use crate::simulate::Rot;
use crate::simulate::Second;
use crate::simulate::Settings;
use crate::simulate::Stamps;
use crate::simulate::Steering;
use crate::simulate::Voyage;

/// Make the log of a voyage: pilot, seaway, current, and what goes wrong.
///
/// The same options give the same bytes on every machine. The log is plain NMEA 0183.
#[derive(Debug, clap::Args)]
#[command(after_help = options::HELP)]
pub(super) struct Args {
    /// Where the log goes; `-` is standard output
    #[arg(long, value_name = "FILE")]
    out: PathBuf,
    /// Where the truth goes, as JSON lines
    #[arg(long, value_name = "FILE")]
    truth: Option<PathBuf>,
    /// From one line of the truth to the next
    #[arg(long, value_name = "TIME", default_value = "10s", value_parser = simulate::duration)]
    truth_every: u64,
    /// Write over files that are there
    #[arg(long)]
    replace: bool,
    /// The demo: its script and its length, which are also taken where neither is given
    #[arg(long, conflicts_with_all = ["event", "hours"])]
    demo: bool,
    /// What happens: NAME@TIME[=VALUE][/SPAN], or `none`; may be given again and again
    #[arg(long, value_name = "EVENT", value_parser = options::event)]
    event: Vec<Planned>,
    /// How long the voyage is, in hours; without it, as long as the demo
    #[arg(long, value_name = "HOURS", allow_negative_numbers = true)]
    hours: Option<f64>,
    /// Fixes all chance
    #[arg(long, value_name = "NUMBER", default_value_t = Settings::demo().seed)]
    seed: u64,
    /// When it begins, e.g. 2026-07-14T01:50:00Z
    #[arg(long, value_name = "TIME", value_parser = options::start)]
    start: Option<i64>,
    /// The course she steers, by her own compass, in degrees
    #[arg(long, value_name = "DEG", default_value_t = 135.0, conflicts_with = "by_wind")]
    course: f64,
    /// Steer by the apparent wind instead, at this angle; starboard plus
    #[arg(long, value_name = "DEG", allow_negative_numbers = true)]
    by_wind: Option<f64>,
    /// Yaw in the seaway, rms in degrees
    #[arg(long, value_name = "DEG", default_value_t = 2.0)]
    yaw: f64,
    /// Speed through the water, in knots
    #[arg(long, value_name = "KN", default_value_t = 6.0)]
    speed: f64,
    /// The current: direction it flows towards and knots
    #[arg(long, value_name = "DEG/KN", default_value = "220/0.8", value_parser = options::vector)]
    current: (f64, f64),
    /// The wind: direction it blows from and knots
    #[arg(long, value_name = "DEG/KN", default_value = "235/14", value_parser = options::vector)]
    wind: (f64, f64),
    /// A tide that runs to and fro along the current on top of it, in knots at its fullest
    #[arg(long, value_name = "KN", default_value_t = 0.0)]
    tide: f64,
    /// Leeway with the wind abeam, in degrees
    #[arg(long, value_name = "DEG", default_value_t = 2.0)]
    leeway: f64,
    /// Heel with the wind abeam, in degrees; given, heel, helm and leeway follow the gusts
    #[arg(long, value_name = "DEG")]
    heel: Option<f64>,
    /// What a degree of heel to starboard adds to the deviation on north, in degrees
    #[arg(long, value_name = "DEG", default_value_t = 0.0, allow_negative_numbers = true)]
    heel_error: f64,
    /// Where she starts: latitude and longitude in degrees, north and east plus
    #[arg(long, value_name = "LAT,LON", default_value = "36,18", value_parser = options::place, allow_hyphen_values = true)]
    place: (f64, f64),
    /// Variation, in degrees, east plus; should be about that of the place
    #[arg(long, value_name = "DEG", default_value_t = 4.1, allow_negative_numbers = true)]
    variation: f64,
    /// How it changes: degrees for each degree of latitude and of longitude
    #[arg(long, value_name = "N,E", default_value = "0,0", value_parser = options::gradient, allow_hyphen_values = true)]
    variation_gradient: [f64; 2],
    /// Deviation of the heading sensor: its coefficients A to E, in degrees
    #[arg(long, value_name = "A,B,C,D,E", default_value = "0.4,1.6,-2.1,0.8,-0.2", value_parser = options::deviation,
          allow_hyphen_values = true)]
    deviation: [f64; 5],
    /// A second heading, HDT: HDG plus variation, or a satellite compass
    #[arg(long, value_enum, default_value_t = SecondHeading::None)]
    second: SecondHeading,
    /// What ROT is made of: the heading sensor's change, or a gyro
    #[arg(long, value_enum, default_value_t = RotFrom::Derived)]
    rot: RotFrom,
    /// Decimals of COG, 0 or 1
    #[arg(long, value_name = "NUMBER", default_value_t = 1)]
    cog_decimals: u8,
    /// Which sentences, how often a second, e.g. HDG=10,RMC=1,ZDA=0.1
    #[arg(long, value_name = "LIST", value_parser = options::sentences)]
    sentences: Option<Sentences>,
    /// How the lines are stamped: a TAG block with milliseconds, or not at all
    #[arg(long, value_enum, default_value_t = StampKind::Tag)]
    stamps: StampKind,
    /// How the summary is written
    #[arg(long, value_enum, default_value_t = Format::Text)]
    format: Format,
}

/// A shorter voyage says nothing: most sentences come once a second.
const LEAST_MS: u64 = 1_000;

/// What was made, for the summary.
#[derive(Default)]
struct Made {
    lines: u64,
    bytes: u64,
    cues: Vec<simulate::Cue>,
}

/// Sails the voyage and writes it down.
///
/// # Errors
/// [`Failure`] where an option makes no sense or a file cannot be written.
pub(super) fn run(args: &Args) -> Result<Exit, Failure> {
    let stamps = match args.stamps {
        StampKind::None => Stamps::None,
        StampKind::Tag => Stamps::Tag,
    };
    let voyage = Voyage::new(settings(args)?).map_err(|error| Failure::new(format!("{error}.")))?;
    let to_stdout = is_stdout(&args.out);
    if let Some(truth) = &args.truth
        && (*truth == args.out || is_stdout(truth))
    {
        return Err(Failure::new("the truth needs a file of its own; give --truth another name."));
    }
    if args.truth_every == 0 || !args.truth_every.is_multiple_of(simulate::STEP_MS) {
        return Err(Failure::new("--truth-every is a multiple of a tenth of a second, e.g. 10s."));
    }
    let mut truth = match &args.truth {
        Some(path) => Some((path, BufWriter::new(create(path, args.replace)?))),
        None => None,
    };
    let mut log: Box<dyn Write> = if to_stdout {
        Box::new(BufWriter::new(io::stdout().lock()))
    } else {
        match create(&args.out, args.replace) {
            Ok(file) => Box::new(BufWriter::new(file)),
            Err(failure) => {
                // Nothing has been sailed: leave no empty truth behind that stops the next try.
                if let Some((path, _)) = truth.filter(|_| !args.replace) {
                    let _ = std::fs::remove_file(path);
                }
                return Err(failure);
            }
        }
    };
    let sailed = sail(voyage, stamps, args.truth_every, &mut log, truth.as_mut().map(|(_, to)| to));
    let made = match sailed.and_then(|made| log.flush().map(|()| made).map_err(Fault::Log)) {
        Ok(made) => made,
        Err(Fault::Log(error)) if to_stdout && error.kind() == ErrorKind::BrokenPipe => return Ok(Exit::Done),
        Err(Fault::Log(error)) => return Err(unwritable(&args.out, &error)),
        Err(Fault::Truth(error)) => return Err(unwritable(args.truth.as_deref().unwrap_or(&args.out), &error)),
    };
    report(args, &made, to_stdout);
    Ok(Exit::Done)
}

/// Which of the two files could not be written.
enum Fault {
    Log(io::Error),
    Truth(io::Error),
}

fn sail(
    mut voyage: Voyage,
    stamps: Stamps,
    truth_every_ms: u64,
    log: &mut dyn Write,
    mut truth: Option<&mut BufWriter<File>>,
) -> Result<Made, Fault> {
    let (mut made, mut bytes, mut rows) = (Made::default(), Vec::new(), String::new());
    simulate::head(voyage.settings(), &mut rows);
    while let Some(now) = voyage.step(&mut |heard| match heard {
        Heard::Line { unix_ms, bytes: line } => {
            made.lines += 1;
            stamps.write(unix_ms, line, &mut bytes);
        }
        Heard::Cue(cue) => {
            cue.write(&mut rows);
            made.cues.push(cue);
        }
    }) {
        if now.since_start_ms.is_multiple_of(truth_every_ms) {
            now.write(voyage.settings(), &mut rows);
        }
        if let Some(to) = truth.as_mut() {
            to.write_all(rows.as_bytes()).map_err(Fault::Truth)?;
        }
        log.write_all(&bytes).map_err(Fault::Log)?;
        made.bytes += bytes.len() as u64;
        bytes.clear();
        rows.clear();
    }
    if let Some(to) = truth {
        // A voyage of no length still has its head.
        to.write_all(rows.as_bytes()).and_then(|()| to.flush()).map_err(Fault::Truth)?;
    }
    Ok(made)
}

fn settings(args: &Args) -> Result<Settings, Failure> {
    let mut settings = Settings::demo();
    if let Some(hours) = args.hours {
        settings.length_ms = (hours * 3_600_000.0).round() as u64;
        if !(0.0..=24_000.0).contains(&hours) || settings.length_ms < LEAST_MS {
            return Err(Failure::new(format!(
                "--hours is {hours}; a voyage lasts from 0.0003 (a second) to 24000 hours. Example: --hours 8"
            )));
        }
    }
    if !args.event.is_empty() || args.hours.is_some() {
        settings.events = args.event.iter().filter_map(Planned::event).collect();
        let asked_for_none = args.event.iter().any(|planned| matches!(planned, Planned::None));
        if asked_for_none && !settings.events.is_empty() {
            return Err(Failure::new("--event none and another --event contradict each other; leave one out."));
        }
    }
    if let Some(late) = settings.events.iter().find(|event| event.at_ms >= settings.length_ms) {
        return Err(Failure::new(format!("`{late}` comes after the end of the voyage; make it longer with --hours.")));
    }
    settings.seed = args.seed;
    settings.start_unix_ms = args.start.unwrap_or(settings.start_unix_ms);
    settings.steering = args.by_wind.map_or(Steering::Course(args.course), Steering::Wind);
    let waters = &mut settings.waters;
    (waters.yaw_rms_deg, waters.variation_deg) = (args.yaw, args.variation);
    (waters.latitude_deg, waters.longitude_deg) = args.place;
    (waters.set_deg, waters.drift_kn) = args.current;
    (waters.wind_from_deg, waters.wind_kn) = args.wind;
    (waters.tide_kn, waters.variation_gradient) = (args.tide, args.variation_gradient);
    if let Some(heel) = args.heel {
        (settings.boat.heel_deg, settings.boat.gust_response) = (heel, 1.0);
    }
    settings.gear.heel_error = args.heel_error;
    (settings.boat.speed_kn, settings.boat.leeway_deg) = (args.speed, args.leeway);
    let gear = &mut settings.gear;
    (gear.deviation, gear.cog_decimals) = (args.deviation, args.cog_decimals);
    gear.second = match args.second {
        SecondHeading::None => Second::None,
        SecondHeading::Copy => Second::Copy,
        SecondHeading::Independent => Second::Independent,
    };
    gear.rot = match args.rot {
        RotFrom::Derived => Rot::Derived,
        RotFrom::Gyro => Rot::Gyro,
    };
    if let Some(Sentences(sentences)) = &args.sentences {
        settings.sentences.clone_from(sentences);
    }
    // By the wind there is no ordered course in the demo either: its order would end the wind.
    if args.by_wind.is_some() && args.event.is_empty() {
        settings.events.retain(|event| !matches!(event.happening, Happening::Order(_)));
    }
    Ok(settings)
}

fn report(args: &Args, made: &Made, to_stdout: bool) {
    let text = match args.format {
        Format::Json => {
            let events: Vec<_> = made
                .cues
                .iter()
                .map(|cue| {
                    let event = cue.event.to_string();
                    json!({"since_start_ms": cue.since_start_ms, "at_ms": cue.unix_ms, "event": event, "ends": cue.ends})
                })
                .collect();
            let summary =
                json!({"schema": 1, "seed": args.seed, "lines": made.lines, "bytes": made.bytes, "events": events});
            format!("{summary}\n")
        }
        Format::Text => {
            let mut text =
                format!("{}: {} lines, {} bytes, seed {}\n", args.out.display(), made.lines, made.bytes, args.seed);
            for cue in &made.cues {
                let what = if cue.ends { "ends  " } else { "begins" };
                text += &format!("  {:>9} ms  {what}  {}\n", cue.since_start_ms, cue.event);
            }
            text
        }
    };
    // The summary is a courtesy: a reader who has gone away does not make the voyage fail.
    let _ = if to_stdout {
        anstream::stderr().write_all(text.as_bytes())
    } else {
        anstream::stdout().write_all(text.as_bytes())
    };
}

fn is_stdout(path: &Path) -> bool {
    path.as_os_str() == "-"
}

fn create(path: &Path, replace: bool) -> Result<File, Failure> {
    let mut options = OpenOptions::new();
    options.write(true);
    let options = if replace { options.create(true).truncate(true) } else { options.create_new(true) };
    options.open(path).map_err(|error| match error.kind() {
        ErrorKind::AlreadyExists => {
            let path = path.display();
            Failure::new(format!("{path} is there already; give another name, or --replace to write over it."))
        }
        _ => unwritable(path, &error),
    })
}

fn unwritable(path: &Path, error: &io::Error) -> Failure {
    Failure::new(page::unwritable(path, error))
}
