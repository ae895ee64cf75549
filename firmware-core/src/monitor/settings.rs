//! What the owner decided; everything has a default.

use crate::alert::AlertKind;
use crate::alert::CurrentChange;
use crate::alert::LimitSettings;
use crate::alert::WatchkeeperSettings;
use crate::frame::ChecksumPolicy;
use crate::heading::Card;
use crate::picture::DeviationRule;
use crate::picture::HeadingSettings;
use crate::picture::Name;
use crate::picture::SourceId;
use crate::picture::SupplySettings;

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
    /// How fast the current may change where she sails.
    pub current_change: CurrentChange,
    /// Which battery is watched, and how low it may fall.
    pub supply: SupplySettings,
    /// How often the person on watch is asked; none without.
    pub watchkeeper: Option<WatchkeeperSettings>,
    /// Limits, delays and switches of the alerts, in the order of [`AlertKind::ALL`].
    pub limits: [LimitSettings; AlertKind::ALL.len()],
}

/// How one source is read.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct SourceSettings {
    /// What its checksums must be.
    pub checksum: ChecksumPolicy,
    /// Whether ACN and ACK from it are obeyed.
    pub may_acknowledge: bool,
}

/// What the monitor keeps of the settings: all but what the picture keeps, above all the card, of which a
/// second one would be dear where memory is small.
#[derive(Clone, Copy, Debug)]
pub(super) struct Kept {
    pub(super) sources: [SourceSettings; SourceId::MAX],
    pub(super) source_count: u8,
    pub(super) current_change: CurrentChange,
    limits: [LimitSettings; AlertKind::ALL.len()],
}

impl Kept {
    /// The settings of one alert.
    pub(super) fn limit(&self, kind: AlertKind) -> LimitSettings {
        self.limits.get(kind as usize).copied().unwrap_or_default()
    }
}

impl Settings {
    /// The settings of one alert.
    pub fn limit(&self, kind: AlertKind) -> LimitSettings {
        self.kept().limit(kind)
    }

    /// All but what the picture keeps.
    pub(super) fn kept(&self) -> Kept {
        let Self { sources, source_count, current_change, limits, .. } = *self;
        Kept { sources, source_count, current_change, limits }
    }

    /// Which headings count for what.
    pub fn headings(&self) -> HeadingSettings {
        HeadingSettings {
            primary: self.primary,
            pilot: self.pilot,
            second: self.second,
            deviation: self.deviation,
            card: self.card.clone(),
            rot_is_gyro: self.rot_is_gyro,
            supply: self.supply,
        }
    }
}
