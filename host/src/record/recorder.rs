//! The recorder as the watch knows it: a bounded queue of bytes before the thread that keeps them.

use std::path::PathBuf;
use std::sync::Arc;
use std::sync::Mutex;
use std::sync::PoisonError;
use std::sync::atomic::AtomicUsize;
use std::sync::atomic::Ordering;
use std::sync::mpsc::Receiver;
use std::sync::mpsc::SyncSender;
use std::sync::mpsc::TrySendError;
use std::sync::mpsc::sync_channel;
use std::time::Duration;

use lubber_core::picture::SourceId;
use lubber_core::time::Instant;

use super::file_layer::Folder;
use super::keeper::Chunk;
use super::keeper::Keeper;
use super::lines;
use super::lines::Lines;
use super::rotate::Limits;
use super::rotate::Rotation;
use super::trouble::RecordError;
use super::trouble::words;
use crate::clock::Clock;

/// What is recorded, and where to.
#[derive(Clone, Debug)]
pub struct Settings {
    /// The folder; made if only itself is missing.
    pub folder: PathBuf,
    /// How much may be written.
    pub limits: Limits,
    /// What the sources are called, in their order.
    pub sources: Vec<String>,
    /// What time it is until a date is told.
    pub times: Times,
}

/// What time it is until a date is told.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Times {
    /// The system's.
    Live,
    /// Zero is 1970-01-01: a log that knows its date tells it with its first bytes.
    Log,
}

/// The recorder failed, or works again.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Report {
    /// Whether it works now.
    pub works: bool,
    /// Why not, with the remedy; or what was lost meanwhile.
    pub why: String,
}

/// What was written so far.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Written {
    /// Lines on disk.
    pub lines: u64,
    /// Their bytes, stamps included, before they are compressed.
    pub bytes: u64,
    /// Lines that found no room in memory while the disk did not work.
    pub lost_lines: u64,
    /// Bytes from the sources that the recorder's thread came too late for.
    pub lost_bytes: u64,
    /// Files begun.
    pub files: u64,
    /// Old files dropped to stay within the limits.
    pub dropped: u64,
    /// Lines torn by an earlier cut of power, left out.
    pub torn: u64,
    /// The file being written.
    pub current: Option<String>,
    /// Whether it works now.
    pub works: bool,
    /// How often it ceased to work.
    pub failures: u64,
}

/// Bytes that may wait for the thread: at 38 400 baud some four minutes.
const QUEUE_BYTES: usize = 1 << 20;
/// Chunks that may wait for it.
const QUEUE: usize = 4096;
/// Reports that may wait to be taken; of more the newest are left out, and the state stands in [`Written`].
const REPORTS: usize = 64;

/// A disk that hangs does not keep the program from ending.
const END_WITHIN: Duration = Duration::from_secs(15);

/// A recorder at work; dropping it ends it.
#[derive(Debug)]
pub struct Recorder {
    to: Option<SyncSender<Chunk>>,
    queued: Arc<AtomicUsize>,
    reports: Receiver<Report>,
    ended: Receiver<()>,
    written: Arc<Mutex<Written>>,
    times: Times,
    offset: Option<i64>,
    /// Sources of which bytes were lost since the last chunk.
    broken: [bool; SourceId::MAX],
    /// Bytes that found no room.
    lost: u64,
    /// Of them so many are reported.
    lost_told: u64,
    /// Whether it is reported that the thread does not keep up.
    behind: bool,
}

