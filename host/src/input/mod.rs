//! Inputs: recorded logs, which drive time from their own stamps, and live lines, where the clock rules.
//!
//! ```text
//! source   the grammar: night.nmea, -, serial:, tcp:, udp:
//! replay   several logs merged by time; log: one of them; stamp, fix: where its times come from; timeline: which
//!          of them are believed; unpack: compressed logs, and the folder of a recorder
//! live     one thread for each source, sending over a bounded channel; serial, net: what they read from
//! ```
//!
//! # Time in a log
//! A log whose first sentences carry stamps runs by them; else by the UTC in RMC, ZDA, GGA, GNS and
//! GLL with a right checksum. Lines between two such times are spread evenly; at most 64 KiB are
//! held for that. Where the position is lost and headings go on, lines follow at the log's usual
//! pace until there is a time again: were time to stand still there, nothing could be raised. Lines
//! before the first time lead up to it at that pace. Few lines over a long time are a gap, and time
//! jumps with it. A time more than a minute ahead or 2 s behind is believed only when another
//! agrees; after a step back the replay goes on from where it was. A log's dates are mended for the
//! GPS week rollover only by other dates in the same log, so that a log of 2006 stays one.
//!
//! A leaf: nothing here names a display, a session or a verb.

mod adapter;
mod error;
mod lines;
mod live;
mod log;
mod net;
mod note;
mod open;
mod probe;
mod replay;
#[cfg(test)]
mod replay_tests;
mod serial;
mod source;
mod stamp;
mod stdin;
mod timeline;
mod unpack;
mod utc;

pub use error::InputError;
pub use live::{Live, LiveOptions, LiveSource, Stop};
pub use note::{LogNote, NoteKind};
pub use open::{Inputs, OpenOptions, open};
pub use replay::{Piece, Progress, Replay, ReplayOptions};
pub use serial::{Access, SEARCHED_BAUDS, access};
pub use source::{Source, SourceError};
pub use stdin::StdinKind;
pub use timeline::mend_live_date;
pub use utc::looks_like_sentence;
