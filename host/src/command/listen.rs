//! `lubber listen`.

mod gather;
mod json;
mod setup;
mod text;

use std::io;
use std::io::IsTerminal;
use std::io::Write;
use std::path::PathBuf;

use lubber_core::time::Span;

use crate::analysis::listen::Finding;
use crate::analysis::listen::Level;
use crate::analysis::listen::Survey;
use crate::command::Format;
use crate::command::sources::Reading;
use crate::command::watch::Checksum;
use crate::command::words;
use crate::exit::Exit;
use crate::exit::Failure;
use crate::input::Inputs;
use crate::input::Source;
use crate::session::Interrupt;
use crate::terminal::Screen;
use gather::GatherError;
use gather::Gathered;
use setup::Setup;

/// Show what is on the data line: each talker and formatter, bad lines, findings.
///
/// A log is read to its end; a live line is listened to until Ctrl-C, or for the time of --for. On a
/// terminal a live line is shown as it comes.
#[derive(Debug, clap::Args)]
#[command(after_long_help = EXAMPLES)]
pub struct Args {
    /// What to listen to: FILE, - (standard input), serial:DEVICE, tcp:HOST:PORT or udp:ADDRESS:PORT;
    /// up to 4. None: the sources of the boat file.
    #[arg(value_name = "SOURCE")]
    sources: Vec<Source>,
    /// The boat file; else boat.toml in the working folder, if there is one.
    #[arg(long, value_name = "FILE")]
    boat: Option<PathBuf>,
    /// The deviation card of the heading that a watch would be kept by.
    #[arg(long, value_name = "FILE")]
    card: Option<PathBuf>,
    /// How long to listen to a live line, such as 60s or 2min; else until Ctrl-C.
    #[arg(long = "for", value_name = "TIME", value_parser = words::duration)]
    length: Option<Span>,
    /// How the output is written.
    #[arg(long, value_enum, default_value_t)]
    format: Format,
    /// Exit with 1 if there is a finding that calls for action (marked `advice`; a `note` does not count).
    #[arg(long)]
    check: bool,
    /// What checksums must be; "ignored" lets damaged lines pass. Overrides the boat file.
    #[arg(long, value_enum, value_name = "RULE")]
    checksum: Option<Checksum>,
    #[command(flatten)]
    reading: Reading,
}

const EXAMPLES: &str = "\
Examples:
  lubber listen night-passage.nmea                  what is in a log
  lubber listen serial:/dev/ttyUSB0                 live, until Ctrl-C
  lubber listen serial:/dev/ttyUSB0?baud=4800 --for 60s --check
  lubber listen udp:0.0.0.0:10110 --for 2min --format json

The columns: `bad` counts sentences whose main value cannot be used and lines refused for a wrong
checksum; `every` is the mean time from one to the next, gaps left out; `age` is the time from the
last one to the end; the greatest jump is that of the main value between two that came within 10 s.

A finding marked `advice` calls for action, a `note` is worth knowing.

Exit status: 0 done; 1 with --check, a finding calls for action; 2 could not do it; 130 interrupted.";

/// What was heard, ready to be shown.
struct Heard<'a> {
    setup: &'a Setup,
    survey: &'a Survey,
    findings: &'a [Finding],
    remarks: &'a [String],
    untimed: bool,
    interrupted: bool,
}

/// Runs the verb.
///
/// # Errors
/// [`Failure`] says what could not be done and the remedy.
pub fn run(args: Args) -> Result<Exit, Failure> {
    let setup = Setup::of(&args)?;
    let opened = setup.open()?;
    if matches!(opened.inputs, Inputs::Live(_)) {
        args.reading.refuse_for_live()?;
    } else if args.length.is_some() {
        return Err(Failure::new("--for is for a live line; a log is read to its end: leave it out"));
    }
    let interrupt = Interrupt::by_signal()
        .map_err(|error| Failure::new(format!("the system does not let it be ended cleanly: {error}")))?;
    let on_terminal = args.format == Format::Text && io::stdout().is_terminal();
    let gathered = match gather::gather(opened, &setup, args.length, &interrupt, on_terminal) {
        Ok(gathered) => gathered,
        Err(GatherError::Output(error)) => return output(&error),
        Err(GatherError::Input(error)) => return Err(Failure::new(error.to_string())),
    };
    let Gathered { survey, remarks, interrupted, untimed, live } = gathered;
    let findings = survey.findings(&setup.around(untimed, live));
    let heard = Heard { setup: &setup, survey: &survey, findings: &findings, remarks: &remarks, untimed, interrupted };
    if let Err(error) = show(&heard, args.format) {
        return output(&error);
    }
    Ok(match () {
        () if interrupted => Exit::Interrupted,
        () if args.check && findings.iter().any(|finding| finding.level == Level::Advice) => Exit::No,
        () => Exit::Done,
    })
}

fn show(heard: &Heard<'_>, format: Format) -> io::Result<()> {
    match format {
        Format::Text => {
            let mut screen = Screen::stdout();
            let rows = text::rows(heard, screen.width());
            screen.rows(&rows)?;
            screen.flush()
        }
        Format::Json => {
            let mut out = io::stdout().lock();
            out.write_all(json::text(heard).as_bytes())?;
            out.write_all(b"\n")?;
            out.flush()
        }
    }
}

/// Whoever reads may have seen enough.
fn output(error: &io::Error) -> Result<Exit, Failure> {
    match error.kind() {
        io::ErrorKind::BrokenPipe => Ok(Exit::Done),
        _ => Err(Failure::new(format!("cannot write the output: {error}"))),
    }
}