impl Recorder {
    /// Opens the folder and starts the thread.
    ///
    /// # Errors
    /// [`RecordError`] where the folder cannot be made, read or written, or another recorder has it.
    pub fn start(settings: &Settings) -> Result<Self, RecordError> {
        let folder = &settings.folder;
        let failed = |why| RecordError { folder: folder.clone(), why };
        let layer = Folder::open(folder).map_err(|error| failed(words(&error, folder)))?;
        let rotation = Rotation::open(layer, settings.limits).map_err(|error| failed(words(&error, folder)))?;
        let (to, chunks) = sync_channel(QUEUE);
        let (report, reports) = sync_channel(REPORTS);
        let (end, ended) = sync_channel(1);
        let written = Arc::new(Mutex::new(Written { works: true, ..Written::default() }));
        let queued = Arc::new(AtomicUsize::new(0));
        let keeper = Keeper {
            folder: folder.clone(),
            rotation,
            lines: std::array::from_fn(|_| Lines::default()),
            names: lines::tag_names(&settings.sources),
            stamps: None,
            report,
            written: Arc::clone(&written),
            works: true,
            syncs: 0,
            buffer: Vec::new(),
        };
        let taken = Arc::clone(&queued);
        let thread = move || {
            keeper.run(&chunks, &taken);
            // Nobody may wait for it any more.
            let _ = end.try_send(());
        };
        std::thread::Builder::new()
            .name("recorder".to_owned())
            .spawn(thread)
            .map_err(|error| failed(format!("the system gave no thread for it: {error}")))?;
        Ok(Self {
            to: Some(to),
            queued,
            reports,
            ended,
            written,
            times: settings.times,
            offset: None,
            broken: [false; SourceId::MAX],
            lost: 0,
            lost_told: 0,
            behind: false,
        })
    }

    /// Takes bytes that came in at `at`, with the UTC of that moment where it is known. Never waits: what finds no
    /// room is counted and reported.
    pub fn take(&mut self, at: Instant, utc_ms: Option<i64>, source: SourceId, bytes: &[u8]) {
        let full = self.queued.load(Ordering::Relaxed) + bytes.len() > QUEUE_BYTES;
        let chunk = self.chunk(at, utc_ms, source, bytes);
        let sent = match &self.to {
            Some(to) if !full => to.try_send(chunk).is_ok(),
            _ => false,
        };
        self.settle(sent, source, bytes.len());
    }

    /// As [`Self::take`], but waits for room, up to `patience`: for whoever has nothing else to do.
    pub fn take_waiting(
        &mut self,
        at: Instant,
        utc_ms: Option<i64>,
        source: SourceId,
        bytes: &[u8],
        patience: Duration,
    ) {
        let mut chunk = self.chunk(at, utc_ms, source, bytes);
        let begun = Clock::start();
        let sent = loop {
            let Some(to) = &self.to else { break false };
            let full = self.queued.load(Ordering::Relaxed) > QUEUE_BYTES;
            match if full { Err(TrySendError::Full(chunk)) } else { to.try_send(chunk) } {
                Ok(()) => break true,
                Err(TrySendError::Full(back)) if Duration::from_millis(begun.now().as_ms()) < patience => chunk = back,
                Err(_) => break false,
            }
            // Room is made every few microseconds, unless the disk is slow.
            std::thread::park_timeout(Duration::from_millis(1));
        };
        self.settle(sent, source, bytes.len());
    }

    /// The next report, if there is one.
    pub fn report(&mut self) -> Option<Report> {
        if self.lost > self.lost_told && !self.behind {
            self.behind = true;
            let why = "the disk does not keep up and lines are being lost; use a faster one".to_owned();
            return Some(Report { works: false, why });
        }
        if self.behind && self.queued.load(Ordering::Relaxed) < QUEUE_BYTES / 2 {
            self.behind = false;
            let lost = self.lost - std::mem::replace(&mut self.lost_told, self.lost);
            return Some(Report { works: self.written().works, why: format!("{lost} bytes were lost") });
        }
        self.reports.try_recv().ok()
    }

    /// What was written so far.
    pub fn written(&self) -> Written {
        let written = self.written.lock().unwrap_or_else(PoisonError::into_inner).clone();
        Written { lost_bytes: self.lost, ..written }
    }

