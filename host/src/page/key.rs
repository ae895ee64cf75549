//! The key of the page: made once, shown once, kept as a hash.

use std::fs;
use std::io;
use std::io::Read;
use std::io::Write;
use std::os::unix::fs::DirBuilderExt;
use std::os::unix::fs::MetadataExt;
use std::os::unix::fs::OpenOptionsExt;
use std::path::Path;
use std::path::PathBuf;

use sha2::Digest;
use sha2::Sha256;
use subtle::ConstantTimeEq;

/// Characters of a key as it is shown: 160 bits, five to a character.
pub const KEY_LENGTH: usize = 32;

/// RFC 4648 section 6, in small letters: nothing of it needs escaping in a link.
const ALPHABET: &[u8; 32] = b"abcdefghijklmnopqrstuvwxyz234567";

const BEGIN: &str = "sha256 ";

/// No file of ours is longer; a longer one is not read.
const LONGEST_FILE: u64 = 256;

/// A key, as only its owner sees it: 160 random bits as 32 letters and digits.
pub struct Key(String);

/// What a key is checked against: its SHA-256 hash, from which it cannot be told.
#[derive(Clone)]
pub struct Lock([u8; 32]);

/// Why there is no key to check against, with the remedy.
#[derive(Debug, thiserror::Error)]
pub enum KeyError {
    /// The system has no folder for it.
    #[error(
        "there is no place for the page's key: neither STATE_DIRECTORY, XDG_STATE_HOME nor HOME is set; name a file for \
         it: --page-key FILE"
    )]
    NoPlace,
    /// The system gives no random numbers.
    #[error("the system gives no random numbers for the page's key: {0}")]
    NoRandom(String),
    /// The file cannot be read or written.
    #[error("the page's key, {}, cannot be {what}: {error}; name another file for it: --page-key FILE", .path.display())]
    Refused {
        /// What was to be done.
        what: &'static str,
        /// Where.
        path: PathBuf,
        /// Why not.
        error: io::Error,
    },
    /// Others could have changed it.
    #[error(
        "the page's key, {}, is not a file of yours alone ({why}), so that others could have put their own key there; \
         make a new one: --page-new-key",
        .path.display()
    )]
    NotPrivate {
        /// Where.
        path: PathBuf,
        /// What is wrong with it.
        why: &'static str,
    },
    /// It is none.
    #[error("{} holds no key of the page; make a new one: --page-new-key", .0.display())]
    NoKey(PathBuf),
}

/// Where the key's hash is kept: in `STATE_DIRECTORY`, which a service manager gives a service of its
/// own; else in the user's state (XDG Base Directory Specification). The arguments are the values of
/// `STATE_DIRECTORY`, `XDG_STATE_HOME` and `HOME`.
pub fn key_place(service: Option<PathBuf>, state: Option<PathBuf>, home: Option<PathBuf>) -> Option<PathBuf> {
    let whole = |folder: &PathBuf| folder.is_absolute();
    let service = service.filter(whole);
    let users = || state.filter(whole).or_else(|| home.filter(whole).map(|home| home.join(".local/state")));
    Some(service.or_else(|| users().map(|state| state.join("lubber")))?.join("page.key"))
}

impl Key {
    /// A new one.
    ///
    /// # Errors
    /// [`KeyError::NoRandom`].
    pub fn new() -> Result<Self, KeyError> {
        let mut random = [0; KEY_LENGTH];
        getrandom::fill(&mut random).map_err(|error| KeyError::NoRandom(error.to_string()))?;
        // 32 divides 256: five bits of each byte are as random as the byte.
        Ok(Self(random.iter().map(|byte| char::from(ALPHABET[usize::from(byte % 32)])).collect()))
    }

    /// As it stands in a link.
    pub fn text(&self) -> &str {
        &self.0
    }

    /// What it is checked against.
    pub fn lock(&self) -> Lock {
        Lock(Sha256::digest(self.0.as_bytes()).into())
    }
}

