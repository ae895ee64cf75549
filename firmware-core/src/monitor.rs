//! The monitor: bytes in, events out; the whole watch behind one type.
use crate::alert::AlertKind;
use crate::alert::Why;
use crate::angle::Turn;
use crate::arbiter::AlertChange;
use crate::arbiter::State;
use crate::frame::ChecksumPolicy;
use crate::frame::Counts;
use crate::frame::Line;
use crate::frame::Refused;
use crate::heading::Card;
use crate::heading::Compass;
use crate::heading::Magnetic;
use crate::heading::True;
use crate::heading::Variation;
use crate::picture::Command;
use crate::picture::Name;
use crate::picture::Origin;
use crate::picture::Referred;
use crate::picture::SourceId;
use crate::picture::Steering;
use crate::sentence::Decoded;
use crate::sentence::Malformed;
use crate::time::Instant;
use crate::time::Span;
use crate::unit::Position;
use crate::unit::Speed;
use heapless::Vec;

/// What the owner decided; everything has a default.
#[derive(Clone, Debug, Default)]
pub struct Settings {
    /// How each source is to be read.
    pub sources: [SourceSettings; SourceId::MAX],
    /// How many of them there are.
    pub source_count: u8,
    /// The heading the watch is kept by; else the best one heard.
    pub primary: Option<Name>,
    /// The pilot's own compass, that its orders are in; else the primary.
    pub pilot: Option<Name>,
    /// A second heading that is wanted.
    pub second: Option<Name>,
    /// Which deviation counts where the wire carries one and there is a card.
    pub deviation: DeviationRule,
    /// The card of the primary heading.
    pub card: Option<Card>,
    /// Whether ROT comes from a gyro of its own and so is a witness.
    pub rot_is_gyro: bool,
    /// Limits, delays and switches of the alerts, in the order of [`AlertKind::ALL`].
    pub limits: [LimitSettings; AlertKind::ALL.len()],
}

/// How one source is read.
#[derive(Clone, Copy, Debug, Default)]
pub struct SourceSettings {
    /// What its checksums must be.
    pub checksum: ChecksumPolicy,
    /// Whether ACN and ACK from it are obeyed.
    pub may_acknowledge: bool,
}

/// Which deviation counts for HDG.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum DeviationRule {
    /// The wire's where it is not zero, else the card; a conflict is shown.
    #[default]
    Auto,
    /// Always the card.
    Card,
    /// Always the wire's.
    Wire,
    /// Neither.
    None,
}

/// The owner's settings for one alert; `None` means its default.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct LimitSettings {
    /// The limit as an angle, for the alerts that have one.
    pub limit: Option<Turn>,
    /// How long it must last.
    pub delay: Option<Span>,
    /// Not judged at all.
    pub disabled: bool,
}

/// What the World Magnetic Model says for the place and date: the host computes it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct ModelVariation {
    /// Variation, east plus.
    pub variation: Variation,
    /// Its standard deviation.
    pub sigma: Turn,
    /// The horizontal field in nanotesla.
    pub horizontal_nt: i32,
}

/// One thing the monitor has to say.
#[derive(Clone, Copy, Debug)]
pub enum Event<'a> {
    /// A sentence was read.
    Sentence {
        /// From which source.
        source: SourceId,
        /// Its line.
        line: &'a Line<'a>,
        /// What it says.
        decoded: &'a Decoded<'a>,
    },
    /// A line was framed, but its principal value cannot be used.
    Malformed {
        /// From which source.
        source: SourceId,
        /// The line.
        line: &'a Line<'a>,
        /// What is wrong with it.
        malformed: Malformed,
    },
    /// Bytes began as a line and are none.
    Refused {
        /// From which source.
        source: SourceId,
        /// What and why.
        refused: Refused<'a>,
    },
    /// An alert changed.
    Alert(AlertChange),
    /// Something the owner should see that is no alert.
    Notice(Notice),
}

/// What is worth a line in the log without being an alert.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Notice {
    /// The watch is now kept by this heading.
    HeadingSource {
        /// Which.
        origin: Origin,
        /// How it becomes magnetic.
        correction: Correction,
    },
    /// The order changed, or who gives it, or whether it is held.
    Steering(Steering),
    /// The variation in use changed.
    Variation(VariationInUse),
    /// HDG carries a deviation and there is a card too; the wire's is used.
    DeviationConflict {
        /// Which talker.
        origin: Origin,
        /// What it carries.
        wire: Turn,
    },
    /// Two headings turned out to be one sensor.
    OneSensor {
        /// The one that counts.
        kept: Origin,
        /// The copy.
        copy: Origin,
    },
    /// The horizontal field is under 6000 nT: a magnetic heading is not to be trusted.
    WeakField {
        /// The field, nanotesla.
        horizontal_nt: i32,
    },
}

/// How the primary heading becomes magnetic.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Correction {
    /// By the card.
    Card,
    /// By the deviation the wire carries.
    Wire,
    /// Not at all: marked `uncorrected` in every output.
    Uncorrected,
    /// It is magnetic or true already.
    NotNeeded,
}

/// The variation in use and where it is from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct VariationInUse {
    /// The variation, east plus.
    pub variation: Variation,
    /// From the wire, or from the model.
    pub from: VariationFrom,
}

/// Where the variation is from.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum VariationFrom {
    /// A sentence carries it.
    Wire(Origin),
    /// The World Magnetic Model.
    Model,
}

