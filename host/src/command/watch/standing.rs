//! The alerts as they stand, followed change by change.

use lubber_core::arbiter::AlertChange;
use lubber_core::arbiter::State;

/// Every alert that is not normal.
#[derive(Clone, Debug, Default)]
pub(super) struct Alerts(Vec<AlertChange>);

impl Alerts {
    /// Takes note of one change.
    pub(super) fn take(&mut self, change: &AlertChange) {
        self.0.retain(|other| (other.kind, other.instance) != (change.kind, change.instance));
        if change.state != State::Normal {
            self.0.push(*change);
        }
    }

    /// They are these, by the monitor's own account.
    pub(super) fn set(&mut self, alerts: &[AlertChange]) {
        self.0.clear();
        self.0.extend_from_slice(alerts);
    }

    /// All of them.
    pub(super) fn iter(&self) -> impl Iterator<Item = &AlertChange> {
        self.0.iter()
    }
}
