//! The arbiter: the one state machine that every alert goes through.
//!
//! ```text
//!             raised                 acknowledge
//!   normal ----------> active-      ------------> active-acknowledged
//!     ^                unacknowledged                    |
//!     |                 |   ^  |  ^                      | rectified
//!     |       silence   v   |  |  | raised again         v
//!     |     active-silenced -+ |  |                    normal
//!     |       (30 s)           v  |
//!     +----------- rectified-unacknowledged
//!      acknowledge
//! ```
//!
//! An unacknowledged warning is presented again after 60 s and becomes an alarm after 5 min; one that
//! follows from another alert does neither until that is over, and then its time counts from there. A
//! caution asks for no answer: it is `active` or `normal`. States, silence and escalation as in
//! MSC.302(87) 7.3; its 60 s and 5 min are from memory, no text seen.

use crate::alert::AlertKind;
use crate::alert::Evidence;
use crate::alert::Instance;
use crate::alert::Priority;
use crate::alert::Verdict;
use crate::time::Instant;
use crate::time::Mark;
use crate::time::Span;
use heapless::Vec;

/// The state of one alert: MSC.302(87). Cautions use only `Active` and `Normal`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum State {
    /// A caution that stands.
    Active,
    /// It stands and nobody has answered.
    ActiveUnacknowledged,
    /// It stands, nobody has answered, and the sound is off for 30 s.
    ActiveSilenced,
    /// It stands and somebody has taken responsibility.
    ActiveAcknowledged,
    /// It no longer stands, and nobody has answered.
    RectifiedUnacknowledged,
    /// It does not stand.
    Normal,
}

/// One change of one alert.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct AlertChange {
    /// When.
    pub at: Instant,
    /// Which alert.
    pub kind: AlertKind,
    /// Of what.
    pub instance: Instance,
    /// Which of this watch's alerts, from 1: its instance on the wire.
    pub number: u8,
    /// 1 to 99 and around again, one more with each change: its revision on the wire. A repeated
    /// presentation is no change.
    pub revision: u8,
    /// How often it was escalated since it was raised, at most 9.
    pub escalations: u8,
    /// How many times it has been raised, counted from 1.
    pub occurrence: u32,
    /// How urgent it is now; an escalation raises it.
    pub priority: Priority,
    /// The state it is in now.
    pub state: State,
    /// Whether this change is an unacknowledged warning becoming an alarm.
    pub escalated: bool,
    /// Whether this change only repeats the presentation of an alert nobody has answered.
    pub repeated: bool,
    /// The alert it follows from, if any: then it does not sound by itself.
    pub follows: Option<AlertKind>,
    /// What it saw, latest.
    pub evidence: Evidence,
}

impl State {
    /// The word in every output.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Active => "active",
            Self::ActiveUnacknowledged => "active-unacknowledged",
            Self::ActiveSilenced => "active-silenced",
            Self::ActiveAcknowledged => "active-acknowledged",
            Self::RectifiedUnacknowledged => "rectified-unacknowledged",
            Self::Normal => "normal",
        }
    }
}

/// A silenced alert sounds again after this: MSC.302(87) 7.3.5.
const SILENCE: Span = Span::from_s(30);
/// An unacknowledged warning is presented again after this: from memory.
const REPEAT: Span = Span::from_s(60);
/// An unacknowledged warning becomes an alarm after this: from memory.
const ESCALATE: Span = Span::from_min(5);
/// What an alert followed from may be over a little before the alert itself; it sounds by itself
/// only when it outlives its cause by this.
const OUTLIVED: Span = Span::from_s(10);
/// What stood when an earlier watch ended is believed to be over only after this: a judge that has just
/// begun is clear before it has seen enough to raise anything.
const BELIEVED: Span = Span::from_min(2);
/// Most alerts that can be known at once: every kind and every source and sensor it can be of.
pub const ALERTS: usize = 30;

/// One alert as it stands. When it was presented last is when it changed last.
#[derive(Clone, Copy, Debug)]
struct Slot {
    change: AlertChange,
    raised: Instant,
    /// Since when the alert it follows from is over.
    alone: Mark,
}

/// The arbiter of all alerts.
#[derive(Debug, Default)]
pub struct Arbiter {
    slots: Vec<Slot, ALERTS>,
    /// A bit for each kind that was ever in a slot: most never are, and are judged all the time.
    known: u16,
}

/// The bit of a kind.
const fn bit(kind: AlertKind) -> u16 {
    1 << kind as u16
}

