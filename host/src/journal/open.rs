//! Opening the file: whatever lies at that path, the outcome is a sound journal or a clear refusal.
//!
//! ```text
//! nothing, or empty          a new journal
//! a journal of this version  used;  of an older one: migrated;  of a newer one: refused, left as it is
//! a damaged journal          moved aside to NAME.damaged-1, -2, ..., never deleted; a new one
//! somebody else's file       refused, left as it is
//! ```

use std::ffi::OsString;
use std::fs;
use std::fs::File;
use std::io::ErrorKind;
use std::io::Read;
use std::path::Path;
use std::path::PathBuf;
use std::time::Duration;

use rusqlite::Connection;
use rusqlite::ErrorCode;
use rusqlite::OpenFlags;

use crate::journal::schema;

/// Why there is no journal to write into.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum OpenError {
    /// What lies there is not ours to write into, and stays as it is.
    #[error("{0}")]
    Refused(String),
    /// It cannot be opened or written just now.
    #[error("{0}")]
    Cannot(String),
}

/// An open journal, and where a damaged one was moved to.
pub(super) struct Opened {
    pub(super) connection: Connection,
    pub(super) moved: Option<PathBuf>,
}

/// So much of a file is looked at to tell whose it is.
const LOOK: u64 = 64 * 1024;
/// More damaged ones are not put aside: then the disk itself is failing.
const MOST_DAMAGED: u32 = 99;
/// How long another program may hold the file before it is an error.
const BUSY: Duration = Duration::from_secs(2);

/// Page cache, KiB: the whole watch has a few megabytes to live in, and writes rows that it never reads back.
const CACHE_KIB: i32 = 256;
/// The write-ahead log is worked off after so many pages of 4 KiB, and cut back to so many bytes.
const WAL_PAGES: i32 = 256;
const WAL_BYTES: i32 = 1 << 20;

/// What lies at a path.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Found {
    Nothing,
    /// A journal of some version, by its header.
    Journal(i32),
    /// Just being made, when something cut it off: no version yet.
    Begun,
    /// Ours once, and no database any more.
    Damaged,
    /// Not ours.
    Foreign,
}

/// Opens the journal at `path` to be written, and makes it, mends its age or moves it aside as need be.
pub(super) fn open(path: &Path) -> Result<Opened, OpenError> {
    let mut moved = None;
    // Twice: a damaged one is moved aside, and then there is nothing at the path.
    for _ in 0..2 {
        let damage = match look(path)? {
            Found::Nothing | Found::Begun => {
                folder_is_there(path)?;
                match connect(path, 0) {
                    Ok(connection) => return Ok(Opened { connection, moved }),
                    Err(error) => damage_or(path, &error)?,
                }
            }
            Found::Journal(version) => {
                known(path, version)?;
                match connect(path, version) {
                    Ok(connection) => return Ok(Opened { connection, moved }),
                    Err(error) => damage_or(path, &error)?,
                }
            }
            Found::Damaged => "it is no database any more".to_owned(),
            Found::Foreign => {
                return Err(OpenError::Refused(format!(
                    "{} is no journal of lubber and was left as it is; give the journal another name",
                    path.display()
                )));
            }
        };
        moved = Some(move_aside(path, &damage)?);
    }
    Err(OpenError::Cannot(format!("{} is damaged again as soon as it is made: the disk is failing", path.display())))
}

/// Refuses what a newer program wrote.
pub(super) fn known(path: &Path, version: i32) -> Result<(), OpenError> {
    if version <= schema::VERSION {
        return Ok(());
    }
    Err(OpenError::Refused(format!(
        "{} was written by a newer lubber (layout {version}, this one knows {}) and was left as it is; install the \
         newer lubber again, or give the journal another name",
        path.display(),
        schema::VERSION
    )))
}

/// What lies at `path`, by the file's own header and not yet by the database.
pub(super) fn look(path: &Path) -> Result<Found, OpenError> {
    let cannot = |error: &std::io::Error| OpenError::Cannot(words_of_io(path, error));
    let file = match File::open(path) {
        Ok(file) => file,
        Err(error) if error.kind() == ErrorKind::NotFound => return Ok(Found::Nothing),
        Err(error) => return Err(cannot(&error)),
    };
    let about = file.metadata().map_err(|error| cannot(&error))?;
    if !about.is_file() {
        return Err(OpenError::Refused(format!(
            "{} is no plain file; give the journal the name of a file, for example journal.sqlite",
            path.display()
        )));
    }
    let mut bytes = Vec::new();
    file.take(LOOK).read_to_end(&mut bytes).map_err(|error| cannot(&error))?;
    Ok(whose(path, &bytes))
}

