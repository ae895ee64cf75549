//! Whole-program tests: recordings.
