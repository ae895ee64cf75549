//! Whole-program tests: listen.
