//! The sign of life for an outside buzzer, from the loop itself: a loop that hangs falls silent.

use lubber_core::alert::Part;
use lubber_core::monitor::Monitor;
use lubber_core::time::Instant;
use lubber_core::time::Span;

use super::company::Companion;
use crate::boat;
use crate::exit::Failure;
use crate::session::Moment;
use crate::session::Report;
use crate::sound;
use crate::sound::Heartbeat;
use crate::sound::Hook;

/// The heartbeat of a watch.
pub(super) struct Beating {
    heartbeat: Heartbeat,
    every: Span,
    next: Instant,
}

impl Beating {
    /// The owner's heartbeat, started; none where there is none.
    pub(super) fn start(of: &boat::sounder::Sounder) -> Result<Option<Self>, Failure> {
        let Some(hook) = of.heartbeat.clone().and_then(Hook::new) else { return Ok(None) };
        let every = of.heartbeat_every;
        let failed = |error| Failure::new(format!("the system gives no thread for the heartbeat: {error}"));
        let heartbeat = Heartbeat::start(hook, every).map_err(failed)?;
        Ok(Some(Self { heartbeat, every, next: Instant::default() }))
    }
}

impl Companion for Beating {
    fn due(&self) -> Instant {
        self.next
    }

    fn look(&mut self, moment: Moment, _: &Monitor) {
        self.heartbeat.beat();
        self.next = moment.now + self.every;
    }

    fn report(&mut self) -> Option<Report> {
        let (works, why) = match self.heartbeat.report()? {
            sound::Report::Works => (true, String::new()),
            sound::Report::Fails(why) => (false, why),
        };
        Some(Report { part: Part::Heartbeat, works, why })
    }
}
