//! Bytes to lines: finds sentences in a byte stream, checks them, and accounts for every byte.

mod counts;
mod framer;
mod line;
mod refusal;
mod tag;

pub use counts::Counts;
pub use framer::{ChecksumPolicy, Framed, Framer};
pub use line::{Checksum, Formatter, Line, Start, Talker};
pub use refusal::{Refusal, Refused};
pub use tag::Tag;
