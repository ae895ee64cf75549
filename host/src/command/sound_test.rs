//! `lubber sound-test`.

use super::speak;
use crate::control::Request;
use crate::exit::Exit;
use crate::exit::Failure;

/// Let a running watch sound once, shortly, everything that sounds an alert.
///
/// The hooks in the boat file's table "sounder" are run with LUBBER_ALERT=sound-test, and the bell of the
/// terminal is rung where there is one. It says which of them work.
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
    speak::ask_and_tell(&args.to, &Request::SoundTest)
}
