//! Standard input: a log if its first sentences carry stamps, else live.

/// What standard input is.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum StdinKind {
    /// A log if its first sentences carry stamps, else live.
    #[default]
    Auto,
    /// A log (`--log`).
    Log,
    /// Live (`--live`).
    Live,
}
