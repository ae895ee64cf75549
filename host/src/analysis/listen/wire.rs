//! What one source brings, whoever talks: refused lines by reason, silence, noise.

use lubber_core::frame::Refusal;
use lubber_core::frame::Refused;
use lubber_core::time::Instant;
use lubber_core::time::Span;

use super::At;

/// One source.
#[derive(Clone, Debug, Default)]
pub struct Wire {
    /// The first refused line of each reason, in the order of [`Refusal::ALL`], as it came, with its moment.
    pub examples: [Option<(At, Vec<u8>)>; Refusal::ALL.len()],
    /// When the first bytes came, and the last.
    pub heard: Option<(At, At)>,
    /// The longest time without any line.
    pub silent: Option<(At, Span)>,
    /// Bytes over 0x7E or control characters among those before the first sentence.
    pub strange: u64,
    /// For how long altogether no line came at all, in silences of over [`SILENCE`].
    silence: Span,
    last_line: Option<At>,
}

/// A source on which no line came for so long was silent as a whole.
const SILENCE: Span = Span::from_s(3);

impl Wire {
    /// Bytes came; `sentences` could be read so far.
    #[inline]
    pub(super) fn bytes(&mut self, at: At, input: &[u8], sentences: u64) {
        match &mut self.heard {
            Some((_, last)) => *last = at,
            None => self.heard = Some((at, at)),
        }
        if sentences == 0 {
            let strange = |b: &&u8| !(b.is_ascii_graphic() || b.is_ascii_whitespace());
            self.strange += input.iter().filter(strange).count() as u64;
        }
    }

    /// A line came, good or bad; the silence of the source so far.
    #[inline]
    pub(super) fn line(&mut self, at: At) -> Span {
        if let Some(last) = self.last_line {
            let silent = at.now.since(last.now);
            if silent > SILENCE {
                self.silence = self.silence + silent;
            }
            if self.silent.is_none_or(|(_, longest)| silent > longest) {
                self.silent = Some((last, silent));
            }
        }
        self.last_line = Some(at);
        self.silence
    }

    /// When a line came last.
    pub fn last_line(&self) -> Option<Instant> {
        self.last_line.map(|at| at.now)
    }

    #[cold]
    pub(super) fn refused(&mut self, at: At, refused: &Refused<'_>) {
        if let Some(slot) = self.examples.get_mut(refused.reason as usize) {
            slot.get_or_insert_with(|| (at, refused.raw.to_vec()));
        }
    }
}
