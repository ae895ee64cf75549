//! Reading a journal, also while a watch writes to it: what is seen is one moment of it, whole.

use std::path::Path;
use std::path::PathBuf;

use rusqlite::Connection;
use rusqlite::OpenFlags;
use rusqlite::Row;

use crate::journal::AlertEntry;
use crate::journal::CardUsed;
use crate::journal::Health;
use crate::journal::Judges;
use crate::journal::Minute;
use crate::journal::WordEntry;
use crate::journal::open;
use crate::journal::open::Found;
use crate::journal::schema;
use crate::view::Stamp;

/// Why a journal cannot be read, with the remedy.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{0}")]
pub struct ReadError(String);

/// A watch as the journal knows it.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct WatchRow {
    /// Its number in this journal.
    pub number: i64,
    /// UTC when it began, milliseconds since 1970.
    pub began_utc_ms: Option<i64>,
    /// How long it lasted, milliseconds: to its end, or to the last that is known of it.
    pub lasted_ms: i64,
    /// `inputs-ended` or `interrupted`; none where its end was never written.
    pub ending: Option<String>,
    /// The program's version.
    pub version: String,
    /// The boat.
    pub boat: Option<String>,
    /// Whether a log was replayed.
    pub replayed: bool,
    /// The limit of off-heading, thousandths of a degree.
    pub limit_mdeg: i64,
    /// What else it was kept with, a JSON object of texts.
    pub settings: String,
}

/// A journal open to be read.
pub struct Reader {
    connection: Connection,
    path: PathBuf,
    version: i32,
}

impl Reader {
    /// Opens the journal at `path`; nothing of it is changed.
    ///
    /// # Errors
    /// What is wrong with the file, and the remedy.
    pub fn open(path: &Path) -> Result<Self, ReadError> {
        let said = |why: &str| ReadError(format!("{}: {why}", path.display()));
        match open::look(path).map_err(|error| ReadError(error.to_string()))? {
            Found::Begun | Found::Nothing if path.symlink_metadata().is_ok() => {
                return Err(said("is empty: no watch was written into it yet"));
            }
            Found::Begun | Found::Nothing => {
                return Err(said(
                    "there is no such journal; a watch writes one with --journal FILE, or with \
                                 [journal] path = \"journal.sqlite\" in the boat file",
                ));
            }
            Found::Damaged => {
                return Err(said(
                    "is damaged and no database any more; the next watch moves it aside and begins a new \
                                 one",
                ));
            }
            Found::Foreign => return Err(said("is no journal of lubber; a log is read by: lubber watch")),
            Found::Journal(version) => open::known(path, version).map_err(|error| ReadError(error.to_string()))?,
        }
        let connection = connect(path)?;
        let mut reader = Self { connection, path: path.to_owned(), version: 0 };
        // What is read after this is all of one moment.
        reader.done(reader.connection.execute_batch("BEGIN"))?;
        reader.version = reader.done(reader.connection.pragma_query_value(None, "user_version", |row| row.get(0)))?;
        open::known(path, reader.version).map_err(|error| ReadError(error.to_string()))?;
        reader.done(open::sound(&reader.connection))?;
        Ok(reader)
    }

    /// Every watch, in the order they were begun.
    ///
    /// # Errors
    /// The file is damaged, or cannot be read on.
    pub fn watches(&self) -> Result<Vec<WatchRow>, ReadError> {
        let mut watches = self.rows(
            "SELECT id, began_utc_ms, ended_ms, ending, version, boat, replayed, limit_mdeg, settings FROM watches \
             ORDER BY id",
            [],
            |row| {
                Ok(WatchRow {
                    number: row.get(0)?,
                    began_utc_ms: row.get(1)?,
                    lasted_ms: row.get::<_, Option<i64>>(2)?.unwrap_or(-1),
                    ending: words_or_none(row, 3)?,
                    version: words(row, 4)?,
                    boat: words_or_none(row, 5)?,
                    replayed: row.get(6)?,
                    limit_mdeg: row.get(7)?,
                    settings: words(row, 8)?,
                })
            },
        )?;
        for watch in watches.iter_mut().filter(|watch| watch.lasted_ms < 0) {
            watch.lasted_ms = self.last_seen(watch.number)?;
        }
        Ok(watches)
    }

    /// The last moment of which anything is known: a minute is known to its end.
    fn last_seen(&self, watch: i64) -> Result<i64, ReadError> {
        let mut last = 0;
        for table in schema::TIMED.iter().filter(|table| self.has(table)) {
            let more = if *table == "minutes" { "+ 1000 * samples" } else { "" };
            let sql = format!("SELECT since_start_ms {more} FROM {table} WHERE watch = ?1 ORDER BY seq DESC LIMIT 1");
            let seen = self.rows(&sql, [watch], |row| row.get::<_, i64>(0))?;
            last = seen.into_iter().fold(last, i64::max);
        }
        Ok(last)
    }

