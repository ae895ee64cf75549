//! Where alerts are announced: sentences of the core's [`Outgoing`] go out, and by type nothing else can.
//!
//! A thread of its own behind a bounded queue: a line that is slow, unplugged or not listened to is told
//! and tried again, and never holds the watch up. A leaf.

mod sink;
mod wire;

pub use sink::{Sink, SinkError};

use std::sync::mpsc::Receiver;
use std::sync::mpsc::RecvTimeoutError;
use std::sync::mpsc::SyncSender;
use std::sync::mpsc::TrySendError;
use std::sync::mpsc::channel;
use std::sync::mpsc::sync_channel;
use std::thread;
use std::time::Duration;

use lubber_core::announce::Outgoing;
use lubber_core::time::Instant;
use lubber_core::time::Span;

use crate::clock::Clock;
use wire::Wire;

/// Sentences that may wait: more than a night's worst minute, 20 KiB.
const QUEUE: usize = 256;
/// A sink that failed is opened again after so long, then after twice that, and so on.
const RETRY_FIRST: Span = Span::from_s(1);
const RETRY_AT_MOST: Span = Span::from_s(30);

/// Tenths of a second that are waited for the last sentences.
const LAST_MOMENTS: u32 = 20;

/// What there is to tell about the sink, once for each change.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Report {
    /// It works again; so many sentences were lost meanwhile.
    Works {
        /// How many.
        lost: u64,
    },
    /// It does not work, and why.
    Fails(String),
}

/// An open sink.
#[derive(Debug)]
pub struct Announce {
    /// None once the watch has ended.
    to: Option<SyncSender<Outgoing>>,
    reports: Receiver<Report>,
    /// The queue was full the last time.
    full: bool,
    lost: u64,
}

impl Announce {
    /// Opens `sink`; from here on every failure is reported and tried again.
    ///
    /// # Errors
    /// Why it cannot be opened, with the remedy.
    pub fn open(sink: &Sink) -> Result<Self, SinkError> {
        let refused = |why| SinkError::Refused { sink: sink.clone(), why };
        let wire = Wire::open(sink).map_err(refused)?;
        let (to, queue) = sync_channel(QUEUE);
        let (tell, reports) = channel();
        let sender = Sender { sink: sink.clone(), clock: Clock::start(), tell, lost: 0, works: true };
        let send = move || sender.run(wire, &queue);
        thread::Builder::new()
            .name("announce".into())
            .stack_size(256 << 10)
            .spawn(send)
            .map_err(|error| refused(format!("the system gives no thread for it: {error}")))?;
        Ok(Self { to: Some(to), reports, full: false, lost: 0 })
    }

    /// Sends one sentence, if the queue has room; it never waits.
    pub fn send(&mut self, outgoing: Outgoing) {
        let Some(to) = &self.to else { return };
        if let Err(TrySendError::Full(_) | TrySendError::Disconnected(_)) = to.try_send(outgoing) {
            self.lost += 1;
        }
    }

    /// The next thing to tell, if there is one.
    pub fn report(&mut self) -> Option<Report> {
        if let Ok(report) = self.reports.try_recv() {
            return Some(report);
        }
        match (self.lost, self.full) {
            (0, false) => None,
            (0, true) => {
                self.full = false;
                None
            }
            (lost, told) => {
                self.lost = 0;
                self.full = true;
                let why = format!("the line is too slow for them: {lost} sentences were left out; raise its speed");
                (!told).then_some(Report::Fails(why))
            }
        }
    }
}

impl Drop for Announce {
    fn drop(&mut self) {
        // What was announced last is the end of an alert, as like as not: it is given a moment to go
        // out. The thread's end closes its reports.
        self.to = None;
        for _ in 0..LAST_MOMENTS {
            if let Err(RecvTimeoutError::Disconnected) = self.reports.recv_timeout(Duration::from_millis(100)) {
                return;
            }
        }
    }
}

/// The thread that sends.
struct Sender {
    sink: Sink,
    clock: Clock,
    tell: std::sync::mpsc::Sender<Report>,
    lost: u64,
    works: bool,
}

impl Sender {
    fn run(mut self, wire: Wire, queue: &Receiver<Outgoing>) {
        let mut wire = Some(wire);
        let mut wait = RETRY_FIRST;
        let mut again = Instant::default();
        // The end of the watch closes the queue; what is in it is still sent.
        loop {
            let outgoing = match queue.recv_timeout(Duration::from_secs(1)) {
                Ok(outgoing) => Some(outgoing),
                Err(RecvTimeoutError::Timeout) => None,
                Err(RecvTimeoutError::Disconnected) => return,
            };
            if wire.is_none() && self.clock.now() >= again {
                wire = Wire::open(&self.sink).ok();
                wait = Span::from_ms((wait.as_ms() * 2).min(RETRY_AT_MOST.as_ms()));
                again = self.clock.now() + wait;
            }
            let Some(outgoing) = outgoing else { continue };
            let sent = wire.as_mut().map(|wire| wire.send(outgoing.as_bytes()));
            match sent {
                Some(Ok(())) => {
                    wait = RETRY_FIRST;
                    if !self.works {
                        self.works = true;
                        let _ = self.tell.send(Report::Works { lost: std::mem::take(&mut self.lost) });
                    }
                }
                Some(Err(why)) => {
                    self.lost += 1;
                    wire = None;
                    again = self.clock.now() + wait;
                    if std::mem::replace(&mut self.works, false) {
                        let _ = self.tell.send(Report::Fails(why));
                    }
                }
                None => self.lost += 1,
            }
        }
    }
}

#[cfg(test)]
mod tests;