impl Lock {
    /// Whether `shown` is the key. How long that takes tells nothing about where they differ: it is
    /// their hashes that are compared, and in constant time.
    pub fn opens(&self, shown: &[u8]) -> bool {
        let shown: [u8; 32] = Sha256::digest(shown).into();
        self.0.ct_eq(&shown).into()
    }

    /// The lock kept at `path`; a new one, with the key that opens it, where there is none or `anew`.
    ///
    /// # Errors
    /// [`KeyError`] with the remedy. A file that others could have written is refused.
    pub fn keep(path: &Path, anew: bool) -> Result<(Self, Option<Key>), KeyError> {
        if !anew && let Some(lock) = Self::read(path)? {
            return Ok((lock, None));
        }
        let key = Key::new()?;
        let lock = key.lock();
        lock.write(path).map_err(|error| KeyError::Refused { what: "kept", path: path.to_owned(), error })?;
        Ok((lock, Some(key)))
    }

    fn read(path: &Path) -> Result<Option<Self>, KeyError> {
        let refused = |error| KeyError::Refused { what: "read", path: path.to_owned(), error };
        let not_private = |why| Err(KeyError::NotPrivate { path: path.to_owned(), why });
        // Neither a link is followed nor a pipe waited for; what is looked at is what was opened.
        let flags = rustix::fs::OFlags::NOFOLLOW | rustix::fs::OFlags::NONBLOCK;
        let opened = fs::OpenOptions::new().read(true).custom_flags(flags.bits().cast_signed()).open(path);
        let file = match opened {
            Ok(file) => file,
            Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(None),
            Err(_) if path.is_symlink() => return not_private("it is a link"),
            Err(error) => return Err(refused(error)),
        };
        let about = file.metadata().map_err(refused)?;
        if !about.is_file() {
            return not_private("it is no plain file");
        }
        if about.uid() != rustix::process::geteuid().as_raw() {
            return not_private("it is another user's");
        }
        if about.mode() & 0o077 != 0 {
            return not_private("others may read or write it");
        }
        let mut text = String::new();
        let read = file.take(LONGEST_FILE).read_to_string(&mut text);
        read.ok().and_then(|_| Self::parse(&text)).map(Some).ok_or_else(|| KeyError::NoKey(path.to_owned()))
    }

    fn parse(text: &str) -> Option<Self> {
        let hex = text.trim_end().strip_prefix(BEGIN)?.as_bytes();
        let digit = |byte: u8| char::from(byte).to_digit(16).and_then(|digit| u8::try_from(digit).ok());
        let mut hash = [0; 32];
        if hex.len() != 2 * hash.len() {
            return None;
        }
        for (slot, pair) in hash.iter_mut().zip(hex.chunks_exact(2)) {
            *slot = digit(pair[0])? * 16 + digit(pair[1])?;
        }
        Some(Self(hash))
    }

