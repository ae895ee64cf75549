//! Real files and real faults.

use std::fs;
use std::path::Path;
use std::path::PathBuf;

use rusqlite::Connection;

use super::keeper::Journal;
use super::keeper::Patience;
use super::keeper::Report;
use super::open;
use super::open::OpenError;
use super::schema;
use super::store::Store;
use super::*;
use crate::view::Stamp;

/// A folder of its own for each test, taken away with it.
struct Folder(PathBuf);

impl Folder {
    fn new(name: &str) -> Self {
        let path = std::env::temp_dir().join(format!("lubber-journal-{}-{name}", std::process::id()));
        let _ = fs::remove_dir_all(&path);
        fs::create_dir_all(&path).expect("a temporary folder");
        Self(path)
    }

    fn file(&self) -> PathBuf {
        self.0.join("journal.sqlite")
    }

    fn names(&self) -> Vec<String> {
        let entries = fs::read_dir(&self.0).expect("the folder").map(|entry| entry.expect("an entry"));
        let mut names: Vec<String> = entries.map(|entry| entry.file_name().to_string_lossy().into_owned()).collect();
        names.sort();
        names
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        let _ = fs::remove_dir_all(&self.0);
    }
}

const BASE: i64 = 1_783_993_800_000;

fn at(s: u64) -> Stamp {
    Stamp { utc_ms: None, since_start_ms: s * 1000 }
}

fn known(s: u64) -> Stamp {
    Stamp { utc_ms: Some(BASE + i64::try_from(s).expect("small") * 1000), since_start_ms: s * 1000 }
}

fn alert(n: u64) -> Entry {
    Entry::Alert(AlertEntry {
        at: at(n),
        alert: "off-heading".into(),
        instance: "HCHDG".into(),
        occurrence: u32::try_from(n).expect("small"),
        priority: "alarm".into(),
        state: "active-unacknowledged".into(),
        text: format!("alert {n}"),
        values: "{}".into(),
        ..AlertEntry::default()
    })
}

fn minute(n: u64) -> Entry {
    Entry::Minute(Minute { at: at(n), samples: 60, steering: "hand".into(), ..Minute::default() })
}

fn begin() -> Begin {
    let card =
        CardUsed { file: "card.toml".into(), coefficients: [Some(1200), None, None, None, None], ..Default::default() };
    Begin {
        version: "test".into(),
        boat: Some("Curlew".into()),
        limit_mdeg: 15_000,
        card: Some(card),
        ..Begin::default()
    }
}

fn store(path: &Path, token: i64) -> Result<(Store, Option<PathBuf>), OpenError> {
    Store::open(path, begin(), token, None)
}

fn numbered(entries: impl IntoIterator<Item = Entry>) -> Vec<(i64, Entry)> {
    (1..).zip(entries).collect()
}

/// What the alerts of every watch say.
fn said(path: &Path) -> Vec<String> {
    let reader = Reader::open(path).expect("it can be read");
    let watches = reader.watches().expect("watches");
    watches.iter().flat_map(|w| reader.alerts(w.number).expect("alerts")).map(|alert| alert.text).collect()
}

/// Writes `count` alerts by a whole journal with its thread, and says what it reported.
fn by_thread(path: &Path, count: u64) -> Vec<Report> {
    let journal = Journal::begin(path.to_owned(), begin(), Patience::WhileItWrites);
    (1..=count).for_each(|n| journal.keep(alert(n)));
    journal.end(End { at: at(count + 1), how: "inputs-ended".into() });
    std::iter::from_fn(|| journal.report()).collect()
}

fn texts(count: u64) -> Vec<String> {
    (1..=count).map(|n| format!("alert {n}")).collect()
}