const _: () = assert!(AlertKind::ALL.len() <= 16, "a bit for each kind");

impl Arbiter {
    /// An arbiter without alerts.
    pub const fn new() -> Self {
        Self { slots: Vec::new(), known: 0 }
    }

    /// Takes the verdict on one alert. `follows` names the alert that this one follows from.
    #[inline(always)]
    pub fn take(
        &mut self,
        now: Instant,
        kind: AlertKind,
        instance: Instance,
        verdict: &Verdict,
        follows: Option<AlertKind>,
        out: &mut impl FnMut(AlertChange),
    ) {
        match verdict {
            Verdict::Raised(evidence) => self.raised(now, kind, instance, evidence, follows, out),
            _ if !self.knows(kind) => {}
            Verdict::Clear => self.clear(now, kind, instance, out),
            Verdict::Unjudged(_) => self.outlive(now, kind, instance, follows, out),
        }
    }

    #[inline(never)]
    fn clear(&mut self, now: Instant, kind: AlertKind, instance: Instance, out: &mut impl FnMut(AlertChange)) {
        if let Some(slot) = self.slots.iter_mut().find(|slot| slot.is(kind, instance)) {
            slot.rectify(now, out);
        }
    }

    #[inline(never)]
    fn outlive(
        &mut self,
        now: Instant,
        kind: AlertKind,
        instance: Instance,
        follows: Option<AlertKind>,
        out: &mut impl FnMut(AlertChange),
    ) {
        if let Some(slot) = self.slots.iter_mut().find(|slot| slot.is(kind, instance) && slot.stands()) {
            slot.outlive(now, follows, out);
        }
    }

    #[inline(never)]
    fn raised(
        &mut self,
        now: Instant,
        kind: AlertKind,
        instance: Instance,
        evidence: &Evidence,
        follows: Option<AlertKind>,
        out: &mut impl FnMut(AlertChange),
    ) {
        match self.slots.iter_mut().find(|slot| slot.is(kind, instance)) {
            Some(slot) => slot.raise(now, *evidence, follows, out),
            None => {
                let mut slot = self.slot(now, kind, instance, *evidence);
                slot.raise(now, *evidence, follows, out);
                // The table holds every alert there can be. If it is full all the same, one that is
                // over makes room, or this one would be raised anew each time it is judged.
                if let Err(slot) = self.slots.push(slot) {
                    let over = |state| self.slots.iter().position(|slot| slot.change.state == state);
                    let index = over(State::Normal).or_else(|| over(State::RectifiedUnacknowledged));
                    if let Some(place) = index.and_then(|index| self.slots.get_mut(index)) {
                        *place = slot;
                    }
                }
            }
        }
    }

    /// Presents an alert again that stood `ago` before this watch began, nobody having answered it. It
    /// is an alarm, for nobody knows what became of it meanwhile, until it is acknowledged, raised
    /// anew, or seen to be over.
    pub fn present_again(
        &mut self,
        now: Instant,
        kind: AlertKind,
        instance: Instance,
        ago: Span,
        out: &mut impl FnMut(AlertChange),
    ) {
        if self.slots.iter().any(|slot| slot.is(kind, instance)) {
            return;
        }
        let mut slot = self.slot(now, kind, instance, Evidence::PresentedAgain { ago });
        slot.change.priority = Priority::Alarm;
        // One that finds no room would be one that nobody can acknowledge.
        if !self.slots.is_full() {
            slot.go(now, State::ActiveUnacknowledged, out);
            let _ = self.slots.push(slot);
        }
    }

    /// A slot for an alert that was never raised yet.
    fn slot(&mut self, now: Instant, kind: AlertKind, instance: Instance, evidence: Evidence) -> Slot {
        self.known |= bit(kind);
        let change = AlertChange {
            at: now,
            kind,
            instance,
            number: u8::try_from(self.slots.len() + 1).unwrap_or(u8::MAX),
            revision: 0,
            escalations: 0,
            occurrence: 0,
            priority: kind.priority(),
            state: State::Normal,
            escalated: false,
            repeated: false,
            follows: None,
            evidence,
        };
        Slot { change, raised: now, alone: Mark::NONE }
    }

    /// Time passes: silence ends, warnings repeat and escalate.
    pub fn step(&mut self, now: Instant, out: &mut impl FnMut(AlertChange)) {
        for slot in &mut self.slots {
            slot.step(now, out);
        }
    }

