//! The other end: asks a running watch one thing.

use std::io;
use std::io::BufRead;
use std::io::BufReader;
use std::io::Read;
use std::io::Write;
use std::os::unix::net::UnixStream;
use std::time::Duration;

use crate::control::ControlError;
use crate::control::Place;
use crate::control::Reply;
use crate::control::Request;

/// A watch answers within a second; longer is a watch that hangs.
const PATIENCE: Duration = Duration::from_secs(8);

/// No status is longer.
const LONGEST_REPLY: u64 = 1 << 20;

/// Asks the watch at `place`.
///
/// # Errors
/// [`ControlError`]: there is none, or it does not answer.
pub fn ask(place: &Place, request: &Request) -> Result<Reply, ControlError> {
    place.check()?;
    let path = &place.path;
    let no_answer = |why: String| ControlError::NoAnswer { path: path.clone(), why };
    let mut stream = UnixStream::connect(path).map_err(|error| match error.kind() {
        io::ErrorKind::NotFound | io::ErrorKind::ConnectionRefused => ControlError::NoWatch(path.clone()),
        _ => ControlError::Refused { what: "speak to the watch at", path: path.clone(), error },
    })?;
    let limits = stream.set_read_timeout(Some(PATIENCE)).and_then(|()| stream.set_write_timeout(Some(PATIENCE)));
    // One that closes at once has still said why, and that is read below.
    let _ = limits.and_then(|()| stream.write_all(request.line().as_bytes()));
    let mut line = String::new();
    match BufReader::new(stream.take(LONGEST_REPLY)).read_line(&mut line) {
        Ok(0) => Err(no_answer("it closed the connection".to_owned())),
        Ok(_) => Reply::read(&line).map_err(no_answer),
        Err(error) if matches!(error.kind(), io::ErrorKind::WouldBlock | io::ErrorKind::TimedOut) => {
            Err(no_answer(format!("nothing within {} s", PATIENCE.as_secs())))
        }
        Err(error) => Err(no_answer(error.to_string())),
    }
}
