//! The terminal: paints rows, keeps one status line in place, rings the bell, shows progress, takes single keys.

mod board;
mod keys;
mod progress;
mod screen;

pub use board::Board;
pub use keys::Keys;
pub use progress::Progress;
pub use screen::{Bell, Screen};