#[test]
fn what_is_written_is_read_back() {
    let folder = Folder::new("back");
    let minute = Minute {
        at: known(60),
        samples: 60,
        headings: 59,
        heading_mdeg: Some(152_100),
        heading_ref: Some("C".into()),
        off_mdeg: Some(-2_000),
        steering: "heading".into(),
        position_e7: Some((360_000_000, -180_000_000)),
        ..Minute::default()
    };
    let health = Health { at: known(60), source: "pilot".into(), sentences: 120, silent_ms: 900, ..Health::default() };
    let word = WordEntry {
        at: known(61),
        who: "owner".into(),
        what: "order".into(),
        obeyed: Some(true),
        text: "135 C".into(),
    };
    let judges = Judges { at: known(62), alert: "off-heading".into(), why: Some("no order".into()) };
    let (mut store, _) = store(&folder.file(), 7).expect("a new journal");
    let entries = [
        Entry::Minute(minute.clone()),
        Entry::Health(health.clone()),
        Entry::Word(word.clone()),
        Entry::Judges(judges.clone()),
        Entry::End(End { at: known(63), how: "interrupted".into() }),
    ];
    store.write(&numbered(entries)).expect("written");
    // Also while the writer has it open.
    let reader = Reader::open(&folder.file()).expect("it can be read");
    let watches = reader.watches().expect("watches");
    assert_eq!(watches.len(), 1);
    assert_eq!((watches[0].lasted_ms, watches[0].ending.as_deref()), (63_000, Some("interrupted")));
    assert_eq!((watches[0].boat.as_deref(), watches[0].limit_mdeg), (Some("Curlew"), 15_000));
    assert_eq!(reader.minutes(1).expect("minutes"), [minute]);
    assert_eq!(reader.health(1).expect("health"), [health]);
    assert_eq!(reader.words(1).expect("words"), [word]);
    assert_eq!(reader.judging(1).expect("judging"), Some(vec![judges]));
    assert_eq!(reader.cards(1).expect("cards")[0].coefficients[0], Some(1200));
}

#[test]
fn a_batch_that_is_written_again_changes_nothing() {
    let folder = Folder::new("again");
    let (mut store, _) = store(&folder.file(), 7).expect("a new journal");
    let batch = numbered([alert(1), alert(2)]);
    store.write(&batch).expect("written");
    store.write(&batch).expect("written again");
    assert_eq!(said(&folder.file()), texts(2));
    // The same watch after the file was opened anew goes on in its own row.
    drop(store);
    let (mut store, _) = self::store(&folder.file(), 7).expect("opened again");
    store.write(&[(3, alert(3))]).expect("written");
    assert_eq!(said(&folder.file()), texts(3));
    assert_eq!(Reader::open(&folder.file()).expect("read").watches().expect("watches").len(), 1);
}

#[test]
fn time_that_is_known_late_stamps_what_was_before() {
    let folder = Folder::new("utc");
    let (mut store, _) = store(&folder.file(), 7).expect("a new journal");
    store.write(&numbered([alert(1), minute(2), Entry::Utc(known(5)), alert(6)])).expect("written");
    let utc = |path: &Path| {
        let reader = Reader::open(path).expect("read");
        let alerts = reader.alerts(1).expect("alerts");
        (reader.watches().expect("watches")[0].began_utc_ms, alerts.iter().map(|a| a.at.utc_ms).collect::<Vec<_>>())
    };
    // The one after was given no time of its own and waits for the next.
    assert_eq!(utc(&folder.file()), (Some(BASE), vec![Some(BASE + 1000), None]));
    store.write(&[(5, Entry::Utc(known(7)))]).expect("written");
    assert_eq!(utc(&folder.file()), (Some(BASE), vec![Some(BASE + 1000), Some(BASE + 6000)]));
    // An hour more is a machine that slept, a year more a date that was wrong.
    let later = |ms: i64| Stamp { utc_ms: Some(BASE + ms + 8000), since_start_ms: 8000 };
    store.write(&[(6, Entry::Utc(later(3_600_000)))]).expect("written");
    assert_eq!(utc(&folder.file()).1[0], Some(BASE + 1000));
    let year = 365 * 86_400_000;
    store.write(&[(7, Entry::Utc(later(year)))]).expect("written");
    assert_eq!(utc(&folder.file()), (Some(BASE + year), vec![Some(BASE + year + 1000), Some(BASE + year + 6000)]));
}

