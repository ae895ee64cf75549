//! The cockpit page: the watch on any browser aboard, and its buttons.
//!
//! ```text
//! assets    one self-contained page, and the content policy that lets nothing else in
//! feed      what the watch says: the latest snapshot and ten minutes of trace, taken without waiting
//! stream    a browser's own reading of the feed; a slow one skips snapshots and nobody waits for it
//! key       who may look and press: made once, kept as a hash, compared in constant time
//! guard     what a request must be before anybody looks at what it wants
//! seats     how many may be connected, from where, and who has shown the key
//! server    a thread of its own that serves all this
//! link      where the page is, as a link and as a code for a camera
//! ```
//!
//! # What is served
//! - `GET /`: the page. It holds no data and no key.
//! - `GET /stream`: lines of JSON, one for each snapshot, for as long as both sides last.
//! - `POST /say`: one request of the control socket's line protocol as the body, and its reply.
//!
//! The stream and the requests need `Authorization: Bearer KEY`, on loopback too: other users of the
//! same machine reach loopback as well. All of it is plain HTTP, which others on the same network can
//! read, the key included; the page and whoever gives its link say so.
//!
//! A leaf: it knows neither the session nor a verb; whoever opens a [`Server`] gives it the answers.

mod assets;
mod feed;
mod guard;
mod key;
mod link;
mod routes;
mod seats;
mod server;
mod stream;

pub use feed::{Feed, POINTS, Point};
pub use key::{KEY_LENGTH, Key, KeyError, Lock, key_place};
pub use link::{PLAIN_HTTP, code, link, reachable};
pub use server::{Bounds, OpenError, Report, Said, Server};
