//! What outlasts a watch: the alerts that stand and the owner's order, in a small file that is there
//! in full or as it was before, whenever the power goes.
//!
//! ```text
//! file    the file: read, checked, written to the side and put in place
//! keeper  the thread that writes, the newest state in place of older ones that still wait
//! ```
//! A leaf: it knows the core's names and no display.

mod file;
mod keeper;

#[cfg(test)]
mod tests;

pub use file::{Kept, Left, MemoryError, Standing, place};
pub use keeper::{Keeper, Report};
