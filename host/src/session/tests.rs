//! Tests of the session: to be run once a monitor can be fed.
