//! The watch's end of the socket.

use std::fs;
use std::io;
use std::io::Read;
use std::io::Write;
use std::os::unix::fs::FileTypeExt;
use std::os::unix::fs::MetadataExt;
use std::os::unix::net::UnixListener;
use std::os::unix::net::UnixStream;
use std::path::Path;
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::AtomicUsize;
use std::sync::atomic::Ordering;
use std::thread;
use std::time::Duration;

use rustix::fs::FlockOperation;
use rustix::fs::Mode;

use crate::control::ControlError;
use crate::control::LONGEST;
use crate::control::Place;
use crate::control::Reply;
use crate::control::Request;

/// Connections that are served at once; one more is told so and closed.
const MOST: usize = 16;

/// A connection that says nothing for so long is closed, and makes room.
const SILENT_FOR: Duration = Duration::from_secs(10);

/// A request comes in one piece or two; who sends it byte by byte holds no place for hours.
const MOST_PIECES: u32 = 64;

/// Who does not take the reply is closed.
const TAKEN_WITHIN: Duration = Duration::from_secs(2);

/// A connection needs little; sixteen of them stay small on a small board.
const STACK: usize = 256 << 10;

/// An open control socket; it is taken away with it.
#[derive(Debug)]
pub struct Server {
    path: PathBuf,
    /// Which file it is: another one in its place is not ours to take away.
    file: Option<(u64, u64)>,
}

/// Whoever knows the answers; called from several threads.
type Answering = dyn Fn(Request) -> Reply + Send + Sync;

impl Server {
    /// Opens the socket at `place`, for this user alone, and serves it from threads of its own.
    /// The socket of a watch that is dead is replaced.
    ///
    /// # Errors
    /// [`ControlError`] with the remedy; [`ControlError::Running`] where a watch listens there.
    pub fn open(
        place: &Place,
        answer: impl Fn(Request) -> Reply + Send + Sync + 'static,
    ) -> Result<Self, ControlError> {
        place.prepare()?;
        let listener = listen(&place.path)?;
        let file = fs::symlink_metadata(&place.path).ok().map(|file| (file.dev(), file.ino()));
        let server = Self { path: place.path.clone(), file };
        let refused = |error| ControlError::Refused { what: "serve", path: place.path.clone(), error };
        let answer: Arc<Answering> = Arc::new(answer);
        let serve = move || accept(&listener, &answer);
        thread::Builder::new().name("control".into()).stack_size(STACK).spawn(serve).map_err(refused)?;
        Ok(server)
    }

    /// Where it lies.
    pub fn path(&self) -> &Path {
        &self.path
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        // Its thread ends with the program; without its file nobody finds it any more.
        let now = fs::symlink_metadata(&self.path).ok().map(|file| (file.dev(), file.ino()));
        if now.is_some() && now == self.file {
            let _ = fs::remove_file(&self.path);
        }
    }
}

fn listen(path: &Path) -> Result<UnixListener, ControlError> {
    let refused = |what| move |error: io::Error| ControlError::Refused { what, path: path.to_owned(), error };
    let folder = path.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
    // Two watches that start at once must not take away each other's socket: one at a time looks
    // whether the one that is there is dead. The lock goes with the handle.
    let handle = fs::File::open(folder).map_err(refused("open the folder of"))?;
    rustix::fs::flock(&handle, FlockOperation::LockExclusive).map_err(|e| refused("lock the folder of")(e.into()))?;
    match fs::symlink_metadata(path) {
        Err(_) => {}
        Ok(there) if !there.file_type().is_socket() => return Err(ControlError::NoSocket(path.to_owned())),
        Ok(_) => match UnixStream::connect(path) {
            Err(error) if error.kind() == io::ErrorKind::ConnectionRefused => {
                fs::remove_file(path).map_err(refused("replace the dead socket"))?;
            }
            // Whoever it is: it lives, or belongs to somebody else.
            Ok(_) => return Err(ControlError::Running(path.to_owned())),
            Err(error) => return Err(refused("look who listens at")(error)),
        },
    }
    // The socket is the user's alone from its first moment, not only after a change of its mode.
    let before = rustix::process::umask(Mode::from_raw_mode(0o177));
    let listener = UnixListener::bind(path);
    rustix::process::umask(before);
    listener.map_err(refused("open the control socket"))
}

