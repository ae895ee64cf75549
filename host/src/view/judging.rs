//! What is watched for just now, told when it changes and has stayed so.

use lubber_core::alert::AlertKind;
use lubber_core::alert::Evidence;
use lubber_core::alert::Why;
use lubber_core::arbiter::AlertChange;
use lubber_core::arbiter::State;
use lubber_core::time::Instant;
use lubber_core::time::Span;

use crate::view::Stamp;
use crate::view::json::object;
use crate::view::ledger::reason;
use crate::view::number::seconds;

/// A change is told once it has lasted so long: every tack makes an alert settle for a while.
const LASTING_MS: u64 = 60_000;

/// The reasons of what has not begun yet.
const FIRST: [&str; 3] = [reason(Why::Starting), reason(Why::NoOrder), reason(Why::NotYetHeard)];

/// What was told last of each alert, and since when it is otherwise.
#[derive(Clone, Copy, Debug, Default)]
pub struct Judging {
    told: [Option<Said>; AlertKind::ALL.len()],
    otherwise_since: [Option<u64>; AlertKind::ALL.len()],
}

/// Watched for, or the reason why not.
type Said = Result<(), &'static str>;

/// A change of what is watched for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Change {
    /// Of which alert.
    pub kind: AlertKind,
    /// Watched for now, or why not.
    pub judging: Result<(), Why>,
    /// For how long it has been so by now, in milliseconds.
    pub lasting_ms: u64,
}

impl Judging {
    /// Everything as it is now counts as told.
    pub fn all_told(&mut self, judging: &[Result<(), Why>]) {
        for (told, judging) in self.told.iter_mut().zip(judging) {
            *told = Some(judging.map_err(reason));
        }
        self.otherwise_since = Default::default();
    }

    /// What is to be told now; nothing before [`Self::all_told`].
    pub fn changes(&mut self, stamp: Stamp, judging: &[Result<(), Why>]) -> Vec<Change> {
        let mut changes = Vec::new();
        for (place, (kind, judging)) in AlertKind::ALL.iter().zip(judging).enumerate() {
            let now = judging.map_err(reason);
            if self.told[place].is_none_or(|told| told == now) {
                self.otherwise_since[place] = None;
                continue;
            }
            let since = *self.otherwise_since[place].get_or_insert(stamp.since_start_ms);
            // What waited for its first order or its first value is told at once: that happens once,
            // and must not be told after the alert itself.
            let first = matches!(self.told[place], Some(Err(before)) if FIRST.contains(&before));
            let lasting_ms = stamp.since_start_ms.saturating_sub(since);
            if first || lasting_ms >= LASTING_MS {
                self.told[place] = Some(now);
                self.otherwise_since[place] = None;
                changes.push(Change { kind: *kind, judging: *judging, lasting_ms });
            }
        }
        changes
    }

    /// What is to be told before `alert`: that it is watched for, if it was last told that it is not. What
    /// has just been raised has been judged.
    pub fn before(&mut self, stamp: Stamp, alert: &AlertChange) -> Option<Change> {
        let raised = matches!(alert.state, State::Active | State::ActiveUnacknowledged) && !alert.repeated;
        let presented = matches!(alert.evidence, Evidence::PresentedAgain { .. });
        let place = AlertKind::ALL.iter().position(|kind| *kind == alert.kind)?;
        if !raised || alert.escalated || presented || !matches!(self.told[place], Some(Err(_))) {
            return None;
        }
        self.told[place] = Some(Ok(()));
        let since = self.otherwise_since[place].take().unwrap_or(stamp.since_start_ms);
        Some(Change { kind: alert.kind, judging: Ok(()), lasting_ms: stamp.since_start_ms.saturating_sub(since) })
    }
}

/// The change for a person. What waited until it lasted says since when it has been so.
pub fn words(stamp: Stamp, change: Change) -> String {
    let since = stamp.back_to(Instant::from_ms(stamp.since_start_ms.saturating_sub(change.lasting_ms)));
    let since = if change.lasting_ms >= 1000 { format!(" since {}", since.clock()) } else { String::new() };
    match change.judging {
        Ok(()) => format!("{} is watched for{since}", change.kind),
        Err(why) => format!("{} is NOT WATCHED{since}: {why}", change.kind),
    }
}

/// Appends the change as one JSON object.
pub fn json(out: &mut String, stamp: Stamp, change: Change) {
    object(out, |o| {
        o.text_or_null("at", stamp.iso());
        o.number("since_start_ms", stamp.since_start_ms);
        o.text("notice", "judging");
        // As in the status, and with no key of its own that a reader could take for an alert.
        o.object("judging", |o| match change.judging {
            Ok(()) => o.text(change.kind.name(), "yes"),
            Err(why) => o.text(change.kind.name(), format_args!("no: {why}")),
        });
        o.number("lasting_s", seconds(Span::from_ms(change.lasting_ms)));
    });
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::view::sample::alarm;
    use crate::view::sample::nothing_known;
    use lubber_core::unit::Speed;

    fn at(s: u64) -> Stamp {
        Stamp { utc_ms: None, since_start_ms: s * 1000 }
    }

    #[test]
    fn a_change_is_told_once_and_only_when_it_lasts() {
        let mut judging = Judging::default();
        let mut status = nothing_known();
        judging.all_told(&status.judging);
        status.judging[1] = Err(Why::Settling);
        assert_eq!(judging.changes(at(10), &status.judging), []);
        status.judging[1] = Ok(());
        assert_eq!(judging.changes(at(40), &status.judging), []);
        let mut told = Vec::new();
        for s in 50..300 {
            // The figures in the reason change all the time; the reason does not.
            let speed = Speed::from_mm_s(i32::try_from(s).unwrap_or(0));
            status.judging[1] = Err(Why::TooSlow { speed, least: Speed::from_milliknots(1500) });
            told.extend(judging.changes(at(s), &status.judging).into_iter().map(|change| (s, change.kind)));
        }
        assert_eq!(told, [(110, AlertKind::HeadingDisagreement)]);
    }

    #[test]
    fn an_alert_is_never_raised_by_what_was_last_told_not_to_be_watched() {
        let mut judging = Judging::default();
        let mut status = nothing_known();
        status.judging[0] = Err(Why::Settling);
        judging.all_told(&status.judging);
        let raised = alarm(AlertKind::OffHeading, Evidence::PresentedAgain { ago: Span::ZERO });
        assert_eq!(judging.before(at(5), &raised), None, "what is only presented again was not judged");
        status.judging[0] = Ok(());
        assert_eq!(judging.changes(at(30), &status.judging), []);
        let raised = AlertChange { evidence: Evidence::Impaired { lasting: Span::ZERO }, ..raised };
        let change = judging.before(at(60), &raised).expect("it is told before the alarm");
        assert_eq!(words(at(60), change), "off-heading is watched for since +0:00:30");
        let mut line = String::new();
        json(&mut line, at(60), change);
        assert!(line.ends_with(r#""judging":{"off-heading":"yes"},"lasting_s":30.0}"#), "{line}");
        // Once: neither again before the next change of the alarm nor a minute after it began.
        assert_eq!(judging.before(at(61), &raised), None);
        assert_eq!(judging.changes(at(90), &status.judging), []);
    }
}
