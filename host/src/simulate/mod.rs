//! The invented boat with a known truth.
