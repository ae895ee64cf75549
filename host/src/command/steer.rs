//! `lubber steer`.

use super::order;
use super::speak;
use crate::control::Request;
use crate::exit::Exit;
use crate::exit::Failure;

/// Tell a running watch how the boat is steered.
///
/// It moves no rudder: it tells the watch what to compare the heading with.
#[derive(Debug, clap::Args)]
#[command(after_help = EXAMPLES)]
pub struct Args {
    /// 150C by the pilot's compass, 150M magnetic, 139T true; here: the heading she has now; wind or hand:
    /// off-heading is not watched meanwhile; cancel: the line or the first steady minute decides again.
    #[arg(value_name = "ORDER", value_parser = known, allow_hyphen_values = true)]
    order: String,
    #[command(flatten)]
    to: speak::To,
}

const EXAMPLES: &str = "\
Examples:
  lubber steer 150C
  lubber steer here
  lubber steer wind";

fn known(text: &str) -> Result<String, String> {
    match order::read(text) {
        Some(_) => Ok(text.to_owned()),
        None => Err(format!("{}; or cancel. Example: lubber steer 150C", order::refused(text))),
    }
}

/// Runs the verb.
///
/// # Errors
/// [`Failure`] says what could not be done and the remedy.
pub fn run(args: &Args) -> Result<Exit, Failure> {
    speak::ask_and_tell(&args.to, &Request::Steer(args.order.clone()))
}
