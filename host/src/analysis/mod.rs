//! Pure arithmetic in `f64`: numbers in, numbers with their uncertainty out. Names only the core.

pub mod harmonic;
pub mod listen;
pub mod variation;
