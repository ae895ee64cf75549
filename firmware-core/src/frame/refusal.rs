//! Why bytes that looked like a sentence are not one: noise on the wire, named and counted.

use core::fmt;

/// The reason a started line or TAG block was refused.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[repr(u8)]
pub enum Refusal {
    /// It has no `*` and checksum, and the source requires one.
    ChecksumMissing,
    /// After the `*` there are not two hex digits (a one-digit checksum is one of these).
    ChecksumMalformed,
    /// The checksum is not the exclusive or of the characters.
    ChecksumWrong,
    /// A new line began (`$`, `!` or `\`) before this one was complete.
    Interrupted,
    /// It ran past 256 bytes.
    TooLong,
    /// It holds a byte that is not printable ASCII.
    Unprintable,
    /// It has no address that could name a talker and a formatter.
    NoAddress,
    /// A TAG block whose checksum is missing, malformed or wrong.
    TagChecksum,
    /// A TAG block that is not `key:value` pairs, whose time is no number, or that the line's end cuts off.
    TagMalformed,
    /// A TAG block that no sentence follows.
    TagAlone,
    /// The input ended in mid-line.
    Unfinished,
}

impl Refusal {
    /// Every reason, in the order of their counters.
    pub const ALL: [Self; 11] = [
        Self::ChecksumMissing,
        Self::ChecksumMalformed,
        Self::ChecksumWrong,
        Self::Interrupted,
        Self::TooLong,
        Self::Unprintable,
        Self::NoAddress,
        Self::TagChecksum,
        Self::TagMalformed,
        Self::TagAlone,
        Self::Unfinished,
    ];

    /// The reason in words.
    pub const fn words(self) -> &'static str {
        match self {
            Self::ChecksumMissing => "no checksum",
            Self::ChecksumMalformed => "checksum is not two hex digits",
            Self::ChecksumWrong => "wrong checksum",
            Self::Interrupted => "cut off by the next start character",
            Self::TooLong => "longer than 256 bytes",
            Self::Unprintable => "a byte that is not printable ASCII",
            Self::NoAddress => "no talker and formatter",
            Self::TagChecksum => "TAG block with a bad checksum",
            Self::TagMalformed => "TAG block that is not key:value pairs",
            Self::TagAlone => "TAG block without a sentence",
            Self::Unfinished => "the input ended in mid-line",
        }
    }
}

impl fmt::Display for Refusal {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.words())
    }
}

/// A refused line: its reason, how many bytes it cost, and the first of them.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Refused<'a> {
    /// Why.
    pub reason: Refusal,
    /// Its bytes, at most 256, as they came: escape them before showing them. TAG blocks that stood
    /// before it are not shown; of a group of TAG blocks, the last one is.
    pub raw: &'a [u8],
    /// How many bytes it holds in all, TAG blocks before it included.
    pub bytes: u32,
}
