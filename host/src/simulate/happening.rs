//! What can happen on a voyage.

use std::str::FromStr;

use super::script::ScriptError;

/// What can happen.
///
/// What has an `over_ms` runs evenly to its new value within that time and stays there; ordering
/// the old value back mends it. The rest is done in a moment, or lasts as long as its event says.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Happening {
    /// A course is ordered: degrees by the pilot's own compass.
    Order(f64),
    /// The boat is put about: she steers by the wind, and now on the other side.
    Tack,
    /// Something runs to another value within `over_ms`.
    Runs {
        /// What, and where to.
        to: Change,
        /// How long it takes to arrive.
        over_ms: u64,
    },
    /// The pilot's heading sensor comes to read wrong by `error_deg` (plus: it reads too high, and
    /// the boat turns to port), evenly over `over_ms`. An error of 0 mends it.
    FalseCompass {
        /// The error it arrives at, in degrees.
        error_deg: f64,
        /// How long it takes to arrive.
        over_ms: u64,
    },
    /// The wind blows so many times as hard as it would: a squall, or a lull below 1.
    Gust(f64),
    /// The drive does not move the rudder any more: it trails amidships, and her weather helm turns
    /// the boat. The pilot does not notice and goes on ordering rudder.
    PilotLetsGo,
    /// The drive is jammed: the rudder stays where it is, and its sensor says so.
    RudderStuck,
    /// The cable between drive and rudder is broken: the drive moves, and the rudder sensor with
    /// it; the rudder trails amidships.
    CableBroken,
    /// The rudder sensor falls silent.
    RudderLost,
    /// The rudder sensor sends its sentence without an angle, marked invalid.
    RudderVoid,
    /// The rudder sensor says starboard for port.
    RudderReversed,
    /// The gyro repeats its last rate of turn.
    GyroStuck,
    /// The heading sensor falls silent, and with it all that copies it.
    HeadingLost,
    /// The heading sensor sends its sentence with an empty heading.
    HeadingVoid,
    /// The heading sensor repeats its last heading.
    HeadingFrozen,
    /// The satellite receiver has no fix and says so.
    GpsLost,
    /// The second that begins now, at midnight UTC, is 23:59:60 of the day before. Whoever stamps
    /// the log knows nothing of it and is a second ahead from then on.
    LeapSecond,
    /// A share of the sentences, 0 to 1, is damaged on the line.
    LineNoise(f64),
    /// A talker at the wrong speed: bursts of any bytes between the sentences.
    Garbage,
    /// Nothing comes: from the whole line, or from what the address begins or ends with.
    Silence(Whom),
}

/// What can run to another value, and the value it arrives at.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Change {
    /// The second, independent heading is out by so many degrees (plus: it reads too high).
    FalseSecond(f64),
    /// The satellite receiver's course over the ground is out by so many degrees; its position is not.
    FalseGps(f64),
    /// The gyro's rate of turn is out by so many degrees a second.
    GyroBias(f64),
    /// A magnet, or iron, comes near the heading sensor: B and C of its deviation are so many
    /// degrees more than her true card says.
    Magnet(f64, f64),
    /// The mean current: direction it flows towards in degrees true, and its knots.
    Current(f64, f64),
    /// The sea: yaw rms in degrees.
    Sea(f64),
    /// Her speed through the water off the wind, in knots.
    Speed(f64),
    /// The voltage of the battery, in volts.
    Battery(f64),
}

/// Who is silent: a talker (`GP`), a formatter (`HDG`), an address (`HCHDG`) or all.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Whom([u8; 5], u8);

impl Whom {
    /// The whole line.
    pub const ALL: Self = Self([0; 5], 0);

    /// Whether a sentence of this address is meant.
    pub fn covers(&self, talker: &str, formatter: &str) -> bool {
        match self.as_str() {
            "" => true,
            word if word.len() == 2 => word == talker,
            word if word.len() == 3 => word == formatter,
            word => word.strip_prefix(talker) == Some(formatter),
        }
    }

    pub(super) fn as_str(&self) -> &str {
        std::str::from_utf8(&self.0[..usize::from(self.1)]).unwrap_or("")
    }
}

impl FromStr for Whom {
    type Err = ScriptError;

    fn from_str(text: &str) -> Result<Self, ScriptError> {
        let fits = matches!(text.len(), 2 | 3 | 5);
        if !fits || !text.bytes().all(|b| b.is_ascii_uppercase() || b.is_ascii_digit()) {
            return Err(ScriptError(format!("`{text}` names no talker (GP), formatter (HDG) or address (HCHDG)")));
        }
        let mut bytes = [0; 5];
        bytes[..text.len()].copy_from_slice(text.as_bytes());
        Ok(Self(bytes, text.len() as u8))
    }
}

impl Change {
    /// Its name in the grammar and in the truth.
    pub const fn name(&self) -> &'static str {
        match self {
            Self::FalseSecond(_) => "false-second",
            Self::FalseGps(_) => "false-gps",
            Self::GyroBias(_) => "gyro-bias",
            Self::Magnet(..) => "magnet",
            Self::Current(..) => "current",
            Self::Sea(_) => "sea",
            Self::Speed(_) => "speed",
            Self::Battery(_) => "battery",
        }
    }
}

impl Happening {
    /// Its name in the grammar and in the truth.
    pub const fn name(&self) -> &'static str {
        match self {
            Self::Order(_) => "order",
            Self::Tack => "tack",
            Self::Runs { to, .. } => to.name(),
            Self::FalseCompass { .. } => "false-compass",
            Self::Gust(_) => "gust",
            Self::PilotLetsGo => "pilot-lets-go",
            Self::RudderStuck => "rudder-stuck",
            Self::CableBroken => "cable-broken",
            Self::RudderLost => "rudder-lost",
            Self::RudderVoid => "rudder-void",
            Self::RudderReversed => "rudder-reversed",
            Self::GyroStuck => "gyro-stuck",
            Self::HeadingLost => "heading-lost",
            Self::HeadingVoid => "heading-void",
            Self::HeadingFrozen => "heading-frozen",
            Self::GpsLost => "gps-lost",
            Self::LeapSecond => "leap-second",
            Self::LineNoise(_) => "line-noise",
            Self::Garbage => "garbage",
            Self::Silence(_) => "silence",
        }
    }

    /// Whether it is done in a moment, so that it has no end of its own.
    pub const fn is_momentary(&self) -> bool {
        matches!(self, Self::Order(_) | Self::Tack | Self::Runs { .. } | Self::FalseCompass { .. } | Self::LeapSecond)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn silence_covers_whom_it_names() {
        let covers = |whom: &str| whom.parse::<Whom>().unwrap().covers("GP", "RMC");
        assert!(Whom::ALL.covers("GP", "RMC") && covers("GP") && covers("RMC") && covers("GPRMC"));
        assert!(!covers("HC") && !covers("HDG") && !covers("GPVTG"));
    }
}
