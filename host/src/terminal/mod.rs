//! The terminal: paints rows, keeps one status line in place, rings the bell, shows progress.

mod progress;
mod screen;

pub use progress::Progress;
pub use screen::{Bell, Screen};
