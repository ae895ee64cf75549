//! Pure arithmetic in `f64`: numbers in, numbers with their uncertainty out. Names only the core.

pub mod bearings;
pub mod compare;
pub mod harmonic;
pub mod headings;
pub mod listen;
pub mod sun;
pub mod swing;
pub mod variation;