    fn has(&self, table: &str) -> bool {
        table != "judging" || self.version >= 2
    }

    /// Every change of every alert of a watch, as it came.
    ///
    /// # Errors
    /// As [`Self::watches`].
    pub fn alerts(&self, watch: i64) -> Result<Vec<AlertEntry>, ReadError> {
        self.rows(
            "SELECT since_start_ms, at_utc_ms, alert, instance, occurrence, priority, state, escalated, repeated, \
             follows, text, seen FROM alerts WHERE watch = ?1 ORDER BY since_start_ms, seq",
            [watch],
            |row| {
                Ok(AlertEntry {
                    at: stamp(row)?,
                    alert: words(row, 2)?,
                    instance: words(row, 3)?,
                    occurrence: u32::try_from(row.get::<_, i64>(4)?).unwrap_or(u32::MAX),
                    priority: words(row, 5)?,
                    state: words(row, 6)?,
                    escalated: row.get(7)?,
                    repeated: row.get(8)?,
                    follows: words_or_none(row, 9)?,
                    text: words(row, 10)?,
                    values: words(row, 11)?,
                })
            },
        )
    }

    /// Every word of a watch, as it came.
    ///
    /// # Errors
    /// As [`Self::watches`].
    pub fn words(&self, watch: i64) -> Result<Vec<WordEntry>, ReadError> {
        self.rows(
            "SELECT since_start_ms, at_utc_ms, who, what, obeyed, text FROM words WHERE watch = ?1 \
             ORDER BY since_start_ms, seq",
            [watch],
            |row| {
                Ok(WordEntry {
                    at: stamp(row)?,
                    who: words(row, 2)?,
                    what: words(row, 3)?,
                    obeyed: row.get(4)?,
                    text: words(row, 5)?,
                })
            },
        )
    }

    /// Every minute of a watch.
    ///
    /// # Errors
    /// As [`Self::watches`].
    pub fn minutes(&self, watch: i64) -> Result<Vec<Minute>, ReadError> {
        self.rows(
            "SELECT since_start_ms, at_utc_ms, samples, headings, heading_mdeg, heading_ref, true_mdeg, yaw_mdeg, \
             order_mdeg, order_ref, steering, offs, off_mdeg, off_rms_mdeg, within, course_mdeg, speed_mkn, \
             rudder_mdeg, travel_mdeg, latitude_e7, longitude_e7 FROM minutes WHERE watch = ?1 \
             ORDER BY since_start_ms, seq",
            [watch],
            |row| {
                Ok(Minute {
                    at: stamp(row)?,
                    samples: row.get(2)?,
                    headings: row.get(3)?,
                    heading_mdeg: row.get(4)?,
                    heading_ref: words_or_none(row, 5)?,
                    true_mdeg: row.get(6)?,
                    yaw_mdeg: row.get(7)?,
                    order_mdeg: row.get(8)?,
                    order_ref: words_or_none(row, 9)?,
                    steering: words(row, 10)?,
                    offs: row.get(11)?,
                    off_mdeg: row.get(12)?,
                    off_rms_mdeg: row.get(13)?,
                    within: row.get(14)?,
                    course_mdeg: row.get(15)?,
                    speed_mkn: row.get(16)?,
                    rudder_mdeg: row.get(17)?,
                    travel_mdeg: row.get(18)?,
                    position_e7: row.get::<_, Option<i64>>(19)?.zip(row.get(20)?),
                })
            },
        )
    }

    /// The health of the sources of a watch, minute by minute.
    ///
    /// # Errors
    /// As [`Self::watches`].
    pub fn health(&self, watch: i64) -> Result<Vec<Health>, ReadError> {
        self.rows(
            "SELECT since_start_ms, at_utc_ms, source, sentences, refused, bytes, gaps, silent_ms FROM sources \
             WHERE watch = ?1 ORDER BY since_start_ms, seq",
            [watch],
            |row| {
                Ok(Health {
                    at: stamp(row)?,
                    source: words(row, 2)?,
                    sentences: row.get(3)?,
                    refused: row.get(4)?,
                    bytes: row.get(5)?,
                    gaps: row.get(6)?,
                    silent_ms: row.get(7)?,
                })
            },
        )
    }

    /// What could be judged and what not; none where the journal was written before that was kept.
    ///
    /// # Errors
    /// As [`Self::watches`].
    pub fn judging(&self, watch: i64) -> Result<Option<Vec<Judges>>, ReadError> {
        if !self.has("judging") {
            return Ok(None);
        }
        let rows = self.rows(
            "SELECT since_start_ms, at_utc_ms, alert, why FROM judging WHERE watch = ?1 ORDER BY since_start_ms, seq",
            [watch],
            |row| Ok(Judges { at: stamp(row)?, alert: words(row, 2)?, why: words_or_none(row, 3)? }),
        )?;
        Ok(Some(rows))
    }

