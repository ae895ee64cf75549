//! TO BE WRITTEN by the input helper.
