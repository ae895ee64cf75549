//! How the program ends: the exit status is part of the contract.

use std::process::ExitCode;

/// The exit status.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Exit {
    /// Done.
    Done,
    /// The answer is no; only with `--check`.
    No,
    /// Could not do it.
    Failed,
    /// Interrupted from the keyboard.
    Interrupted,
}

impl From<Exit> for ExitCode {
    fn from(exit: Exit) -> Self {
        Self::from(match exit {
            Exit::Done => 0,
            Exit::No => 1,
            Exit::Failed => 2,
            Exit::Interrupted => 130,
        })
    }
}

/// Why a verb could not do its work: a full sentence with the remedy, for a person.
#[derive(Debug, thiserror::Error)]
#[error("{0}")]
pub struct Failure(pub String);

impl Failure {
    /// A failure that says `message`.
    pub fn new(message: impl Into<String>) -> Self {
        Self(message.into())
    }
}
