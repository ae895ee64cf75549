//! What outlasts a watch: the alerts that stand and the owner's order, kept at each change; and what the
//! last watch left.
//!
//! An alert that nobody had answered when the last watch ended is presented again as an alarm, if that is
//! less than six hours ago; what had been answered, was over, or is older is only told. The owner's order
//! is carried over if the last watch ended less than half an hour ago, and that is told too.

use std::path::Path;
use std::path::PathBuf;

use lubber_core::alert::AlertKind;
use lubber_core::alert::Evidence;
use lubber_core::alert::Instance;
use lubber_core::alert::Part;
use lubber_core::alert::Priority;
use lubber_core::alert::Said;
use lubber_core::arbiter::AlertChange;
use lubber_core::arbiter::State;
use lubber_core::monitor::Event;
use lubber_core::monitor::Monitor;
use lubber_core::monitor::Notice;
use lubber_core::picture::Command;
use lubber_core::picture::Name;
use lubber_core::picture::OrderedBy;
use lubber_core::picture::Origin;
use lubber_core::picture::Steering;
use lubber_core::time::Instant;
use lubber_core::time::Span;

use super::company::Companion;
use super::setup::Setup;
use super::standing::Alerts;
use crate::command::order;
use crate::exit::Failure;
use crate::memory;
use crate::memory::Keeper;
use crate::memory::Kept;
use crate::memory::Left;
use crate::memory::MemoryError;
use crate::memory::Standing;
use crate::session::Carried;
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
    kept: Standing,
    next: Instant,
}

