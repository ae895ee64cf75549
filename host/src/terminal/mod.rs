//! The terminal: paints rows, keeps one status line in place, rings the bell, shows progress.

mod board;
mod progress;
mod screen;

pub use board::Board;
pub use progress::Progress;
pub use screen::{Bell, Screen};