    /// Somebody takes responsibility for all that stands unacknowledged.
    pub fn acknowledge(&mut self, now: Instant, out: &mut impl FnMut(AlertChange)) {
        self.acknowledge_those(now, |_| true, out);
    }

    /// As [`acknowledge`](Self::acknowledge), for those alerts that are `meant`; whether there is one
    /// that is not normal.
    pub fn acknowledge_those(
        &mut self,
        now: Instant,
        meant: impl Fn(&AlertChange) -> bool,
        out: &mut impl FnMut(AlertChange),
    ) -> bool {
        let mut found = false;
        for slot in self.slots.iter_mut().filter(|slot| slot.change.state != State::Normal && meant(&slot.change)) {
            found = true;
            match slot.change.state {
                // Nobody knows whether it stands: if it does, it is raised anew.
                State::ActiveUnacknowledged | State::ActiveSilenced if slot.carried() => {
                    slot.go(now, State::Normal, out)
                }
                State::ActiveUnacknowledged | State::ActiveSilenced => slot.go(now, State::ActiveAcknowledged, out),
                State::RectifiedUnacknowledged => slot.go(now, State::Normal, out),
                State::Active | State::ActiveAcknowledged | State::Normal => {}
            }
        }
        found
    }

    /// What `kind` judges is taken away by the owner: acknowledged by that, and over.
    pub fn settle(&mut self, now: Instant, kind: AlertKind, out: &mut impl FnMut(AlertChange)) {
        self.acknowledge_those(now, |change| change.kind == kind, out);
        for slot in self.slots.iter_mut().filter(|slot| slot.change.kind == kind) {
            slot.rectify(now, out);
        }
    }

    /// Silences what sounds, for 30 s.
    pub fn silence(&mut self, now: Instant, out: &mut impl FnMut(AlertChange)) {
        self.silence_those(now, |_| true, out);
    }

    /// As [`silence`](Self::silence), for those alerts that are `meant`; whether there is one that is
    /// not normal.
    pub fn silence_those(
        &mut self,
        now: Instant,
        meant: impl Fn(&AlertChange) -> bool,
        out: &mut impl FnMut(AlertChange),
    ) -> bool {
        let mut found = false;
        for slot in self.slots.iter_mut().filter(|slot| slot.change.state != State::Normal && meant(&slot.change)) {
            found = true;
            if slot.change.state == State::ActiveUnacknowledged {
                slot.go(now, State::ActiveSilenced, out);
            }
        }
        found
    }

    /// Whether an alert of this kind was ever raised: else nothing becomes of a clear verdict.
    pub fn knows(&self, kind: AlertKind) -> bool {
        self.known & bit(kind) != 0
    }

    /// Whether this alert stands now. One that is only presented again is the cause of no other:
    /// nobody knows whether it stands.
    pub fn stands(&self, kind: AlertKind, instance: Instance) -> bool {
        self.knows(kind) && self.stands_in_a_slot(kind, instance)
    }

    #[inline(never)]
    fn stands_in_a_slot(&self, kind: AlertKind, instance: Instance) -> bool {
        self.slots.iter().any(|slot| slot.is(kind, instance) && slot.stands() && !slot.carried())
    }

    /// Whether this alert stands now and is more than a caution: only then has somebody heard of it.
    pub fn is_heard(&self, kind: AlertKind, instance: Instance) -> bool {
        let change = |slot: &&Slot| slot.change.kind == kind && slot.change.instance == instance;
        let slot = self.slots.iter().find(change);
        slot.is_some_and(|slot| slot.stands() && slot.change.priority > Priority::Caution)
    }

    /// Whether any alert stands now on `instance`.
    pub fn stands_on(&self, instance: Instance) -> bool {
        self.slots.iter().any(|slot| slot.change.instance == instance && slot.stands())
    }

    /// Every alert that is not normal, in the order they were first raised.
    pub fn standing(&self) -> impl Iterator<Item = &AlertChange> {
        self.slots.iter().map(|slot| &slot.change).filter(|change| change.state != State::Normal)
    }
}

impl Slot {
    /// Whether it is this alert.
    fn is(&self, kind: AlertKind, instance: Instance) -> bool {
        self.change.kind == kind && self.change.instance == instance
    }

    /// Whether it stood in an earlier watch, and nothing has been judged of it since.
    fn carried(&self) -> bool {
        matches!(self.change.evidence, Evidence::PresentedAgain { .. })
    }

    fn stands(&self) -> bool {
        !matches!(self.change.state, State::Normal | State::RectifiedUnacknowledged)
    }

