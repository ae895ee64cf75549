//! The keeper: a thread that writes the journal, and the queue that the watch speaks to it through.
//!
//! ```text
//!            ok                     fails: the batch stays in hand
//!   writing ----> writing   writing ----------------------------> failing
//!                           failing --after 30 s, or at the end--> writing
//! ```
//! A watch that is live never waits: where there is no room a snapshot is dropped and counted. Changes
//! of alerts and words wait for as long as it takes; only when thousands of them wait, which takes days
//! of a broken disk, the oldest go, counted, and the journal says so when it can be written again.

use std::collections::VecDeque;
use std::path::Path;
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::Condvar;
use std::sync::Mutex;
use std::sync::MutexGuard;
use std::sync::PoisonError;
use std::sync::atomic::AtomicBool;
use std::sync::atomic::Ordering;
use std::time::Duration;

use crate::journal::Begin;
use crate::journal::End;
use crate::journal::Entry;
use crate::journal::WordEntry;
use crate::journal::open;
use crate::journal::store::Numbered;
use crate::journal::store::Store;
use crate::view::Stamp;

/// Whether the watch may be held up.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Patience {
    /// Never: the watch is live.
    Never,
    /// While the disk writes: a log that is replayed has time, and its minutes come by the thousand.
    WhileItWrites,
}

/// The journal failed, or is written again.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Report {
    /// Whether it works now.
    pub works: bool,
    /// Why not, with the remedy; or what was lost meanwhile.
    pub why: String,
}

/// The journal of one watch.
pub struct Journal {
    shared: Arc<Shared>,
    patience: Patience,
}

#[derive(Default)]
struct Shared {
    state: Mutex<State>,
    /// Something came, or it is over.
    news: Condvar,
    /// Something was written, or the thread is done.
    written: Condvar,
    /// A report waits: looked at in every round of the watch, so it costs no lock.
    has_report: AtomicBool,
}

#[derive(Default)]
struct State {
    queue: VecDeque<Numbered>,
    /// How many of the queue may be dropped.
    snapshots: usize,
    seq: i64,
    last: Stamp,
    lost_snapshots: u64,
    lost_changes: u64,
    /// The first try is over, whatever came of it.
    tried: bool,
    failing: bool,
    closed: bool,
    done: bool,
    reports: VecDeque<Report>,
}

/// Most minutes and the like that wait: two hours of four sources.
const MOST_SNAPSHOTS: usize = 600;
/// Most changes and words that wait, some 2 MB: a day and a half of an alert that comes and goes each minute.
const MOST_CHANGES: usize = 4096;
/// So many are written at once.
const BATCH: usize = 256;
/// A journal that failed is tried again after this.
const RETRY: Duration = Duration::from_secs(30);
/// The end of a watch waits so long for the last of it to be written.
const LAST: Duration = Duration::from_secs(5);

impl Journal {
    /// Begins the journal of a watch at `path`. It always succeeds; whatever is wrong is a [`Report`]. A log
    /// that is replayed waits for the first try, so that a failure is told at its beginning.
    pub fn begin(path: PathBuf, begin: Begin, patience: Patience) -> Self {
        let shared = Arc::new(Shared::default());
        let theirs = Arc::clone(&shared);
        let thread = std::thread::Builder::new().name("journal".into()).spawn(move || {
            let mut keeper = Keeper { shared: &theirs, path: &path, begin, token: token(), base: None, store: None };
            keeper.run();
            // The file is closed, and its log worked off, before anybody is told that it is done.
            drop(keeper);
            theirs.lock().done = true;
            theirs.written.notify_all();
        });
        if let Err(error) = thread {
            let mut state = shared.lock();
            state.done = true;
            shared.fails(&mut state, format!("the system gives it no thread: {error}"));
        }
        if patience == Patience::WhileItWrites {
            let waited = shared.written.wait_while(shared.lock(), |state| !state.tried && !state.done);
            drop(waited);
        }
        Self { shared, patience }
    }

