//! Tests of the swing as a whole, by boats whose truth is written beside them.

mod boat;
mod published;
mod recordings;
mod refusals;
mod verdicts;
