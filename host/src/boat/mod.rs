//! The owner's files: `boat.toml` and `card.toml`, as typed and as usable.

pub mod card;
pub mod card_text;
pub mod file;
mod limits;
pub mod observations;
pub(crate) mod read;
pub mod recording;
pub mod sounder;
pub mod words;

pub(crate) use read::listed;
