//! A disk with a page cache, whose power can be cut.
//!
//! What a program sees is kept apart from what is on the platter. Bytes reach it by a sync, names by a sync of the folder.
//! At a cut each unsynced change of the folder is there or not, each by itself, and each block of unsynced bytes too: a
//! block that is missing before one that is there reads as zeros.

use std::collections::BTreeMap;
use std::io;
use std::io::ErrorKind;
use std::io::Read;
use std::sync::Arc;
use std::sync::Mutex;

use crate::record::file_layer::Entry;
use crate::record::file_layer::FileLayer;

const BLOCK: usize = 512;

#[derive(Clone, Debug, Default)]
struct Inode {
    seen: Vec<u8>,
    platter: Vec<u8>,
}

#[derive(Clone, Debug)]
enum Change {
    Add(String, usize),
    Remove(String),
    Rename(String, String, usize),
}

/// The disk; clones are the same one.
#[derive(Clone, Debug, Default)]
pub(super) struct Disk(Arc<Mutex<State>>);

#[derive(Clone, Debug, Default)]
struct State {
    inodes: Vec<Inode>,
    seen: BTreeMap<String, usize>,
    platter: BTreeMap<String, usize>,
    changes: Vec<Change>,
    /// So many writes, then there is no power.
    left: Option<u64>,
    writes: u64,
    /// Every write ends so, if at all.
    fails: Option<ErrorKind>,
    sync_fails: bool,
    lie: Option<Lie>,
    room: Option<u64>,
    gone: bool,
}

/// What a bad disk says that it did, and did not.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Lie {
    /// The sync of a file.
    Sync,
    /// The sync of the folder.
    Folder,
}

/// A small generator of chance: xorshift64*, from memory; only its spread matters here.
pub(super) struct Chance(pub(super) u64);

impl Chance {
    pub(super) fn below(&mut self, bound: u64) -> u64 {
        self.0 ^= self.0 >> 12;
        self.0 ^= self.0 << 25;
        self.0 ^= self.0 >> 27;
        (self.0.wrapping_mul(0x2545_F491_4F6C_DD1D) >> 33) % bound
    }
}

impl Disk {
    fn with<T>(&self, act: impl FnOnce(&mut State) -> T) -> T {
        act(&mut self.0.lock().unwrap())
    }

    /// The power goes after so many writes.
    pub(super) fn power_for(&self, writes: u64) {
        self.with(|state| state.left = Some(writes));
    }

    /// Writes so far.
    pub(super) fn writes(&self) -> u64 {
        self.with(|state| state.writes)
    }

    pub(super) fn fail(&self, kind: Option<ErrorKind>) {
        self.with(|state| state.fails = kind);
    }

    pub(super) fn lie(&self, lie: Option<Lie>) {
        self.with(|state| state.lie = lie);
    }

    pub(super) fn fail_syncs(&self, fail: bool) {
        self.with(|state| state.sync_fails = fail);
    }

    /// Room for so many bytes.
    pub(super) fn room(&self, room: Option<u64>) {
        self.with(|state| state.room = room);
    }

    /// The folder is taken away, or put back empty.
    pub(super) fn take_away(&self, gone: bool) {
        self.with(|state| {
            state.gone = gone;
            if gone {
                state.seen.clear();
            }
        });
    }

    /// The power is cut, and comes back.
    pub(super) fn cut_power(&self, chance: &mut Chance) {
        self.with(|state| {
            for change in std::mem::take(&mut state.changes) {
                if chance.below(2) == 0 {
                    continue;
                }
                match change {
                    Change::Add(name, inode) => {
                        state.platter.insert(name, inode);
                    }
                    Change::Remove(name) => {
                        state.platter.remove(&name);
                    }
                    Change::Rename(from, to, inode) => {
                        state.platter.remove(&from);
                        state.platter.insert(to, inode);
                    }
                }
            }
            for inode in &mut state.inodes {
                inode.seen = torn(inode, chance);
                inode.platter = inode.seen.clone();
            }
            state.seen = state.platter.clone();
            state.left = None;
        });
    }

    /// Every file as it is seen.
    pub(super) fn files(&self) -> BTreeMap<String, Vec<u8>> {
        self.with(|state| {
            state.seen.iter().map(|(name, inode)| (name.clone(), state.inodes[*inode].seen.clone())).collect()
        })
    }
}

/// What a cut leaves of a file.
fn torn(inode: &Inode, chance: &mut Chance) -> Vec<u8> {
    let Inode { seen, platter } = inode;
    if seen.len() <= platter.len() {
        // It was cut shorter, or nothing is unsynced.
        return if chance.below(2) == 0 { seen.clone() } else { platter.clone() };
    }
    let length = platter.len() + chance.below((seen.len() - platter.len()) as u64 + 1) as usize;
    let mut left = seen[..length].to_vec();
    match chance.below(4) {
        // In order, up to any byte; or nothing at all.
        0 => {}
        1 => left.truncate(platter.len()),
        // Its length is there and its blocks are not, or only some.
        worst => {
            for (at, byte) in left.iter_mut().enumerate().skip(platter.len()) {
                let block = at / BLOCK;
                if worst == 2 || (block.wrapping_mul(0x9E37) ^ length).is_multiple_of(3) {
                    *byte = 0;
                }
            }
        }
    }
    left
}

