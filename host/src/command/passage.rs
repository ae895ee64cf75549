//! `lubber passage`.

mod account;
mod chart;
mod gather;
mod json;
mod keeping;
mod text;

use std::path::Path;
use std::path::PathBuf;

use super::page;
use crate::boat::file::BoatFile;
use crate::exit::Exit;
use crate::exit::Failure;
use crate::journal::Reader;
use crate::plot;
use crate::terminal::Screen;
use gather::Passage;
use gather::Which;

/// Tell what happened on a passage, from the journal of the watch.
///
/// Each alert with how often it was raised, how long it stood and how long until somebody answered; how
/// well the course was kept, hour by hour; how hard the rudder worked; how each source fared; what could
/// not be watched for. It may be asked while the watch goes on.
#[derive(Debug, clap::Args)]
#[command(after_long_help = EXAMPLES)]
pub struct Args {
    /// The journal; else the boat file's, else journal.sqlite in the working folder.
    journal: Option<PathBuf>,
    /// Only from this UTC on, such as 2026-07-14T02:00:00Z.
    #[arg(long, value_name = "TIME", value_parser = super::words::instant)]
    from: Option<i64>,
    /// Only until this UTC.
    #[arg(long, value_name = "TIME", value_parser = super::words::instant)]
    to: Option<i64>,
    /// Which watch: its number, `last`, or `all`. With --from or --to all, else the last.
    #[arg(long, value_name = "N", value_parser = which)]
    watch: Option<Which>,
    /// How the answer is written.
    #[arg(long, value_enum, default_value_t)]
    format: super::Format,
    /// Draw the passage on one A4 page, for example passage.svg.
    #[arg(long, value_name = "FILE")]
    plot: Option<PathBuf>,
    /// Write over a page that is there.
    #[arg(long, requires = "plot")]
    replace: bool,
    /// Exit with 1 if an alarm or a warning was raised.
    #[arg(long)]
    check: bool,
    /// The boat file; else boat.toml in the working folder, if there is one.
    #[arg(long, value_name = "FILE")]
    boat: Option<PathBuf>,
}

const EXAMPLES: &str = "\
Examples:
  lubber watch --journal journal.sqlite              keep one; or [journal] path in boat.toml
  lubber passage                                     the last watch of the boat file's journal
  lubber passage journal.sqlite --watch 3 --plot passage.svg
  lubber passage --from 2026-07-14T00:00:00Z --to 2026-07-15T00:00:00Z --format json

Exit status: 0 done; 1 with --check, an alarm or a warning was raised; 2 could not do it.";

/// The journal in the working folder.
const USUAL_NAME: &str = "journal.sqlite";

fn which(text: &str) -> Result<Which, String> {
    match text {
        "last" => Ok(Which::Last),
        "all" => Ok(Which::All),
        number => number
            .parse()
            .ok()
            .filter(|number| *number > 0)
            .map(Which::Number)
            .ok_or_else(|| "the number of a watch, last or all was expected. Example: --watch 3".into()),
    }
}

/// Runs the verb.
///
/// # Errors
/// [`Failure`] says what could not be done and the remedy.
pub fn run(args: &Args) -> Result<Exit, Failure> {
    if let (Some(from), Some(to)) = (args.from, args.to)
        && from >= to
    {
        return Err(Failure::new("--from must be before --to"));
    }
    if let Some(file) = args.plot.as_deref().filter(|file| !args.replace && file.symlink_metadata().is_ok()) {
        return Err(Failure::new(format!(
            "{} is there already and was left as it is; give another name, or --replace to write over it",
            file.display()
        )));
    }
    let path = journal(args)?;
    let reader = Reader::open(&path).map_err(|error| Failure::new(error.to_string()))?;
    let ranged = args.from.is_some() || args.to.is_some();
    let which = args.watch.unwrap_or(if ranged { Which::All } else { Which::Last });
    let passage = Passage::gather(&reader, &path, which, (args.from, args.to))?;
    if let Some(file) = &args.plot {
        page::write_new(file, &plot::passage(&chart::chart(&passage)), args.replace)?;
    }
    match args.format {
        super::Format::Text => {
            let mut screen = Screen::stdout();
            let width = screen.width();
            let written = screen.rows(&text::rows(&passage, width)).and_then(|()| screen.flush());
            finished(written)?;
        }
        super::Format::Json => {
            use std::io::Write;
            let written = writeln!(std::io::stdout().lock(), "{}", json::json(&passage));
            finished(written)?;
        }
    }
    Ok(if args.check && passage.alarmed() { Exit::No } else { Exit::Done })
}

/// Whoever reads may have seen enough.
fn finished(written: std::io::Result<()>) -> Result<(), Failure> {
    match written {
        Err(error) if error.kind() != std::io::ErrorKind::BrokenPipe => {
            Err(Failure::new(format!("cannot write the output: {error}")))
        }
        _ => Ok(()),
    }
}

fn journal(args: &Args) -> Result<PathBuf, Failure> {
    if let Some(path) = &args.journal {
        return Ok(path.clone());
    }
    if let Some(path) = BoatFile::find(args.boat.as_deref())?.and_then(|(_, boat)| boat.journal) {
        return Ok(path);
    }
    if Path::new(USUAL_NAME).exists() {
        return Ok(USUAL_NAME.into());
    }
    Err(Failure::new(
        "no journal is named; give its file, for example: lubber passage journal.sqlite; or in the boat file: [journal] \
         path = \"journal.sqlite\"",
    ))
}
