//! Pure arithmetic in `f64`: numbers in, numbers with their uncertainty out. Names only the core.

pub mod harmonic;
pub mod swing;
pub mod variation;
