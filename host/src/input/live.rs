//! Live inputs: one thread for each source, over a bounded channel.

use std::sync::Arc;
use std::sync::Condvar;
use std::sync::Mutex;
use std::sync::PoisonError;
use std::sync::mpsc::SyncSender;
use std::time::Duration;

use lubber_core::frame::ChecksumPolicy;
use lubber_core::picture::SourceId;
use lubber_core::time::Instant;

use crate::clock::Clock;
use crate::input::InputError;
use crate::input::Source;

/// What a live source has to say.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Live {
    /// Bytes came in.
    Bytes {
        /// Which source.
        source: SourceId,
        /// When they were read, on the clock given to [`LiveSource::spawn`].
        at: Instant,
        /// The bytes, never empty.
        bytes: Vec<u8>,
    },
    /// The source began or ceased to work; told once for each change.
    Works {
        /// Which source.
        source: SourceId,
        /// When.
        at: Instant,
        /// Whether it works now.
        works: bool,
        /// Why not, with the remedy; empty when it works.
        why: String,
    },
    /// The speed of a serial line was found by listening.
    BaudFound {
        /// Which source.
        source: SourceId,
        /// Baud.
        baud: u32,
    },
    /// Nothing will come any more: standard input was closed.
    Ended {
        /// Which source.
        source: SourceId,
    },
}

/// How live sources behave; the defaults are for use, tests take shorter waits.
#[derive(Clone, Debug)]
pub struct LiveOptions {
    /// How long each speed of a serial line is listened to.
    pub listen_for: Duration,
    /// The first wait before a lost source is opened again; it doubles up to [`Self::retry_at_most`].
    pub retry_first: Duration,
    /// The longest wait before a lost source is opened again.
    pub retry_at_most: Duration,
}

impl Default for LiveOptions {
    fn default() -> Self {
        Self {
            listen_for: Duration::from_millis(1500),
            retry_first: Duration::from_secs(1),
            retry_at_most: Duration::from_secs(30),
        }
    }
}

/// Tells the threads of live sources to stop; clones share it.
#[derive(Clone, Debug, Default)]
pub struct Stop(Arc<(Mutex<bool>, Condvar)>);

impl Stop {
    /// Nobody has been told to stop yet.
    pub fn new() -> Self {
        Self::default()
    }

    /// Tells them; waits end at once, reads within a second.
    pub fn stop(&self) {
        *self.0.0.lock().unwrap_or_else(PoisonError::into_inner) = true;
        self.0.1.notify_all();
    }

    /// Whether they were told.
    pub fn is_stopped(&self) -> bool {
        *self.0.0.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Waits for `wait` or until they are told; says whether they were.
    pub fn wait(&self, wait: Duration) -> bool {
        let guard = self.0.0.lock().unwrap_or_else(PoisonError::into_inner);
        let (guard, _) =
            self.0.1.wait_timeout_while(guard, wait, |stopped| !*stopped).unwrap_or_else(PoisonError::into_inner);
        *guard
    }
}

/// A live source that is open and waits for its thread.
#[derive(Debug)]
pub struct LiveSource {
    source: Source,
}

impl LiveSource {
    /// Opens it once, so that what is wrong at the start is told at the start.
    ///
    /// # Errors
    /// [`InputError::Refused`] with the reason and the remedy.
    pub fn open(source: &Source, checksum: ChecksumPolicy, options: &LiveOptions) -> Result<Self, InputError> {
        let _ = (checksum, options);
        let _ = source;
        todo!()
    }

    /// Starts its thread; from here on every failure is told as [`Live::Works`] and retried.
    /// The thread ends when `stop` is told or the receiver of `to` is dropped.
    pub fn spawn(self, id: SourceId, to: SyncSender<Live>, clock: Clock, stop: Stop) {
        let _ = (self.source, id, to, clock, stop);
        todo!()
    }
}
