//! The signs of life that the service manager of the system asks for: `sd_notify(3)`.
//!
//! They go out from the loop of the watch itself, so that a loop that hangs is started anew.

use std::env;
use std::time::Duration;

use lubber_core::monitor::Monitor;
use lubber_core::time::Instant;
use lubber_core::time::Span;
use sd_notify::NotifyState;

use super::company::Companion;
use crate::session::Ending;
use crate::session::Moment;

/// Tells the service manager that the watch is alive.
pub(super) struct Life {
    every: Span,
    next: Instant,
    begun: bool,
    told: (usize, usize),
}

/// Without a watchdog the status line alone is kept.
const STATUS_EVERY: Span = Span::from_s(10);

impl Life {
    /// Where a service manager listens.
    pub(super) fn asked_for() -> Option<Self> {
        env::var_os("NOTIFY_SOCKET")?;
        let watchdog = sd_notify::watchdog_enabled();
        Some(Self {
            every: watchdog.map_or(STATUS_EVERY, a_third),
            next: Instant::default(),
            begun: false,
            told: (usize::MAX, 0),
        })
    }
}

/// A third, so that one that comes late is none that is missed.
fn a_third(watchdog: Duration) -> Span {
    let ms = u64::try_from(watchdog.as_millis()).unwrap_or(u64::MAX);
    Span::from_ms((ms / 3).clamp(100, STATUS_EVERY.as_ms()))
}

impl Companion for Life {
    fn due(&self) -> Instant {
        self.next
    }

    fn look(&mut self, moment: Moment, monitor: &Monitor) {
        self.next = moment.now + self.every;
        let mut states = vec![NotifyState::Watchdog];
        if !self.begun {
            self.begun = true;
            states.push(NotifyState::Ready);
        }
        let judged = monitor.judging().iter().filter(|judging| judging.is_ok()).count();
        let status = monitor.status(moment.now);
        let now = (status.alerts.len(), judged);
        let words;
        if self.told != now {
            self.told = now;
            words = format!("{} alerts stand, {} of {} are judged", now.0, now.1, monitor.judging().len());
            states.push(NotifyState::Status(&words));
        }
        // Nobody else can be told that the manager does not listen; it will start the watch anew.
        let _ = sd_notify::notify(&states);
    }

    fn end(&mut self, _moment: Moment, _monitor: &Monitor, _ending: Ending) {
        let _ = sd_notify::notify(&[NotifyState::Stopping]);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_sign_comes_three_times_as_often_as_it_is_asked_for() {
        assert_eq!(a_third(Duration::from_secs(30)), Span::from_s(10));
        assert_eq!(a_third(Duration::from_secs(3)), Span::from_s(1));
        assert_eq!(a_third(Duration::from_millis(1)), Span::from_ms(100));
    }
}
