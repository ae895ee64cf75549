//! What the verbs that speak to a running watch have in common.

use std::io::ErrorKind;
use std::io::Write;
use std::path::PathBuf;

use crate::control;
use crate::control::Place;
use crate::control::Reply;
use crate::control::Request;
use crate::exit::Exit;
use crate::exit::Failure;

/// Which watch is meant.
#[derive(Debug, clap::Args)]
pub(super) struct To {
    /// The control socket of the watch; else the usual one, $XDG_RUNTIME_DIR/lubber.sock or
    /// /tmp/lubber-UID/lubber.sock.
    #[arg(long, value_name = "PATH")]
    control: Option<PathBuf>,
}

/// Where the socket of a watch lies: where the owner says, else at the usual place.
pub(super) fn place(named: Option<&PathBuf>) -> Place {
    match named {
        Some(path) => Place::named(path.clone()),
        None => control::usual_place(std::env::var_os("XDG_RUNTIME_DIR").map(PathBuf::from)),
    }
}

/// Asks the watch; what it refuses is a failure in its own words.
pub(super) fn ask(to: &To, request: &Request) -> Result<Reply, Failure> {
    let reply = control::ask(&place(to.control.as_ref()), request).map_err(|error| Failure::new(error.to_string()))?;
    if reply.done { Ok(reply) } else { Err(Failure::new(reply.text)) }
}

/// Asks the watch, and writes what it says.
pub(super) fn ask_and_tell(to: &To, request: &Request) -> Result<Exit, Failure> {
    write(&ask(to, request)?.text)
}

/// Writes a whole answer; a reader that has seen enough is no failure.
pub(super) fn write(answer: &str) -> Result<Exit, Failure> {
    match writeln!(std::io::stdout().lock(), "{answer}") {
        Err(error) if error.kind() != ErrorKind::BrokenPipe => {
            Err(Failure::new(format!("cannot write the answer: {error}")))
        }
        _ => Ok(Exit::Done),
    }
}
