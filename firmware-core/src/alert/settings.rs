//! The owner's settings for an alert, and what holds without them.

use crate::angle::Turn;
use crate::time::Span;

/// The owner's settings for one alert; `None` means its default.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct LimitSettings {
    /// The limit as an angle, for the alerts that have one: what lies beyond it on the mean is a fault. For
    /// turn-rate-disagreement that many degrees a second.
    pub limit: Option<Turn>,
    /// How long it must last; where a sum decides, how long that must have been rising at least.
    pub delay: Option<Span>,
    /// Not judged at all.
    pub disabled: bool,
}