#[test]
fn only_the_newest_are_kept() {
    let folder = Folder::new("thin");
    let (mut store, _) = store(&folder.file(), 7).expect("a new journal");
    store.write(&numbered((1..=50).map(alert))).expect("written");
    store.keep(10);
    store.write(&[(51, alert(51))]).expect("written");
    assert_eq!(said(&folder.file()), (42..=51).map(|n| format!("alert {n}")).collect::<Vec<_>>());
}

#[test]
fn a_full_disk_loses_nothing_once_there_is_room() {
    let folder = Folder::new("full");
    let (mut store, _) = store(&folder.file(), 7).expect("a new journal");
    store.write(&[(1, alert(1))]).expect("there is room");
    let pages: i64 = store.connection().pragma_query_value(None, "page_count", |row| row.get(0)).expect("pages");
    store.connection().pragma_update(None, "max_page_count", pages).expect("set");
    let batch: Vec<_> = (2..=2000).map(|n| (i64::try_from(n).expect("small"), alert(n))).collect();
    let error = store.write(&batch).expect_err("there is no room");
    assert!(open::is_no_room(&error) && !open::is_damage(&error), "{error:?}");
    assert!(open::words_of(&folder.file(), &error).contains("is full; free some room"), "{error}");
    assert_eq!(said(&folder.file()), texts(1), "wholly or not at all");
    store.connection().pragma_update(None, "max_page_count", 1_000_000).expect("set");
    store.write(&batch).expect("there is room again");
    assert_eq!(said(&folder.file()), texts(2000));
}

#[test]
fn a_missing_folder_and_a_folder_in_its_place_are_reported() {
    let folder = Folder::new("missing");
    let reports = by_thread(&folder.0.join("nowhere/journal.sqlite"), 3);
    assert!(!reports[0].works && reports[0].why.contains("is not there; make it (mkdir -p)"), "{reports:?}");
    let reports = by_thread(&folder.0, 3);
    assert!(!reports[0].works && reports[0].why.contains("is no plain file"), "{reports:?}");
    assert_eq!(folder.names(), [""; 0]);
}

#[test]
fn what_is_not_ours_is_left_as_it_is() {
    let folder = Folder::new("foreign");
    let text = folder.0.join("boat.toml");
    fs::write(&text, "[boat]\nname = \"Curlew\"\n").expect("written");
    let other = folder.0.join("other.db");
    let connection = Connection::open(&other).expect("a database");
    connection.execute_batch("CREATE TABLE theirs (a); INSERT INTO theirs VALUES (1)").expect("made");
    drop(connection);
    let large = folder.0.join("large.db");
    let connection = Connection::open(&large).expect("a database");
    connection.execute_batch("CREATE TABLE theirs (a); CREATE TABLE more (a); PRAGMA user_version = 1").expect("made");
    drop(connection);
    for path in [text, other, large] {
        let before = fs::read(&path).expect("read");
        let reports = by_thread(&path, 3);
        assert!(!reports[0].works && reports[0].why.contains("is no journal of lubber and was left"), "{reports:?}");
        assert_eq!(fs::read(&path).expect("read"), before, "{}", path.display());
    }
    assert_eq!(folder.names(), ["boat.toml", "large.db", "other.db"]);
}

