//! Standard input: a log if its first sentences carry stamps, else live.

use std::fmt;
use std::io;
use std::io::Read;
use std::sync::mpsc::Receiver;
use std::sync::mpsc::RecvTimeoutError;
use std::sync::mpsc::sync_channel;
use std::time::Duration;

use crate::clock::Clock;
use crate::input::live::Got;
use crate::input::stamp::stamp;
use crate::input::stamp::start_of;
use crate::input::unpack::is_packed;

/// What standard input is.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum StdinKind {
    /// A log if its first sentences carry stamps, else live.
    #[default]
    Auto,
    /// A log (`--log`).
    Log,
    /// Live (`--live`).
    Live,
}

/// So many sentences are looked at to tell a log from a live line.
const FIRST_SENTENCES: usize = 3;
/// No more bytes than this are looked at for them.
const LOOK_AT: usize = 16 << 10;
/// Nor is waited longer than this: a live line may be silent.
pub(crate) const PATIENCE: Duration = Duration::from_secs(3);

/// A stream read by a thread of its own, so that waiting for it can end.
pub(crate) struct StdinFeed {
    blocks: Receiver<Vec<u8>>,
    /// Read, and not yet handed out.
    front: Vec<u8>,
    /// How many bytes of it are handed out.
    used: usize,
}

impl StdinFeed {
    /// Reads `input` in a thread that ends with it, or with the feed.
    pub(crate) fn start(mut input: impl Read + Send + 'static) -> Self {
        let (to, blocks) = sync_channel(2);
        let reader = move || {
            let mut block = vec![0; 64 << 10];
            loop {
                match input.read(&mut block) {
                    Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
                    Err(_) | Ok(0) => break,
                    Ok(count) => {
                        if to.send(block[..count].to_vec()).is_err() {
                            break;
                        }
                    }
                }
            }
        };
        // Without a thread it has ended before it began, which is told as such.
        let _ = std::thread::Builder::new().name("standard input".to_owned()).spawn(reader);
        Self { blocks, front: Vec::new(), used: 0 }
    }

    /// One that has ended.
    pub(crate) fn ended() -> Self {
        Self { blocks: sync_channel(0).1, front: Vec::new(), used: 0 }
    }

    /// Whether its first sentences carry stamps; waits for them no longer than `patience`.
    pub(crate) fn is_stamped(&mut self, patience: Duration) -> bool {
        let clock = Clock::start();
        loop {
            let (mut sentences, mut stamped) = (0, 0);
            for line in self.front.split_inclusive(|&b| b == b'\n').filter(|line| line.ends_with(b"\n")) {
                if let Some(start) = start_of(line) {
                    sentences += 1;
                    stamped += usize::from(stamp(line, start).is_some());
                }
            }
            let passed = Duration::from_millis(clock.now().as_ms());
            // No wire talks so.
            if is_packed(&self.front) {
                return true;
            }
            if sentences >= FIRST_SENTENCES || self.front.len() >= LOOK_AT || passed >= patience {
                return stamped > 0;
            }
            match self.blocks.recv_timeout(patience - passed) {
                Ok(block) => self.front.extend_from_slice(&block),
                Err(RecvTimeoutError::Timeout | RecvTimeoutError::Disconnected) => return stamped > 0,
            }
        }
    }

    /// Waits for bytes no longer than `patience`.
    pub(crate) fn wait(&mut self, patience: Duration) -> Got {
        if self.used < self.front.len() {
            let bytes = self.front.split_off(self.used);
            self.front.clear();
            self.used = 0;
            return Got::Bytes(bytes);
        }
        match self.blocks.recv_timeout(patience) {
            Ok(bytes) => Got::Bytes(bytes),
            Err(RecvTimeoutError::Timeout) => Got::Nothing,
            Err(RecvTimeoutError::Disconnected) => Got::Ended,
        }
    }
}

impl Read for StdinFeed {
    fn read(&mut self, buf: &mut [u8]) -> io::Result<usize> {
        if self.used == self.front.len() {
            self.used = 0;
            // The end of the thread is the end of the stream.
            self.front = self.blocks.recv().unwrap_or_default();
        }
        let count = buf.len().min(self.front.len() - self.used);
        buf[..count].copy_from_slice(&self.front[self.used..self.used + count]);
        self.used += count;
        Ok(count)
    }
}

impl fmt::Debug for StdinFeed {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("StdinFeed").field("waiting", &(self.front.len() - self.used)).finish()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const STAMPED: &str = "$HCHDG,1\n1784023869.0 $HCHDG,101.1,,,7.1,W*3C\n1784023870.0 $HCHDG,101.1,,,7.1,W*3C\n";
    const BARE: &str = "$HCHDG,101.1,,,7.1,W*3C\n$HCHDG,101.1,,,7.1,W*3C\n$HCHDG,101.1,,,7.1,W*3C\n";

    #[test]
    fn stamps_make_it_a_log_and_no_byte_is_lost_by_looking() {
        for (text, is_log) in [(STAMPED, true), (BARE, false), ("", false), ("$HCHDG,1", false)] {
            let mut feed = StdinFeed::start(io::Cursor::new(text));
            assert_eq!(feed.is_stamped(Duration::from_secs(60)), is_log, "{text}");
            let mut all = String::new();
            feed.read_to_string(&mut all).unwrap();
            assert_eq!(all, text);
        }
        let mut feed = StdinFeed::start(io::Cursor::new(BARE));
        assert!(!feed.is_stamped(Duration::from_secs(60)));
        assert_eq!(feed.wait(Duration::from_secs(60)), Got::Bytes(BARE.into()));
        assert_eq!(feed.wait(Duration::from_secs(60)), Got::Ended);
    }
}
