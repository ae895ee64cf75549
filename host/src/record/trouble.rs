//! What is wrong with the folder, whose fault it is, and the remedy.

use std::fmt;
use std::io;
use std::io::ErrorKind;
use std::path::Path;
use std::path::PathBuf;

/// Why recording cannot begin.
#[derive(Debug, thiserror::Error)]
#[error("cannot record in {}: {why}", folder.display())]
pub struct RecordError {
    /// The folder.
    pub folder: PathBuf,
    /// The reason and the remedy.
    pub why: String,
}

/// Less is free on the disk than is to stay free.
#[derive(Debug)]
pub(super) struct BelowFloor {
    pub(super) free: u64,
    pub(super) floor: u64,
}

impl fmt::Display for BelowFloor {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (free, floor) = (Size(self.free), Size(self.floor));
        write!(f, "only {free} of the disk are free and {floor} are to stay free; make room, or set a smaller floor")
    }
}

impl std::error::Error for BelowFloor {}

/// A number of bytes for a person, in powers of ten as disks are sold.
#[derive(Clone, Copy, Debug)]
pub struct Size(pub u64);

impl fmt::Display for Size {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let units = [(1_000_000_000, "GB"), (1_000_000, "MB"), (1_000, "kB")];
        match units.into_iter().find(|(unit, _)| self.0 >= *unit) {
            Some((unit, name)) => write!(f, "{}.{} {name}", self.0 / unit, self.0 % unit * 10 / unit),
            None => write!(f, "{} B", self.0),
        }
    }
}

/// The words for what the system said about the folder.
pub(super) fn words(error: &io::Error, folder: &Path) -> String {
    if let Some(below) = error.get_ref().filter(|inner| inner.is::<BelowFloor>()) {
        return below.to_string();
    }
    let why = match error.kind() {
        ErrorKind::StorageFull | ErrorKind::QuotaExceeded | ErrorKind::WriteZero => "the disk is full; make room",
        ErrorKind::ReadOnlyFilesystem => {
            "the disk is read-only; a worn memory card becomes so by itself: check it, or mount it for writing"
        }
        ErrorKind::PermissionDenied => "you may not write there; ask its owner, or change it with chmod u+rwx",
        ErrorKind::NotFound if folder.is_dir() => "the file that was being written is gone; do not move it meanwhile",
        ErrorKind::NotFound => "the folder is not there; put its disk back, or make the folder",
        ErrorKind::NotADirectory | ErrorKind::AlreadyExists => "it is no folder; name another",
        ErrorKind::FileTooLarge => "the system lets no file grow so far; set a smaller size, or ulimit -f unlimited",
        ErrorKind::WouldBlock => "another lubber records there; name another folder",
        _ => return format!("{error}; check the disk it is on"),
    };
    why.to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_trouble_has_a_remedy() {
        let folder = std::env::temp_dir();
        for kind in [ErrorKind::StorageFull, ErrorKind::ReadOnlyFilesystem, ErrorKind::WouldBlock, ErrorKind::Other] {
            assert!(words(&kind.into(), &folder).contains("; "), "{kind}");
        }
        let floor = io::Error::new(ErrorKind::StorageFull, BelowFloor { free: 1_500_000, floor: 200_000_000 });
        assert!(words(&floor, &folder).starts_with("only 1.5 MB of the disk are free and 200.0 MB are to stay free"));
        assert!(words(&ErrorKind::NotFound.into(), Path::new("/no/such/folder")).contains("the folder is not there"));
    }
}