impl State {
    /// One write: refused when there is no power, or the disk fails.
    fn write(&mut self) -> io::Result<()> {
        if self.gone {
            return Err(ErrorKind::NotFound.into());
        }
        if let Some(kind) = self.fails {
            return Err(kind.into());
        }
        if let Some(left) = &mut self.left {
            *left = left.checked_sub(1).ok_or_else(|| io::Error::other("no power"))?;
        }
        self.writes += 1;
        Ok(())
    }

    fn used(&self) -> u64 {
        self.seen.values().map(|inode| self.inodes[*inode].seen.len() as u64).sum()
    }
}

impl FileLayer for Disk {
    type File = usize;

    fn list(&mut self) -> io::Result<Vec<Entry>> {
        self.with(|state| {
            if state.gone {
                return Err(ErrorKind::NotFound.into());
            }
            let entry = |(name, inode): (&String, &usize)| Entry {
                name: name.clone(),
                bytes: state.inodes[*inode].seen.len() as u64,
            };
            Ok(state.seen.iter().map(entry).collect())
        })
    }

    fn create(&mut self, name: &str) -> io::Result<usize> {
        self.with(|state| {
            state.write()?;
            if state.seen.contains_key(name) {
                return Err(ErrorKind::AlreadyExists.into());
            }
            let inode = state.inodes.len();
            state.inodes.push(Inode::default());
            state.seen.insert(name.to_owned(), inode);
            state.changes.push(Change::Add(name.to_owned(), inode));
            Ok(inode)
        })
    }

    fn append(&mut self, file: &mut usize, bytes: &[u8]) -> io::Result<usize> {
        self.with(|state| {
            if state.gone {
                state.inodes[*file].seen.extend_from_slice(bytes);
                return Ok(bytes.len());
            }
            // Without power in the midst of a write, a part of it was taken.
            let part = if state.left == Some(0) { bytes.len() / 2 } else { bytes.len() };
            let room = state.room.map_or(u64::MAX, |room| room.saturating_sub(state.used()));
            let part = part.min(usize::try_from(room).unwrap_or(usize::MAX));
            if state.fails.is_none() {
                state.inodes[*file].seen.extend_from_slice(&bytes[..part]);
            }
            state.write()?;
            if part == 0 { Err(ErrorKind::StorageFull.into()) } else { Ok(part) }
        })
    }

    fn sync(&mut self, file: &mut usize) -> io::Result<()> {
        self.with(|state| {
            state.write()?;
            if state.sync_fails {
                return Err(io::Error::other("the card does not answer"));
            }
            if state.lie != Some(Lie::Sync) {
                state.inodes[*file].platter = state.inodes[*file].seen.clone();
            }
            Ok(())
        })
    }

    fn cut(&mut self, file: &mut usize, length: u64) -> io::Result<()> {
        self.with(|state| {
            state.write()?;
            state.inodes[*file].seen.truncate(usize::try_from(length).unwrap());
            Ok(())
        })
    }

    fn is_there(&mut self, file: &usize) -> io::Result<bool> {
        Ok(self.with(|state| state.seen.values().any(|inode| inode == file)))
    }

    fn read(&mut self, name: &str) -> io::Result<Box<dyn Read + Send>> {
        self.with(|state| {
            let inode = state.seen.get(name).ok_or(ErrorKind::NotFound)?;
            Ok(Box::new(io::Cursor::new(state.inodes[*inode].seen.clone())) as Box<dyn Read + Send>)
        })
    }

    fn rename(&mut self, from: &str, to: &str) -> io::Result<()> {
        self.with(|state| {
            state.write()?;
            let inode = state.seen.remove(from).ok_or(ErrorKind::NotFound)?;
            state.seen.insert(to.to_owned(), inode);
            state.changes.push(Change::Rename(from.to_owned(), to.to_owned(), inode));
            Ok(())
        })
    }

    fn remove(&mut self, name: &str) -> io::Result<()> {
        self.with(|state| {
            state.write()?;
            state.seen.remove(name).ok_or(ErrorKind::NotFound)?;
            state.changes.push(Change::Remove(name.to_owned()));
            Ok(())
        })
    }

    fn sync_folder(&mut self) -> io::Result<()> {
        self.with(|state| {
            state.write()?;
            if state.lie != Some(Lie::Folder) {
                state.changes.clear();
                state.platter = state.seen.clone();
            }
            Ok(())
        })
    }

    fn free(&mut self) -> io::Result<u64> {
        self.with(|state| {
            if state.gone {
                return Err(ErrorKind::NotFound.into());
            }
            Ok(state.room.map_or(u64::MAX, |room| room.saturating_sub(state.used())))
        })
    }
}
