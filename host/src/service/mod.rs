//! Running as a service of the system: the unit that starts it with the boat, and what would keep it from starting.
//!
//! ```text
//! unit      the text of the unit
//! checks    what stands in its way on this machine
//! ```
//! A leaf: it knows no verb.

mod checks;
mod unit;

pub use checks::{Finding, checks};
pub use unit::{Plan, RUNTIME, unit};