    /// Keeps an entry. Never blocks on the disk, but as [`Patience`] allows.
    pub fn keep(&self, entry: Entry) {
        let mut state = self.shared.lock();
        let snapshot = entry.is_snapshot();
        if snapshot && self.patience == Patience::WhileItWrites {
            let full = |state: &mut State| state.snapshots >= MOST_SNAPSHOTS && !state.failing && !state.done;
            state = self.shared.written.wait_while(state, full).unwrap_or_else(PoisonError::into_inner);
        }
        if snapshot && state.snapshots >= MOST_SNAPSHOTS {
            state.lost_snapshots += 1;
            return;
        }
        if !snapshot && state.queue.len() - state.snapshots >= MOST_CHANGES {
            state.drop_oldest_change();
        }
        if let Entry::Alert(alert) = &entry {
            state.last = alert.at;
        }
        if let Entry::Minute(minute) = &entry {
            state.last = minute.at;
        }
        state.push(entry);
        drop(state);
        self.shared.news.notify_one();
    }

    /// The oldest report that nobody has taken yet.
    pub fn report(&self) -> Option<Report> {
        if !self.shared.has_report.load(Ordering::Relaxed) {
            return None;
        }
        let mut state = self.shared.lock();
        let report = state.reports.pop_front();
        self.shared.has_report.store(!state.reports.is_empty(), Ordering::Relaxed);
        report
    }

    /// The watch has ended: everything that waits is written if the disk takes it within seconds.
    pub fn end(&self, end: End) {
        self.keep(Entry::End(end));
        self.close();
    }

    fn close(&self) {
        let mut state = self.shared.lock();
        if state.closed {
            return;
        }
        state.closed = true;
        self.shared.news.notify_one();
        let waited = self.shared.written.wait_timeout_while(state, LAST, |state| !state.done);
        drop(waited);
    }
}

impl Drop for Journal {
    /// A watch that broke off has no end, but what it told is kept.
    fn drop(&mut self) {
        self.close();
    }
}

impl Shared {
    fn lock(&self) -> MutexGuard<'_, State> {
        // Nothing that holds the lock can fail half-way.
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn tell(&self, state: &mut State, works: bool, why: String) {
        state.reports.push_back(Report { works, why });
        self.has_report.store(true, Ordering::Relaxed);
    }

    fn fails(&self, state: &mut State, why: String) {
        if !state.failing {
            state.failing = true;
            self.tell(state, false, why);
        }
        self.written.notify_all();
    }
}

impl State {
    fn push(&mut self, entry: Entry) {
        self.seq += 1;
        self.snapshots += usize::from(entry.is_snapshot());
        self.queue.push_back((self.seq, entry));
    }

    /// The end of a watch and its time are never dropped, and what only repeats goes first.
    fn drop_oldest_change(&mut self) {
        let change = |entry: &Entry| matches!(entry, Entry::Alert(_) | Entry::Word(_) | Entry::Judges(_));
        let repeated = |entry: &Entry| matches!(entry, Entry::Alert(alert) if alert.repeated);
        let at = self.queue.iter().position(|(_, entry)| repeated(entry));
        let at = at.or_else(|| self.queue.iter().position(|(_, entry)| change(entry)));
        if at.and_then(|at| self.queue.remove(at)).is_some() {
            self.lost_changes += 1;
        }
    }

    /// What could not be kept, as an entry that says so.
    fn losses(&mut self) -> Option<String> {
        let (snapshots, changes) = (std::mem::take(&mut self.lost_snapshots), std::mem::take(&mut self.lost_changes));
        if snapshots + changes == 0 {
            return None;
        }
        let text = format!(
            "not kept, because the journal could not be written: {snapshots} minutes and reports of sources, {changes} \
             changes of alerts and words"
        );
        let word = WordEntry { at: self.last, who: "watch".into(), what: "lost".into(), obeyed: None, text };
        let said = word.text.clone();
        self.push(Entry::Word(word));
        Some(said)
    }
}

struct Keeper<'a> {
    shared: &'a Shared,
    path: &'a Path,
    begin: Begin,
    token: i64,
    base: Option<i64>,
    store: Option<Store>,
}

