//! What every printed card shares: the tables to steer by, and writing the page.

use std::fs;
use std::fs::OpenOptions;
use std::io::ErrorKind;
use std::io::Write;
use std::path::Path;

use lubber_core::angle::Bearing;
use lubber_core::heading::Card;
use lubber_core::heading::Compass;
use lubber_core::heading::Magnetic;

use crate::exit::Failure;

/// A table of the page: two columns of whole degrees.
type Table = Vec<(String, String)>;

/// What to steer to make good every ten degrees magnetic, and what she heads on every ten of compass.
pub(super) fn tables(card: &Card) -> (Table, Table) {
    let every = || (0..36).map(|at| Bearing::from_deg(at * 10));
    let steer = every().map(|good| (whole(good), whole(Magnetic(good).to_compass(card).0)));
    let heads = every().map(|compass| (whole(compass), whole(Compass(compass).by_card(card).0)));
    (steer.collect(), heads.collect())
}

/// To the nearest whole degree, 000 to 359.
fn whole(bearing: Bearing) -> String {
    format!("{:03}", ((bearing.as_mdeg() + 500) / 1000) % 360)
}

/// Why `path` cannot be written, and the remedy.
pub(super) fn unwritable(path: &Path, error: &std::io::Error) -> String {
    let folder = path.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
    let folder = folder.display();
    let why = match error.kind() {
        ErrorKind::NotFound => {
            format!("there is no folder {folder}; make it (mkdir -p {folder}), or give another name")
        }
        ErrorKind::PermissionDenied => format!("you may not write there; see ls -ld {folder}, or give another name"),
        ErrorKind::IsADirectory => "it is a folder; give the name of a file".into(),
        ErrorKind::StorageFull => "the disk is full; make room, or give a name on another disk".into(),
        _ => format!("{error}; see that the disk is there and not full, or give another name"),
    };
    format!("{} cannot be written: {why}", path.display())
}

/// Writes a file whole, or says why not. A file that is there stays unless `replace`; then it is exchanged
/// for the new one in one step, so that a cut of power leaves one of the two.
pub(super) fn write_new(path: &Path, text: &str, replace: bool) -> Result<(), Failure> {
    let failed = |error: std::io::Error| match error.kind() {
        ErrorKind::AlreadyExists => Failure::new(format!(
            "{} is there already and was left as it is; give another name, or --replace to write over it",
            path.display()
        )),
        _ => Failure::new(unwritable(path, &error)),
    };
    let write = |to: &Path, new: bool| {
        let mut file = OpenOptions::new().write(true).create(true).truncate(!new).create_new(new).open(to)?;
        file.write_all(text.as_bytes())?;
        file.sync_all()
    };
    // Only a plain file can be exchanged; a pipe or a device is written to.
    if replace && path.symlink_metadata().is_ok_and(|about| about.is_file()) {
        let mut beside = path.as_os_str().to_owned();
        beside.push(".new");
        return write(Path::new(&beside), false).and_then(|()| fs::rename(&beside, path)).map_err(failed);
    }
    write(path, !replace).map_err(failed)
}
