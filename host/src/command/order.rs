//! How the boat is steered, as a person types it.

use lubber_core::picture::Command;

use crate::boat::words;

/// What an order is, for a refusal.
pub(super) const EXPECTED: &str = "an order is a heading with its reference (135C by the pilot's compass, 135M magnetic, \
139T true), here, wind or hand";

/// 135C, 135M, 139T, here, wind, hand or cancel.
pub(super) fn read(text: &str) -> Option<Command> {
    match text {
        "here" => Some(Command::SteerHere),
        "wind" => Some(Command::SteerWind),
        "hand" => Some(Command::SteerHand),
        "cancel" => Some(Command::Cancel),
        _ => words::heading(text).map(Command::Steer),
    }
}
