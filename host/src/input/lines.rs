//! A log's bytes, read in large blocks, and where its lines end.

use std::fmt;
use std::io;
use std::io::Read;

use memchr::memchr;

use crate::input::InputError;
use crate::input::Source;

/// A line is cut here, so that a file without line ends stays bounded.
pub(crate) const LONGEST_LINE: usize = 4096;

/// Least that is asked of the system at once.
const BLOCK: usize = 64 << 10;

/// A window on a log: the bytes that are read and not yet handed out.
pub(crate) struct LineBuffer {
    input: Box<dyn Read + Send>,
    buf: Vec<u8>,
    /// Where the bytes not yet handed out begin and end.
    from: usize,
    to: usize,
    /// Up to where lines have been found.
    scanned: usize,
    at_end: bool,
}

impl LineBuffer {
    pub(crate) fn new(input: Box<dyn Read + Send>) -> Self {
        Self { input, buf: vec![0; 4 * BLOCK], from: 0, to: 0, scanned: 0, at_end: false }
    }

    /// The bytes that are read and not yet handed out.
    pub(crate) fn held(&self) -> &[u8] {
        &self.buf[self.from..self.to]
    }

    /// The next line, its end included, as a range in [`Self::held`]; `None` at the end of the log.
    /// Longer lines come in parts.
    #[inline]
    pub(crate) fn next_line(&mut self, from: &Source) -> Result<Option<(usize, usize)>, InputError> {
        let start = self.scanned - self.from;
        let Some(length) = self.find(from, self.scanned)? else { return Ok(None) };
        self.scanned = self.from + start + length;
        Ok(Some((start, start + length)))
    }

    /// The line at `at` in [`Self::held`], which is not thereby taken.
    pub(crate) fn probe_line(&mut self, from: &Source, at: usize) -> Result<Option<(usize, usize)>, InputError> {
        Ok(self.find(from, self.from + at)?.map(|length| (at, at + length)))
    }

    /// Hands out the first `length` bytes of [`Self::held`].
    #[inline]
    pub(crate) fn take(&mut self, length: usize) -> &[u8] {
        let start = self.from;
        self.from = (start + length).min(self.to);
        &self.buf[start..self.from]
    }

    /// The length of the line that begins at `at` in the buffer; `None` at the end of the log.
    #[inline]
    fn find(&mut self, from: &Source, at: usize) -> Result<Option<usize>, InputError> {
        let offset = at - self.from;
        let mut looked_at = 0;
        loop {
            let at = self.from + offset;
            let rest = &self.buf[at..self.to.min(at + LONGEST_LINE)];
            if let Some(end) = memchr(b'\n', &rest[looked_at..]) {
                return Ok(Some(looked_at + end + 1));
            }
            looked_at = rest.len();
            if looked_at == LONGEST_LINE || !self.read(from)? {
                // Where there is no LF far and wide, a CR ends a line.
                let rest = &self.buf[self.from + offset..][..looked_at];
                let end = memchr(b'\r', rest).map_or(looked_at, |end| end + 1);
                return Ok((end > 0).then_some(end));
            }
        }
    }

    /// Reads another block; false at the end of the log.
    fn read(&mut self, from: &Source) -> Result<bool, InputError> {
        if self.at_end {
            return Ok(false);
        }
        if self.buf.len() - self.to < BLOCK {
            self.buf.copy_within(self.from..self.to, 0);
            self.scanned -= self.from;
            self.to -= self.from;
            self.from = 0;
            if self.buf.len() - self.to < BLOCK {
                self.buf.resize(self.buf.len() * 2, 0);
            }
        }
        loop {
            match self.input.read(&mut self.buf[self.to..]) {
                Ok(count) => {
                    self.at_end = count == 0;
                    self.to += count;
                    return Ok(count > 0);
                }
                Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
                Err(error) => return Err(InputError::file(from, "read", &error)),
            }
        }
    }
}

impl fmt::Debug for LineBuffer {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("LineBuffer").field("held", &(self.to - self.from)).field("at_end", &self.at_end).finish()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn lines_of(bytes: &[u8]) -> Vec<Vec<u8>> {
        let mut lines = LineBuffer::new(Box::new(io::Cursor::new(bytes.to_vec())));
        let mut all = Vec::new();
        while let Some((start, end)) = lines.next_line(&Source::Stdin).unwrap() {
            assert_eq!(start, 0);
            all.push(lines.take(end).to_vec());
        }
        all
    }

    #[test]
    fn no_byte_is_lost_whatever_ends_the_lines() {
        for text in ["", "a", "a\n", "a\r\nb", "a\rb\rc", "\n\n\r\n", "a\r\nb\rc\n"] {
            assert_eq!(lines_of(text.as_bytes()).concat(), text.as_bytes());
        }
        assert_eq!(lines_of(b"a\r\nb\n").len(), 2);
        assert_eq!(lines_of(b"a\rb\rc").len(), 3);
    }

    #[test]
    fn endless_lines_come_in_parts() {
        let long = vec![b'x'; 10 * LONGEST_LINE + 1];
        let parts = lines_of(&long);
        assert_eq!(parts.len(), 11);
        assert_eq!(parts.concat(), long);
    }

    #[test]
    fn held_lines_survive_the_next_blocks() {
        let text: Vec<u8> = (0..200_000).flat_map(|n: u32| format!("{n}\n").into_bytes()).collect();
        let mut lines = LineBuffer::new(Box::new(io::Cursor::new(text.clone())));
        let (mut all, mut held) = (Vec::new(), 0);
        while let Some((_, end)) = lines.next_line(&Source::Stdin).unwrap() {
            held = end;
            if held > 60_000 {
                all.extend_from_slice(lines.take(held));
                held = 0;
            }
        }
        all.extend_from_slice(lines.take(held));
        assert!(all == text);
    }
}
