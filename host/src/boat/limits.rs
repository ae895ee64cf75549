//! The `[limits]` and `[watchkeeper]` of the boat file: what the owner decided about the alerts.

use lubber_core::alert::AlertKind;
use lubber_core::alert::WatchkeeperSettings;
use lubber_core::angle::Turn;
use lubber_core::monitor::CurrentChange;
use lubber_core::monitor::LimitSettings;
use lubber_core::picture::SupplySettings;
use lubber_core::picture::Transducer;
use lubber_core::time::Span;

use crate::boat::read::Section;
use crate::boat::read::Value;
use crate::boat::read::Want;
use crate::boat::read::listed;
use crate::exit::Failure;

/// Limits, delays and switches in the order of [`AlertKind::ALL`], and what only one of them has.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Limits {
    pub(super) each: [LimitSettings; AlertKind::ALL.len()],
    pub(super) supply: SupplySettings,
    pub(super) current_change: CurrentChange,
}

/// What the limit of an alert is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Measure {
    Angle,
    TurnRate,
    Voltage,
}

pub(super) const LIMITS: Want = Want { what: "one table for each alert", example: "[limits.off-heading]" };
const ANGLE: Want = Want { what: "an angle over 0 up to 90 degrees", example: "limit = \"15 deg\"" };
const TURN_RATE: Want = Want { what: "a rate over 0 up to 20 degrees a second", example: "limit = \"2 deg/s\"" };
const VOLTAGE: Want = Want { what: "a voltage of 5 to 100 V", example: "limit = \"11.8 V\"" };
const TRANSDUCER: Want = Want { what: "a transducer's name in XDR, up to 12 characters", example: "name = \"BATT\"" };
const CURRENT: Want = Want { what: "knots a minute, from 0.01 to 2", example: "current_change = \"0.18 kn/min\"" };
const DELAY: Want = Want { what: "a time up to an hour, in s or min", example: "delay = \"10 s\"" };
const ENABLED: Want = Want { what: "true or false", example: "enabled = false" };
const AFTER: Want = Want { what: "a time from 3 to 12 min (MSC.128(75))", example: "after = \"10 min\"" };
const THIRD: Want = Want { what: "a time from 90 s to 3 min (MSC.128(75))", example: "third = \"90 s\"" };

impl Measure {
    /// What the limit of `kind` is, if it has one.
    fn of(kind: AlertKind) -> Option<Self> {
        match kind {
            AlertKind::OffHeading
            | AlertKind::HeadingDisagreement
            | AlertKind::HeadingFrozen
            | AlertKind::RudderUnanswered
            | AlertKind::CardDoubtful => Some(Self::Angle),
            AlertKind::TurnRateDisagreement => Some(Self::TurnRate),
            AlertKind::SupplyLow => Some(Self::Voltage),
            AlertKind::HeadingLost
            | AlertKind::PositionLost
            | AlertKind::InputLost
            | AlertKind::InputDamaged
            | AlertKind::RudderLost
            | AlertKind::WatchkeeperSilent
            | AlertKind::WatchImpaired => None,
        }
    }
}

