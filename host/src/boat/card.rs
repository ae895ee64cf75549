//! The card file, `card.toml`.
