//! The values of nmea-kit 0.8.9, scaled. It hands over digits and letters; signs are put on here.

use lubber_core::unit::Date;
use lubber_core::unit::Speed;
use nmea_kit::NmeaSentence;
use nmea_kit::nmea::ddmm_to_decimal;
use nmea_kit::parse_frame;

use crate::Values;

pub(crate) fn values(text: &str) -> Option<Values<Option<i64>>> {
    Some(match NmeaSentence::parse(&parse_frame(text).ok()?) {
        NmeaSentence::Hdg(s) => vec![
            ("heading", degrees(s.heading_mag)),
            ("deviation", signed(s.deviation, s.deviation_ew)),
            ("variation", signed(s.variation, s.variation_ew)),
        ],
        NmeaSentence::Hdm(s) => vec![("heading", degrees(s.heading_mag))],
        NmeaSentence::Hdt(s) => vec![("heading", degrees(s.heading_true))],
        NmeaSentence::Ths(s) => vec![("heading", degrees(s.heading_true))],
        NmeaSentence::Rot(s) => vec![("rate", scaled(s.rate_of_turn, 100.0))],
        NmeaSentence::Rsa(s) => {
            vec![("starboard", scaled(s.starboard_angle, 1000.0)), ("port", scaled(s.port_angle, 1000.0))]
        }
        NmeaSentence::Vhw(s) => vec![
            ("true", degrees(s.heading_true)),
            ("magnetic", degrees(s.heading_mag)),
            ("speed", speed(s.speed_kts, s.speed_kmh)),
        ],
        NmeaSentence::Vtg(s) => vec![
            ("true", degrees(s.course_true)),
            ("magnetic", degrees(s.course_mag)),
            ("speed", speed(s.speed_kts, s.speed_kmh)),
        ],
        NmeaSentence::Rmc(s) => vec![
            ("lat", position(s.lat, s.ns)),
            ("lon", position(s.lon, s.ew)),
            ("speed", speed(s.sog, None)),
            ("course", degrees(s.cog)),
            ("variation", signed(s.mag_var, s.mag_var_ew)),
        ],
        NmeaSentence::Gga(s) => vec![
            ("lat", position(s.lat, s.ns)),
            ("lon", position(s.lon, s.ew)),
            ("quality", s.quality.map(i64::from)),
            ("satellites", s.num_sats.map(i64::from)),
            ("hdop", scaled(s.hdop, 100.0)),
        ],
        NmeaSentence::Gll(s) => vec![("lat", position(s.lat, s.ns)), ("lon", position(s.lon, s.ew))],
        NmeaSentence::Gns(s) => vec![
            ("lat", position(s.lat, s.ns)),
            ("lon", position(s.lon, s.ew)),
            ("satellites", s.num_sats.map(i64::from)),
            ("hdop", scaled(s.hdop, 100.0)),
        ],
        NmeaSentence::Zda(s) => {
            let date = Date::new(u16::try_from(s.year?).ok()?, s.month?, s.day?)?;
            let zone = s.local_hour_offset.zip(s.local_min_offset).map(|(hours, minutes)| {
                let (hours, minutes) = (i64::from(hours), i64::from(minutes));
                hours * 60 + if hours < 0 { -minutes } else { minutes }
            });
            vec![("date", Some(date.days_since_1970())), ("zone", zone)]
        }
        NmeaSentence::Mwv(s) => vec![
            ("angle", degrees(s.wind_angle)),
            (
                "speed",
                match s.speed_units {
                    Some('N') => speed(s.wind_speed, None),
                    Some('K') => speed(None, s.wind_speed),
                    _ => scaled(s.wind_speed, 1000.0),
                },
            ),
        ],
        NmeaSentence::Mwd(s) => vec![
            ("true", degrees(s.wind_dir_true)),
            ("magnetic", degrees(s.wind_dir_mag)),
            ("speed", speed(s.wind_speed_kts, None)),
        ],
        NmeaSentence::Hsc(s) => {
            vec![("true", degrees(s.cmd_heading_true)), ("magnetic", degrees(s.cmd_heading_mag))]
        }
        _ => return None,
    })
}

fn scaled(value: Option<f32>, scale: f64) -> Option<i64> {
    value.map(|v| (f64::from(v) * scale).round() as i64)
}

/// Millidegrees on the circle. Only digits below a circle are taken round; others show as they are.
fn degrees(value: Option<f32>) -> Option<i64> {
    scaled(value, 1000.0).map(|mdeg| if mdeg == 360_000 { 0 } else { mdeg })
}

fn signed(value: Option<f32>, letter: Option<char>) -> Option<i64> {
    scaled(value, 1000.0).map(|v| if letter == Some('W') { -v } else { v })
}

fn speed(knots: Option<f32>, kmh: Option<f32>) -> Option<i64> {
    let knots = scaled(knots, 1000.0).map(Speed::from_milliknots);
    let kmh = scaled(kmh, 1000.0).map(Speed::from_metres_per_hour);
    knots.or(kmh).map(|s| i64::from(s.as_mm_s()))
}

fn position(ddmm: Option<f64>, letter: Option<char>) -> Option<i64> {
    let e7 = (ddmm_to_decimal(ddmm?) * 1e7).round() as i64;
    Some(if matches!(letter, Some('S' | 'W')) { -e7 } else { e7 })
}
