//! Whole-program tests: card.
