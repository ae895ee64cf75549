//! What is known and since when, per source; and which sources are one witness.

mod order;
mod origin;

pub use order::{Command, OrderedBy, Referred, Steering};
pub use origin::{Name, Origin, Reference, SourceId};
