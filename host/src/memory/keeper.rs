//! The thread that writes: the newest state in place of older ones that still wait.

use std::fs;
use std::fs::File;
use std::io;
use std::path::Path;
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::Condvar;
use std::sync::Mutex;
use std::sync::MutexGuard;
use std::sync::PoisonError;
use std::thread;
use std::time::Duration;
use std::time::SystemTime;

use rustix::fs::FlockOperation;

use crate::clock::Clock;
use crate::memory::Left;
use crate::memory::MemoryError;
use crate::memory::Standing;
use crate::memory::file;

/// What there is to tell, once for each change.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Report {
    /// It is kept again.
    Works,
    /// It is not, and why, with the remedy.
    Fails(String),
}

/// Whoever keeps what stands. None of its calls waits, but for its end.
#[derive(Debug)]
pub struct Keeper(Arc<Shared>);

#[derive(Debug, Default)]
struct Shared {
    slot: Mutex<Slot>,
    asked: Condvar,
    done: Condvar,
}

/// What waits to be written, and what there is to tell.
#[derive(Debug, Default)]
struct Slot {
    standing: Option<Standing>,
    alive: bool,
    closed: bool,
    over: bool,
    report: Option<Report>,
}

/// What could not be written is tried again so often.
const RETRY: Duration = Duration::from_secs(5);
/// The end of a watch waits so long for its last state to be written.
const LAST_MOMENTS: Duration = Duration::from_secs(2);

impl Keeper {
    /// Opens the place at `path` for one watch alone, and what the last one left there; a damaged file
    /// leaves nothing but the word of that. It is written at once, which shows whether that can be done;
    /// its time of change stays that of the last watch until this one shows its first sign of life, for a
    /// start that is refused after this is no watch.
    ///
    /// # Errors
    /// [`MemoryError`] with the remedy.
    pub fn open(path: &Path) -> Result<(Self, Result<Option<Left>, MemoryError>), MemoryError> {
        let lock = lock(path)?;
        let left = match file::read(path) {
            Err(error) if !matches!(error, MemoryError::Damaged { .. }) => return Err(error),
            left => left,
        };
        let standing = left.as_ref().ok().and_then(Option::as_ref).map(|left| left.standing.clone());
        let standing = standing.unwrap_or_default();
        let refused = |error| MemoryError::Refused { what: "write", path: path.to_owned(), error };
        let changed = fs::metadata(path).and_then(|data| data.modified()).ok();
        file::write(path, &file::text(&standing)).map_err(refused)?;
        if let Some(changed) = changed {
            File::options().write(true).open(path).and_then(|file| file.set_modified(changed)).map_err(refused)?;
        }
        let shared = Arc::new(Shared::default());
        let writer = Writer { path: path.to_owned(), shared: Arc::clone(&shared), last: standing, works: true, lock };
        let write = move || writer.run();
        thread::Builder::new().name("memory".into()).stack_size(256 << 10).spawn(write).map_err(refused)?;
        Ok((Self(shared), left))
    }

    /// This stands now.
    pub fn keep(&self, standing: Standing) {
        self.0.lock().standing = Some(standing);
        self.0.asked.notify_one();
    }

    /// The watch lives: the file's time of change says so, without its being written.
    pub fn alive(&self) {
        self.0.lock().alive = true;
        self.0.asked.notify_one();
    }

    /// The next thing to tell.
    pub fn report(&self) -> Option<Report> {
        self.0.lock().report.take()
    }
}

impl Drop for Keeper {
    fn drop(&mut self) {
        // What changed last is what the next watch must know.
        self.0.lock().closed = true;
        self.0.asked.notify_one();
        let _ = self.0.done.wait_timeout_while(self.0.lock(), LAST_MOMENTS, |slot| !slot.over);
    }
}

impl Shared {
    fn lock(&self) -> MutexGuard<'_, Slot> {
        self.slot.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// Makes the folder, and locks the file against another watch. The lock goes with the handle; it is on
/// a file of its own, for the file itself is replaced each time.
fn lock(path: &Path) -> Result<File, MemoryError> {
    let refused = |what| move |error: io::Error| MemoryError::Refused { what, path: path.to_owned(), error };
    fs::create_dir_all(file::folder(path)).map_err(refused("make the folder of"))?;
    let mut beside = path.as_os_str().to_owned();
    beside.push(".lock");
    let lock = File::create(PathBuf::from(beside)).map_err(refused("write beside"))?;
    match rustix::fs::flock(&lock, FlockOperation::NonBlockingLockExclusive) {
        Ok(()) => Ok(lock),
        Err(rustix::io::Errno::WOULDBLOCK) => Err(MemoryError::InUse(path.to_owned())),
        Err(error) => Err(refused("lock")(error.into())),
    }
}

/// The thread.
struct Writer {
    path: PathBuf,
    shared: Arc<Shared>,
    /// What is in the file, or is to be.
    last: Standing,
    works: bool,
    lock: File,
}

/// Says that the thread is over, however it ends.
struct Over(Arc<Shared>);

impl Drop for Over {
    fn drop(&mut self) {
        self.0.lock().over = true;
        self.0.done.notify_all();
    }
}

impl Writer {
    fn run(mut self) {
        let _over = Over(Arc::clone(&self.shared));
        loop {
            let Slot { standing, alive, closed, .. } = self.wait();
            if standing.is_some() || alive || !self.works {
                // What failed is tried again, and a file that somebody took away is made anew.
                let touched = standing.is_none() && self.works && touch(&self.path).is_ok();
                self.last = standing.unwrap_or_else(|| std::mem::take(&mut self.last));
                let outcome = if touched { Ok(()) } else { file::write(&self.path, &file::text(&self.last)) };
                self.tell(&outcome);
            }
            if closed {
                // Before the watch is told so: the next one may begin at once.
                let _ = rustix::fs::flock(&self.lock, FlockOperation::Unlock);
                return;
            }
        }
    }

    /// What is to be done, when there is something.
    fn wait(&self) -> Slot {
        let idle = |slot: &mut Slot| slot.standing.is_none() && !slot.alive && !slot.closed;
        let slot = self.shared.lock();
        let mut slot = if self.works {
            self.shared.asked.wait_while(slot, idle).unwrap_or_else(PoisonError::into_inner)
        } else {
            self.shared.asked.wait_timeout_while(slot, RETRY, idle).unwrap_or_else(PoisonError::into_inner).0
        };
        let alive = std::mem::take(&mut slot.alive);
        Slot { standing: slot.standing.take(), alive, closed: slot.closed, ..Slot::default() }
    }

    fn tell(&mut self, outcome: &io::Result<()>) {
        let report = match outcome {
            Ok(()) if !self.works => Report::Works,
            Err(error) if self.works => Report::Fails(format!(
                "what stands cannot be kept in {}: {error}; after a restart it would not be presented again. Make room \
                 there, or name another file: --state FILE",
                self.path.display()
            )),
            _ => return,
        };
        self.works = outcome.is_ok();
        self.shared.lock().report = Some(report);
    }
}

fn touch(path: &Path) -> io::Result<()> {
    File::options().write(true).open(path)?.set_modified(SystemTime::from(Clock::utc()))
}
