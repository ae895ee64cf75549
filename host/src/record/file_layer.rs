//! The operations on files that the recorder is made of, and no others.

use std::fs;
use std::fs::File;
use std::fs::OpenOptions;
use std::io;
use std::io::ErrorKind;
use std::io::Read;
use std::io::Write;
use std::os::unix::fs::MetadataExt;
use std::path::Path;
use std::path::PathBuf;

use rustix::fs::FlockOperation;

/// A file of the folder.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Entry {
    /// Its name, without the folder.
    pub(super) name: String,
    /// Its length.
    pub(super) bytes: u64,
}

/// One folder and what can be done in it. Nothing is on disk before it is synced: the bytes of a file by
/// [`Self::sync`], its name by [`Self::sync_folder`].
pub(super) trait FileLayer: Send + 'static {
    /// A file that is open for appending.
    type File: Send;

    /// The plain files of the folder.
    fn list(&mut self) -> io::Result<Vec<Entry>>;
    /// A new, empty file; never one that is there already.
    fn create(&mut self, name: &str) -> io::Result<Self::File>;
    /// Appends some of `bytes`, at least one; how many.
    fn append(&mut self, file: &mut Self::File, bytes: &[u8]) -> io::Result<usize>;
    /// What was appended is on disk.
    fn sync(&mut self, file: &mut Self::File) -> io::Result<()>;
    /// Cuts the file at `length`.
    fn cut(&mut self, file: &mut Self::File, length: u64) -> io::Result<()>;
    /// Whether the file still has a name.
    fn is_there(&mut self, file: &Self::File) -> io::Result<bool>;
    /// Reads a file from its beginning.
    fn read(&mut self, name: &str) -> io::Result<Box<dyn Read + Send>>;
    /// Gives a file another name; whatever had that name is gone.
    fn rename(&mut self, from: &str, to: &str) -> io::Result<()>;
    /// Takes a file away.
    fn remove(&mut self, name: &str) -> io::Result<()>;
    /// The names are on disk.
    fn sync_folder(&mut self) -> io::Result<()>;
    /// Bytes that are free on the disk, for us.
    fn free(&mut self) -> io::Result<u64>;
}

/// A real folder.
#[derive(Debug)]
pub(super) struct Folder {
    path: PathBuf,
    /// Holds the lock for as long as it is open.
    _lock: File,
}

/// While a recorder runs it holds a lock on this file, so that no other one mends its open file.
const LOCK: &str = ".lubber-record.lock";

impl Folder {
    /// Opens the folder, makes it if only itself is missing, and locks it: [`ErrorKind::WouldBlock`] where another
    /// recorder has it.
    pub(super) fn open(path: &Path) -> io::Result<Self> {
        match fs::create_dir(path) {
            // On a read-only disk that is told too, though the folder is there.
            Err(_) if path.is_dir() => {}
            Err(error) => return Err(error),
            Ok(()) => {
                if let Some(above) = path.parent().filter(|above| !above.as_os_str().is_empty()) {
                    sync_folder(above)?;
                }
            }
        }
        let lock = OpenOptions::new().create(true).append(true).open(path.join(LOCK))?;
        rustix::fs::flock(&lock, FlockOperation::NonBlockingLockExclusive)?;
        Ok(Self { path: path.to_owned(), _lock: lock })
    }
}

fn sync_folder(path: &Path) -> io::Result<()> {
    match File::open(path)?.sync_all() {
        // Some file systems have nothing to sync in a folder.
        Err(error) if error.kind() == ErrorKind::InvalidInput => Ok(()),
        synced => synced,
    }
}

impl FileLayer for Folder {
    type File = File;

    fn list(&mut self) -> io::Result<Vec<Entry>> {
        let mut all = Vec::new();
        for entry in fs::read_dir(&self.path)? {
            let entry = entry?;
            // A file may go while we look.
            let Ok(about) = entry.metadata() else { continue };
            if let (true, Ok(name)) = (about.is_file(), entry.file_name().into_string()) {
                all.push(Entry { name, bytes: about.len() });
            }
        }
        Ok(all)
    }

    fn create(&mut self, name: &str) -> io::Result<File> {
        OpenOptions::new().append(true).create_new(true).open(self.path.join(name))
    }

    fn append(&mut self, file: &mut File, bytes: &[u8]) -> io::Result<usize> {
        match file.write(bytes) {
            Ok(0) => Err(ErrorKind::WriteZero.into()),
            written => written,
        }
    }

    fn sync(&mut self, file: &mut File) -> io::Result<()> {
        file.sync_data()
    }

    fn cut(&mut self, file: &mut File, length: u64) -> io::Result<()> {
        file.set_len(length)
    }

    fn is_there(&mut self, file: &File) -> io::Result<bool> {
        Ok(file.metadata()?.nlink() > 0)
    }

    fn read(&mut self, name: &str) -> io::Result<Box<dyn Read + Send>> {
        Ok(Box::new(File::open(self.path.join(name))?))
    }

    fn rename(&mut self, from: &str, to: &str) -> io::Result<()> {
        fs::rename(self.path.join(from), self.path.join(to))
    }

    fn remove(&mut self, name: &str) -> io::Result<()> {
        fs::remove_file(self.path.join(name))
    }

    fn sync_folder(&mut self) -> io::Result<()> {
        sync_folder(&self.path)
    }

    fn free(&mut self) -> io::Result<u64> {
        let about = rustix::fs::statvfs(&self.path)?;
        Ok(about.f_bavail.saturating_mul(about.f_frsize))
    }
}