impl Limits {
    /// Reads `[limits]`.
    pub(super) fn read(limits: &Section<'_>) -> Result<Self, Failure> {
        let mut read = Self::default();
        for value in limits.entries() {
            let Some(place) = AlertKind::ALL.iter().position(|kind| kind.name() == value.key()) else {
                let known: Vec<&str> = AlertKind::ALL.iter().map(|kind| kind.name()).collect();
                limits.clone().only(&known)?;
                return Err(value.because(&format!("no alert of that name; there are {}", listed(&known))));
            };
            let kind = AlertKind::ALL[place];
            let keys: &[&str] = match kind {
                AlertKind::SupplyLow => &["limit", "name", "delay", "enabled"],
                AlertKind::HeadingDisagreement => &["limit", "current_change", "delay", "enabled"],
                _ => &["limit", "delay", "enabled"],
            };
            let section = value.section(keys, LIMITS)?;
            let settings = &mut read.each[place];
            if let Some(limit) = section.get("limit") {
                match Measure::of(kind) {
                    Some(Measure::Angle) => settings.limit = Some(turn(&limit, "deg", 90_000, ANGLE)?),
                    Some(Measure::TurnRate) => settings.limit = Some(turn(&limit, "deg/s", 20_000, TURN_RATE)?),
                    Some(Measure::Voltage) => read.supply.limit_millivolts = Some(millivolts(&limit)?),
                    None => {
                        let why = format!("limit: {kind} has none, only delay and enabled");
                        return Err(limit.because(&why));
                    }
                }
            }
            if let Some(name) = section.get("name") {
                let transducer = Transducer::named(name.words(TRANSDUCER)?);
                read.supply.name = Some(transducer.ok_or_else(|| name.refuse(TRANSDUCER))?);
            }
            if let Some(change) = section.get("current_change") {
                read.current_change = current_change(&change)?;
            }
            if let (AlertKind::WatchkeeperSilent, Some(delay)) = (kind, section.get("delay")) {
                return Err(delay.because(
                    "delay: the times of the watchkeeper stand in their own table, for example: [watchkeeper] after = \
                     \"10 min\"",
                ));
            }
            settings.delay = section.get("delay").map(|value| delay(&value)).transpose()?;
            settings.disabled = !section.get("enabled").map_or(Ok(true), |value| value.switch(ENABLED))?;
        }
        Ok(read)
    }
}

/// Reads `[watchkeeper]`: how often the person on watch is asked.
pub(super) fn read_watchkeeper(watchkeeper: &Section<'_>) -> Result<WatchkeeperSettings, Failure> {
    let [least, _] = WatchkeeperSettings::THIRD;
    let time = |value: &Value<'_>, want: Want, [least, most]: [Span; 2]| {
        let span = span(value, want)?;
        if least <= span && span <= most { Ok(span) } else { Err(value.refuse(want)) }
    };
    let after = watchkeeper.need("after", AFTER)?;
    let third = watchkeeper.get("third");
    let third = third.map(|value| time(&value, THIRD, WatchkeeperSettings::THIRD)).transpose()?.unwrap_or(least);
    let period = time(&after, AFTER, WatchkeeperSettings::AFTER)?;
    WatchkeeperSettings::new(period, third).ok_or_else(|| after.refuse(AFTER))
}

/// An angle, or a rate in degrees a second, over 0 up to `most` thousandths.
fn turn(value: &Value<'_>, unit: &str, most: i32, want: Want) -> Result<Turn, Failure> {
    let thousandths = value.quantity(&[("", 1.0), (unit, 1.0)], want)?;
    let within = i32::try_from(thousandths).ok().filter(|thousandths| (1..=most).contains(thousandths));
    within.map(Turn::from_mdeg).ok_or_else(|| value.refuse(want))
}

fn millivolts(value: &Value<'_>) -> Result<u32, Failure> {
    let within = value.quantity(&[("", 1.0), ("V", 1.0)], VOLTAGE)?;
    let within = u32::try_from(within).ok().filter(|millivolts| (5_000..=100_000).contains(millivolts));
    within.ok_or_else(|| value.refuse(VOLTAGE))
}

fn current_change(value: &Value<'_>) -> Result<CurrentChange, Failure> {
    let milliknots = value.quantity(&[("", 1.0), ("kn/min", 1.0)], CURRENT)?;
    let within = u16::try_from(milliknots).ok().and_then(CurrentChange::from_milliknots_per_min);
    within.ok_or_else(|| value.refuse(CURRENT))
}

fn delay(value: &Value<'_>) -> Result<Span, Failure> {
    let delay = span(value, DELAY)?;
    if delay <= Span::from_min(60) { Ok(delay) } else { Err(value.refuse(DELAY)) }
}

fn span(value: &Value<'_>, want: Want) -> Result<Span, Failure> {
    let ms = value.quantity(&[("", 1.0), ("s", 1.0), ("min", 60.0), ("m", 60.0), ("h", 3600.0)], want)?;
    u64::try_from(ms).map(Span::from_ms).map_err(|_| value.refuse(want))
}
