//! The open journal, written by the keeper's thread alone.

use std::fs;
use std::os::unix::fs::MetadataExt;
use std::path::Path;
use std::path::PathBuf;

use rusqlite::Connection;
use rusqlite::OptionalExtension;
use rusqlite::Transaction;
use rusqlite::TransactionBehavior;
use rusqlite::params;

use crate::journal::AlertEntry;
use crate::journal::Begin;
use crate::journal::Entry;
use crate::journal::Health;
use crate::journal::Judges;
use crate::journal::Minute;
use crate::journal::WordEntry;
use crate::journal::open;
use crate::journal::open::OpenError;
use crate::journal::open::Opened;
use crate::journal::schema;
use crate::view::Stamp;

/// So many minutes are kept: 400 days of watching. Of the health of the sources as many for each of four.
pub const MINUTES: i64 = 400 * 24 * 60;
/// So many changes of alerts, and so many words, are kept: years of a boat that has any peace.
pub const CHANGES: i64 = 100_000;

/// How many rows of a table are kept.
const KEPT: [(&str, i64); 5] =
    [("alerts", CHANGES), ("words", CHANGES), ("judging", CHANGES), ("minutes", MINUTES), ("sources", 4 * MINUTES)];
/// What is too old is taken out at the beginning of a watch and after so many entries: about a week.
const THIN_EVERY: i64 = 30_000;
/// A date that is wrong by more than this is mended backwards; less is a drifting clock or a machine that slept.
const WRONG_DATE_MS: i64 = 86_400_000;

/// An entry and its place in the watch.
pub(super) type Numbered = (i64, Entry);