    /// The cards a watch was kept with.
    ///
    /// # Errors
    /// As [`Self::watches`].
    pub fn cards(&self, watch: i64) -> Result<Vec<CardUsed>, ReadError> {
        self.rows(
            "SELECT file, digest, sensor, date, a_mdeg, b_mdeg, c_mdeg, d_mdeg, e_mdeg FROM cards WHERE watch = ?1 \
             ORDER BY file",
            [watch],
            |row| {
                Ok(CardUsed {
                    file: words(row, 0)?,
                    digest: words_or_none(row, 1)?,
                    sensor: words_or_none(row, 2)?,
                    date: words_or_none(row, 3)?,
                    coefficients: [row.get(4)?, row.get(5)?, row.get(6)?, row.get(7)?, row.get(8)?],
                })
            },
        )
    }

    fn rows<T, const N: usize>(
        &self,
        sql: &str,
        params: [i64; N],
        mut of: impl FnMut(&Row<'_>) -> rusqlite::Result<T>,
    ) -> Result<Vec<T>, ReadError> {
        let mut statement = self.done(self.connection.prepare(sql))?;
        let mut rows = self.done(statement.query(rusqlite::params_from_iter(params)))?;
        let mut all = Vec::new();
        while let Some(row) = self.done(rows.next())? {
            all.push(self.done(of(row))?);
        }
        Ok(all)
    }

    fn done<T>(&self, result: rusqlite::Result<T>) -> Result<T, ReadError> {
        result.map_err(|error| failed(&self.path, &error))
    }
}

fn failed(path: &Path, error: &rusqlite::Error) -> ReadError {
    let path = path.display();
    ReadError(if open::is_damage(error) {
        format!("{path} is damaged ({error}); the next watch moves it aside and begins a new one")
    } else {
        format!("{path} cannot be read: {error}; see the permissions of the file and of its folder (ls -l)")
    })
}

/// Read-only. A folder that may not be written, or a disk that is read-only, has no room for the index of
/// the write-ahead log; where there is no such log the file alone says everything.
fn connect(path: &Path) -> Result<Connection, ReadError> {
    let flags = OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_NO_MUTEX;
    let opened = Connection::open_with_flags(path, flags).and_then(usable);
    let error = match opened {
        Ok(connection) => return Ok(connection),
        Err(error) => error,
    };
    let mut log = path.as_os_str().to_owned();
    log.push("-wal");
    let has_log = Path::new(&log).metadata().is_ok_and(|about| about.len() > 0);
    if has_log || open::is_damage(&error) {
        return Err(failed(path, &error));
    }
    let address = format!("file:{}?immutable=1", uri(path));
    Connection::open_with_flags(address, flags | OpenFlags::SQLITE_OPEN_URI)
        .and_then(usable)
        .map_err(|error| failed(path, &error))
}

fn usable(connection: Connection) -> rusqlite::Result<Connection> {
    connection.busy_timeout(std::time::Duration::from_secs(5))?;
    connection.pragma_update(None, "trusted_schema", false)?;
    connection.pragma_update(None, "cell_size_check", true)?;
    connection.query_row("SELECT count(*) FROM sqlite_schema", [], |row| row.get::<_, i64>(0))?;
    Ok(connection)
}

/// A path as part of a URI: what has a meaning there is escaped.
fn uri(path: &Path) -> String {
    use std::fmt::Write;
    use std::os::unix::ffi::OsStrExt;
    let mut out = String::new();
    for &byte in path.as_os_str().as_bytes() {
        match byte {
            b'%' | b'?' | b'#' | 0..=b' ' | 0x7f.. => {
                let _ = write!(out, "%{byte:02x}");
            }
            _ => out.push(char::from(byte)),
        }
    }
    out
}

fn stamp(row: &Row<'_>) -> rusqlite::Result<Stamp> {
    let since: i64 = row.get(0)?;
    Ok(Stamp { utc_ms: row.get(1)?, since_start_ms: u64::try_from(since).unwrap_or(0) })
}

/// A text; the file has no checksums, and one letter that a failing card has turned is no reason to
/// withhold all the others.
fn words(row: &Row<'_>, column: usize) -> rusqlite::Result<String> {
    Ok(words_or_none(row, column)?.unwrap_or_default())
}

fn words_or_none(row: &Row<'_>, column: usize) -> rusqlite::Result<Option<String>> {
    let bytes = row.get_ref(column)?.as_bytes_or_null()?;
    Ok(bytes.map(|bytes| String::from_utf8_lossy(bytes).into_owned()))
}
