//! A closed file is compressed, piece by piece between two lines that come in, and only then removed.
//!
//! ```text
//! X.nmea -> X.nmea.zst.tmp, synced -> renamed to X.nmea.zst -> folder synced -> X.nmea removed
//! ```
//! A cut of power at any point leaves X.nmea, or a whole X.nmea.zst, or both.

use std::collections::VecDeque;
use std::fmt;
use std::io;
use std::io::Read;
use std::io::Write;

use zstd::stream::write::Encoder;

use super::file_layer::FileLayer;
use super::lines;
use super::names::Form;
use super::names::Name;

/// So much is read and compressed at once: some milliseconds on a small board.
const PIECE: usize = 64 << 10;

/// Whoever reads it needs so much memory for the window: 2 to the 18th, 256 KiB; and the writer a few times that.
const WINDOW_LOG: u32 = 18;
/// Little to be won above it on such text, and much time to be lost.
const LEVEL: i32 = 3;

/// A file that is to be compressed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Job {
    pub(super) name: Name,
    pub(super) form: Form,
    /// By how much its stamps are moved, milliseconds; `None` with [`Form::ToSet`]: until the first is that of its name.
    pub(super) by: Option<i64>,
    /// Only so much of it counts.
    pub(super) up_to: u64,
}

/// What a step came to.
#[derive(Debug, PartialEq, Eq)]
pub(super) enum Step {
    /// There is nothing to do.
    Idle,
    /// There is more to do.
    Busy,
    /// A file is compressed: so many bytes now, and so many torn lines were left out.
    Done { job: Job, bytes: u64, torn: u64 },
}

/// Compresses one file after another.
pub(super) struct Packer<F: FileLayer> {
    jobs: VecDeque<Job>,
    /// What failed, and waits to be tried again.
    failed: Vec<Job>,
    at_work: Option<Work<F>>,
}

struct Work<F: FileLayer> {
    job: Job,
    input: io::Take<Box<dyn Read + Send>>,
    block: Vec<u8>,
    whole: WholeLines,
    to: F::File,
    encoder: Encoder<'static, Vec<u8>>,
    bytes: u64,
}

impl<F: FileLayer> Packer<F> {
    pub(super) const fn new() -> Self {
        Self { jobs: VecDeque::new(), failed: Vec::new(), at_work: None }
    }

    pub(super) fn push(&mut self, job: Job) {
        self.jobs.push_back(job);
    }

    /// Tries again what failed.
    pub(super) fn retry(&mut self) {
        self.jobs.extend(self.failed.drain(..));
    }

    /// Whether there is anything to do now.
    pub(super) fn is_idle(&self) -> bool {
        self.at_work.is_none() && self.jobs.is_empty()
    }

    /// What is being compressed now must not be dropped.
    pub(super) fn holds(&self, name: Name) -> bool {
        self.at_work.as_ref().is_some_and(|work| work.job.name == name)
    }

    /// The file is gone.
    pub(super) fn forget(&mut self, name: Name) {
        self.jobs.retain(|job| job.name != name);
        self.failed.retain(|job| job.name != name);
    }

    /// Does a little. A file that cannot be compressed now stays as it is and is tried again after
    /// [`Self::retry`]; nothing of it is lost.
    pub(super) fn step(&mut self, layer: &mut F) -> Step {
        let Some(mut work) = self.at_work.take() else {
            let Some(job) = self.jobs.pop_front() else { return Step::Idle };
            match Work::begin(layer, job) {
                Ok(work) => self.at_work = Some(work),
                Err(_) => self.give_up(layer, job),
            }
            return Step::Busy;
        };
        let job = work.job;
        match work.go_on(layer) {
            Ok(true) => {
                self.at_work = Some(work);
                Step::Busy
            }
            Ok(false) => match work.finish(layer) {
                Ok((bytes, torn)) => Step::Done { job, bytes, torn },
                Err(_) => {
                    self.give_up(layer, job);
                    Step::Busy
                }
            },
            Err(_) => {
                self.give_up(layer, job);
                Step::Busy
            }
        }
    }

    fn give_up(&mut self, layer: &mut F, job: Job) {
        // Whatever is left of it is taken away at the next try or the next start.
        let _ = layer.remove(&job.name.file(Form::Temporary));
        self.failed.push(job);
    }
}

impl<F: FileLayer> fmt::Debug for Packer<F> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Packer").field("jobs", &self.jobs).field("failed", &self.failed).finish_non_exhaustive()
    }
}

