//! Serial lines, and who may read them.