/// An alert older than this is told and does not sound: whoever starts a watch in the morning is not to be
/// alarmed by the instruments that were switched off last night.
const RECENT: Span = Span::from_min(6 * 60);
/// An order older than this is not carried over: she has been sailed on since without a watch.
const ORDER_HOLDS: Span = Span::from_min(30);
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
            kept: Standing::default(),
            next: Instant::default(),
        };
        let legacy = match left {
            Ok(Some(left)) => {
                remembering.kept = left.standing.clone();
                remembering.legacy(&left, ordered)
            }
            Ok(None) => Legacy::default(),
            Err(damaged) => Legacy { remarks: vec![damaged.to_string()], ..Legacy::default() },
        };
        Ok((remembering, legacy))
    }

    fn legacy(&mut self, left: &Left, ordered: bool) -> Legacy {
        let mut legacy = Legacy::default();
        let ago = Said(left.ago);
        for kept in &left.standing.alerts {
            let about = kept.sensor.as_ref().or(kept.source.as_ref()).or(kept.part.as_ref());
            let about = about.map_or_else(String::new, |about| format!(" {about}"));
            let waits = [State::ActiveUnacknowledged, State::ActiveSilenced].map(State::word);
            let waits = waits.contains(&kept.state.as_str()) && !kept.follows;
            let what = format!("{} {}{about}: {}", kept.priority, kept.alert, kept.text);
            match kept.kind().filter(|_| waits && left.ago <= RECENT) {
                Some(kind) => {
                    let instance = self.instance(kept);
                    self.seen.push((kind, instance, kept.text.clone()));
                    legacy.alerts.push(Carried { kind, instance, ago: left.ago });
                    legacy
                        .remarks
                        .push(format!("PRESENTED AGAIN, unanswered when the last watch ended {ago} ago: {what}"));
                }
                None => {
                    legacy.remarks.push(format!("stood when the last watch ended {ago} ago, {}: {what}", kept.state));
                }
            }
        }
        let command = left.standing.order.as_deref().and_then(|order| Some((order, order::read(order)?)));
        if let Some((typed, command)) = command.filter(|_| !ordered) {
            let words = match command {
                Command::Steer(order) => order.to_string(),
                _ => typed.to_owned(),
            };
            if left.ago <= ORDER_HOLDS {
                legacy.order = Some(command);
                legacy.remarks.push(format!(
                    "the owner's order of the last watch, which ended {ago} ago, is CARRIED OVER: steer {words}; lubber \
                     steer cancel ends it"
                ));
            } else {
                legacy.remarks.push(format!(
                    "the owner's order of the last watch, which ended {ago} ago, is NOT carried over: order it anew with \
                     lubber steer {typed}"
                ));
            }
        }
        legacy
    }

    /// What an alert of the last watch is about in this one; the boat where that is not known any more.
    fn instance(&self, kept: &Kept) -> Instance {
        let source = kept.source.as_ref();
        let source = source.and_then(|name| self.sources.iter().find(|(_, source)| source.name == *name));
        let sensor = kept.sensor.as_deref().and_then(Name::parse);
        match (sensor, source) {
            (Some(Name { talker, formatter }), Some((source, _))) => {
                Instance::Sensor(Origin { source, talker, formatter })
            }
            (None, Some((source, _))) => Instance::Source(source),
            _ => Instance::Boat,
        }
    }

    fn kept(&self, change: &AlertChange) -> Kept {
        let seen =
            |(kind, instance, _): &&(AlertKind, Instance, String)| (*kind, *instance) == (change.kind, change.instance);
        let text = match (change.evidence, self.seen.iter().find(seen)) {
            (Evidence::PresentedAgain { .. }, Some((.., text))) => text.clone(),
            _ => alert::words(change),
        };
        let mut kept = Kept {
            alert: change.kind.name().to_owned(),
            priority: change.priority.word().to_owned(),
            state: change.state.word().to_owned(),
            sensor: None,
            source: None,
            part: None,
            follows: change.follows.is_some(),
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
        let alerts = self.alerts.iter().filter(lasting).map(|change| self.kept(change)).collect();
        let standing = Standing { order: self.order.clone(), alerts };
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
            Event::Alert(change) if !change.repeated => self.alerts.take(change),
            Event::Notice(Notice::Steering(steering)) => self.order = ordered(*steering),
            _ => return,
        }
        self.keep();
    }

    fn due(&self) -> Instant {
        self.next
    }

    fn look(&mut self, moment: Moment, _: &Monitor) {
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
    use crate::view::Source;
    use lubber_core::angle::Bearing;
    use lubber_core::frame::ChecksumPolicy;
    use lubber_core::picture::Reference;
    use lubber_core::picture::Referred;
    use lubber_core::picture::SourceId;

    fn sources() -> Sources {
        let source = |name: &str| Source { name: name.into(), checksum: ChecksumPolicy::Required };
        Sources::new(vec![source("nav"), source("gps")])
    }

    fn kept(state: State, source: &str, sensor: Option<&str>) -> Kept {
        Kept {
            alert: "heading-lost".into(),
            priority: "alarm".into(),
            state: state.word().into(),
            sensor: sensor.map(str::to_owned),
            source: Some(source.into()),
            part: None,
            follows: false,
            text: "last heard 4 s ago".into(),
        }
    }

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

    #[test]
    fn what_is_presented_again_and_what_is_only_told() {
        let folder = std::env::temp_dir().join(format!("lubber-remembering-{}", std::process::id()));
        let (mut remembering, nothing) = Remembering::open(&folder.join("s.json"), sources(), false).unwrap();
        assert_eq!(nothing, Legacy::default());
        let mut legacy = |alerts: Vec<Kept>, order: &str, ago: Span, given: bool| {
            let standing = Standing { order: Some(order.into()), alerts };
            remembering.legacy(&Left { standing, ago }, given)
        };
        let unanswered = || kept(State::ActiveUnacknowledged, "gps", Some("GPHDT"));
        let minute = Span::from_min(1);
        let first = legacy(vec![unanswered()], "150.000C", minute, false);
        let Instance::Sensor(origin) = first.alerts[0].instance else { panic!("{first:?}") };
        assert_eq!((origin.source, origin.to_string().as_str()), (SourceId(1), "GPHDT"));
        assert_eq!((first.alerts[0].kind, first.alerts[0].ago), (AlertKind::HeadingLost, minute));
        assert_eq!(first.order, order::read("150C"));
        assert_eq!(
            first.remarks,
            [
                "PRESENTED AGAIN, unanswered when the last watch ended 60 s ago: alarm heading-lost GPHDT: last heard 4 s ago",
                "the owner's order of the last watch, which ended 60 s ago, is CARRIED OVER: steer 150 C; lubber steer \
                 cancel ends it",
            ]
        );
        // A source that is not there any more: of the boat, and never dropped.
        let gone = legacy(vec![kept(State::ActiveSilenced, "old", None)], "", minute, false);
        assert_eq!((gone.alerts[0].instance, gone.order), (Instance::Boat, None));
        // Answered, over, following, or of last night: told, and no alarm.
        let follower = Kept { follows: true, ..unanswered() };
        let told = [kept(State::ActiveAcknowledged, "nav", None), kept(State::RectifiedUnacknowledged, "nav", None)];
        for quiet in told.into_iter().chain([follower]) {
            let legacy = legacy(vec![quiet.clone()], "wind", minute, true);
            assert_eq!((legacy.alerts.len(), legacy.remarks.len(), legacy.order), (0, 1, None), "{quiet:?}");
        }
        let old = legacy(vec![unanswered()], "150.000C", RECENT + minute, false);
        assert_eq!((old.alerts.len(), old.remarks.len(), old.order), (0, 2, None));
        assert!(old.remarks[1].contains("NOT carried over"), "{old:?}");
        drop(remembering);
        std::fs::remove_dir_all(folder).unwrap();
    }
}