impl Keeper<'_> {
    fn run(&mut self) {
        let mut hand: Vec<Numbered> = Vec::new();
        loop {
            let outcome = self.write(&hand);
            let mut state = self.shared.lock();
            state.tried = true;
            match outcome {
                Ok(()) => {
                    hand.clear();
                    let losses = state.losses();
                    if state.failing {
                        state.failing = false;
                        let why = losses.unwrap_or_else(|| "nothing was lost".into());
                        self.shared.tell(&mut state, true, why);
                    }
                    self.shared.written.notify_all();
                    state = self.wait(state, |state| state.queue.is_empty() && !state.closed, None);
                    if state.queue.is_empty() && state.closed {
                        return;
                    }
                }
                Err(why) => {
                    self.shared.fails(&mut state, why);
                    // One more try when the watch ends, and then it is given up.
                    if state.closed {
                        return;
                    }
                    state = self.wait(state, |state| !state.closed, Some(RETRY));
                }
            }
            let room = BATCH.saturating_sub(hand.len()).min(state.queue.len());
            let from = hand.len();
            hand.extend(state.queue.drain(..room));
            state.snapshots -= hand[from..].iter().filter(|(_, entry)| entry.is_snapshot()).count();
        }
    }

    fn wait<'s>(
        &self,
        state: MutexGuard<'s, State>,
        mut idle: impl FnMut(&mut State) -> bool,
        most: Option<Duration>,
    ) -> MutexGuard<'s, State>
    where
        Self: 's,
    {
        match most {
            None => self.shared.news.wait_while(state, idle).unwrap_or_else(PoisonError::into_inner),
            Some(most) => {
                let waited = self.shared.news.wait_timeout_while(state, most, |state| idle(state));
                waited.unwrap_or_else(PoisonError::into_inner).0
            }
        }
    }

    /// Writes what is in hand; an error is in words, and the file is opened anew for the next try.
    fn write(&mut self, hand: &[Numbered]) -> Result<(), String> {
        // A file that turns out damaged under the pen is moved aside, and the batch goes into the new one.
        for _ in 0..3 {
            if self.store.is_none() {
                let (store, moved) = Store::open(self.path, self.begin.clone(), self.token, self.base)
                    .map_err(|error| error.to_string())?;
                self.store = Some(store);
                if let Some(moved) = moved {
                    self.moved(&moved);
                }
            }
            let Some(store) = &mut self.store else { break };
            if !store.is_still_at(self.path) {
                self.store = None;
                self.gone();
                continue;
            }
            match store.write(hand) {
                Ok(()) => {
                    self.base = store.base_utc_ms();
                    return Ok(());
                }
                Err(error) if !open::is_damage(&error) => {
                    // A full disk needs no second look at the whole file.
                    if !open::is_no_room(&error) {
                        self.store = None;
                    }
                    return Err(open::words_of(self.path, &error));
                }
                Err(error) => {
                    self.store = None;
                    let moved = open::move_aside(self.path, &error.to_string()).map_err(|error| error.to_string())?;
                    self.moved(&moved);
                }
            }
        }
        Err(format!("{} is damaged again as soon as it is made: the disk is failing", self.path.display()))
    }

    /// A damaged journal was put aside: said as a failure, and as mended once the new one is written.
    fn moved(&self, to: &Path) {
        self.begun_anew(format!(
            "{} was damaged and lies in {} now; a new journal is begun",
            self.path.display(),
            to.display()
        ));
    }

    /// Somebody took the file away; what was in it went with it.
    fn gone(&self) {
        self.begun_anew(format!(
            "{} was taken away or exchanged while the watch wrote to it; a new journal is begun",
            self.path.display()
        ));
    }

    fn begun_anew(&self, why: String) {
        let mut state = self.shared.lock();
        let last = state.last;
        state.push(Entry::Word(WordEntry {
            at: last,
            who: "watch".into(),
            what: "journal".into(),
            obeyed: None,
            text: why.clone(),
        }));
        state.failing = false;
        self.shared.fails(&mut state, why);
    }
}

/// A number that no other watch has.
fn token() -> i64 {
    let mut bytes = [0; 8];
    match getrandom::fill(&mut bytes) {
        Ok(()) => i64::from_ne_bytes(bytes),
        // A board without any chance left: the watch's own place in memory must do.
        Err(_) => i64::try_from(std::ptr::from_ref(&bytes) as usize).unwrap_or(0) ^ i64::from(std::process::id()),
    }
}
