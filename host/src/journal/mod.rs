//! The journal: what a watch did and saw, kept in one SQLite file for years on a card that wears.
//!
//! ```text
//! entry    what is kept: an alert's change, a word, a minute, the health of a source, a card
//! minute   samples of the picture become one minute
//! keeper   the thread that writes, behind a queue that may drop minutes and never an alert's change
//! open     the file: new, known, older (migrated), newer or not ours (refused), damaged (moved aside)
//! schema   its layout, version by version
//! store    the open file: entries in, each batch one transaction, on disk before the next
//! read     everything back again, for whoever reads while a watch writes
//! ```
//! A watch never waits for it: what fails becomes a [`Report`], and is tried again.
//!
//! **Time.** A board without a clock starts in 1970, so an entry is placed by its watch and by the
//! milliseconds since that began, which nothing can upset. Its UTC is null until a talker gives the
//! time; then the entries before it are stamped too. A first date that turns out wrong by over a day is
//! mended the same way; less is a clock that drifts or a machine that slept, and what was written stays.
//!
//! **Growth.** The newest [`MINUTES`] minutes are kept (400 days of watching, some 90 MB with two sources) and
//! the newest [`CHANGES`] changes of alerts and words each; counted and not dated, because a receiver with a
//! wrong year would else wipe years.

mod entry;
mod keeper;
mod minute;
mod open;
mod read;
mod schema;
mod store;

pub use entry::{AlertEntry, Begin, CardUsed, End, Entry, Health, Judges, Minute, WordEntry};
pub use keeper::{Journal, Patience, Report};
pub use minute::{Gathering, Sample};
pub use open::OpenError;
pub use read::{ReadError, Reader, WatchRow};
pub use store::{CHANGES, MINUTES};

#[cfg(test)]
mod tests;
