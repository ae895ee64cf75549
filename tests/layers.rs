//! Whole-program tests: layers.
