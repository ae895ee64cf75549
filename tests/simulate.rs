//! Whole-program tests: simulate.
