//! `lubber simulate`.

mod options;
mod swing;
mod voyage;

use clap::Subcommand;

use crate::exit::Exit;
use crate::exit::Failure;

/// Make the log of an invented boat whose truth is known.
#[derive(Debug, clap::Args)]
pub struct Args {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, Subcommand)]
enum What {
    Voyage(Box<voyage::Args>),
    Swing(Box<swing::Args>),
}

/// Runs the verb.
///
/// # Errors
/// [`Failure`] says what could not be done and the remedy.
pub fn run(args: Args) -> Result<Exit, Failure> {
    match args.what {
        What::Voyage(args) => voyage::run(&args),
        What::Swing(args) => swing::run(&args),
    }
}
