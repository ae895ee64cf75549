//! Whole-program tests: watch.
