//! Which file a line goes to, what is dropped when there is no more room, and what happens when the disk fails.
//!
//! Lines since the last good sync are kept in memory until the next one: whatever fails, they are written again.

use std::collections::BTreeMap;
use std::io;
use std::io::ErrorKind;

use super::file_layer::FileLayer;
use super::names::Form;
use super::names::Name;
use super::pack::Job;
use super::pack::Packer;
use super::pack::Step;
use super::stamps::CLOCKS_FROM_MS;
use super::trouble::BelowFloor;

/// How much may be written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Limits {
    /// A file is closed before it is longer, bytes.
    pub size: u64,
    /// Of all files together; the oldest are dropped, bytes.
    pub keep: u64,
    /// So much of the disk stays free, bytes.
    pub floor: u64,
}

impl Default for Limits {
    /// 64 MB a file: half a day of a full 38 400 baud line (3.8 kB/s and as much again for the stamps). 2 GB in all:
    /// that is a month of it, compressed. 200 MB free: a system that finds no room is no use to anybody.
    fn default() -> Self {
        Self { size: 64_000_000, keep: 2_000_000_000, floor: 200_000_000 }
    }
}

/// What became of the lines.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct Counts {
    /// On disk.
    pub(super) lines: u64,
    /// Their bytes, stamps included.
    pub(super) bytes: u64,
    /// That found no room in memory while the disk did not work.
    pub(super) lost: u64,
    /// Files begun.
    pub(super) files: u64,
    /// Old files dropped.
    pub(super) dropped: u64,
    /// Lines that a cut of power had torn, left out.
    pub(super) torn: u64,
}

/// Lines that wait for the disk, at the most: at 38 400 baud some two minutes.
const PENDING: usize = 1 << 20;

/// As much is written without waiting for the next sync.
const BLOCK: usize = 32 << 10;

const DAY_MS: i64 = 86_400_000;

/// The folder being recorded in.
pub(super) struct Rotation<F: FileLayer> {
    pub(super) layer: F,
    limits: Limits,
    open: Option<Open<F::File>>,
    /// The lines since the last good sync.
    pending: Vec<u8>,
    pending_lines: u64,
    /// The stamp of the first of them.
    first_ms: i64,
    /// The files that are closed, and their lengths.
    closed: BTreeMap<(Name, Form), u64>,
    packer: Packer<F>,
    fails: bool,
    pub(super) counts: Counts,
}

struct Open<T> {
    file: T,
    name: Name,
    day: i64,
    /// Bytes that are on disk.
    synced: u64,
    /// Of the pending lines so many bytes are appended.
    appended: usize,
    /// Whether its name is on disk.
    entered: bool,
    /// Whether a sync failed: what it left out is never made up for by a later one.
    doubtful: bool,
}

impl<F: FileLayer> Rotation<F> {
    /// Opens the folder and tidies what a cut of power, or a kill, has left: what was not closed is compressed, with
    /// every torn line left out.
    pub(super) fn open(mut layer: F, limits: Limits) -> io::Result<Self> {
        let mut closed = BTreeMap::new();
        let mut temporary = Vec::new();
        for entry in layer.list()? {
            match Name::parse(&entry.name) {
                Some((_, Form::Temporary)) => temporary.push(entry.name),
                Some(known) => {
                    closed.insert(known, entry.bytes);
                }
                None => {}
            }
        }
        for name in temporary {
            layer.remove(&name)?;
        }
        let mut packer = Packer::new();
        let found: Vec<_> = closed.iter().map(|(known, bytes)| (*known, *bytes)).collect();
        for ((name, form), bytes) in found {
            match form {
                Form::Packed | Form::Temporary => {}
                // It was compressed, synced and renamed; only the removal is missing.
                _ if bytes == 0 || closed.contains_key(&(name, Form::Packed)) => {
                    layer.remove(&name.file(form))?;
                    closed.remove(&(name, form));
                }
                _ => packer.push(Job { name, form, by: None, up_to: bytes }),
            }
        }
        Ok(Self {
            layer,
            limits,
            open: None,
            pending: Vec::new(),
            pending_lines: 0,
            first_ms: 0,
            closed,
            packer,
            fails: false,
            counts: Counts::default(),
        })
    }

