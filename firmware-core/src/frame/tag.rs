//! A TAG block: what a `\k:v,k:v*hh\` prefix says about the line after it.

/// What is kept of a TAG block; unknown keys are skipped.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Tag {
    /// `c:`, milliseconds since 1970-01-01T00:00:00Z. Senders write seconds or milliseconds; a
    /// number of 100 000 000 000 or more is milliseconds (as seconds it would be the year 5138).
    pub unix_ms: Option<i64>,
}
