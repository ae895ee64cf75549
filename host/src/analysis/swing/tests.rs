//! Tests of the swing as a whole.
