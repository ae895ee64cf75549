//! `lubber simulate`.

use crate::exit::Exit;
use crate::exit::Failure;

/// Make the log of an invented boat whose truth is known.
#[derive(Debug, clap::Args)]
pub struct Args {}

/// Runs the verb.
///
/// # Errors
/// [`Failure`] says what could not be done and the remedy.
pub fn run(args: Args) -> Result<Exit, Failure> {
    let _ = args;
    todo!()
}
