//! Why a watch cannot be spoken to.

use std::path::PathBuf;

/// Why a watch cannot be spoken to, with the remedy.
#[derive(Debug, thiserror::Error)]
pub enum ControlError {
    /// Another watch listens there.
    #[error(
        "another watch is running already and is spoken to at {}; end it, or give this one a place of its own: \
         --control PATH (or --no-control)",
        .0.display()
    )]
    Running(PathBuf),
    /// Something that is no socket lies there.
    #[error("{} is there already and is no control socket; choose another place: --control PATH", .0.display())]
    NoSocket(PathBuf),
    /// Others can write where the socket would lie.
    #[error(
        "{} is not a folder of yours alone ({why}), so that others could speak to the watch there; choose another place: \
         --control PATH",
        .folder.display()
    )]
    NotPrivate {
        /// The folder.
        folder: PathBuf,
        /// What is wrong with it.
        why: &'static str,
    },
    /// The system refuses.
    #[error("cannot {what} {}: {error}; choose another place: --control PATH", .path.display())]
    Refused {
        /// What was to be done.
        what: &'static str,
        /// Where.
        path: PathBuf,
        /// Why not.
        error: std::io::Error,
    },
    /// Nobody listens.
    #[error(
        "no watch is running that could be spoken to at {}; start one: lubber watch SOURCE (a live one, or a log with \
         --pace), or name the socket of the one you mean: --control PATH",
        .0.display()
    )]
    NoWatch(PathBuf),
    /// It listens, but there is no answer.
    #[error("the watch at {} does not answer ({why}); look whether it still runs", .path.display())]
    NoAnswer {
        /// Where it was asked.
        path: PathBuf,
        /// What came instead.
        why: String,
    },
}
