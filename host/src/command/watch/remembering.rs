//! What outlasts a watch: the alerts that stand and the owner's order, kept at each change.
//!
//! What the last watch left is told, and what of it is not judged anew is kept for the next one too.

use std::path::Path;
use std::path::PathBuf;

use lubber_core::alert::AlertKind;
use lubber_core::alert::Evidence;
use lubber_core::alert::Instance;
use lubber_core::alert::Part;
use lubber_core::alert::Priority;
use lubber_core::arbiter::AlertChange;
use lubber_core::monitor::Event;
use lubber_core::monitor::Monitor;
use lubber_core::monitor::Notice;
use lubber_core::picture::OrderedBy;
use lubber_core::picture::Steering;
use lubber_core::time::Instant;
use lubber_core::time::Span;

use super::company::Companion;
use super::inheriting::Held;
use super::inheriting::Inherited;
use super::inheriting::inherit;
use super::setup::Setup;
use super::standing::Alerts;
use crate::clock::Clock;
use crate::exit::Failure;
use crate::memory;
use crate::memory::Keeper;
use crate::memory::Kept;
use crate::memory::MemoryError;
use crate::memory::Standing;
use crate::session::Ending;
use crate::session::Legacy;
use crate::session::Moment;
use crate::session::Report;
use crate::view::Sources;
use crate::view::alert;

/// What is kept of a watch.
pub(super) struct Remembering {
    keeper: Keeper,
    sources: Sources,
    alerts: Alerts,
    order: Option<String>,
    /// What was seen when it was seen, of alerts that are only presented again.
    seen: Vec<(AlertKind, Instance, String)>,
    /// What stood in an earlier watch and is not judged yet by this one.
    held: Held,
    kept: Standing,
    next: Instant,
}

/// How often the file shows that the watch lives: the resolution of "ended so long ago".
const ALIVE: Span = Span::from_s(60);

/// What the owner typed about it.
pub(super) struct Wanted {
    /// The file that was named.
    pub(super) file: Option<PathBuf>,
    /// Nothing is to be remembered.
    pub(super) none: bool,
    /// This watch is given an order, and needs no older one.
    pub(super) ordered: bool,
    /// Whether it is a live watch: a log is remembered only where a file is named for it.
    pub(super) live: bool,
}

impl Remembering {
    /// The memory of this watch, and what the last one left. A usual place that cannot be used is told and
    /// is no reason to keep no watch; one that the owner names is.
    pub(super) fn wanted(wanted: Wanted, setup: &mut Setup) -> Result<(Option<Self>, Legacy), Failure> {
        let Wanted { file, none, ordered, live } = wanted;
        let named = file.or_else(|| setup.sounder.state.clone().filter(|_| live));
        if none || (!live && named.is_none()) {
            return Ok((None, Legacy::default()));
        }
        let usual = || {
            let variable = |name| std::env::var_os(name).map(PathBuf::from);
            memory::place(variable("STATE_DIRECTORY"), variable("XDG_STATE_HOME"), variable("HOME"))
        };
        let opened = named.clone().or_else(usual).ok_or(MemoryError::Nowhere).and_then(|path| {
            let opened = Self::open(&path, setup.sources.clone(), ordered)?;
            setup.state = Some(path);
            Ok(opened)
        });
        match opened {
            Ok((remembering, legacy)) => Ok((Some(remembering), legacy)),
            Err(error) if named.is_none() => {
                setup.findings.push(format!("after a restart nothing is presented again: {error}"));
                Ok((None, Legacy::default()))
            }
            Err(error) => Err(Failure::new(error.to_string())),
        }
    }

    /// Opens the file at `path`; what the last watch left there, and what is to be said about the file.
    /// `ordered`: this watch is given an order, and needs no older one.
    fn open(path: &Path, sources: Sources, ordered: bool) -> Result<(Self, Legacy), MemoryError> {
        let (keeper, left) = Keeper::open(path)?;
        let mut remembering = Self {
            keeper,
            sources,
            alerts: Alerts::default(),
            order: None,
            seen: Vec::new(),
            held: Held::default(),
            kept: Standing::default(),
            next: Instant::default(),
        };
        let legacy = match left {
            Ok(Some(left)) => {
                let utc_s = Clock::utc().timestamp();
                let Inherited { legacy, seen, held } = inherit(&left, &remembering.sources, ordered, utc_s);
                remembering.kept = left.standing;
                (remembering.seen, remembering.held) = (seen, held);
                legacy
            }
            Ok(None) => Legacy::default(),
            Err(damaged) => Legacy { remarks: vec![damaged.to_string()], ..Legacy::default() },
        };
        Ok((remembering, legacy))
    }