#[test]
fn an_older_layout_is_migrated_and_a_newer_one_refused() {
    let folder = Folder::new("layouts");
    let path = folder.file();
    let mut connection = Connection::open(&path).expect("a database");
    schema::migrate_to(&mut connection, 0, 1).expect("the first layout");
    connection
        .execute_batch(
            "INSERT INTO watches (token, version, replayed, limit_mdeg, settings) VALUES (1, 'first', 0, 15000, '{}');
             INSERT INTO alerts VALUES (1, 1, 1000, NULL, 'off-heading', 'HCHDG', 1, 'alarm', 'active-unacknowledged',
             0, 0, NULL, 'alert 1', '{}');",
        )
        .expect("what the first program wrote");
    drop(connection);
    // Whoever only reads does not change it.
    let reader = Reader::open(&path).expect("the first layout is read");
    assert_eq!(reader.judging(1).expect("not kept then"), None);
    assert_eq!(reader.watches().expect("watches")[0].lasted_ms, 1000);
    drop(reader);
    let (mut store, moved) = store(&path, 7).expect("migrated");
    assert_eq!(moved, None);
    store.write(&[(1, alert(2)), (2, Entry::Judges(Judges::default()))]).expect("written");
    assert_eq!(said(&path), texts(2));
    store.connection().pragma_update(None, "user_version", schema::VERSION + 1).expect("set");
    drop(store);
    let reports = by_thread(&path, 3);
    assert!(!reports[0].works && reports[0].why.contains("written by a newer lubber"), "{reports:?}");
    assert!(reports[0].why.contains("install the newer lubber again"), "{reports:?}");
    let error = Reader::open(&path).err().expect("refused").to_string();
    assert!(error.contains("written by a newer lubber"), "{error}");
    assert_eq!(folder.names(), ["journal.sqlite"], "left as it is");
}

#[test]
fn a_journal_taken_away_while_it_is_written_is_begun_anew_and_said() {
    let folder = Folder::new("gone");
    let path = folder.file();
    let journal = Journal::begin(path.clone(), begin(), Patience::WhileItWrites);
    fs::rename(&path, folder.0.join("elsewhere")).expect("taken away");
    (1..=3).for_each(|n| journal.keep(alert(n)));
    journal.end(End { at: at(4), how: "inputs-ended".into() });
    let reports: Vec<Report> = std::iter::from_fn(|| journal.report()).collect();
    assert!(!reports[0].works && reports[0].why.contains("was taken away"), "{reports:?}");
    assert_eq!(reports.last().map(|report| report.works), Some(true), "{reports:?}");
    assert_eq!(said(&path), texts(3));
}

/// A small generator of our own: the same faults on every machine.
struct Chance(u64);

impl Chance {
    fn below(&mut self, n: usize) -> usize {
        // The 64-bit linear congruential generator of Knuth's MMIX; the constants from memory.
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        usize::try_from(self.0 >> 33).expect("31 bits") % n
    }
}

#[test]
fn bytes_turned_at_many_places_never_stop_a_watch() {
    let folder = Folder::new("turned");
    let path = folder.file();
    assert_eq!(by_thread(&path, 300), []);
    let sound = fs::read(&path).expect("read");
    let mut chance = Chance(7);
    let (mut moved, mut kept, mut refused) = (0, 0, 0);
    for round in 0..120 {
        fs::read_dir(&folder.0).expect("the folder").for_each(|entry| {
            let _ = fs::remove_file(entry.expect("an entry").path());
        });
        let mut bytes = sound.clone();
        for _ in 0..=round % 40 {
            // The first hundred bytes are the header: every other fault strikes there or in the first page.
            let among = if round % 2 == 0 { bytes.len() } else { 4096 };
            let place = chance.below(among);
            bytes[place] ^= u8::try_from(1 + chance.below(255)).expect("a byte");
        }
        if round % 7 == 0 {
            bytes.truncate(chance.below(bytes.len()));
        }
        fs::write(&path, &bytes).expect("written");
        // Reading says what is wrong, or reads.
        if let Ok(reader) = Reader::open(&path) {
            for watch in reader.watches().unwrap_or_default() {
                let _ = (reader.alerts(watch.number), reader.words(watch.number), reader.minutes(watch.number));
                let _ = (reader.health(watch.number), reader.judging(watch.number), reader.cards(watch.number));
            }
        }
        let reports = by_thread(&path, 5);
        let names = folder.names();
        if names.iter().any(|name| name.contains(".damaged-")) {
            moved += 1;
            assert!(reports.iter().any(|r| !r.works && r.why.contains("was damaged and lies in")), "{reports:?}");
            assert_eq!(said(&path), texts(5), "the new one has it all");
            let aside = folder.0.join("journal.sqlite.damaged-1");
            assert_eq!(fs::read(aside).expect("never deleted").len(), bytes.len());
        } else if reports.iter().any(|report| !report.works) {
            // Turned into what looks like a newer version, or like nothing of ours: left, and said.
            refused += 1;
            assert!(reports[0].why.contains("left as it is"), "{reports:?}");
        } else {
            kept += 1;
            assert!(said(&path).ends_with(&texts(5)), "round {round}");
        }
    }
    assert!(moved > 60, "{moved} moved, {kept} kept, {refused} refused");
}