impl<F: FileLayer> Work<F> {
    fn begin(layer: &mut F, job: Job) -> io::Result<Self> {
        let input = layer.read(&job.name.file(job.form))?.take(job.up_to);
        let temporary = job.name.file(Form::Temporary);
        let to = match layer.create(&temporary) {
            Err(error) if error.kind() == io::ErrorKind::AlreadyExists => {
                layer.remove(&temporary)?;
                layer.create(&temporary)?
            }
            created => created?,
        };
        let mut encoder = Encoder::new(Vec::new(), LEVEL)?;
        encoder.window_log(WINDOW_LOG)?;
        encoder.include_checksum(true)?;
        let set_to = (job.form == Form::ToSet && job.by.is_none()).then_some(job.name.second * 1000);
        let whole = WholeLines { by: job.by, set_to, ..WholeLines::default() };
        Ok(Self { job, input, block: vec![0; PIECE], whole, to, encoder, bytes: 0 })
    }

    /// Compresses a piece; false at the end of the file.
    fn go_on(&mut self, layer: &mut F) -> io::Result<bool> {
        let count = match self.input.read(&mut self.block) {
            Err(error) if error.kind() == io::ErrorKind::Interrupted => return Ok(true),
            read => read?,
        };
        let mut whole = Vec::new();
        self.whole.feed(&self.block[..count], &mut whole);
        self.encoder.write_all(&whole)?;
        self.hand_on(layer)?;
        Ok(count > 0)
    }

    fn hand_on(&mut self, layer: &mut F) -> io::Result<()> {
        let out = self.encoder.get_mut();
        append_all(layer, &mut self.to, out)?;
        self.bytes += out.len() as u64;
        out.clear();
        Ok(())
    }

    fn finish(mut self, layer: &mut F) -> io::Result<(u64, u64)> {
        self.encoder.do_finish()?;
        self.hand_on(layer)?;
        layer.sync(&mut self.to)?;
        let name = self.job.name;
        layer.rename(&name.file(Form::Temporary), &name.file(Form::Packed))?;
        layer.sync_folder()?;
        // If this fails the next start does it.
        let _ = layer.remove(&name.file(self.job.form));
        Ok((self.bytes, self.whole.torn + u64::from(!self.whole.line.is_empty() || self.whole.skips)))
    }
}

/// Appends all of `bytes`.
fn append_all<F: FileLayer>(layer: &mut F, file: &mut F::File, mut bytes: &[u8]) -> io::Result<()> {
    while !bytes.is_empty() {
        let written = layer.append(file, bytes)?;
        bytes = bytes.get(written.max(1)..).unwrap_or_default();
    }
    Ok(())
}

/// Lets whole lines through. A line that a cut of power has torn holds zero bytes, where the disk never got a block of
/// it, or has no end.
#[derive(Debug, Default)]
struct WholeLines {
    line: Vec<u8>,
    /// The line at hand is longer than any that is written: left out up to its end.
    skips: bool,
    torn: u64,
    by: Option<i64>,
    /// The stamp the first line is to have.
    set_to: Option<i64>,
}

/// Longer than any line that is written: the bytes of one and its TAG block.
const LONGEST: usize = 2 * lines::LONGEST;

impl WholeLines {
    fn feed(&mut self, bytes: &[u8], out: &mut Vec<u8>) {
        for part in bytes.split_inclusive(|byte| *byte == b'\n') {
            if self.skips || self.line.len() + part.len() > LONGEST {
                self.skips = true;
                self.line.clear();
            } else {
                self.line.extend_from_slice(part);
            }
            if part.last() != Some(&b'\n') {
                continue;
            }
            if std::mem::take(&mut self.skips) || self.line.contains(&0) {
                self.torn += 1;
            } else {
                if let (Some(to), Some(first)) = (self.set_to, lines::stamp_of(&self.line)) {
                    self.set_to = None;
                    self.by = Some(to - first);
                }
                lines::moved(out, &self.line, self.by.unwrap_or(0));
            }
            self.line.clear();
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_whole_lines_pass() {
        let hole = [&b"$A,1\n$B"[..], &[0; 5000], b",2\n$C\n\0\n", &[b'x'; 5000], b"\n$D\n$E"].concat();
        for cut in [1, 7, 512, hole.len()] {
            let (mut whole, mut out) = (WholeLines::default(), Vec::new());
            hole.chunks(cut).for_each(|part| whole.feed(part, &mut out));
            assert_eq!((out.as_slice(), whole.torn, whole.line.as_slice()), (&b"$A,1\n$C\n$D\n"[..], 3, &b"$E"[..]));
        }
    }

    #[test]
    fn stamps_are_set_to_a_name() {
        let mut recorded = Vec::new();
        recorded.extend_from_slice(b"noise\n");
        lines::stamped(&mut recorded, "a", 5_300, b"$A\n");
        lines::stamped(&mut recorded, "a", 6_000, b"$B\n");
        let (mut whole, mut out) = (WholeLines { set_to: Some(9_000), ..WholeLines::default() }, Vec::new());
        whole.feed(&recorded, &mut out);
        let stamps: Vec<_> = out.split_inclusive(|byte| *byte == b'\n').map(lines::stamp_of).collect();
        assert_eq!(stamps, [None, Some(9_000), Some(9_700)]);
    }
}
