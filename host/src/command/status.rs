//! `lubber status`.

use super::speak;
use crate::control::Request;
use crate::exit::Exit;
use crate::exit::Failure;

/// Ask a running watch how it stands: heading, order, alerts, and what it cannot watch just now.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// How the answer is written.
    #[arg(long, value_enum, default_value_t)]
    format: Format,
    /// What happened lately instead: the last 200 changes of alerts, orders and answers, and who gave them.
    #[arg(long)]
    history: bool,
    #[command(flatten)]
    to: speak::To,
}

/// How the answer is written.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, clap::ValueEnum)]
enum Format {
    /// For people.
    #[default]
    Text,
    /// The object that `watch --every` writes, for programs.
    Json,
}

/// Runs the verb.
///
/// # Errors
/// [`Failure`] says what could not be done and the remedy.
pub fn run(args: &Args) -> Result<Exit, Failure> {
    let request = if args.history { Request::History } else { Request::Status };
    let reply = speak::ask(&args.to, &request)?;
    let whole = if args.history { reply.history } else { reply.status };
    match (args.format, whole) {
        (Format::Text, _) => speak::write(&reply.text),
        (Format::Json, Some(status)) => speak::write(&status),
        (Format::Json, None) => {
            Err(Failure::new("the watch gave no status: it is of another version; restart it with this one"))
        }
    }
}