/// Everything a display shows, at one moment.
#[derive(Clone, Debug)]
pub struct Status {
    /// The heading the watch is kept by, if one was ever heard.
    pub heading: Option<HeadingStatus>,
    /// How the boat is steered.
    pub steering: Steering,
    /// From the order to the heading, starboard plus, where both are fresh and comparable.
    pub off: Option<Turn>,
    /// Course and speed over the ground, with their age.
    pub ground: Option<(True, Speed, Span)>,
    /// The last position, with its age.
    pub position: Option<(Position, Span)>,
    /// Rudder, starboard plus, with its age.
    pub rudder: Option<(Turn, Span)>,
    /// The variation in use.
    pub variation: Option<VariationInUse>,
    /// Each witness of the heading.
    pub witnesses: Vec<WitnessStatus, 10>,
    /// For each alert whether it judges, in the order of [`AlertKind::ALL`].
    pub judging: [Result<(), Why>; AlertKind::ALL.len()],
    /// The alerts that are not normal, most urgent first.
    pub alerts: Vec<AlertChange, 16>,
}

/// The heading the watch is kept by.
#[derive(Clone, Copy, Debug)]
pub struct HeadingStatus {
    /// Who sends it.
    pub origin: Origin,
    /// As sent, in the reference it is sent in.
    pub raw: Referred,
    /// Compass, where it is a compass heading or a card leads back to one.
    pub compass: Option<Compass>,
    /// Magnetic.
    pub magnetic: Option<Magnetic>,
    /// True, where the variation is known.
    pub truth: Option<True>,
    /// How it becomes magnetic.
    pub correction: Correction,
    /// How old it is.
    pub age: Span,
    /// Whether it is stale.
    pub stale: bool,
    /// For how long it has not changed by a digit.
    pub unchanged: Span,
}

/// One witness of the heading.
#[derive(Clone, Copy, Debug)]
pub struct WitnessStatus {
    /// Who.
    pub origin: Origin,
    /// Its heading or course, true where that can be known.
    pub truth: Option<True>,
    /// Its difference from the primary heading, starboard plus.
    pub differs: Option<Turn>,
    /// How old it is.
    pub age: Span,
    /// Whether it is stale.
    pub stale: bool,
    /// The heading it is a copy of, if it is one.
    pub copy_of: Option<Origin>,
    /// Whether it is the ground velocity and not a heading.
    pub ground: bool,
}

/// The watch.
#[derive(Debug)]
pub struct Monitor {
    settings: Settings,
}

impl Monitor {
    /// A watch that begins at `now`.
    pub fn new(now: Instant, settings: Settings) -> Self {
        let _ = now;
        Self { settings }
    }
    /// Takes bytes of `source`; every event they cause is delivered before it returns.
    pub fn bytes(&mut self, now: Instant, source: SourceId, input: &[u8], out: &mut impl FnMut(Event<'_>)) {
        let _ = (now, source, input, out);
        todo!()
    }
    /// The host says that `source` failed (unplugged, connection gone), or works again.
    pub fn input_works(&mut self, now: Instant, source: SourceId, works: bool, out: &mut impl FnMut(Event<'_>)) {
        let _ = (now, source, works, out);
        todo!()
    }
    /// The stream of `source` has ended for good (a log was read to its end).
    pub fn finish(&mut self, now: Instant, source: SourceId, out: &mut impl FnMut(Event<'_>)) {
        let _ = (now, source, out);
        todo!()
    }
    /// Time has passed. Early calls are harmless.
    pub fn tick(&mut self, now: Instant, out: &mut impl FnMut(Event<'_>)) {
        let _ = (now, out);
        todo!()
    }
    /// The next moment at which something may happen without any input.
    pub fn wake_at(&self) -> Option<Instant> {
        todo!()
    }
    /// The owner says how the boat is steered.
    pub fn order(&mut self, now: Instant, command: Command, out: &mut impl FnMut(Event<'_>)) {
        let _ = (now, command, out);
        todo!()
    }
    /// The model's variation for the position; to be given again when the boat or the date moves on.
    pub fn variation(&mut self, now: Instant, model: ModelVariation, out: &mut impl FnMut(Event<'_>)) {
        let _ = (now, model, out);
        todo!()
    }
    /// Somebody takes responsibility for every alert that stands unacknowledged.
    pub fn acknowledge(&mut self, now: Instant, out: &mut impl FnMut(Event<'_>)) {
        let _ = (now, out);
        todo!()
    }
    /// Silences what sounds, for 30 s.
    pub fn silence(&mut self, now: Instant, out: &mut impl FnMut(Event<'_>)) {
        let _ = (now, out);
        todo!()
    }
    /// The person on watch is awake.
    pub fn answer(&mut self, now: Instant, out: &mut impl FnMut(Event<'_>)) {
        let _ = (now, out);
        todo!()
    }
    /// The byte account of `source`.
    pub fn counts(&self, source: SourceId) -> &Counts {
        let _ = source;
        todo!()
    }
    /// What a display shows at `now`.
    pub fn status(&self, now: Instant) -> Status {
        let _ = now;
        todo!()
    }
    /// UTC as the talkers gave it last: milliseconds since 1970 and the moment it was received;
    /// dates that are whole 1024 weeks behind `not_before_ms` are mended by the host.
    pub fn utc(&self) -> Option<(i64, Instant)> {
        todo!()
    }
    /// The settings in force.
    pub fn settings(&self) -> &Settings {
        &self.settings
    }
}
#[allow(unused_imports)]
use State as _;
