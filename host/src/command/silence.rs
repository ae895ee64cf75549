//! `lubber silence`.

use super::speak;
use crate::control::Request;
use crate::exit::Exit;
use crate::exit::Failure;

/// Silence a running watch for 30 s.
///
/// The alerts stay unanswered, and sound again after that unless they are acknowledged.
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
    speak::ask_and_tell(&args.to, &Request::Silence)
}
