//! What is watched for just now, told when it changes and has stayed so.

use lubber_core::alert::AlertKind;
use lubber_core::alert::Why;

use crate::view::Stamp;
use crate::view::json::object;
use crate::view::ledger::reason;

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

impl Judging {
    /// Everything as it is now counts as told.
    pub fn all_told(&mut self, judging: &[Result<(), Why>]) {
        for (told, judging) in self.told.iter_mut().zip(judging) {
            *told = Some(judging.map_err(reason));
        }
        self.otherwise_since = Default::default();
    }

    /// What is to be told now; nothing before [`Self::all_told`].
    pub fn changes(&mut self, stamp: Stamp, judging: &[Result<(), Why>]) -> Vec<(AlertKind, Result<(), Why>)> {
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
            if first || stamp.since_start_ms.saturating_sub(since) >= LASTING_MS {
                self.told[place] = Some(now);
                self.otherwise_since[place] = None;
                changes.push((*kind, *judging));
            }
        }
        changes
    }
}

/// The change for a person.
pub fn words(kind: AlertKind, judging: Result<(), Why>) -> String {
    match judging {
        Ok(()) => format!("{kind} is watched for"),
        Err(why) => format!("{kind} is NOT WATCHED: {why}"),
    }
}

/// Appends the change as one JSON object.
pub fn json(out: &mut String, stamp: Stamp, kind: AlertKind, judging: Result<(), Why>) {
    object(out, |o| {
        o.text_or_null("at", stamp.iso());
        o.number("since_start_ms", stamp.since_start_ms);
        o.text("notice", "judging");
        // As in the status, and with no key of its own that a reader could take for an alert.
        o.object("judging", |o| match judging {
            Ok(()) => o.text(kind.name(), "yes"),
            Err(why) => o.text(kind.name(), format_args!("no: {why}")),
        });
    });
}

#[cfg(test)]
mod tests {
    use super::*;
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
            told.extend(judging.changes(at(s), &status.judging).into_iter().map(|(kind, _)| (s, kind)));
        }
        assert_eq!(told, [(110, AlertKind::HeadingDisagreement)]);
    }
}
