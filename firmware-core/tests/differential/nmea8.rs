//! The values of nmea 0.8.0, scaled.

use lubber_core::unit::Date;
use lubber_core::unit::Speed;
use nmea::ParseResult;
use nmea::parse_str;
use nmea::sentences::mwv::MwvWindSpeedUnits;

use crate::Values;

/// Its dates and times are chrono's, which the core does not depend on: they are taken as text.
pub(crate) fn values(text: &str) -> Option<Values<Option<i64>>> {
    Some(match parse_str(text).ok()? {
        ParseResult::HDT(s) => vec![("heading", scaled(s.heading.map(f64::from), 1000.0))],
        ParseResult::VHW(s) => vec![
            ("true", scaled(s.heading_true, 1000.0)),
            ("magnetic", scaled(s.heading_magnetic, 1000.0)),
            ("speed", knots(s.relative_speed_knots).or_else(|| kmh(s.relative_speed_kmph))),
        ],
        ParseResult::VTG(s) => vec![
            ("true", scaled(s.true_course.map(f64::from), 1000.0)),
            ("speed", knots(s.speed_over_ground.map(f64::from))),
        ],
        ParseResult::RMC(s) => vec![
            ("time", s.fix_time.map(|t| time(&t.to_string()))),
            ("lat", scaled(s.lat, 1e7)),
            ("lon", scaled(s.lon, 1e7)),
            ("speed", knots(s.speed_over_ground.map(f64::from))),
            ("course", scaled(s.true_course.map(f64::from), 1000.0)),
            ("date", s.fix_date.map(|d| date(&d.to_string()))),
            ("variation", scaled(s.magnetic_variation.map(f64::from), 1000.0)),
        ],
        ParseResult::GGA(s) => vec![
            ("time", s.fix_time.map(|t| time(&t.to_string()))),
            ("lat", scaled(s.latitude, 1e7)),
            ("lon", scaled(s.longitude, 1e7)),
            ("satellites", s.fix_satellites.map(i64::from)),
            ("hdop", scaled(s.hdop.map(f64::from), 100.0)),
        ],
        ParseResult::GLL(s) => vec![
            ("lat", scaled(s.latitude, 1e7)),
            ("lon", scaled(s.longitude, 1e7)),
            ("time", s.fix_time.map(|t| time(&t.to_string()))),
        ],
        ParseResult::GNS(s) => vec![
            ("time", s.fix_time.map(|t| time(&t.to_string()))),
            ("lat", scaled(s.lat, 1e7)),
            ("lon", scaled(s.lon, 1e7)),
            ("satellites", Some(i64::from(s.nsattelites))),
            ("hdop", scaled(s.hdop.map(f64::from), 100.0)),
        ],
        ParseResult::ZDA(s) => vec![
            ("time", s.utc_time.map(|t| time(&t.to_string()))),
            ("date", s.utc_date().map(|d| date(&d.to_string()))),
            ("zone", s.local_zone_hours.zip(s.local_zone_minutes).map(|(h, m)| i64::from(h) * 60 + i64::from(m))),
        ],
        ParseResult::MWV(s) => vec![
            ("angle", scaled(s.wind_direction.map(f64::from), 1000.0)),
            (
                "speed",
                match s.wind_speed_units? {
                    MwvWindSpeedUnits::Knots => knots(s.wind_speed.map(f64::from)),
                    MwvWindSpeedUnits::KilometersPerHour => kmh(s.wind_speed.map(f64::from)),
                    _ => scaled(s.wind_speed.map(f64::from), 1000.0),
                },
            ),
        ],
        _ => return None,
    })
}

fn scaled(value: Option<f64>, scale: f64) -> Option<i64> {
    value.map(|v| (v * scale).round() as i64)
}

fn knots(value: Option<f64>) -> Option<i64> {
    scaled(value, 1000.0).map(|v| i64::from(Speed::from_milliknots(v).as_mm_s()))
}

fn kmh(value: Option<f64>) -> Option<i64> {
    scaled(value, 1000.0).map(|v| i64::from(Speed::from_metres_per_hour(v).as_mm_s()))
}

/// Milliseconds of `hh:mm:ss` with or without a fraction, to the nearest: theirs went through
/// floating point.
fn time(text: &str) -> i64 {
    let (clock, fraction) = text.split_once('.').unwrap_or((text, "0"));
    let seconds = clock.split(':').fold(0, |sum, part| sum * 60 + part.parse::<i64>().unwrap());
    seconds * 1000 + (format!("0.{fraction}").parse::<f64>().unwrap() * 1000.0).round() as i64
}

/// Days since 1970 of `yyyy-mm-dd`.
fn date(text: &str) -> i64 {
    let mut parts = text.split('-').map(|part| part.parse::<u16>().unwrap());
    let (year, month, day) = (parts.next().unwrap(), parts.next().unwrap(), parts.next().unwrap());
    Date::new(year, u8::try_from(month).unwrap(), u8::try_from(day).unwrap()).unwrap().days_since_1970()
}
