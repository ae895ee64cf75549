//! The host side of lubber: sources, boat file, analysis, displays and verbs around the core.
//!
//! ```text
//! main -> command -> {session, terminal, control, announce, sound, memory, plot, simulate, analysis, boat} -> view -> lubber-core
//!                    session -> {input, clock}
//! ```
//!
//! Inputs and displays are leaves: none of them names another. `analysis` is pure arithmetic and
//! names only the core. Only [`clock`] reads a clock.

pub mod analysis;
pub mod announce;
pub mod boat;
pub mod clock;
pub mod command;
pub mod control;
pub mod exit;
pub mod input;
pub mod journal;
pub mod memory;
pub mod page;
pub mod plot;
pub mod record;
pub mod service;
pub mod session;
pub mod simulate;
pub mod sound;
pub mod terminal;
pub mod view;
