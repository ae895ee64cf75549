//! The recorder: every line that comes in is kept on disk, stamped, within a size, and safe against a cut of power.
//!
//! ```text
//! keeper   its own thread behind a bounded queue of bytes; synced each second
//!   lines    bytes -> whole lines as they came, each with a TAG block in front
//!   stamps   what time a line is stamped with, before and after UTC is known
//!   rotate   which file a line goes to; what is dropped; what happens when the disk fails
//!     pack     a closed file is compressed, and only then removed
//!     names    2026-07-14T020000Z.nmea
//!     file_layer  the few operations on files; the tests have one whose power can be cut
//! ```
//!
//! # What is promised
//! A line that came in more than about a second before the power was cut is in the folder, whole and once,
//! unless the recorder had reported that it does not work. What was torn by the cut is left out at the next start:
//! a file holds whole lines only.
//!
//! # What a line looks like
//! `\s:<source>,c:<milliseconds>*hh\` before the line's first start character, and then the line as it came,
//! damaged ones too. A line that brings a TAG block of its own keeps it, behind ours: the first time rules in a
//! replay, and ours is that of the moment it came in, as for every other line. Bytes without a start character are
//! kept without a stamp. Three things are not kept as they came: a line without a line end gets one (also one of more
//! than 1 KiB, which is cut), empty lines are left out, and a zero byte, which no sentence holds, is written as
//! DEL (0x7F): so a zero in a file is only ever what a cut of power left there.
//!
//! # What time it is
//! The monotonic clock rules and one offset leads from it to UTC. Nothing is held back until UTC is known: what is held
//! is lost with the power. Until a talker tells the date, the offset is the system's, and a board without a clock
//! stamps from 1970 on, later than every undated file of the folder. When the first date comes and is more than 2 s away
//! from that, the file is closed, its stamps are moved by the difference while it is compressed, and its name too;
//! files that were full before then stay as they are. From then on a correction moves only what follows; one
//! back by up to 2 s lets the stamps stand still until time has caught up.
//!
//! A leaf: it names the clock and nothing else of the host.

mod file_layer;
mod keeper;
mod lines;
mod names;
mod pack;
mod recorder;
mod rotate;
mod stamps;
#[cfg(test)]
mod tests;
mod trouble;

pub use recorder::{Recorder, Report, Settings, Times, Written};
pub use rotate::Limits;
pub use trouble::{RecordError, Size};
