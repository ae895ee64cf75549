//! `lubber acknowledge`.

use super::speak;
use crate::control::Request;
use crate::exit::Exit;
use crate::exit::Failure;

/// Tell a running watch that you have seen its alerts and take care of them.
///
/// What is still wrong stays in view, but is quiet; what comes anew sounds again.
#[derive(Debug, clap::Args)]
pub struct Args {
    #[command(flatten)]
    to: speak::To,
}

/// Runs the verb.
///
/// # Errors
/// [`Failure`] says what could not be done and the remedy.
pub fn run(args: &Args) -> Result<Exit, Failure> {
    speak::ask_and_tell(&args.to, &Request::Acknowledge)
}
