//! Inputs: recorded logs, which drive time from their own stamps, and live lines, where the clock rules.
//!
//! ```text
//! source   the grammar: night.nmea, -, serial:, tcp:, udp:
//! replay   several logs merged by time; log: one of them; stamp, fix: where its times come from; timeline: which
//!          of them are believed
//! live     one thread for each source, sending over a bounded channel; serial, net: what they read from
//! ```
//! A leaf: nothing here names a display, a session or a verb.

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
