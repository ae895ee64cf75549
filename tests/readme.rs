//! Whole-program tests: readme.
