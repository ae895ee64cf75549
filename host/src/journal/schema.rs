//! The layout of the file, version by version. A version that was ever released is never changed: the
//! next one is a step that leads there.

use rusqlite::Connection;

/// The mark of this program's journals in the header of the file: `LbrJ`.
pub(super) const APPLICATION: i32 = i32::from_be_bytes(*b"LbrJ");

/// The steps: the first makes an empty file version 1, each other leads one version on.
const STEPS: [&str; 2] = [V1, V2];

/// The layout that is written now.
#[expect(clippy::cast_possible_truncation, clippy::cast_possible_wrap, reason = "a handful of steps")]
pub(super) const VERSION: i32 = STEPS.len() as i32;

/// A table of every journal since the first: found in a damaged file, it tells whose file that was.
pub(super) const LANDMARK: &[u8] = b"CREATE TABLE watches";

/// An entry is placed by (watch, seq); `since_start_ms` never falls with `seq`. `at_utc_ms` is null until
/// UTC is known.
const V1: &str = "
CREATE TABLE watches (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    token INTEGER NOT NULL UNIQUE,
    began_utc_ms INTEGER,
    ended_ms INTEGER,
    ending TEXT,
    version TEXT NOT NULL,
    boat TEXT,
    replayed INTEGER NOT NULL,
    limit_mdeg INTEGER NOT NULL,
    settings TEXT NOT NULL
) STRICT;
CREATE TABLE cards (
    watch INTEGER NOT NULL REFERENCES watches,
    file TEXT NOT NULL,
    digest TEXT,
    sensor TEXT,
    date TEXT,
    a_mdeg INTEGER, b_mdeg INTEGER, c_mdeg INTEGER, d_mdeg INTEGER, e_mdeg INTEGER,
    PRIMARY KEY (watch, file)
) STRICT, WITHOUT ROWID;
CREATE TABLE alerts (
    watch INTEGER NOT NULL REFERENCES watches,
    seq INTEGER NOT NULL,
    since_start_ms INTEGER NOT NULL,
    at_utc_ms INTEGER,
    alert TEXT NOT NULL,
    instance TEXT NOT NULL,
    occurrence INTEGER NOT NULL,
    priority TEXT NOT NULL,
    state TEXT NOT NULL,
    escalated INTEGER NOT NULL,
    repeated INTEGER NOT NULL,
    follows TEXT,
    text TEXT NOT NULL,
    seen TEXT NOT NULL,
    PRIMARY KEY (watch, seq)
) STRICT, WITHOUT ROWID;
CREATE TABLE words (
    watch INTEGER NOT NULL REFERENCES watches,
    seq INTEGER NOT NULL,
    since_start_ms INTEGER NOT NULL,
    at_utc_ms INTEGER,
    who TEXT NOT NULL,
    what TEXT NOT NULL,
    obeyed INTEGER,
    text TEXT NOT NULL,
    PRIMARY KEY (watch, seq)
) STRICT, WITHOUT ROWID;
CREATE TABLE minutes (
    watch INTEGER NOT NULL REFERENCES watches,
    seq INTEGER NOT NULL,
    since_start_ms INTEGER NOT NULL,
    at_utc_ms INTEGER,
    samples INTEGER NOT NULL,
    headings INTEGER NOT NULL,
    heading_mdeg INTEGER,
    heading_ref TEXT,
    true_mdeg INTEGER,
    yaw_mdeg INTEGER,
    order_mdeg INTEGER,
    order_ref TEXT,
    steering TEXT NOT NULL,
    offs INTEGER NOT NULL,
    off_mdeg INTEGER,
    off_rms_mdeg INTEGER,
    within INTEGER NOT NULL,
    course_mdeg INTEGER,
    speed_mkn INTEGER,
    rudder_mdeg INTEGER,
    travel_mdeg INTEGER,
    latitude_e7 INTEGER,
    longitude_e7 INTEGER,
    PRIMARY KEY (watch, seq)
) STRICT, WITHOUT ROWID;
CREATE TABLE sources (
    watch INTEGER NOT NULL REFERENCES watches,
    seq INTEGER NOT NULL,
    since_start_ms INTEGER NOT NULL,
    at_utc_ms INTEGER,
    source TEXT NOT NULL,
    sentences INTEGER NOT NULL,
    refused INTEGER NOT NULL,
    bytes INTEGER NOT NULL,
    gaps INTEGER NOT NULL,
    silent_ms INTEGER NOT NULL,
    PRIMARY KEY (watch, seq)
) STRICT, WITHOUT ROWID;
";

/// What could not be judged, and since when.
const V2: &str = "
CREATE TABLE judging (
    watch INTEGER NOT NULL REFERENCES watches,
    seq INTEGER NOT NULL,
    since_start_ms INTEGER NOT NULL,
    at_utc_ms INTEGER,
    alert TEXT NOT NULL,
    why TEXT,
    PRIMARY KEY (watch, seq)
) STRICT, WITHOUT ROWID;
";

/// The tables whose rows carry a time.
pub(super) const TIMED: [&str; 5] = ["alerts", "words", "minutes", "sources", "judging"];

/// Leads a file of version `from` (0 is an empty one) to [`VERSION`], wholly or not at all.
pub(super) fn migrate(connection: &mut Connection, from: i32) -> rusqlite::Result<()> {
    migrate_to(connection, from, VERSION)
}

/// As [`migrate`], to any version: what an older program made.
pub(super) fn migrate_to(connection: &mut Connection, from: i32, to: i32) -> rusqlite::Result<()> {
    let transaction = connection.transaction_with_behavior(rusqlite::TransactionBehavior::Immediate)?;
    for (step, version) in STEPS.iter().zip(1..) {
        if version > from && version <= to {
            transaction.execute_batch(step)?;
        }
    }
    transaction.pragma_update(None, "application_id", APPLICATION)?;
    transaction.pragma_update(None, "user_version", to)?;
    transaction.commit()
}