#[test]
fn a_log_torn_at_any_byte_keeps_what_was_committed_before() {
    let folder = Folder::new("torn");
    let path = folder.file();
    let log = folder.0.join("journal.sqlite-wal");
    let (mut store, _) = store(&path, 7).expect("a new journal");
    store.connection().pragma_update(None, "wal_autocheckpoint", 0).expect("set");
    // After each commit: how long the log was.
    let mut lengths = Vec::new();
    for n in 1..=40 {
        store.write(&[(i64::try_from(n).expect("small"), alert(n))]).expect("written");
        lengths.push(fs::metadata(&log).expect("the log").len());
    }
    let (file, whole) = (fs::read(&path).expect("read"), fs::read(&log).expect("read"));
    drop(store);
    let torn = Folder::new("torn-copy");
    let mut chance = Chance(3);
    for round in 0..150 {
        let length = match round {
            0 => 0,
            1 => whole.len(),
            _ => chance.below(whole.len() + 1),
        };
        for name in torn.names() {
            fs::remove_file(torn.0.join(name)).expect("taken away");
        }
        fs::write(torn.file(), &file).expect("written");
        let mut cut = whole[..length].to_vec();
        if round % 3 == 2 {
            // What was not synced may come as anything.
            cut.extend(std::iter::repeat_with(|| u8::try_from(chance.below(256)).expect("a byte")).take(4500));
        }
        fs::write(torn.0.join("journal.sqlite-wal"), cut).expect("written");
        let committed = lengths.iter().filter(|end| usize::try_from(**end).expect("small") <= length).count();
        let reports = by_thread(&torn.file(), 2);
        assert_eq!(reports, [], "torn at {length}");
        let mut expected = texts(u64::try_from(committed).expect("small"));
        expected.extend(texts(2));
        assert_eq!(said(&torn.file()), expected, "torn at {length}");
    }
}

#[test]
fn a_file_cut_off_while_it_was_made_is_made_anew() {
    let folder = Folder::new("begun");
    let path = folder.file();
    // Nothing but a first page without a table; zeros; a length of nothing.
    Connection::open(&path).and_then(|c| c.execute_batch("PRAGMA journal_mode = wal")).expect("begun");
    assert_eq!(by_thread(&path, 2), []);
    assert_eq!(said(&path), texts(2));
    fs::write(&path, []).expect("written");
    assert_eq!(by_thread(&path, 3), []);
    assert_eq!(said(&path), texts(3));
    fs::write(&path, [0; 9000]).expect("written");
    assert!(!by_thread(&path, 4)[0].works);
    assert_eq!(said(&path), texts(4));
    assert!(folder.names().contains(&"journal.sqlite.damaged-1".to_owned()), "{:?}", folder.names());
}
