//! The sun's azimuth and altitude, for finding a heading by the sun.
//!
//! By the Solar Position Algorithm (Reda, Andreas, *Solar Position Algorithm for Solar Radiation
//! Applications*, NREL), as the crate solar-positioning computes it: to 0.0003 degrees, so that what
//! is uncertain is the clock, the place and the pelorus.

use solar_positioning::Location;
use solar_positioning::RefractionCorrection;
use solar_positioning::SolarPositions;
use solar_positioning::delta_t;
use solar_positioning::time::JulianDate;

/// Where the sun stands.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sun {
    /// Azimuth from true north, clockwise, degrees, 0 up to 360.
    pub azimuth_deg: f64,
    /// Apparent altitude of its centre above the horizon, degrees; refraction in standard air counted.
    pub altitude_deg: f64,
    /// How fast the azimuth changes, degrees a minute, without its sign.
    pub azimuth_rate_deg_per_min: f64,
}

/// Why there is no sun to observe.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
pub enum NoSun {
    /// The calendar, the latitude or the longitude is out of range.
    #[error("no such time or place: latitude is at most 90 degrees, longitude at most 180")]
    Nowhere,
    /// It is below the horizon.
    #[error(
        "the sun was {:.0} degrees below the horizon then: is the time UTC, and has the longitude its letter?",
        -altitude_deg
    )]
    Down {
        /// Its altitude, degrees.
        altitude_deg: f64,
    },
    /// It is too high for a bearing.
    #[error(
        "the sun stood {altitude_deg:.0} degrees high, over {TOO_HIGH_DEG:.0}: a tilt of the pelorus then shows almost \
         doubled in the bearing and the azimuth runs fast; observe in the morning or the evening"
    )]
    TooHigh {
        /// Its altitude, degrees.
        altitude_deg: f64,
    },
}

/// Highest altitude at which a bearing of the sun is taken, degrees.
///
/// A pelorus tilted by t across the line of sight is out by t times the tangent of the altitude:
/// 1.7 t at 60 degrees. The limit is common practice, no source.
pub const TOO_HIGH_DEG: f64 = 60.0;
/// Above this the observer is told to come back when it is lower, degrees: a tilt shows whole at 45.
pub const HIGH_DEG: f64 = 45.0;
/// The sun's upper edge is still seen with its centre here, degrees: half its breadth.
const EDGE_DEG: f64 = -0.27;

/// The sun at a latitude and longitude in degrees (north and east plus) at `unix_ms` milliseconds since
/// 1970, UTC, wherever it stands.
///
/// # Errors
/// [`NoSun::Nowhere`].
pub fn position(lat_deg: f64, lon_deg: f64, unix_ms: i64) -> Result<Sun, NoSun> {
    let (azimuth_deg, altitude_deg) = at(lat_deg, lon_deg, unix_ms)?;
    let (before, _) = at(lat_deg, lon_deg, unix_ms - 30_000)?;
    let (after, _) = at(lat_deg, lon_deg, unix_ms + 30_000)?;
    let change = (after - before + 180.0).rem_euclid(360.0) - 180.0;
    Ok(Sun { azimuth_deg, altitude_deg, azimuth_rate_deg_per_min: change.abs() })
}

/// [`position`], where a bearing of the sun can be taken.
///
/// # Errors
/// [`NoSun`] says why it cannot.
pub fn observable(lat_deg: f64, lon_deg: f64, unix_ms: i64) -> Result<Sun, NoSun> {
    let sun = position(lat_deg, lon_deg, unix_ms)?;
    match sun.altitude_deg {
        altitude_deg if altitude_deg < EDGE_DEG => Err(NoSun::Down { altitude_deg }),
        altitude_deg if altitude_deg > TOO_HIGH_DEG => Err(NoSun::TooHigh { altitude_deg }),
        _ => Ok(sun),
    }
}

/// Azimuth and apparent altitude at sea level, degrees.
fn at(lat_deg: f64, lon_deg: f64, unix_ms: i64) -> Result<(f64, f64), NoSun> {
    // Outside the years of its tables the estimate is refused; a minute or two of Earth's turning
    // against ephemeris time is 0.001 degree of sun.
    let year = 1970.0 + unix_ms as f64 / (365.2425 * 86_400_000.0);
    let delta_t = delta_t::estimate(year).unwrap_or(70.0);
    let place = Location { latitude: lat_deg, longitude: lon_deg };
    // 1970-01-01T00:00 is the Julian date 2440587.5.
    let date = JulianDate::new(2_440_587.5 + unix_ms as f64 / 86_400_000.0, delta_t).map_err(|_| NoSun::Nowhere)?;
    let air = Some(RefractionCorrection::standard());
    let sun = SolarPositions::new().at_from_julian(date, place, 0.0, air).map_err(|_| NoSun::Nowhere)?;
    Ok((sun.azimuth(), sun.elevation_angle()))
}

