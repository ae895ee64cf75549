//! Where every byte went.

use crate::frame::Refusal;

/// The byte account of one source: `bytes_in == sentence_bytes + refused_bytes + between + pending`.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Counts {
    /// Bytes received.
    pub bytes_in: u64,
    /// Lines accepted.
    pub sentences: u64,
    /// Bytes in accepted lines, their TAG blocks included, line ends not.
    pub sentence_bytes: u64,
    /// Bytes in refused lines and TAG blocks.
    pub refused_bytes: u64,
    /// Bytes between lines: line ends, prefixes, junk, and what follows a refusal up to the next
    /// start character.
    pub between: u64,
    /// Accepted lines longer than the standard's 82 characters.
    pub overlong: u64,
    /// Refused lines, by reason, in the order of [`Refusal::ALL`].
    pub refused: [u64; Refusal::ALL.len()],
}

impl Counts {
    /// Nothing received.
    pub(super) const NONE: Self = Self {
        bytes_in: 0,
        sentences: 0,
        sentence_bytes: 0,
        refused_bytes: 0,
        between: 0,
        overlong: 0,
        refused: [0; Refusal::ALL.len()],
    };

    /// Refused lines of all reasons together.
    pub fn refused_total(&self) -> u64 {
        self.refused.iter().sum()
    }
}
