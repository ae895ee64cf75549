//! Bytes to lines: finds sentences in a byte stream, checks them, and accounts for every byte.
//!
//! ```text
//!               other
//!              +-----+
//!              v     |
//!    +------> Idle --+
//!    |        |  |
//!    |      \ |  | $ !
//!    |        |  +-----------------------+
//!    |        v                          v
//!    |      InTag --- \ ---> AfterTag -- $ ! --> Inside
//!    |        ^                |  |                |
//!    |        +------ \ -------+  | other:         | last digit, line end:
//!    |                            | Refused        | Line or Refused
//!    +----------------------------+----------------+
//!
//!    InTag and Inside: any fault is Refused and leads to Idle; $ ! \ in mid-line is Refused
//!    (Interrupted) and begins anew, as it does from Idle.
//! ```
//!
//! The rules, each with its reason:
//!
//! - A sentence with `*` is complete at its second checksum digit: no waiting for a line end that a
//!   talker may delay or leave out. Without `*` it ends at CR or LF.
//! - `$`, `!` and `\` begin anew wherever they stand, so a good sentence is never lost behind a bad
//!   one. The one exception is the `\` that closes a sound TAG block; that of a refused TAG block
//!   may be the start of the next. A lone `\` before a start character is no refusal of its own.
//! - After a refusal nothing but a start character is looked at (the state `Idle`), so the tail of a
//!   refused line never becomes a sentence. Such a tail counts as `between`: a refusal is delivered
//!   at once, with the bytes that led to it, and does not wait for the end of a tail that may be
//!   gigabytes long.
//! - The byte that shows a line to be damaged is the last of the refusal, so that it can be shown;
//!   a line end, a start character, and the 257th byte of a line are never part of it.
//! - A TAG block is good or bad by itself: a sentence behind a refused one is delivered without it.
//!   Several in a row are one group, refused or delivered together; the first time in it holds.
//! - Where a line has more than one fault the first byte that shows one decides. At the end of a
//!   sentence the address is judged before the checksum.

mod counts;
mod framer;
mod line;
mod refusal;
mod scan;
mod tag;
#[cfg(test)]
mod tests;

pub use counts::Counts;
pub use framer::{ChecksumPolicy, Framed, Framer};
pub use line::{Checksum, Formatter, Line, Start, Talker};
pub use refusal::{Refusal, Refused};
pub use tag::Tag;