#[cfg(test)]
mod tests {
    use chrono::DateTime;

    use super::*;

    fn unix_ms(utc: &str) -> i64 {
        DateTime::parse_from_rfc3339(utc).unwrap().timestamp_millis()
    }

    /// NREL Table A5.1: 17 Oct 2003, 12:30:30 at 7 hours west; azimuth 194.340241, zenith 50.111622.
    #[test]
    fn the_worked_example_of_the_algorithm() {
        let sun = position(39.742476, -105.1786, unix_ms("2003-10-17T19:30:30Z")).unwrap();
        // The example has 67 s of delta T where the estimate has 64.5, and stands 1830 m high: each
        // moves the sun by less than 0.001 degree. Its air is thinner: 0.004 degree of refraction.
        assert!((sun.azimuth_deg - 194.340241).abs() <= 0.001, "{sun:?}");
        assert!((sun.altitude_deg - (90.0 - 50.111622)).abs() <= 0.01, "{sun:?}");
        // By the table's own delta T, height and air, through the same crate: to its last digit.
        let date = JulianDate::from_utc(2003, 10, 17, 19, 30, 30.0, 67.0).unwrap();
        let place = Location { latitude: 39.742476, longitude: -105.1786 };
        let air = Some(RefractionCorrection::new(820.0, 11.0).unwrap());
        let exact = SolarPositions::new().at_from_julian(date, place, 1830.14, air).unwrap();
        assert!((exact.azimuth() - 194.340241).abs() <= 1e-6, "{}", exact.azimuth());
        assert!((exact.zenith_angle() - 50.111622).abs() <= 1e-6, "{}", exact.zenith_angle());
    }

    #[test]
    fn published_azimuths() {
        for (what, utc, lat, lon, azimuth, tolerance) in [
            // marinegyaan.com exercise 28, 1: azimuth 103.1 by tables to 0.1.
            ("20 Jul 2008", "2008-07-20T04:06:12Z", 44.0 + 31.0 / 60.0, 69.0 + 42.0 / 60.0, 103.1, 0.1),
            // oceannavigator.com, "Finding deviation from a sun line": 087 by a table in whole degrees.
            ("15 Jul 2013", "2013-07-15T12:25:37Z", 35.0 + 13.0 / 60.0, -(67.0 + 19.0 / 60.0), 87.0, 0.6),
            // marinegyaan.com exercise 28, 2 (question only); 259.775 by another package (pvlib 0.16.1).
            ("22 Sep 2008", "2008-09-22T10:09:38Z", 18.0 + 20.0 / 60.0, 85.0 + 40.0 / 60.0, 259.775, 0.005),
        ] {
            let sun = position(lat, lon, unix_ms(utc)).unwrap();
            assert!((sun.azimuth_deg - azimuth).abs() <= tolerance, "{what}: {sun:?}, not {azimuth}");
        }
    }

    /// *Sun's true bearing or azimuth tables*, p. IV: 11 Oct 1894, 49 N 10 W, 8h36m apparent time in
    /// the morning: N 125d34'E.
    #[test]
    fn an_azimuth_of_1894() {
        // Apparent noon is when the sun bears south: found here, then back by 3h24m.
        let day = unix_ms("1894-10-11T00:00:00Z");
        let azimuth = |minutes: i64| position(49.0, -10.0, day + minutes * 60_000).unwrap().azimuth_deg;
        let noon = (600..900).find(|&minute| azimuth(minute) >= 180.0).unwrap();
        let got = azimuth(noon - 204);
        // A minute of time is a quarter of a degree there, and noon is found to a minute.
        assert!((got - 125.567).abs() <= 0.3, "{got}");
    }

    #[test]
    fn the_sun_that_cannot_be_used_says_why() {
        // Midsummer at 40 N: 73 degrees high at noon, and at midnight north and down (geometry).
        let noon = observable(40.0, 0.0, unix_ms("2026-06-21T12:00:00Z"));
        assert!(matches!(noon, Err(NoSun::TooHigh { altitude_deg }) if (altitude_deg - 73.4).abs() <= 0.1), "{noon:?}");
        let night = observable(40.0, 0.0, unix_ms("2026-06-21T00:00:00Z"));
        assert!(matches!(night, Err(NoSun::Down { altitude_deg }) if (altitude_deg + 26.6).abs() <= 0.2), "{night:?}");
        let morning = observable(40.0, 0.0, unix_ms("2026-06-21T07:00:00Z")).unwrap();
        assert!((20.0..40.0).contains(&morning.altitude_deg) && morning.azimuth_rate_deg_per_min < 0.3);
        assert_eq!(observable(91.0, 0.0, 0), Err(NoSun::Nowhere));
    }
}
