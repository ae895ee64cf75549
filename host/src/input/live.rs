//! Live inputs: one thread for each source, over a bounded channel.

use std::io;
use std::path::PathBuf;
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
use crate::input::adapter::Adapter;
use crate::input::adapter::BY_ID;
use crate::input::net::TcpWire;
use crate::input::net::UdpWire;
use crate::input::serial::SerialWire;
use crate::input::stdin::StdinFeed;

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
    /// Whether a source that cannot be opened at the start is lost, and tried again, and no refusal.
    pub keep_trying: bool,
    /// Where the system keeps a link to each serial adapter by its identity.
    pub by_id: PathBuf,
}

impl Default for LiveOptions {
    fn default() -> Self {
        Self {
            listen_for: Duration::from_millis(1500),
            retry_first: Duration::from_secs(1),
            retry_at_most: Duration::from_secs(30),
            keep_trying: false,
            by_id: PathBuf::from(BY_ID),
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
    checksum: ChecksumPolicy,
    options: LiveOptions,
    wire: Wire,
}

/// What a live source reads from.
#[derive(Debug)]
pub(crate) enum Wire {
    Serial(SerialWire),
    Tcp(TcpWire),
    Udp(UdpWire),
    Stdin(StdinFeed),
    /// It could not be opened yet, and why.
    Closed(String),
}

/// What one read brought.
#[derive(Debug, PartialEq, Eq)]
pub(crate) enum Got {
    /// Bytes, never none.
    Bytes(Vec<u8>),
    /// Nothing for now.
    Nothing,
    /// The speed was found, and these bytes with it.
    Found { baud: u32, bytes: Vec<u8> },
    /// Bytes that are noise, and why the line brings no others.
    Noise { why: String, bytes: Vec<u8> },
    /// Text at last, after noise.
    Text(Vec<u8>),
    /// It is open, but what comes is not understood; reading goes on.
    Doubt(String),
    /// Nothing any more, and nothing to open again.
    Ended,
}

/// How long one read waits before it looks whether it should stop.
pub(crate) const READ_FOR: Duration = Duration::from_millis(500);

impl LiveSource {
    /// Opens it once, so that what is wrong at the start is told at the start.
    ///
    /// # Errors
    /// [`InputError::Refused`] with the reason and the remedy.
    pub fn open(source: &Source, checksum: ChecksumPolicy, options: &LiveOptions) -> Result<Self, InputError> {
        let wire = match source {
            Source::Stdin | Source::File(_) => Wire::Stdin(StdinFeed::start(io::stdin())),
            _ => match open_wire(source, checksum, options, None, None) {
                Err(error) if options.keep_trying => Wire::Closed(error.to_string()),
                opened => opened?,
            },
        };
        Ok(Self::of(source, checksum, options, wire))
    }

    /// A live source whose wire is open.
    pub(crate) fn of(source: &Source, checksum: ChecksumPolicy, options: &LiveOptions, wire: Wire) -> Self {
        Self { source: source.clone(), checksum, options: options.clone(), wire }
    }

    /// Which adapter it is, once it is open.
    fn adapter(&self) -> Option<Adapter> {
        match (&self.source, &self.wire) {
            (Source::Serial { device, .. }, Wire::Serial(_)) => Some(Adapter::of(device, &self.options.by_id)),
            _ => None,
        }
    }

    /// Starts its thread; from here on every failure is told as [`Live::Works`] and retried.
    /// The thread ends when `stop` is told or the receiver of `to` is dropped.
    pub fn spawn(self, id: SourceId, to: SyncSender<Live>, clock: Clock, stop: Stop) {
        let lost = to.clone();
        let reader = move || {
            // That nobody listens any more is the ordinary end.
            let _ = Reader { id, to, clock, stop, works: None }.run(self);
        };
        if let Err(error) = std::thread::Builder::new().name(format!("source {}", id.0)).spawn(reader) {
            let why = format!("the system gave no thread to read it: {error}");
            let _ = lost.try_send(Live::Works { source: id, at: clock.now(), works: false, why });
        }
    }
}

fn open_wire(
    source: &Source,
    checksum: ChecksumPolicy,
    options: &LiveOptions,
    found: Option<u32>,
    adapter: Option<&Adapter>,
) -> Result<Wire, InputError> {
    match source {
        Source::Serial { device, baud } => {
            let place = adapter.map_or_else(|| Ok(device.clone()), Adapter::place);
            let place = place.map_err(|why| InputError::Refused { from: source.clone(), what: "open", why })?;
            SerialWire::open(source, &place, baud.or(found), found.is_some(), checksum, options.listen_for)
                .map(Wire::Serial)
        }
        Source::Tcp { host, port } => TcpWire::connect(source, host, *port).map(Wire::Tcp),
        Source::Udp { address, port } => UdpWire::bind(source, address, *port).map(Wire::Udp),
        Source::Stdin | Source::File(_) => Ok(Wire::Stdin(StdinFeed::ended())),
    }
}

/// The thread of one source.
struct Reader {
    id: SourceId,
    to: SyncSender<Live>,
    clock: Clock,
    stop: Stop,
    /// What was told last.
    works: Option<bool>,
}

/// Nobody listens any more.
struct Unheard;

impl Reader {
    fn run(mut self, mut live: LiveSource) -> Result<(), Unheard> {
        let source = self.id;
        let mut found = None;
        let mut wait = live.options.retry_first;
        let mut adapter = live.adapter();
        if live.wire.is_sound() {
            self.works(true, String::new())?;
        }
        loop {
            if self.stop.is_stopped() {
                return Ok(());
            }
            let at = self.clock.now();
            let why = match live.wire.read(at) {
                Ok(Got::Nothing) => continue,
                Ok(Got::Bytes(bytes)) => {
                    wait = live.options.retry_first;
                    self.send(Live::Bytes { source, at: self.clock.now(), bytes })?;
                    continue;
                }
                Ok(Got::Found { baud, bytes }) => {
                    found = Some(baud);
                    wait = live.options.retry_first;
                    self.send(Live::BaudFound { source, baud })?;
                    self.works(true, String::new())?;
                    self.send(Live::Bytes { source, at: self.clock.now(), bytes })?;
                    continue;
                }
                Ok(Got::Noise { why, bytes }) => {
                    self.works(false, why)?;
                    self.send(Live::Bytes { source, at, bytes })?;
                    continue;
                }
                Ok(Got::Text(bytes)) => {
                    self.works(true, String::new())?;
                    self.send(Live::Bytes { source, at: self.clock.now(), bytes })?;
                    continue;
                }
                Ok(Got::Doubt(why)) => {
                    self.works(false, why)?;
                    continue;
                }
                Ok(Got::Ended) => return self.send(Live::Ended { source }),
                Err(why) => why,
            };
            self.works(false, why)?;
            live.wire = loop {
                if self.stop.wait(wait) {
                    return Ok(());
                }
                wait = (wait * 2).min(live.options.retry_at_most);
                match open_wire(&live.source, live.checksum, &live.options, found, adapter.as_ref()) {
                    Ok(wire) => break wire,
                    Err(error) => self.still(&error.to_string())?,
                }
            };
            adapter = adapter.or_else(|| live.adapter());
            if live.wire.is_sound() {
                self.works(true, String::new())?;
            }
        }
    }

    /// Tells whether it works, once for each change.
    fn works(&mut self, works: bool, why: String) -> Result<(), Unheard> {
        if self.works.replace(works) == Some(works) {
            return Ok(());
        }
        self.send(Live::Works { source: self.id, at: self.clock.now(), works, why })
    }

    /// It does not work for another reason now; told only where nothing was told yet.
    fn still(&mut self, why: &str) -> Result<(), Unheard> {
        if self.works.is_none() { self.works(false, why.to_owned()) } else { Ok(()) }
    }

    fn send(&self, live: Live) -> Result<(), Unheard> {
        self.to.send(live).map_err(|_| Unheard)
    }
}

impl Wire {
    /// Waits a little for bytes; an error is why it has to be opened again.
    fn read(&mut self, now: Instant) -> Result<Got, String> {
        match self {
            Self::Serial(wire) => wire.read(now),
            Self::Tcp(wire) => wire.read(),
            Self::Udp(wire) => wire.read(),
            Self::Stdin(feed) => Ok(feed.wait(READ_FOR)),
            Self::Closed(why) => Err(std::mem::take(why)),
        }
    }

    /// Whether it is open and nothing about it is in doubt yet.
    const fn is_sound(&self) -> bool {
        match self {
            Self::Serial(wire) => !wire.is_searching(),
            Self::Closed(_) => false,
            Self::Tcp(_) | Self::Udp(_) | Self::Stdin(_) => true,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_wait_ends_when_told_to_stop() {
        let stop = Stop::new();
        assert!(!stop.wait(Duration::ZERO));
        let other = stop.clone();
        let waiting = std::thread::spawn(move || other.wait(Duration::from_secs(600)));
        stop.stop();
        assert!(waiting.join().unwrap());
        assert!(stop.is_stopped() && stop.wait(Duration::from_secs(600)));
    }
}
