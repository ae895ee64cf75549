//! The boat file, `boat.toml`.
