//! Keeping watch on a small boat's heading, from bytes on a data line to an alert.
//!
//! The core never reads a clock, never allocates and never touches a device: time is an argument
//! and every call delivers all of its events before it returns. Layers, each naming only lower
//! ones:
//!
//! ```text
//! L0 time bounds decimal    L1 angle unit            L2 frame heading
//! L3 sentence announce      L4 picture               L5 alert
//! L6 arbiter                L7 monitor
//! ```
#![no_std]

#[cfg(test)]
extern crate std;

pub mod bounds;
pub mod decimal;
pub mod time;

pub mod angle;

pub mod unit;

pub mod frame;
pub mod heading;

pub mod announce;
pub mod sentence;

pub mod picture;

pub mod alert;

pub mod arbiter;

pub mod monitor;