    /// The latest second of the files without a date.
    pub(super) fn last_undated(&self) -> Option<i64> {
        self.closed.keys().map(|(name, _)| name.second).rfind(|second| *second < CLOCKS_FROM_MS / 1000)
    }

    /// The file being written.
    pub(super) fn current(&self) -> Option<String> {
        self.open.as_ref().map(|open| open.name.file(Form::Plain))
    }

    /// Takes a line, its stamp in it. Nothing is on disk before [`Self::sync`] says so.
    pub(super) fn line(&mut self, ms: i64, line: &[u8]) {
        let ends = self.open.as_ref().is_some_and(|open| {
            let length = open.synced + (self.pending.len() + line.len()) as u64;
            length > self.limits.size || ms.div_euclid(DAY_MS) != open.day
        });
        // What cannot be closed now goes on in the same file: better too long than lost.
        if ends && !self.fails && self.close(None).is_err() {
            self.fails = true;
        }
        if self.pending.len() + line.len() > PENDING {
            self.counts.lost += 1;
            return;
        }
        if self.pending.is_empty() {
            self.first_ms = ms;
        }
        self.pending.extend_from_slice(line);
        self.pending_lines += 1;
        if self.pending.len() >= PENDING / 2 && !self.fails {
            // So much comes at once only from a log.
            let _ = self.sync();
            return;
        }
        let appended = self.open.as_ref().map_or(0, |open| open.appended);
        if self.pending.len() - appended >= BLOCK && !self.fails {
            self.fails = self.append().map_err(|error| self.failed(&error)).is_err();
        }
    }

    /// Puts every line on disk. When it returns well all of them are there, whatever happens then.
    pub(super) fn sync(&mut self) -> io::Result<()> {
        let done = self.try_sync();
        if let Err(error) = &done {
            self.failed(error);
        }
        self.fails = done.is_err();
        done
    }

    /// What was stamped until now was early by `by`: the file is closed, and set right while it is compressed.
    pub(super) fn moved(&mut self, by: i64) {
        // If it cannot be closed the stamps jump in it, which a replay knows to take.
        let _ = self.close(Some(by));
    }

    /// Closes the file; it is compressed by [`Self::step`].
    pub(super) fn close(&mut self, by: Option<i64>) -> io::Result<()> {
        if self.open.is_none() && self.pending.is_empty() {
            return Ok(());
        }
        self.sync()?;
        let Some(open) = self.open.take() else { return Ok(()) };
        let (mut name, mut form) = (open.name, Form::Plain);
        if let Some(by) = by {
            let set = self.unused(Name::at((name.second * 1000).saturating_add(by)));
            // As long as its stamps are not those of its name, its name says so.
            if self.layer.rename(&name.file(Form::Plain), &set.file(Form::ToSet)).is_ok() {
                (name, form) = (set, Form::ToSet);
                // If this fails, the old name comes back with a cut of power, and the stamps stay as they are.
                let _ = self.layer.sync_folder();
            }
        }
        self.closed.insert((name, form), open.synced);
        let by = by.filter(|_| form == Form::ToSet);
        self.packer.push(Job { name, form, by, up_to: open.synced });
        Ok(())
    }

    /// Compresses a little; whether there is more to do.
    pub(super) fn step(&mut self) -> bool {
        if !self.packer.is_idle()
            && self.limits.floor > 0
            && self.layer.free().is_ok_and(|free| free < self.limits.floor)
        {
            // A compressed file beside the plain one needs more room for a while.
            return false;
        }
        match self.packer.step(&mut self.layer) {
            Step::Idle => false,
            Step::Busy => true,
            Step::Done { job, bytes, torn } => {
                self.closed.remove(&(job.name, job.form));
                self.closed.insert((job.name, Form::Packed), bytes);
                self.counts.torn += torn;
                !self.packer.is_idle()
            }
        }
    }

    /// Tries again to compress what failed.
    pub(super) fn retry(&mut self) {
        self.packer.retry();
    }

