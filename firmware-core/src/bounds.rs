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
/// Speed sent in kilometres an hour, thousandths: the knots of [`SPEED`] times 1.852.
pub const SPEED_KMH: Bounds =
    Bounds { name: "speed", words: "0 to 277.8 km/h", places: 3, min: 0, max: 277_800, source: OURS };
/// Cross-track error, thousandths of a nautical mile, before its letter.
pub const CROSS_TRACK: Bounds = Bounds {
    name: "cross-track error",
    words: "0 to 10800 nautical miles with L or R",
    places: 3,
    min: 0,
    max: 10_800_000,
    source: "half the way round the earth",
};
/// Range to a waypoint, thousandths of a nautical mile.
pub const RANGE: Bounds = Bounds {
    name: "range",
    words: "0 to 10800 nautical miles",
    places: 3,
    min: 0,
    max: 10_800_000,
    source: "half the way round the earth",
};
/// Speed towards a waypoint, thousandths of a knot; minus is away from it.
pub const CLOSING_SPEED: Bounds =
    Bounds { name: "closing speed", words: "-150 to 150 knots", places: 3, min: -150_000, max: 150_000, source: OURS };
/// A limit on heading, millidegrees either side.
pub const HEADING_LIMIT: Bounds =
    Bounds { name: "heading limit", words: "0 to 180 degrees", places: 3, min: 0, max: 180_000, source: CIRCLE };
/// Commanded rudder, millidegrees, before its letter.
pub const RUDDER_COMMAND: Bounds = Bounds {
    name: "commanded rudder",
    words: "0 to 90 degrees with L or R",
    places: 3,
    min: 0,
    max: 90_000,
    source: OURS,
};
/// Fix quality of GGA, a single digit. 0 to 8 have names; 9 is a maker's own.
pub const FIX_QUALITY: Bounds = Bounds {
    name: "fix quality",
    words: "0 to 9",
    places: 0,
    min: 0,
    max: 9,
    source: "E. S. Raymond, NMEA Revealed, GGA: qualities 0 to 8, one digit",
};
/// Satellites in use.
pub const SATELLITES: Bounds =
    Bounds { name: "satellites", words: "0 to 99", places: 0, min: 0, max: 99, source: "two digits on the wire" };
/// Horizontal dilution of precision, hundredths.
pub const DILUTION: Bounds =
    Bounds { name: "dilution of precision", words: "0 to 100", places: 2, min: 0, max: 10_000, source: OURS };
/// The year of ZDA.
pub const YEAR: Bounds = Bounds {
    name: "year",
    words: "1980 to 2999",
    places: 0,
    min: 1980,
    max: 2999,
    source: "GPS time begins in 1980; a week that has rolled over is still later than that",
};
/// Hours of the local zone, before the sign is taken off.
pub const ZONE_HOURS: Bounds =
    Bounds { name: "zone hours", words: "0 to 14", places: 0, min: 0, max: 14, source: "UTC+14, Line Islands" };
/// Minutes of an hour.
pub const ZONE_MINUTES: Bounds =
    Bounds { name: "zone minutes", words: "0 to 59", places: 0, min: 0, max: 59, source: "an hour has 60" };
/// A count of sentences, a sentence's number in its group, or a small identifier.
pub const SMALL_NUMBER: Bounds =
    Bounds { name: "a small number", words: "0 to 99", places: 0, min: 0, max: 99, source: "two digits on the wire" };
/// The number that names an alarm or alert, or one instance of it.
pub const ALERT_NUMBER: Bounds = Bounds {
    name: "alert number",
    words: "0 to 9999999",
    places: 0,
    min: 0,
    max: 9_999_999,
    source: "go-nmea, ALF: instances go to 999999; seven digits leave room",
};
/// Interval between heartbeats, milliseconds (sent in seconds).
pub const HEARTBEAT: Bounds = Bounds {
    name: "heartbeat interval",
    words: "0 to 3600 seconds",
    places: 3,
    min: 0,
    max: 3_600_000,
    source: "no source: a beat slower than an hour watches nothing",
};
/// A measurement of XDR, thousandths of the unit sent.
pub const MEASUREMENT: Bounds = Bounds {
    name: "a measurement",
    words: "-1000000000 to 1000000000",
    places: 3,
    min: -1_000_000_000_000,
    max: 1_000_000_000_000,
    source: "no source: nothing on a boat is larger",
};