    fn kept(&self, change: &AlertChange) -> Kept {
        let seen =
            |(kind, instance, _): &&(AlertKind, Instance, String)| (*kind, *instance) == (change.kind, change.instance);
        let text = match (change.evidence, self.seen.iter().find(seen)) {
            (Evidence::PresentedAgain { .. }, Some((.., text))) => text.clone(),
            _ => alert::words(change, &self.sources),
        };
        let mut kept = Kept {
            alert: change.kind.name().to_owned(),
            priority: change.priority.word().to_owned(),
            state: change.state.word().to_owned(),
            sensor: None,
            source: None,
            part: None,
            follows: change.follows.is_some(),
            left_utc_s: None,
            text,
        };
        match change.instance {
            Instance::Boat => {}
            Instance::Sensor(origin) => {
                kept.sensor = Some(origin.to_string());
                kept.source = Some(self.sources.name(origin.source).to_owned());
            }
            Instance::Source(source) => kept.source = Some(self.sources.name(source).to_owned()),
            Instance::Part(part) => kept.part = Some(part.to_string()),
        }
        kept
    }

    fn keep(&mut self) {
        // A part of the watch is tried anew by the next one, and a caution asks for no answer.
        let lasting =
            |change: &&AlertChange| change.kind != AlertKind::WatchImpaired && change.priority != Priority::Caution;
        let own = self.alerts.iter().filter(lasting).map(|change| self.kept(change));
        let alerts = own.chain(self.held.iter().cloned()).collect();
        let sources = self.sources.iter().map(|(_, source)| source.name.clone()).collect();
        let standing = Standing { order: self.order.clone(), sources, alerts };
        if standing != self.kept {
            self.kept = standing.clone();
            self.keeper.keep(standing);
        }
    }
}

/// The owner's order as it is typed.
fn ordered(steering: Steering) -> Option<String> {
    match steering {
        Steering::Heading { order, by: OrderedBy::Owner, .. } => {
            let mdeg = order.bearing.as_mdeg();
            Some(format!("{}.{:03}{}", mdeg / 1000, mdeg % 1000, order.reference.letter()))
        }
        Steering::Wind => Some("wind".into()),
        Steering::Hand => Some("hand".into()),
        Steering::Heading { .. } | Steering::Unknown => None,
    }
}

impl Companion for Remembering {
    fn event(&mut self, _: Moment, event: &Event<'_>) {
        match event {
            Event::Alert(change) if !change.repeated => {
                self.alerts.take(change);
                self.held.take(change);
            }
            Event::Notice(Notice::Steering(steering)) => self.order = ordered(*steering),
            _ => return,
        }
        self.keep();
    }

    fn due(&self) -> Instant {
        self.next
    }

    fn look(&mut self, moment: Moment, monitor: &Monitor) {
        self.held.judge(moment.now, monitor);
        self.keep();
        self.keeper.alive();
        self.next = moment.now + ALIVE;
    }

    fn report(&mut self) -> Option<Report> {
        let (works, why) = match self.keeper.report()? {
            memory::Report::Works => (true, String::new()),
            memory::Report::Fails(why) => (false, why),
        };
        Some(Report { part: Part::Memory, works, why })
    }

    fn end(&mut self, _: Moment, _: &Monitor, _: Ending) {
        self.keeper.alive();
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::command::order;
    use lubber_core::angle::Bearing;
    use lubber_core::picture::Command;
    use lubber_core::picture::Reference;
    use lubber_core::picture::Referred;

    #[test]
    fn an_order_is_read_back_as_it_was_given() {
        for mdeg in [0, 7_005, 150_000, 359_999] {
            let order = Referred { bearing: Bearing::from_mdeg(mdeg), reference: Reference::Magnetic };
            let by = |by| Steering::Heading { order, by, held: false };
            let typed = ordered(by(OrderedBy::Owner)).unwrap();
            assert_eq!(order::read(&typed), Some(Command::Steer(order)), "{typed}");
            assert_eq!(ordered(by(OrderedBy::FirstSteadyMinute)), None);
        }
        assert_eq!(ordered(Steering::Hand).as_deref().and_then(order::read), Some(Command::SteerHand));
        assert_eq!(ordered(Steering::Wind).as_deref().and_then(order::read), Some(Command::SteerWind));
        assert_eq!(ordered(Steering::Unknown), None);
    }
}
