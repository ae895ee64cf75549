//! The terminal: paints rows, keeps one status line in place, rings the bell, shows progress, takes single
//! keys; or takes the whole screen and paints the watch on it.

mod board;
pub mod cockpit;
mod full;
mod keys;
mod progress;
mod screen;

pub use board::Board;
pub use full::FullScreen;
pub use keys::Keys;
pub use progress::Progress;
pub use screen::{Bell, Screen};
