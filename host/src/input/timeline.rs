//! Which times of a log are believed.
