//! The ledger of a watch: what came, what was raised, and for how long each alert could judge.

use std::collections::BTreeMap;

use lubber_core::alert::AlertKind;
use lubber_core::alert::Evidence;
use lubber_core::alert::Instance;
use lubber_core::alert::Priority;
use lubber_core::alert::Why;
use lubber_core::arbiter::State;
use lubber_core::monitor::Correction;
use lubber_core::monitor::Event;
use lubber_core::monitor::HeadingStatus;
use lubber_core::monitor::Notice;
use lubber_core::monitor::Status;
use lubber_core::monitor::VariationInUse;
use lubber_core::picture::Origin;

use crate::view::Stamp;
use crate::view::kinds::Kinds;

/// What is kept to be told at the end.
#[derive(Debug, Default)]
pub struct Ledger {
    /// Sentences by kind.
    pub kinds: Kinds,
    /// What was raised, in the order of its first time.
    pub raised: Vec<Raised>,
    /// For each alert how long it judged and how long not, in the order of [`AlertKind::ALL`].
    pub judged: [Judged; AlertKind::ALL.len()],
    /// Each heading the watch was kept by and how it became magnetic, in order, without repeats.
    pub headings: Vec<(Origin, Correction)>,
    /// The variation in use last, and how many there were.
    pub variation: Option<(VariationInUse, u32)>,
    /// The first moment that was judged.
    pub first: Option<Stamp>,
    /// The last moment.
    pub last: Option<Stamp>,
    /// How the last heading stood.
    pub heading: Option<HeadingStatus>,
    /// Whether an alarm or a warning was ever raised.
    pub alarmed: bool,
}

/// One alert of one instance.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Raised {
    /// Which.
    pub kind: AlertKind,
    /// Of what.
    pub instance: Instance,
    /// The highest priority it reached.
    pub priority: Priority,
    /// How often in this watch.
    pub times: u32,
    /// When first; where it was only carried over, when that was told.
    pub first: Stamp,
    /// Whether it stood before this watch began, and was presented again.
    pub carried: bool,
    /// The state it is in now.
    pub state: State,
}

/// How long an alert judged, and how long it could not and why.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Judged {
    /// Milliseconds it judged.
    pub yes_ms: u64,
    /// Milliseconds it did not, by reason.
    pub no_ms: BTreeMap<&'static str, u64>,
}

impl Ledger {
    /// Takes note of one event. A sentence costs one look into a table.
    #[inline]
    pub fn event(&mut self, stamp: Stamp, event: &Event<'_>) {
        match event {
            Event::Sentence { line, decoded, .. } => {
                let kind = self.kinds.of(line.talker(), line.formatter());
                kind.read += 1;
                kind.unusable += u64::from(decoded.unusable);
            }
            Event::Malformed { line, .. } => self.kinds.of(line.talker(), line.formatter()).malformed += 1,
            Event::Refused { .. } => {}
            Event::Alert(change) => {
                if matches!(change.state, State::Active | State::ActiveUnacknowledged) {
                    self.alarmed |= change.priority >= Priority::Warning;
                }
                let same = |r: &&mut Raised| r.kind == change.kind && r.instance == change.instance;
                match self.raised.iter_mut().find(same) {
                    Some(raised) => {
                        if raised.times == 0 && change.occurrence > 0 {
                            raised.first = stamp;
                        }
                        raised.times = raised.times.max(change.occurrence);
                        raised.priority = raised.priority.max(change.priority);
                        raised.state = change.state;
                    }
                    None => self.raised.push(Raised {
                        kind: change.kind,
                        instance: change.instance,
                        priority: change.priority,
                        times: change.occurrence,
                        first: stamp,
                        carried: matches!(change.evidence, Evidence::PresentedAgain { .. }),
                        state: change.state,
                    }),
                }
            }
            Event::Notice(Notice::HeadingSource { origin, correction }) => {
                let now = (*origin, *correction);
                // A pair that alternates all night must not grow a list.
                if !self.headings.contains(&now) {
                    self.headings.push(now);
                }
            }
            Event::Notice(Notice::Variation(variation)) => {
                let before = self.variation.map_or(0, |(_, changes)| changes);
                self.variation = Some((*variation, before.saturating_add(1)));
            }
            Event::Notice(_) | Event::Command(_) => {}
        }
    }