    fn raise(
        &mut self,
        now: Instant,
        evidence: Evidence,
        follows: Option<AlertKind>,
        out: &mut impl FnMut(AlertChange),
    ) {
        let named = self.change.evidence.stands_alone().is_none() && evidence.stands_alone().is_some();
        let graver = evidence.is_graver_than(&self.change.evidence);
        let priority = evidence.priority(self.change.kind);
        // What was only presented again is a raise like any other from here on.
        let carried = self.carried();
        self.change.evidence = evidence;
        if self.stands() && !carried {
            if self.change.state == State::Active && priority > Priority::Caution {
                // It was a caution, and is more than that by what is seen now.
                self.change.priority = priority;
                self.raised = now;
                self.go(now, State::ActiveUnacknowledged, out);
                return;
            }
            if graver {
                // For more people than before, so whoever silenced it has not heard this.
                self.change.escalations = (self.change.escalations + 1).min(9);
                self.go(now, State::ActiveUnacknowledged, out);
                return;
            }
            // Who stands alone is worth telling as soon as it is known, to somebody who has not answered.
            if named && self.change.state == State::ActiveUnacknowledged {
                self.change.repeated = true;
                self.go(now, State::ActiveUnacknowledged, out);
                self.change.repeated = false;
            }
            if self.change.follows.is_none() || follows.is_some() {
                self.change.follows = follows;
                self.alone = Mark::NONE;
            } else {
                self.outlive(now, follows, out);
            }
            return;
        }
        self.change.follows = follows;
        self.alone = Mark::NONE;
        self.change.occurrence = self.change.occurrence.saturating_add(1);
        self.change.priority = priority;
        self.change.escalations = 0;
        self.raised = now;
        let caution = self.change.priority == Priority::Caution;
        self.go(now, if caution { State::Active } else { State::ActiveUnacknowledged }, out);
    }

    /// It stands; where what it followed from is over for long enough, it sounds by itself from now on, and how
    /// long nobody has answered it counts from now.
    fn outlive(&mut self, now: Instant, follows: Option<AlertKind>, out: &mut impl FnMut(AlertChange)) {
        if self.change.follows.is_none() || follows.is_some() {
            self.alone = Mark::NONE;
        } else if now.since(self.alone.moment_or(now)) >= OUTLIVED {
            self.change.follows = None;
            self.raised = now;
            if self.change.state == State::ActiveUnacknowledged {
                self.go(now, State::ActiveUnacknowledged, out);
            }
        }
    }

    fn rectify(&mut self, now: Instant, out: &mut impl FnMut(AlertChange)) {
        if self.stands() && self.carried() && now.since(self.raised) < BELIEVED {
            return;
        }
        match self.change.state {
            State::ActiveUnacknowledged | State::ActiveSilenced => {
                self.go(now, State::RectifiedUnacknowledged, out);
            }
            State::Active | State::ActiveAcknowledged => self.go(now, State::Normal, out),
            State::RectifiedUnacknowledged | State::Normal => {}
        }
    }

    fn step(&mut self, now: Instant, out: &mut impl FnMut(AlertChange)) {
        if self.change.state == State::ActiveSilenced && now.since(self.change.at) >= SILENCE {
            self.go(now, State::ActiveUnacknowledged, out);
        }
        let waiting = matches!(self.change.state, State::ActiveUnacknowledged | State::ActiveSilenced);
        // What follows from another alert is answered with that one: it neither repeats nor escalates meanwhile.
        if !waiting || self.change.priority != Priority::Warning || self.change.follows.is_some() {
            return;
        }
        if now.since(self.raised) >= ESCALATE {
            self.change.priority = Priority::Alarm;
            self.change.escalated = true;
            self.change.escalations = (self.change.escalations + 1).min(9);
            self.go(now, State::ActiveUnacknowledged, out);
            self.change.escalated = false;
        } else if self.change.state == State::ActiveUnacknowledged && now.since(self.change.at) >= REPEAT {
            self.change.repeated = true;
            self.go(now, State::ActiveUnacknowledged, out);
            self.change.repeated = false;
        }
    }

    fn go(&mut self, now: Instant, state: State, out: &mut impl FnMut(AlertChange)) {
        self.change.at = now;
        self.change.state = state;
        if !self.change.repeated {
            self.change.revision = self.change.revision % 99 + 1;
        }
        out(self.change);
    }
}

#[cfg(test)]
mod tests;
