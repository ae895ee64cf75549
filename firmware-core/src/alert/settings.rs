//! The owner's settings for an alert, and what holds without them.

use crate::angle::Turn;
use crate::time::Span;

/// The owner's settings for one alert; `None` means its default.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct LimitSettings {
    /// The limit as an angle, for the alerts that have one; for turn-rate-disagreement that many degrees a
    /// second.
    pub limit: Option<Turn>,
    /// How long it must last.
    pub delay: Option<Span>,
    /// Not judged at all.
    pub disabled: bool,
}