fn accept(listener: &UnixListener, answer: &Arc<Answering>) {
    let served = Arc::new(AtomicUsize::new(0));
    for stream in listener.incoming() {
        let Ok(mut stream) = stream else {
            // Out of file handles, as a rule: trying again at once would only burn the processor.
            thread::park_timeout(Duration::from_millis(100));
            continue;
        };
        let _ = stream.set_read_timeout(Some(SILENT_FOR));
        let _ = stream.set_write_timeout(Some(TAKEN_WITHIN));
        // Taken before the thread starts, so that many at once cannot slip past.
        let seat = Seat::take(&served);
        if seat.number > MOST {
            let full =
                Reply::refused(format!("{MOST} others are connected to the watch already; try again in a moment"));
            let _ = stream.write_all(full.line().as_bytes());
            continue;
        }
        let answer = Arc::clone(answer);
        let serve = move || {
            let _seat = seat;
            // That the other side is gone is the ordinary end.
            let _ = converse(stream, &*answer);
        };
        // Without a thread the connection is closed, and the client says that it got no answer.
        let _ = thread::Builder::new().name("control client".into()).stack_size(STACK).spawn(serve);
    }
}

/// A place among those that are served, given back when it is dropped.
struct Seat {
    served: Arc<AtomicUsize>,
    number: usize,
}

impl Seat {
    fn take(served: &Arc<AtomicUsize>) -> Self {
        Self { served: Arc::clone(served), number: served.fetch_add(1, Ordering::Relaxed) + 1 }
    }
}

impl Drop for Seat {
    fn drop(&mut self) {
        self.served.fetch_sub(1, Ordering::Relaxed);
    }
}

/// Answers line by line until the other side is done, is silent, or sends what is too long.
fn converse(mut stream: impl Read + Write, answer: &Answering) -> io::Result<()> {
    let mut kept = Vec::with_capacity(256);
    let mut piece = [0; 512];
    let mut pieces = 0;
    loop {
        while let Some(end) = kept.iter().position(|&byte| byte == b'\n') {
            let line: Vec<u8> = kept.drain(..=end).collect();
            pieces = 0;
            let reply = Request::read(line.trim_ascii()).map_or_else(Reply::refused, answer);
            stream.write_all(reply.line().as_bytes())?;
        }
        if kept.len() >= LONGEST || pieces >= MOST_PIECES {
            let long =
                Reply::refused(format!("the request is longer than {LONGEST} bytes or comes in too many pieces"));
            return stream.write_all(long.line().as_bytes());
        }
        let room = piece.len().min(LONGEST - kept.len());
        let count = stream.read(&mut piece[..room])?;
        if count == 0 {
            return Ok(());
        }
        pieces += 1;
        kept.extend_from_slice(&piece[..count]);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Sends what it holds in pieces, and keeps what it is told.
    struct Peer {
        pieces: Vec<Vec<u8>>,
        told: Vec<u8>,
    }

    impl Read for Peer {
        fn read(&mut self, buf: &mut [u8]) -> io::Result<usize> {
            let Some(piece) = self.pieces.first_mut() else { return Ok(0) };
            let count = piece.len().min(buf.len());
            buf[..count].copy_from_slice(&piece[..count]);
            piece.drain(..count);
            if piece.is_empty() {
                self.pieces.remove(0);
            }
            Ok(count)
        }
    }

    impl Write for Peer {
        fn write(&mut self, buf: &[u8]) -> io::Result<usize> {
            self.told.write(buf)
        }

        fn flush(&mut self) -> io::Result<()> {
            Ok(())
        }
    }

    fn told(pieces: Vec<Vec<u8>>) -> Vec<Reply> {
        let mut peer = Peer { pieces, told: Vec::new() };
        converse(&mut peer, &|request| Reply::done(format!("{request:?}"))).unwrap();
        String::from_utf8(peer.told).unwrap().lines().map(|line| Reply::read(line).unwrap()).collect()
    }

    #[test]
    fn lines_are_answered_one_by_one_however_they_are_cut() {
        let both = b"{\"verb\":\"silence\"}\n{\"verb\":\"acknowledge\"}\r\n".to_vec();
        let want = [Reply::done("Silence"), Reply::done("Acknowledge")];
        assert_eq!(told(vec![both.clone()]), want);
        assert_eq!(told(both.iter().map(|&byte| vec![byte]).collect()), want);
        // What has no line end is no request.
        assert_eq!(told(vec![b"{\"verb\":\"silence\"}".to_vec()]), []);
    }

    #[test]
    fn what_is_too_long_is_refused_and_ends_it() {
        for pieces in [vec![vec![b'x'; 3 * LONGEST]], vec![vec![b'x']; 200]] {
            let replies = told([pieces, vec![b"\n{\"verb\":\"silence\"}\n".to_vec()]].concat());
            assert!(matches!(&replies[..], [Reply { done: false, text, .. }] if text.contains("longer than 4096")));
        }
        let mut longest = br#"{"verb":"silence"}"#.to_vec();
        longest.resize(LONGEST - 1, b' ');
        longest.push(b'\n');
        assert_eq!(told(vec![longest]), [Reply::done("Silence")]);
    }
}
