//! A replay held to N times real time.

use std::str::FromStr;
use std::time::Duration;

use lubber_core::time::Instant;
use lubber_core::time::Span;

use crate::clock::Clock;
use crate::input::Stop;

/// How many times faster than real time a log is replayed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pace(f64);

/// A text that is no pace: the owner's typing.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("`{0}` is no pace: a number of times real time from 0.1 to 100000 was expected. Example: --pace 60")]
pub struct PaceError(String);

impl FromStr for Pace {
    type Err = PaceError;

    fn from_str(text: &str) -> Result<Self, PaceError> {
        match text.parse() {
            Ok(pace) if (0.1..=100_000.0).contains(&pace) => Ok(Self(pace)),
            _ => Err(PaceError(text.into())),
        }
    }
}

impl Pace {
    /// How much of the log goes by in one second, milliseconds.
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "0.1 to 100 000 times 1000")]
    pub fn log_ms_a_second(self) -> u64 {
        (self.0 * 1000.0) as u64
    }
}

/// Waits until a moment of the log is due in real time.
#[derive(Debug)]
pub(super) struct Pacer {
    clock: Clock,
    pace: Pace,
    /// Log time that was jumped and is not waited for.
    jumped: Span,
    asleep: Stop,
}

/// How long an interrupt or a word may go unseen.
const SLICE: Duration = Duration::from_millis(100);

impl Pacer {
    pub(super) fn start(pace: Pace) -> Self {
        Self { clock: Clock::start(), pace, jumped: Span::ZERO, asleep: Stop::new() }
    }

    pub(super) fn jump(&mut self, over: Span) {
        self.jumped = self.jumped + over;
    }

    /// Waits for `at` of the log, a slice of time at most; whether it is due.
    pub(super) fn wait_for(&self, at: Instant) -> bool {
        let log_ms = (at - self.jumped).as_ms();
        #[expect(clippy::cast_precision_loss, reason = "a millisecond in a thousand years does not matter")]
        let due = Duration::try_from_secs_f64(log_ms as f64 / 1000.0 / self.pace.0).unwrap_or(Duration::MAX);
        let left = due.saturating_sub(Duration::from_millis(self.clock.now().as_ms()));
        if !left.is_zero() {
            self.asleep.wait(left.min(SLICE));
        }
        left <= SLICE
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_a_pace() {
        assert_eq!("60".parse::<Pace>().map(Pace::log_ms_a_second), Ok(60_000));
        for wrong in ["0", "-1", "NaN", "inf", "fast", ""] {
            let error = wrong.parse::<Pace>().expect_err(wrong).to_string();
            assert!(error.contains("Example: --pace 60"), "{error}");
        }
    }
}
