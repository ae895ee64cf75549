//! The framer: a byte stream chopped anywhere in, lines and refusals out.

use crate::frame::{Counts, Line, Refused};

/// What a source's checksums must be.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub enum ChecksumPolicy {
    /// There and right. The default.
    #[default]
    Required,
    /// Right where there; a missing one passes.
    Optional,
    /// Not looked at: a wrong one and a missing one pass, and so do damaged lines.
    Ignored,
}

/// One thing the framer found.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Framed<'a> {
    /// A line that may be read.
    Line(Line<'a>),
    /// Bytes that began as a line and are none.
    Refused(Refused<'a>),
}

/// Finds lines in a byte stream; one for each source.
#[derive(Clone, Debug)]
pub struct Framer {
    policy: ChecksumPolicy,
    counts: Counts,
}

impl Framer {
    /// The longest line or TAG block that is held, in bytes.
    pub const CAPACITY: usize = 256;

    /// A framer at rest, waiting for a start character.
    pub const fn new(policy: ChecksumPolicy) -> Self {
        let _ = policy;
        todo!()
    }

    /// Takes the next bytes of the stream and delivers what they complete, in order.
    pub fn feed(&mut self, input: &[u8], out: &mut impl FnMut(Framed<'_>)) {
        let _ = (input, out);
        todo!()
    }

    /// The stream has ended: what is still open is delivered as a refusal (or, where the policy
    /// lets a checksum be missing, as a line).
    pub fn finish(&mut self, out: &mut impl FnMut(Framed<'_>)) {
        let _ = out;
        todo!()
    }

    /// The byte account so far.
    pub const fn counts(&self) -> &Counts {
        &self.counts
    }

    /// Bytes received that are neither delivered nor counted yet.
    pub fn pending(&self) -> u64 {
        todo!()
    }

    /// The checksum policy in force.
    pub const fn policy(&self) -> ChecksumPolicy {
        self.policy
    }
}