    /// Written whole beside its place and then put there: a cut of power leaves the old one or the new.
    fn write(&self, path: &Path) -> io::Result<()> {
        let folder = path.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
        fs::DirBuilder::new().recursive(true).mode(0o700).create(folder)?;
        let mut beside = path.as_os_str().to_owned();
        beside.push(".new");
        let beside = PathBuf::from(beside);
        match fs::remove_file(&beside) {
            Err(error) if error.kind() != io::ErrorKind::NotFound => return Err(error),
            _ => {}
        }
        let mut file = fs::OpenOptions::new().write(true).create_new(true).mode(0o600).open(&beside)?;
        let hex: String = self.0.iter().map(|byte| format!("{byte:02x}")).collect();
        file.write_all(format!("{BEGIN}{hex}\n").as_bytes())?;
        file.sync_all()?;
        fs::rename(&beside, path)?;
        fs::File::open(folder)?.sync_all()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::os::unix::fs::PermissionsExt;
    use std::os::unix::fs::symlink;

    fn folder(name: &str) -> PathBuf {
        let folder = std::env::temp_dir().join(format!("lubber-key-{}-{name}", std::process::id()));
        let _ = fs::remove_dir_all(&folder);
        folder
    }

    #[test]
    fn a_key_opens_its_lock_and_nothing_else_does() {
        let (one, other) = (Key::new().unwrap(), Key::new().unwrap());
        assert_eq!(one.text().len(), KEY_LENGTH);
        assert!(one.text().bytes().all(|byte| ALPHABET.contains(&byte)));
        assert_ne!(one.text(), other.text());
        assert!(one.lock().opens(one.text().as_bytes()));
        let upper = one.text().to_ascii_uppercase();
        for wrong in [other.text(), "", &one.text()[1..], &format!("{} ", one.text()), &upper] {
            assert!(!one.lock().opens(wrong.as_bytes()), "{wrong:?}");
        }
        // FIPS 180-2, appendix B.1: SHA-256 of "abc".
        let abc = "sha256 ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad\n";
        assert!(Lock::parse(abc).unwrap().opens(b"abc"));
    }

    #[test]
    fn it_is_shown_once_and_kept_as_a_hash_for_its_owner_alone() {
        let folder = folder("kept");
        let path = folder.join("deep/page.key");
        let (_, made) = Lock::keep(&path, false).unwrap();
        let made = made.expect("there was none");
        let about = fs::metadata(&path).unwrap();
        assert_eq!(about.mode() & 0o777, 0o600);
        assert_eq!(fs::metadata(path.parent().unwrap()).unwrap().mode() & 0o777, 0o700);
        assert!(!fs::read_to_string(&path).unwrap().contains(made.text()));
        let (kept, again) = Lock::keep(&path, false).unwrap();
        assert!(again.is_none() && kept.opens(made.text().as_bytes()));
        let (anew, other) = Lock::keep(&path, true).unwrap();
        assert!(anew.opens(other.unwrap().text().as_bytes()) && !anew.opens(made.text().as_bytes()));
        fs::remove_dir_all(&folder).unwrap();
    }

    #[test]
    fn a_file_that_others_could_have_written_is_refused() {
        let folder = folder("others");
        let path = folder.join("page.key");
        Lock::keep(&path, false).unwrap();
        fs::set_permissions(&path, fs::Permissions::from_mode(0o640)).unwrap();
        let said = |path: &Path| Lock::keep(path, false).map(|_| ()).unwrap_err().to_string();
        assert!(said(&path).contains("others may read or write it") && said(&path).contains("--page-new-key"));
        let link = folder.join("link.key");
        symlink(&path, &link).unwrap();
        assert!(said(&link).contains("it is a link"), "{}", said(&link));
        assert!(said(&folder).contains("no plain file"), "{}", said(&folder));
        for broken in ["", "sha256 00", "sha256 zz7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"] {
            fs::write(&path, broken).unwrap();
            fs::set_permissions(&path, fs::Permissions::from_mode(0o600)).unwrap();
            assert!(said(&path).contains("holds no key"), "{broken:?}: {}", said(&path));
        }
        // A new one takes its place, whatever lay there.
        assert!(Lock::keep(&link, true).unwrap().1.is_some() && !link.is_symlink());
        fs::remove_dir_all(&folder).unwrap();
    }

    #[test]
    fn where_it_is_kept() {
        let some = |path: &str| Some(PathBuf::from(path));
        assert_eq!(key_place(some("/var/lib/lubber"), some("/s"), some("/h")), some("/var/lib/lubber/page.key"));
        assert_eq!(key_place(None, some("/s"), some("/h")), some("/s/lubber/page.key"));
        assert_eq!(key_place(None, some("relative"), some("/h")), some("/h/.local/state/lubber/page.key"));
        assert_eq!(key_place(None, None, None), None);
    }
}
