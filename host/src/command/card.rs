//! `lubber card`.

mod compare;
mod convert;
mod plot;
mod show;

use std::io::ErrorKind;
use std::io::Write;
use std::path::Path;
use std::path::PathBuf;

use lubber_core::angle::Turn;

use super::words::CARD_SAFETY as SAFETY;
use super::words::printable;
use crate::boat::card::CardFile;
use crate::command::Format;
use crate::exit::Exit;
use crate::exit::Failure;

/// Show, compare and print deviation cards, or convert a heading by one.
#[derive(Debug, clap::Args)]
pub struct Args {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, clap::Subcommand)]
enum What {
    Show(show::Args),
    Compare(compare::Args),
    Plot(plot::Args),
    Convert(convert::Args),
}

/// Runs the verb.
///
/// # Errors
/// [`Failure`] says what could not be done and the remedy.
pub fn run(args: Args) -> Result<Exit, Failure> {
    match args.what {
        What::Show(args) => show::run(&args),
        What::Compare(args) => compare::run(&args),
        What::Plot(args) => plot::run(&args),
        What::Convert(args) => convert::run(&args),
    }
}

/// Writes a whole answer; a reader that has seen enough (`| head`) is no failure.
pub(super) fn write(answer: &str) -> Result<Exit, Failure> {
    let mut out = anstream::stdout().lock();
    match out.write_all(answer.as_bytes()).and_then(|()| out.flush()) {
        Ok(()) => Ok(Exit::Done),
        Err(error) if error.kind() == ErrorKind::BrokenPipe => Ok(Exit::Done),
        Err(error) => Err(Failure::new(format!("the answer cannot be written: {error}"))),
    }
}

/// JSON on the page, one value to a line.
pub(super) fn write_json(answer: &serde_json::Value) -> Result<Exit, Failure> {
    write(&format!("{answer:#}\n"))
}

/// Degrees with three decimals, for JSON.
fn degrees(mdeg: i32) -> f64 {
    f64::from(mdeg) / 1000.0
}

/// `Curlew, sensor HCHDG`: whose card it is, as far as the file says.
fn whose(card: &CardFile) -> Option<String> {
    let boat = card.boat.as_deref().map(printable);
    let sensor = card.sensor.map(|name| format!("sensor {name}"));
    let words: Vec<String> = boat.into_iter().chain(sensor).collect();
    (!words.is_empty()).then(|| words.join(", "))
}

/// The card that `--card` names, else the boat file's.
fn card_in_force(card: Option<&Path>, boat: Option<&PathBuf>) -> Result<Option<CardFile>, Failure> {
    match card {
        Some(path) => CardFile::read(path).map(Some),
        None => match crate::boat::file::BoatFile::find(boat.map(PathBuf::as_path))? {
            Some((_, boat)) => boat.card_file(),
            None => Ok(None),
        },
    }
}

/// `words` in lines of at most 80 columns, those after the first indented by two.
fn wrapped(words: &str) -> String {
    super::words::wrapped(words, 80)
}

/// A deviation's size in degrees.
fn size(turn: Turn) -> f64 {
    degrees(turn.size().as_mdeg())
}
