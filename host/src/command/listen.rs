//! `lubber listen`.

use crate::exit::Exit;
use crate::exit::Failure;

/// Show what is on the data line: each talker and formatter, bad lines, findings.
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
