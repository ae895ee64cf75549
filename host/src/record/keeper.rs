//! The recorder's own thread: from chunks of bytes to lines on disk.

use std::path::PathBuf;
use std::sync::Arc;
use std::sync::Mutex;
use std::sync::PoisonError;
use std::sync::atomic::AtomicUsize;
use std::sync::atomic::Ordering;
use std::sync::mpsc::Receiver;
use std::sync::mpsc::RecvTimeoutError;
use std::sync::mpsc::SyncSender;
use std::time::Duration;

use lubber_core::picture::SourceId;
use lubber_core::time::Instant;
use lubber_core::time::Span;

use super::file_layer::FileLayer;
use super::lines;
use super::lines::Lines;
use super::recorder::Report;
use super::recorder::Written;
use super::rotate::Rotation;
use super::stamps::Stamps;
use super::trouble::words;
use crate::clock::Clock;

/// How often everything is put on disk.
const SYNC_EVERY: Span = Span::from_s(1);
/// After so many syncs a file that could not be compressed is tried again.
const RETRY_PACKING: u32 = 60;
/// At the end the last file is compressed if that takes no longer than this; else at the next start.
const PACK_AT_END: Span = Span::from_s(5);
/// Bytes on their way to the thread.
pub(super) struct Chunk {
    pub(super) at: Instant,
    pub(super) utc_ms: Option<i64>,
    pub(super) source: usize,
    pub(super) bytes: Vec<u8>,
    /// The system's UTC less the monotonic time.
    pub(super) offset: i64,
    /// Whether bytes of this source were lost before it.
    pub(super) broken: bool,
}

/// What the thread owns.
pub(super) struct Keeper<F: FileLayer> {
    pub(super) folder: PathBuf,
    pub(super) rotation: Rotation<F>,
    pub(super) lines: [Lines; SourceId::MAX],
    pub(super) names: Vec<String>,
    pub(super) stamps: Option<Stamps>,
    pub(super) report: SyncSender<Report>,
    pub(super) written: Arc<Mutex<Written>>,
    pub(super) works: bool,
    pub(super) syncs: u32,
    pub(super) buffer: Vec<u8>,
}

impl<F: FileLayer> Keeper<F> {
    /// Keeps what comes until nobody sends any more, and puts the last of it on disk.
    pub(super) fn run(mut self, chunks: &Receiver<Chunk>, queued: &AtomicUsize) {
        let clock = Clock::start();
        let mut next_sync = clock.now() + SYNC_EVERY;
        let mut packs = true;
        loop {
            let until = if packs { Span::ZERO } else { next_sync.since(clock.now()) };
            match chunks.recv_timeout(Duration::from_millis(until.as_ms())) {
                Ok(chunk) => {
                    queued.fetch_sub(chunk.bytes.len(), Ordering::Relaxed);
                    self.chunk(&chunk);
                }
                Err(RecvTimeoutError::Timeout) => {}
                Err(RecvTimeoutError::Disconnected) => break,
            }
            if clock.now() >= next_sync {
                next_sync = clock.now() + SYNC_EVERY;
                self.lines(None, |lines, keep| lines.settle(keep));
                self.sync();
            }
            packs = self.rotation.step();
        }
        self.lines(None, |lines, keep| lines.finish(keep));
        self.sync();
        if self.rotation.close(None).is_ok() {
            let enough = clock.now() + PACK_AT_END;
            while self.rotation.step() && clock.now() < enough {}
        }
        self.tell_written();
    }

    fn chunk(&mut self, chunk: &Chunk) {
        let undated = self.rotation.last_undated();
        let stamps = self.stamps.get_or_insert_with(|| Stamps::new(chunk.offset, chunk.at, undated));
        if let Some(by) = chunk.utc_ms.and_then(|utc_ms| stamps.tell(chunk.at, utc_ms)) {
            self.rotation.moved(by);
        }
        if chunk.broken {
            self.lines(Some((chunk.source, chunk.at)), |lines, keep| lines.finish(keep));
        }
        self.lines(Some((chunk.source, chunk.at)), |lines, keep| lines.feed(&chunk.bytes, keep));
    }

    /// Does something to the lines of one source, or of all, and keeps those that are complete by it.
    fn lines(&mut self, of: Option<(usize, Instant)>, act: impl Fn(&mut Lines, &mut dyn FnMut(&[u8]))) {
        let Self { rotation, lines, names, stamps: Some(stamps), buffer, .. } = self else { return };
        let ms = match of {
            Some((_, at)) => stamps.stamp(at),
            None => stamps.last(),
        };
        for (place, (source, name)) in lines.iter_mut().zip(names.iter()).enumerate() {
            if of.is_some_and(|(source, _)| source != place) {
                continue;
            }
            act(source, &mut |line| {
                buffer.clear();
                lines::stamped(buffer, name, ms, line);
                rotation.line(ms, buffer);
            });
        }
    }

    fn sync(&mut self) {
        self.syncs += 1;
        if self.syncs.is_multiple_of(RETRY_PACKING) {
            self.rotation.retry();
        }
        let done = self.rotation.sync();
        let works = done.is_ok();
        if works != self.works {
            let lost = self.rotation.counts.lost;
            let why = match done {
                Err(error) => words(&error, &self.folder),
                Ok(()) if lost == 0 => "nothing was lost".to_owned(),
                Ok(()) => format!("{lost} lines were lost"),
            };
            self.written.lock().unwrap_or_else(PoisonError::into_inner).failures += u64::from(!works);
            // Where nobody takes the reports they are not waited for.
            let _ = self.report.try_send(Report { works, why });
            self.works = works;
        }
        self.tell_written();
    }

    fn tell_written(&self) {
        let counts = self.rotation.counts;
        let mut written = self.written.lock().unwrap_or_else(PoisonError::into_inner);
        *written = Written {
            lines: counts.lines,
            bytes: counts.bytes,
            lost_lines: counts.lost,
            lost_bytes: 0,
            files: counts.files,
            dropped: counts.dropped,
            torn: counts.torn,
            current: self.rotation.current(),
            works: self.works,
            failures: written.failures,
        };
    }
}
