//! Why a part of the watch fails, for every display that tells of the alert.

use lubber_core::time::Instant;

use super::company::Companion;
use crate::session::Moment;
use crate::session::Remark;
use crate::view::Sources;

/// Keeps the causes where the displays find them; it is told before the alert is raised.
pub(super) struct Causes(pub(super) Sources);

impl Companion for Causes {
    fn remark(&mut self, _moment: Moment, remark: &Remark<'_>) {
        if let Remark::Part { part, works: false, why } = *remark {
            self.0.failed(part, why);
        }
    }

    fn due(&self) -> Instant {
        Instant::from_ms(u64::MAX)
    }
}