    fn try_sync(&mut self) -> io::Result<()> {
        if let Some(open) = &self.open
            && !self.layer.is_there(&open.file)?
        {
            return Err(ErrorKind::NotFound.into());
        }
        if self.pending.is_empty() {
            // Nothing to write; but whoever was told that it does not work wants to know whether it does.
            return if self.fails { self.layer.list().map(|_| ()) } else { Ok(()) };
        }
        self.append()?;
        let Some(open) = &mut self.open else { return Ok(()) };
        open.doubtful = true;
        self.layer.sync(&mut open.file)?;
        if !open.entered {
            self.layer.sync_folder()?;
            open.entered = true;
            self.counts.files += 1;
        }
        open.doubtful = false;
        open.synced += self.pending.len() as u64;
        open.appended = 0;
        self.counts.bytes += self.pending.len() as u64;
        self.counts.lines += std::mem::take(&mut self.pending_lines);
        self.pending.clear();
        Ok(())
    }

    /// Appends what is pending to the file, a new one if none is open.
    fn append(&mut self) -> io::Result<()> {
        self.make_room()?;
        let open = match &mut self.open {
            Some(open) => open,
            None => {
                let open = self.create()?;
                self.open.insert(open)
            }
        };
        while let Some(rest @ [_, ..]) = self.pending.get(open.appended..) {
            match self.layer.append(&mut open.file, rest) {
                Ok(count) => open.appended += count.max(1),
                Err(error) if error.kind() == ErrorKind::Interrupted => {}
                Err(error) => return Err(error),
            }
        }
        Ok(())
    }

    fn create(&mut self) -> io::Result<Open<F::File>> {
        let mut name = self.unused(Name::at(self.first_ms));
        let file = loop {
            match self.layer.create(&name.file(Form::Plain)) {
                Err(error) if error.kind() == ErrorKind::AlreadyExists => name = self.unused(name.next()),
                created => break created?,
            }
        };
        let day = self.first_ms.div_euclid(DAY_MS);
        Ok(Open { file, name, day, synced: 0, appended: 0, entered: false, doubtful: false })
    }

    /// The first name from `name` on that no file has.
    fn unused(&self, mut name: Name) -> Name {
        let taken = |name: Name| {
            [Form::Plain, Form::ToSet, Form::Packed].iter().any(|form| self.closed.contains_key(&(name, *form)))
        };
        while taken(name) {
            name = name.next();
        }
        name
    }

    /// Drops the oldest files until all are within the limits.
    fn make_room(&mut self) -> io::Result<()> {
        let open = self.open.as_ref().map_or(0, |open| open.synced);
        let needed = self.pending.len() as u64;
        while open + needed + self.closed.values().sum::<u64>() > self.limits.keep && self.drop_oldest()? {}
        let floor = self.limits.floor;
        loop {
            let free = self.layer.free()?;
            if free >= floor.saturating_add(needed) || floor == 0 {
                return Ok(());
            }
            if !self.drop_oldest()? {
                return Err(io::Error::new(ErrorKind::StorageFull, BelowFloor { free, floor }));
            }
        }
    }

    /// Drops the oldest closed file; whether there was one.
    fn drop_oldest(&mut self) -> io::Result<bool> {
        let oldest = self.closed.keys().copied().find(|(name, _)| !self.packer.holds(*name));
        let Some((name, form)) = oldest else { return Ok(false) };
        match self.layer.remove(&name.file(form)) {
            Err(error) if error.kind() != ErrorKind::NotFound => return Err(error),
            _ => {}
        }
        self.packer.forget(name);
        self.closed.remove(&(name, form));
        self.counts.dropped += 1;
        Ok(true)
    }

    /// Something failed. A file on a full disk goes on when there is room. Of any other it is not known what of the
    /// unsynced part is there: it ends where it was synced, and the pending lines go to a new one.
    fn failed(&mut self, error: &io::Error) {
        let full = matches!(error.kind(), ErrorKind::StorageFull | ErrorKind::QuotaExceeded | ErrorKind::WriteZero);
        let Some(mut open) = self.open.take_if(|open| !full || open.doubtful) else { return };
        if open.synced == 0 {
            let _ = self.layer.remove(&open.name.file(Form::Plain));
            return;
        }
        if error.kind() == ErrorKind::NotFound {
            return;
        }
        let _ = self.layer.cut(&mut open.file, open.synced);
        self.closed.insert((open.name, Form::Plain), open.synced);
        self.packer.push(Job { name: open.name, form: Form::Plain, by: None, up_to: open.synced });
    }
}
