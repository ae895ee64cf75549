//! The owner's files: `boat.toml` and `card.toml`, as typed and as usable.

pub mod card;
pub mod file;
pub(crate) mod read;
pub mod words;
