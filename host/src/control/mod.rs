//! The control socket: how another program of the same user speaks to a running watch.
//!
//! ```text
//! place     where the socket lies, and that nobody else can lie in wait there
//! message   one request and one reply, each one line of JSON
//! server    the watch's end: a thread for each of a few connections, none of them the watch's own
//! client    the other end
//! ```
//!
//! # The line protocol
//! A client connects to the Unix domain socket, writes one line and reads one line, as often as it
//! likes:
//! ```text
//! {"verb":"steer","order":"150C"}
//! {"schema":1,"done":true,"text":"steering 150 C"}
//! ```
//! The verbs are `steer` (with an `order`: 150C, 150M, 139T, here, wind, hand, cancel),
//! `acknowledge`, `silence`, `status`, `history` and `sound-test`. `done` is false where it was not done,
//! and `text` says why. The reply to `status` carries the member `status` as well, and that to `history`
//! the member `history`. A request is [`LONGEST`] bytes at the most.
//!
//! A leaf: it knows neither the session nor a verb; whoever opens a [`Server`] gives it the answers.

mod client;
mod error;
mod message;
mod place;
mod server;

pub use client::ask;
pub use error::ControlError;
pub use message::{LONGEST, Reply, Request};
pub use place::{Place, usual_place};
pub use server::Server;
