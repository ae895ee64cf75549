//! Whole-program tests: sources.
