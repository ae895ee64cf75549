//! `lubber card`.

mod convert;
mod show;

use std::io::ErrorKind;
use std::io::Write;
use std::path::Path;
use std::path::PathBuf;

use lubber_core::angle::Turn;

use crate::boat::card::CardFile;
use crate::exit::Exit;
use crate::exit::Failure;

/// Show a deviation card, or convert a heading by it.
#[derive(Debug, clap::Args)]
pub struct Args {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, clap::Subcommand)]
enum What {
    Show(show::Args),
    Convert(convert::Args),
}

/// How the answer is written.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, clap::ValueEnum)]
enum Format {
    /// For people.
    #[default]
    Text,
    /// For programs.
    Json,
}

/// What every card carries, however it is shown.
const SAFETY: [&str; 3] = [
    "For the boat upright: heel changes the deviation, most on north and south.",
    "Check the card against a known bearing before you rely on it.",
    "An aid, not certified equipment.",
];

/// Runs the verb.
///
/// # Errors
/// [`Failure`] says what could not be done and the remedy.
pub fn run(args: Args) -> Result<Exit, Failure> {
    match args.what {
        What::Show(args) => show::run(&args),
        What::Convert(args) => convert::run(&args),
    }
}

/// Writes a whole answer; a reader that has seen enough (`| head`) is no failure.
fn write(answer: &str) -> Result<Exit, Failure> {
    let mut out = std::io::stdout().lock();
    match out.write_all(answer.as_bytes()).and_then(|()| out.flush()) {
        Ok(()) => Ok(Exit::Done),
        Err(error) if error.kind() == ErrorKind::BrokenPipe => Ok(Exit::Done),
        Err(error) => Err(Failure::new(format!("the answer cannot be written: {error}"))),
    }
}

/// JSON on the page, one value to a line.
fn write_json(answer: &serde_json::Value) -> Result<Exit, Failure> {
    write(&format!("{answer:#}\n"))
}

/// Degrees with three decimals, for JSON.
fn degrees(mdeg: i32) -> f64 {
    f64::from(mdeg) / 1000.0
}

/// The file's own words, safe for a terminal.
fn printable(words: &str) -> String {
    words.chars().map(|c| if c.is_control() { ' ' } else { c }).collect()
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
    let mut lines = String::new();
    let mut width = 0;
    for word in words.split_whitespace() {
        let long = word.chars().count();
        if width > 0 && width + 1 + long > 80 {
            lines.push_str("\n  ");
            width = 2;
        } else if width > 0 {
            lines.push(' ');
            width += 1;
        }
        lines.push_str(word);
        width += long;
    }
    lines
}

/// A deviation's size in degrees.
fn size(turn: Turn) -> f64 {
    degrees(turn.size().as_mdeg())
}