/// Whose file begins like this. The header's places are those of the SQLite file format, 1.3: the magic
/// string at 0, the user version at 60, the application id at 68, big-endian.
fn whose(path: &Path, bytes: &[u8]) -> Found {
    const MAGIC: &[u8] = b"SQLite format 3\0";
    let number = |at: usize| bytes.get(at..at + 4).and_then(|b| b.try_into().ok()).map(i32::from_be_bytes);
    let ours = bytes.windows(schema::LANDMARK.len()).any(|window| window == schema::LANDMARK);
    let is_database = bytes.starts_with(MAGIC);
    match (number(60), number(68)) {
        _ if bytes.is_empty() => Found::Nothing,
        (Some(version), Some(schema::APPLICATION)) if is_database && version > 0 => Found::Journal(version),
        // The database itself undoes what it did not finish; whose it is is asked then.
        _ if beside(path, "-journal").metadata().is_ok_and(|about| about.len() > 0) => Found::Begun,
        (Some(0), Some(0)) if is_database && bytes.len() <= 4096 => Found::Begun,
        _ if ours => Found::Damaged,
        // A cut of power may leave a file of its length and nothing in it; a journal's own name says whose it was.
        _ if !is_database
            && (bytes.iter().all(|byte| *byte == 0) || path.extension().is_some_and(|e| e == "sqlite")) =>
        {
            Found::Damaged
        }
        _ => Found::Foreign,
    }
}

/// The file of the same name with more behind it.
fn beside(path: &Path, suffix: &str) -> PathBuf {
    let mut name: OsString = path.as_os_str().to_owned();
    name.push(suffix);
    PathBuf::from(name)
}

fn folder_is_there(path: &Path) -> Result<(), OpenError> {
    let folder = folder_of(path);
    if folder.is_dir() {
        return Ok(());
    }
    Err(OpenError::Cannot(format!(
        "the folder {} of the journal is not there; make it (mkdir -p), mount its disk, or give the journal another \
         place",
        folder.display()
    )))
}

fn folder_of(path: &Path) -> &Path {
    match path.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder,
        _ => Path::new("."),
    }
}

fn connect(path: &Path, version: i32) -> rusqlite::Result<Connection> {
    let flags = OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_CREATE | OpenFlags::SQLITE_OPEN_NO_MUTEX;
    let mut connection = Connection::open_with_flags(path, flags)?;
    connection.busy_timeout(BUSY)?;
    // An alert that was committed is on the disk, not on its way there.
    connection.pragma_update(None, "synchronous", "full")?;
    connection.pragma_update(None, "cache_size", -CACHE_KIB)?;
    connection.pragma_update(None, "trusted_schema", false)?;
    // A page that lies about its cells is found when it is read and not when it is too late.
    connection.pragma_update(None, "cell_size_check", true)?;
    if connection.is_readonly(rusqlite::MAIN_DB)? {
        return Err(fault(rusqlite::ffi::SQLITE_READONLY, "it may be read and not written"));
    }
    if version > 0 {
        sound(&connection)?;
    }
    // By what the database says: the write-ahead log may know better than the file's own header.
    let version: i32 = connection.pragma_query_value(None, "user_version", |row| row.get(0))?;
    let mark: i32 = connection.pragma_query_value(None, "application_id", |row| row.get(0))?;
    let tables: i64 = connection.query_row("SELECT count(*) FROM sqlite_schema", [], |row| row.get(0))?;
    if tables > 0 && (version == 0 || mark != schema::APPLICATION) {
        return Err(fault(rusqlite::ffi::SQLITE_AUTH, "it holds the tables of another program"));
    }
    // A new one is made before it has a write-ahead log, so that its own header always says whose it is.
    if version < schema::VERSION {
        schema::migrate(&mut connection, version)?;
    }
    whole(&connection)?;
    let mode: String = connection.pragma_update_and_check(None, "journal_mode", "wal", |row| row.get(0))?;
    if mode != "wal" {
        return Err(fault(rusqlite::ffi::SQLITE_IOERR, "this file system has no shared memory for a write-ahead log"));
    }
    connection.pragma_update(None, "wal_autocheckpoint", WAL_PAGES)?;
    connection.pragma_update(None, "journal_size_limit", WAL_BYTES)?;
    Ok(connection)
}

/// The integrity check that reads every page once.
pub(super) fn sound(connection: &Connection) -> rusqlite::Result<()> {
    let said: String = connection.query_row("PRAGMA quick_check(1)", [], |row| row.get(0))?;
    if said == "ok" { Ok(()) } else { Err(fault(rusqlite::ffi::SQLITE_CORRUPT, &said)) }
}

