//! Where the control socket lies.

use std::fs;
use std::io;
use std::os::unix::fs::DirBuilderExt;
use std::os::unix::fs::MetadataExt;
use std::path::Path;
use std::path::PathBuf;

use crate::control::ControlError;

/// Where a control socket lies.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Place {
    /// The socket.
    pub path: PathBuf,
    /// A folder of ours that must be the user's alone, where the system gives none.
    private: Option<PathBuf>,
}

const NAME: &str = "lubber.sock";

/// The usual place: `$XDG_RUNTIME_DIR/lubber.sock`, which the system keeps for this user alone
/// (XDG Base Directory Specification); else `lubber.sock` in `/tmp/lubber-UID`, made for this user
/// alone. `runtime` is the value of that variable.
pub fn usual_place(runtime: Option<PathBuf>) -> Place {
    match runtime.filter(|folder| folder.is_absolute() && folder.is_dir()) {
        Some(folder) => Place { path: folder.join(NAME), private: None },
        None => {
            let folder = PathBuf::from(format!("/tmp/lubber-{}", rustix::process::getuid().as_raw()));
            Place { path: folder.join(NAME), private: Some(folder) }
        }
    }
}

impl Place {
    /// The place the owner names; who may write there is the owner's business, the socket is theirs alone.
    pub const fn named(path: PathBuf) -> Self {
        Self { path, private: None }
    }

    /// Makes the folder, where it is ours to make.
    pub(super) fn prepare(&self) -> Result<(), ControlError> {
        let Some(folder) = &self.private else { return Ok(()) };
        match fs::DirBuilder::new().mode(0o700).create(folder) {
            Ok(()) => {}
            Err(error) if error.kind() == io::ErrorKind::AlreadyExists => {}
            Err(error) => return Err(ControlError::Refused { what: "make", path: folder.clone(), error }),
        }
        self.check()
    }

    /// In a folder that everybody can write to, anybody can have made ours before us.
    pub(super) fn check(&self) -> Result<(), ControlError> {
        match &self.private {
            Some(folder) => private(folder),
            None => Ok(()),
        }
    }
}

/// Whether `folder`, if it is there, is a folder of this user and of nobody else.
fn private(folder: &Path) -> Result<(), ControlError> {
    let refused = |why| Err(ControlError::NotPrivate { folder: folder.to_owned(), why });
    match folder.symlink_metadata() {
        Err(_) => Ok(()),
        Ok(there) if !there.is_dir() => refused("it is a link or a file"),
        Ok(there) if there.uid() != rustix::process::getuid().as_raw() => refused("it is another user's"),
        Ok(there) if there.mode() & 0o077 != 0 => refused("others may enter it"),
        Ok(_) => Ok(()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::os::unix::fs::PermissionsExt;
    use std::os::unix::fs::symlink;

    #[test]
    fn the_usual_place_is_the_users_own() {
        let temp = std::env::temp_dir();
        assert_eq!(usual_place(Some(temp.clone())), Place::named(temp.join("lubber.sock")));
        for runtime in [None, Some("run".into()), Some("/no/such/folder".into())] {
            let place = usual_place(runtime);
            let folder = place.private.clone().unwrap();
            assert_eq!(folder, PathBuf::from(format!("/tmp/lubber-{}", rustix::process::getuid().as_raw())));
            assert_eq!(place.path, folder.join("lubber.sock"));
        }
    }

    #[test]
    fn a_folder_that_others_can_enter_is_refused() {
        let base = std::env::temp_dir().join(format!("lubber-place-{}", std::process::id()));
        fs::create_dir_all(&base).unwrap();
        let ours = base.join("ours");
        let place = Place { path: ours.join(NAME), private: Some(ours.clone()) };
        place.prepare().unwrap();
        assert_eq!(fs::metadata(&ours).unwrap().mode() & 0o777, 0o700);
        place.prepare().unwrap();
        fs::set_permissions(&ours, fs::Permissions::from_mode(0o755)).unwrap();
        assert!(place.prepare().is_err_and(|error| error.to_string().contains("others may enter it")));
        fs::remove_dir(&ours).unwrap();
        symlink(&base, &ours).unwrap();
        assert!(place.prepare().is_err_and(|error| error.to_string().contains("--control PATH")));
        fs::remove_dir_all(&base).unwrap();
    }
}