    /// Puts everything on disk and ends; waits for that, but not for a disk that hangs.
    ///
    /// # Errors
    /// Why what was last taken may not be on disk.
    pub fn end(mut self) -> Result<Written, String> {
        self.to = None;
        let in_time = self.ended.recv_timeout(END_WITHIN).is_ok();
        let written = self.written();
        match () {
            () if !in_time => Err(format!("the disk did not answer within {} s", END_WITHIN.as_secs())),
            () if !written.works => {
                let last = self.reports.try_iter().filter(|report| !report.works).last();
                Err(last.map_or_else(|| "the disk does not work".to_owned(), |report| report.why))
            }
            () => Ok(written),
        }
    }

    fn chunk(&mut self, at: Instant, utc_ms: Option<i64>, source: SourceId, bytes: &[u8]) -> Chunk {
        let offset = *self.offset.get_or_insert_with(|| match self.times {
            Times::Live => {
                Clock::utc().timestamp_millis().saturating_sub(i64::try_from(at.as_ms()).unwrap_or(i64::MAX))
            }
            Times::Log => 0,
        });
        let broken = self.broken.get(source.index()).copied().unwrap_or(false);
        Chunk { at, utc_ms, source: source.index(), bytes: bytes.to_vec(), offset, broken }
    }

    fn settle(&mut self, sent: bool, source: SourceId, bytes: usize) {
        if let Some(broken) = self.broken.get_mut(source.index()) {
            *broken = !sent;
        }
        if sent {
            self.queued.fetch_add(bytes, Ordering::Relaxed);
        } else {
            self.lost += bytes as u64;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A recorder whose thread does not come to its work: the other ends of its channels.
    fn stuck(room: usize) -> (Recorder, Receiver<Chunk>, SyncSender<Report>) {
        let (to, chunks) = sync_channel(room);
        let (report, reports) = sync_channel(REPORTS);
        let recorder = Recorder {
            to: Some(to),
            queued: Arc::default(),
            reports,
            ended: sync_channel(0).1,
            written: Arc::new(Mutex::new(Written { works: true, ..Written::default() })),
            times: Times::Log,
            offset: None,
            broken: [false; SourceId::MAX],
            lost: 0,
            lost_told: 0,
            behind: false,
        };
        (recorder, chunks, report)
    }

    #[test]
    fn what_a_disk_is_too_slow_for_is_counted_and_told_once() {
        let (mut recorder, chunks, _report) = stuck(2);
        let take = |recorder: &mut Recorder, bytes: &[u8]| {
            recorder.take(Instant::from_ms(5), None, SourceId(0), bytes);
        };
        take(&mut recorder, b"$A");
        take(&mut recorder, b",1\r\n");
        assert_eq!(recorder.report(), None);
        take(&mut recorder, b"$LOST");
        take(&mut recorder, b",2\r\n");
        let told = recorder.report().unwrap();
        assert!(!told.works && told.why.contains("does not keep up"), "{told:?}");
        // The thread comes to its work again.
        let first = chunks.recv().unwrap();
        assert!(!first.broken && first.offset == 0);
        assert!(!chunks.recv().unwrap().broken);
        let again = recorder.report().unwrap();
        assert!(again.works && again.why == "9 bytes were lost", "{again:?}");
        take(&mut recorder, b"$B\r\n");
        assert!(chunks.recv().unwrap().broken, "what was begun before is no part of what comes now");
        assert_eq!((recorder.report(), recorder.written().lost_bytes), (None, 9));
    }

    #[test]
    fn the_queue_is_bounded_in_bytes_too() {
        let (mut recorder, _chunks, _report) = stuck(QUEUE);
        let block = vec![b'x'; 100_000];
        (0..20).for_each(|_| recorder.take(Instant::default(), None, SourceId(1), &block));
        assert_eq!(recorder.written().lost_bytes, 1_000_000);
        assert!(recorder.report().is_some_and(|report| !report.works));
    }
}
