//! A status for the tests of what shows one.

use lubber_core::alert::AlertKind;
use lubber_core::monitor::Status;
use lubber_core::picture::Steering;

/// Nothing was ever heard, and every alert judges.
pub(crate) fn nothing_known() -> Status {
    Status {
        heading: None,
        steering: Steering::Unknown,
        off: None,
        ground: None,
        position: None,
        rudder: None,
        supply: None,
        watchkeeper: None,
        variation: None,
        witnesses: Default::default(),
        judging: [Ok(()); AlertKind::ALL.len()],
        alerts: Default::default(),
    }
}