    /// Takes note of what is judged at `stamp`, and of how things stand.
    pub fn look(&mut self, stamp: Stamp, status: &Status) {
        self.judged(stamp, &status.judging);
        if status.heading.is_some() {
            self.heading = status.heading;
        }
        // A new choice is reached by slewing, long after it was told: the last look knows the amount.
        if let Some(now) = status.variation {
            let changes = self.variation.map_or(1, |(_, changes)| changes);
            self.variation = Some((now, changes));
        }
    }

    /// Takes note of what is judged at `stamp`: it counts for the time since the look before.
    pub fn judged(&mut self, stamp: Stamp, judging: &[Result<(), Why>]) {
        let since =
            self.last.map_or(stamp.since_start_ms, |last| stamp.since_start_ms.saturating_sub(last.since_start_ms));
        for (judged, judging) in self.judged.iter_mut().zip(judging) {
            match judging {
                Ok(()) => judged.yes_ms += since,
                Err(why) => *judged.no_ms.entry(reason(*why)).or_default() += since,
            }
        }
        // The first moment whose UTC is known says when the watch began.
        if self.first.is_none_or(|first| first.utc_ms.is_none() && stamp.utc_ms.is_some()) {
            self.first = Some(stamp);
        }
        self.last = Some(stamp);
    }
}

/// The reason in words that do not change with the figures in it, so that times can be added up.
pub const fn reason(why: Why) -> &'static str {
    match why {
        Why::Disabled => "switched off in the boat file",
        Why::Starting => "the watch had just begun",
        Why::NoHeading => "no heading",
        Why::NoOrder => "no heading was ordered",
        Why::OrderNotComparable => "the order's north could not be reached",
        Why::SteeredByWind => "steered by the wind",
        Why::SteeredByHand => "steered by hand",
        Why::NoWitness => "no second witness of the heading",
        Why::MayBeCopies => "the other headings may be copies",
        Why::TooSlow { .. } => "too slow for the course to mean anything",
        Why::Settling => "settling: learning what is normal",
        Why::TrackMoves { .. } => "the track moved as slowly as a current does",
        Why::NotYetHeard => "not heard yet",
        Why::NotWanted => "never heard, and the boat file does not name it",
        Why::HardlyHeard => "heard for less than a minute in all, and the boat file does not name it",
        Why::NoGyro => "no rate of turn from a declared gyro",
        Why::NoRudder => "no rudder angle",
        Why::NoSpeed => "no speed",
        Why::NoSteerageWay { .. } => "no steerage way",
        Why::NoCard => "no card corrects the heading",
        Why::NoTrueWitness => "no second true heading to hold the card against",
        Why::NoVariation => "no variation",
        Why::HeelUnknown => "nothing said whether she was upright",
        Why::Heeled => "she heeled, and the card is made upright",
        Why::NotAskedFor => "off unless asked for",
        Why::NoVoltage => "no battery voltage",
        Why::NoLimit => "over 32 V, and the boat file gives no limit",
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::view::sample::nothing_known;

    #[test]
    fn time_judged_and_not_judged_adds_up_to_the_watch() {
        let mut ledger = Ledger::default();
        let mut status = nothing_known();
        status.judging[0] = Err(Why::NoOrder);
        for s in 1..=90_u64 {
            if s == 61 {
                status.judging[0] = Ok(());
            }
            ledger.look(Stamp { utc_ms: None, since_start_ms: s * 1000 }, &status);
        }
        assert_eq!(ledger.judged[0].yes_ms, 30_000);
        assert_eq!(ledger.judged[0].no_ms.get("no heading was ordered"), Some(&60_000));
        for judged in &ledger.judged {
            assert_eq!(judged.yes_ms + judged.no_ms.values().sum::<u64>(), 90_000);
        }
    }

    #[test]
    fn the_variation_at_the_end_is_the_one_in_use_then() {
        use lubber_core::angle::Turn;
        use lubber_core::heading::Variation;
        use lubber_core::monitor::VariationFrom;
        let by_model = |deg| VariationInUse { variation: Variation(Turn::from_deg(deg)), from: VariationFrom::Model };
        let mut ledger = Ledger::default();
        // The model was chosen while the wire's 14 degrees were in use, and then slewed to.
        ledger.event(Stamp::default(), &Event::Notice(Notice::Variation(by_model(14))));
        let status = Status { variation: Some(by_model(4)), ..nothing_known() };
        ledger.look(Stamp { utc_ms: None, since_start_ms: 1000 }, &status);
        assert_eq!(ledger.variation, Some((by_model(4), 1)));
    }
}