/// The open journal.
pub(super) struct Store {
    connection: Connection,
    begin: Begin,
    /// Tells this watch from every other in whichever file it is written to.
    token: i64,
    /// UTC at the start of the watch, once it is known.
    base_utc_ms: Option<i64>,
    /// Device and number of the file: a file that was taken away can be written for ever, and nobody reads it.
    file: Option<(u64, u64)>,
    thinned: Option<i64>,
    kept: [(&'static str, i64); KEPT.len()],
}

impl Store {
    /// Opens the journal at `path` for a watch; says where a damaged one was moved to.
    pub(super) fn open(
        path: &Path,
        begin: Begin,
        token: i64,
        base_utc_ms: Option<i64>,
    ) -> Result<(Self, Option<PathBuf>), OpenError> {
        let Opened { connection, moved } = open::open(path)?;
        let file = number_of(path);
        Ok((Self { connection, begin, token, base_utc_ms, file, thinned: None, kept: KEPT }, moved))
    }

    /// Writes a batch wholly or not at all; when it returns the batch is on the disk. A batch that is
    /// written again, because nobody knows what became of it, changes nothing.
    pub(super) fn write(&mut self, batch: &[Numbered]) -> rusqlite::Result<()> {
        let mut base = self.base_utc_ms;
        let transaction = self.connection.transaction_with_behavior(TransactionBehavior::Immediate)?;
        let watch = watch_of(&transaction, &self.begin, self.token, base)?;
        for (seq, entry) in batch {
            match entry {
                Entry::Alert(alert) => write_alert(&transaction, watch, *seq, alert)?,
                Entry::Word(word) => write_word(&transaction, watch, *seq, word)?,
                Entry::Minute(minute) => write_minute(&transaction, watch, *seq, minute)?,
                Entry::Health(health) => write_health(&transaction, watch, *seq, health)?,
                Entry::Judges(judges) => write_judges(&transaction, watch, *seq, judges)?,
                Entry::Utc(stamp) => {
                    if let Some(known) = base_of(*stamp) {
                        stamp_again(&transaction, watch, known, base)?;
                        base = Some(known);
                    }
                }
                Entry::End(end) => {
                    transaction.execute(
                        "UPDATE watches SET ended_ms = ?2, ending = ?3 WHERE id = ?1",
                        params![watch, ms(end.at), end.how],
                    )?;
                }
            }
        }
        let last = batch.last().map_or(0, |(seq, _)| *seq);
        let thin = self.thinned.is_none_or(|thinned| last >= thinned + THIN_EVERY);
        if thin {
            for (table, rows) in self.kept {
                keep_newest(&transaction, table, rows)?;
            }
        }
        transaction.commit()?;
        self.base_utc_ms = base;
        if thin {
            self.thinned = Some(last);
        }
        Ok(())
    }

    /// Whether the file that is open is still the one at `path`.
    pub(super) fn is_still_at(&self, path: &Path) -> bool {
        self.file.is_some() && self.file == number_of(path)
    }

    /// UTC at the start of the watch, once it is known.
    pub(super) fn base_utc_ms(&self) -> Option<i64> {
        self.base_utc_ms
    }

    #[cfg(test)]
    pub(super) fn connection(&self) -> &Connection {
        &self.connection
    }

    #[cfg(test)]
    pub(super) fn keep(&mut self, rows: i64) {
        self.kept.iter_mut().for_each(|kept| kept.1 = rows);
        self.thinned = None;
    }
}

fn number_of(path: &Path) -> Option<(u64, u64)> {
    fs::metadata(path).ok().map(|about| (about.dev(), about.ino()))
}

fn ms(at: Stamp) -> i64 {
    i64::try_from(at.since_start_ms).unwrap_or(i64::MAX)
}

fn base_of(at: Stamp) -> Option<i64> {
    at.utc_ms.and_then(|utc| utc.checked_sub(ms(at)))
}

/// The row of this watch: found, or made.
fn watch_of(t: &Transaction<'_>, begin: &Begin, token: i64, base: Option<i64>) -> rusqlite::Result<i64> {
    let found = t.query_row("SELECT id FROM watches WHERE token = ?1", [token], |row| row.get(0)).optional()?;
    if let Some(id) = found {
        return Ok(id);
    }
    let settings = serde_json::Value::Object(
        begin.settings.iter().map(|(name, text)| (name.clone(), serde_json::Value::from(text.as_str()))).collect(),
    );
    t.execute(
        "INSERT INTO watches (token, began_utc_ms, version, boat, replayed, limit_mdeg, settings) \
         VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)",
        params![token, base, begin.version, begin.boat, begin.replayed, begin.limit_mdeg, settings.to_string()],
    )?;
    let id = t.last_insert_rowid();
    if let Some(card) = &begin.card {
        let [a, b, c, d, e] = card.coefficients;
        t.execute(
            "INSERT INTO cards VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10)",
            params![id, card.file, card.digest, card.sensor, card.date, a, b, c, d, e],
        )?;
    }
    Ok(id)
}

fn write_alert(t: &Transaction<'_>, watch: i64, seq: i64, alert: &AlertEntry) -> rusqlite::Result<()> {
    let AlertEntry { at, alert, instance, occurrence, priority, state, escalated, repeated, follows, text, values } =
        alert;
    t.execute(
        "INSERT OR IGNORE INTO alerts VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, ?14)",
        params![
            watch,
            seq,
            ms(*at),
            at.utc_ms,
            alert,
            instance,
            occurrence,
            priority,
            state,
            escalated,
            repeated,
            follows,
            text,
            values
        ],
    )?;
    Ok(())
}

fn write_word(t: &Transaction<'_>, watch: i64, seq: i64, word: &WordEntry) -> rusqlite::Result<()> {
    let WordEntry { at, who, what, obeyed, text } = word;
    t.execute(
        "INSERT OR IGNORE INTO words VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8)",
        params![watch, seq, ms(*at), at.utc_ms, who, what, obeyed, text],
    )?;
    Ok(())
}

fn write_minute(t: &Transaction<'_>, watch: i64, seq: i64, m: &Minute) -> rusqlite::Result<()> {
    t.execute(
        "INSERT OR IGNORE INTO minutes VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, ?14, ?15, \
         ?16, ?17, ?18, ?19, ?20, ?21, ?22, ?23)",
        params![
            watch,
            seq,
            ms(m.at),
            m.at.utc_ms,
            m.samples,
            m.headings,
            m.heading_mdeg,
            m.heading_ref,
            m.true_mdeg,
            m.yaw_mdeg,
            m.order_mdeg,
            m.order_ref,
            m.steering,
            m.offs,
            m.off_mdeg,
            m.off_rms_mdeg,
            m.within,
            m.course_mdeg,
            m.speed_mkn,
            m.rudder_mdeg,
            m.travel_mdeg,
            m.position_e7.map(|p| p.0),
            m.position_e7.map(|p| p.1)
        ],
    )?;
    Ok(())
}

fn write_health(t: &Transaction<'_>, watch: i64, seq: i64, health: &Health) -> rusqlite::Result<()> {
    let Health { at, source, sentences, refused, bytes, gaps, silent_ms } = health;
    t.execute(
        "INSERT OR IGNORE INTO sources VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10)",
        params![watch, seq, ms(*at), at.utc_ms, source, sentences, refused, bytes, gaps, silent_ms],
    )?;
    Ok(())
}

fn write_judges(t: &Transaction<'_>, watch: i64, seq: i64, judges: &Judges) -> rusqlite::Result<()> {
    let Judges { at, alert, why } = judges;
    t.execute(
        "INSERT OR IGNORE INTO judging VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
        params![watch, seq, ms(*at), at.utc_ms, alert, why],
    )?;
    Ok(())
}

/// UTC at the start of this watch is `base`: stamps what had no stamp, and mends what had a wrong date.
fn stamp_again(t: &Transaction<'_>, watch: i64, base: i64, before: Option<i64>) -> rusqlite::Result<()> {
    let wrong = before.is_some_and(|before| before.abs_diff(base) > WRONG_DATE_MS.unsigned_abs());
    for table in schema::TIMED {
        t.execute(
            &format!(
                "UPDATE {table} SET at_utc_ms = since_start_ms + ?2 WHERE watch = ?1 AND (at_utc_ms IS NULL OR \
                 (?3 AND abs(at_utc_ms - since_start_ms - ?2) > ?4))"
            ),
            params![watch, base, wrong, WRONG_DATE_MS],
        )?;
    }
    t.execute(
        "UPDATE watches SET began_utc_ms = ?2 WHERE id = ?1 AND (began_utc_ms IS NULL OR ?3)",
        params![watch, base, wrong],
    )?;
    Ok(())
}

/// Takes out all but the newest `rows` of a table: by count, because a date can be wrong.
fn keep_newest(t: &Transaction<'_>, table: &str, rows: i64) -> rusqlite::Result<()> {
    let oldest: Option<(i64, i64)> = t
        .query_row(
            &format!("SELECT watch, seq FROM {table} ORDER BY watch DESC, seq DESC LIMIT 1 OFFSET ?1"),
            [rows],
            |row| Ok((row.get(0)?, row.get(1)?)),
        )
        .optional()?;
    if let Some((watch, seq)) = oldest {
        t.execute(&format!("DELETE FROM {table} WHERE (watch, seq) <= (?1, ?2)"), [watch, seq])?;
    }
    Ok(())
}
