//! The one table of legal ranges: check, message and test generator all read it.

/// The legal range of one quantity, in the scaled integer unit it is stored in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Bounds {
    /// What the quantity is called in a message.
    pub name: &'static str,
    /// The range in words, for a message: `0 to 360 degrees`.
    pub words: &'static str,
    /// Digits after the point that the stored integer keeps.
    pub places: u8,
    /// Smallest legal value, scaled.
    pub min: i64,
    /// Largest legal value, scaled.
    pub max: i64,
    /// Where the range comes from.
    pub source: &'static str,
}

impl Bounds {
    /// Whether `value`, scaled by [`places`](Self::places), is inside the range, ends included.
    #[inline]
    pub const fn holds(&self, value: i64) -> bool {
        self.min <= value && value <= self.max
    }
}

const CIRCLE: &str = "a circle has 360 degrees; talkers send 360.0 for north";
const OURS: &str = "no source: beyond this no boat of this kind goes, so the digits are damaged";

/// A direction on the circle, millidegrees. 360 is accepted and means 0.
pub const BEARING: Bounds =
    Bounds { name: "a direction", words: "0 to 360 degrees", places: 3, min: 0, max: 360_000, source: CIRCLE };
/// Deviation, millidegrees, before its letter.
pub const DEVIATION: Bounds = Bounds {
    name: "deviation",
    words: "0 to 180 degrees with E or W",
    places: 3,
    min: 0,
    max: 180_000,
    source: CIRCLE,
};
/// Magnetic variation, millidegrees, before its letter.
pub const VARIATION: Bounds = Bounds {
    name: "variation",
    words: "0 to 180 degrees with E or W",
    places: 3,
    min: 0,
    max: 180_000,
    source: CIRCLE,
};
/// Rate of turn, hundredths of a degree a minute.
pub const RATE_OF_TURN: Bounds = Bounds {
    name: "rate of turn",
    words: "-10800 to 10800 degrees a minute",
    places: 2,
    min: -1_080_000,
    max: 1_080_000,
    source: OURS,
};
/// Rudder angle, millidegrees.
pub const RUDDER: Bounds =
    Bounds { name: "rudder angle", words: "-90 to 90 degrees", places: 3, min: -90_000, max: 90_000, source: OURS };
/// Speed, thousandths of a knot.
pub const SPEED: Bounds =
    Bounds { name: "speed", words: "0 to 150 knots", places: 3, min: 0, max: 150_000, source: OURS };
/// Wind speed, thousandths of the unit sent.
pub const WIND_SPEED: Bounds =
    Bounds { name: "wind speed", words: "0 to 400 of its unit", places: 3, min: 0, max: 400_000, source: OURS };
/// Latitude, degrees times ten million.
pub const LATITUDE: Bounds = Bounds {
    name: "latitude",
    words: "0 to 90 degrees with N or S",
    places: 7,
    min: 0,
    max: 900_000_000,
    source: "the pole",
};
/// Longitude, degrees times ten million.
pub const LONGITUDE: Bounds = Bounds {
    name: "longitude",
    words: "0 to 180 degrees with E or W",
    places: 7,
    min: 0,
    max: 1_800_000_000,
    source: "the date line",
};
