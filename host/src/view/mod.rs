//! TO BE WRITTEN by the watch helper.
