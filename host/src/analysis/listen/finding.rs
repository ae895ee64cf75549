//! One finding: a plain sentence for the owner, with what to do about it.

use lubber_core::picture::SourceId;

/// Something the owner should know about the data line.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Finding {
    /// What kind of finding it is; its name is part of the contract.
    pub kind: Kind,
    /// Whether something is to be done.
    pub level: Level,
    /// The source it is about, where it is about one.
    pub source: Option<SourceId>,
    /// The talkers and formatters it is about.
    pub sentences: Vec<String>,
    /// What is so.
    pub text: String,
    /// What to do, where something is to be done.
    pub remedy: String,
}

/// Whether a finding calls for action.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Level {
    /// Something is to be done about it: it makes `--check` say no.
    Advice,
    /// Worth knowing.
    Note,
}

impl Level {
    /// Its word in every output.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Advice => "advice",
            Self::Note => "note",
        }
    }
}

macro_rules! kinds {
    ($($(#[$doc:meta])+ $kind:ident = $name:literal,)+) => {
        /// The kinds of findings, in the order in which they are shown.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
        pub enum Kind {
            $($(#[$doc])+ $kind,)+
        }

        impl Kind {
            /// Every kind.
            pub const ALL: &[Self] = &[$(Self::$kind,)+];

            /// Its name in JSON: it does not change.
            pub const fn name(self) -> &'static str {
                match self {
                    $(Self::$kind => $name,)+
                }
            }
        }
    };
}

kinds! {
    /// A source brought nothing at all.
    Silent = "silent",
    /// Bytes come, and hardly a sentence is among them.
    Noise = "noise",
    /// The checksum of a talker is always the same.
    FrozenChecksum = "frozen-checksum",
    /// The lines of a source have no checksum.
    NoChecksum = "no-checksum",
    /// Checksums are not looked at, so damaged lines pass.
    ChecksumIgnored = "checksum-ignored",
    /// Part of the lines was refused.
    Damaged = "damaged",
    /// Names that come once or twice: damage from before the checksum was made.
    OddNames = "odd-names",
    /// More names than are told apart.
    TooManyNames = "too-many-names",
    /// A main value that cannot be used.
    Malformed = "malformed",
    /// Optional fields that cannot be used.
    Unusable = "unusable",
    /// A value without its letter.
    HalfPresent = "half-present",
    /// Sentences longer than the standard allows.
    Overlong = "overlong",
    /// No heading is sent.
    NoHeading = "no-heading",
    /// No position is sent.
    NoPosition = "no-position",
    /// No speed and course over ground are sent.
    NoGround = "no-ground",
    /// A heading that stood still while the course turned.
    HeadingStill = "heading-still",
    /// A heading that leaps.
    HeadingLeaps = "heading-leaps",
    /// A heading that comes too seldom.
    HeadingSlow = "heading-slow",
    /// A heading in whole degrees.
    HeadingCoarse = "heading-coarse",
    /// A heading that the talker itself says is not measured.
    HeadingNotMeasured = "heading-not-measured",
    /// Two headings are one sensor.
    OneSensor = "one-sensor",
    /// Two headings are two sensors.
    TwoSensors = "two-sensors",
    /// Whether two headings are one sensor cannot be told yet.
    KinshipUnknown = "kinship-unknown",
    /// Two headings of one formatter differ.
    HeadingsDiffer = "headings-differ",
    /// A deviation on the wire and a card as well.
    DeviationAndCard = "deviation-and-card",
    /// A deviation on the wire and no card.
    DeviationOnWire = "deviation-on-wire",
    /// A deviation of zero on the wire.
    DeviationZero = "deviation-zero",
    /// The variation came late.
    VariationLate = "variation-late",
    /// Nobody sends the variation.
    VariationAbsent = "variation-absent",
    /// The variation on the wire is far from the World Magnetic Model.
    VariationOff = "variation-off",
    /// The horizontal field is weak here.
    WeakField = "weak-field",
    /// A talker says that its value is not to be used.
    Void = "void",
    /// A talker was silent for long.
    Gaps = "gaps",
    /// A talker stopped.
    Stopped = "stopped",
    /// A position that leaps.
    PositionLeaps = "position-leaps",
    /// Two receivers.
    TwoReceivers = "two-receivers",
    /// Dates that are whole 1024 weeks old.
    DatesBehind = "dates-behind",
    /// Dates of 1970 or 1980: no date yet.
    NoDate = "no-date",
    /// Dates so old that they may be 1024 weeks behind.
    DatesOld = "dates-old",
    /// The stamps of the log and the time of the talkers differ.
    ClockOff = "clock-off",
    /// The input has no time.
    NoTime = "no-time",
    /// No rudder angle is sent.
    NoRudder = "no-rudder",
    /// No ordered heading is sent.
    NoOrder = "no-order",
    /// There is one heading only.
    NoSecondHeading = "no-second-heading",
    /// Makers' own sentences.
    Makers = "makers",
}

impl Finding {
    /// A finding that calls for action.
    pub(super) fn advice(kind: Kind, text: impl Into<String>, remedy: impl Into<String>) -> Self {
        let (text, remedy) = (text.into(), remedy.into());
        Self { kind, level: Level::Advice, source: None, sentences: Vec::new(), text, remedy }
    }

    /// A finding that is worth knowing.
    pub(super) fn note(kind: Kind, text: impl Into<String>, remedy: impl Into<String>) -> Self {
        Self { level: Level::Note, ..Self::advice(kind, text, remedy) }
    }

    /// The same at another level.
    #[must_use]
    pub(super) fn at_level(self, level: Level) -> Self {
        Self { level, ..self }
    }

    /// The source it is about.
    #[must_use]
    pub(super) fn of(self, source: SourceId) -> Self {
        Self { source: Some(source), ..self }
    }

    /// The sentences it is about.
    #[must_use]
    pub(super) fn about(self, sentences: impl IntoIterator<Item = impl Into<String>>) -> Self {
        Self { sentences: sentences.into_iter().map(Into::into).collect(), ..self }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_kind_has_a_name_of_its_own() {
        let mut names: Vec<&str> = Kind::ALL.iter().map(|kind| kind.name()).collect();
        names.sort_unstable();
        names.dedup();
        assert_eq!(names.len(), Kind::ALL.len());
        assert!(names.iter().all(|name| name.bytes().all(|b| b.is_ascii_lowercase() || b == b'-')));
    }
}
