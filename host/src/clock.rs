//! The only place that reads a clock.

use std::time::Instant as Monotonic;

use chrono::DateTime;
use chrono::Utc;
use lubber_core::time::Instant;

/// A running clock; its origin is the moment it was started.
#[derive(Clone, Copy, Debug)]
pub struct Clock {
    origin: Monotonic,
}

impl Clock {
    /// A clock that starts now at zero.
    #[expect(clippy::disallowed_methods, reason = "this is the one place that reads the clock")]
    pub fn start() -> Self {
        Self { origin: Monotonic::now() }
    }

    /// The time since the clock was started.
    pub fn now(&self) -> Instant {
        Instant::from_ms(u64::try_from(self.origin.elapsed().as_millis()).unwrap_or(u64::MAX))
    }

    /// What the machine believes to be UTC; a board without a clock starts in 1970.
    #[expect(clippy::disallowed_methods, reason = "this is the one place that reads the clock")]
    pub fn utc() -> DateTime<Utc> {
        DateTime::from(std::time::SystemTime::now())
    }
}