/// A file whose version promises tables that are not there is damaged too.
pub(super) fn whole(connection: &Connection) -> rusqlite::Result<()> {
    for table in schema::TIMED.iter().chain(&["watches", "cards"]) {
        connection.prepare(&format!("SELECT * FROM {table} LIMIT 1")).map_err(|_| {
            fault(rusqlite::ffi::SQLITE_CORRUPT, &format!("its table {table} is missing or not what it was"))
        })?;
    }
    Ok(())
}

fn fault(code: i32, words: &str) -> rusqlite::Error {
    rusqlite::Error::SqliteFailure(rusqlite::ffi::Error::new(code), Some(words.to_owned()))
}

/// Whether an error means that the file itself is damaged.
pub(super) fn is_damage(error: &rusqlite::Error) -> bool {
    match error.sqlite_error_code() {
        Some(ErrorCode::DatabaseCorrupt | ErrorCode::NotADatabase) => true,
        // Neither can come of what is written here into a sound file.
        Some(ErrorCode::Unknown | ErrorCode::ConstraintViolation | ErrorCode::TypeMismatch) => true,
        Some(_) => false,
        None => true,
    }
}

/// Whether an error means no more than that there is no room just now.
pub(super) fn is_no_room(error: &rusqlite::Error) -> bool {
    matches!(error.sqlite_error_code(), Some(ErrorCode::DiskFull | ErrorCode::DatabaseBusy))
}

/// The damage in words, or the error that it is instead.
fn damage_or(path: &Path, error: &rusqlite::Error) -> Result<String, OpenError> {
    if is_damage(error) { Ok(error.to_string()) } else { Err(OpenError::Cannot(words_of(path, error))) }
}

/// An error of the database in words, with the remedy.
pub(super) fn words_of(path: &Path, error: &rusqlite::Error) -> String {
    let path = path.display();
    match error.sqlite_error_code() {
        Some(ErrorCode::DiskFull) => {
            format!("the disk of {path} is full; free some room, or give the journal another place")
        }
        Some(ErrorCode::ReadOnly | ErrorCode::PermissionDenied) => {
            format!("{path} may not be written; see the permissions of the file and of its folder (ls -l)")
        }
        Some(ErrorCode::CannotOpen) => {
            format!("{path} cannot be opened or made; see the permissions of the file and of its folder (ls -l)")
        }
        Some(ErrorCode::AuthorizationForStatementDenied) => {
            format!("{path} is no journal of lubber and was left as it is; give the journal another name")
        }
        Some(ErrorCode::SystemIoFailure) => {
            format!("{path} cannot be written: the disk does not take it ({error}); see that it is there and not full")
        }
        Some(ErrorCode::DatabaseBusy | ErrorCode::DatabaseLocked | ErrorCode::FileLockingProtocolFailed) => {
            format!("{path} is held by another program; give each watch a journal of its own")
        }
        _ => format!("{path} cannot be written: {error}"),
    }
}

fn words_of_io(path: &Path, error: &std::io::Error) -> String {
    let path = path.display();
    match error.kind() {
        ErrorKind::PermissionDenied => {
            format!("{path} may not be read; see the permissions of the file and of its folder (ls -l)")
        }
        _ => format!("{path} cannot be read: {error}"),
    }
}

/// Moves a damaged journal aside with all that belongs to it. The log goes first: one left behind would be
/// taken for that of the new file.
pub(super) fn move_aside(path: &Path, damage: &str) -> Result<PathBuf, OpenError> {
    let beside = |suffix: &str| beside(path, suffix);
    let free = (1..=MOST_DAMAGED).map(|n| format!(".damaged-{n}")).find(|suffix| {
        ["", "-wal", "-shm", "-journal"].iter().all(|end| beside(&format!("{suffix}{end}")).symlink_metadata().is_err())
    });
    let Some(suffix) = free else {
        return Err(OpenError::Cannot(format!(
            "{} is damaged ({damage}), and {MOST_DAMAGED} damaged ones lie beside it: the disk is failing; replace it",
            path.display()
        )));
    };
    for end in ["-wal", "-shm", "-journal", ""] {
        match fs::rename(beside(end), beside(&format!("{suffix}{end}"))) {
            Err(error) if error.kind() != ErrorKind::NotFound => {
                return Err(OpenError::Cannot(format!(
                    "{} is damaged ({damage}) and cannot be moved aside: {error}",
                    path.display()
                )));
            }
            _ => {}
        }
    }
    if let Ok(folder) = File::open(folder_of(path)) {
        // Where a folder cannot be synced the names are safe a little later.
        let _ = folder.sync_all();
    }
    Ok(beside(&suffix))
}
