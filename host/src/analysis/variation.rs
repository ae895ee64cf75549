//! Magnetic variation by the World Magnetic Model, with its uncertainty.
//!
//! The models of 2020 and 2025 are built in (public domain, NOAA NCEI and British Geological
//! Survey), so dates from 2020-01-01 up to 2030-01-01 are covered. Within an epoch the model's
//! north and east components are linear in time, so they are evaluated at its first and its last
//! day and drawn through. That gives the fraction of a day, and it carries past the ends: an old
//! log, or a boat that never updates, gets an **extrapolated** variation whose sigma says so, up to
//! [`FURTHEST_YEARS`]. Beyond that there is no honest number and [`NoModel`] says why.

use std::fmt;

use chrono::DateTime;
use chrono::Datelike;
use chrono::Utc;
use lubber_core::angle::Turn;
use lubber_core::heading::Variation;
use lubber_core::monitor::ModelVariation;
use lubber_core::unit::Position;
use world_magnetic_model::GeomagneticField;
use world_magnetic_model::time::Date;
use world_magnetic_model::uom::si::angle::degree;
use world_magnetic_model::uom::si::f32::Angle;
use world_magnetic_model::uom::si::f32::Length;
use world_magnetic_model::uom::si::length::kilometer;
use world_magnetic_model::uom::si::magnetic_flux_density::nanotesla;

/// How many years outside its epoch a model is still carried.
///
/// Fifteen is as far as the drift was measured.
pub const FURTHEST_YEARS: f64 = 15.0;

/// How the error of an extrapolated model grows: nanotesla degrees a year, divided by the
/// horizontal field.
///
/// Measured, no published source: the models of 2010, 2015, 2020 and 2025, each carried to the first
/// day of every other epoch and compared with the model of that epoch; rms over the globe where the
/// horizontal field is over 6000 nT, by area. 5 years outside: 380 to 1310 nT deg a year; 10 years:
/// 590 to 1140; 15 years: 670. The worst of the long ones, rounded up.
const DRIFT_NT_DEG_PER_YEAR: f64 = 1200.0;

/// A horizontal field under this: a compass is not to be relied on (blackout zone, MIL-PRF-89500B
/// as NOAA's and the model crate's code cite it).
pub const BLACKOUT_NT: f64 = 2000.0;

/// A horizontal field under this: a compass is to be used with caution (caution zone, same source).
pub const CAUTION_NT: f64 = 6000.0;

/// What the model says of one place and moment, at sea level.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Field {
    /// Variation in degrees, east plus.
    pub variation_deg: f64,
    /// Its standard deviation in degrees, up to 180; extrapolation counted.
    pub sigma_deg: f64,
    /// The horizontal field in nanotesla: the force that turns a compass.
    pub horizontal_nt: f64,
    /// How weak that is.
    pub zone: Zone,
    /// Which model, by the year its epoch begins.
    pub epoch: i32,
    /// How many years outside its epoch it was carried; zero inside.
    pub extrapolated_years: f64,
}

/// How far a compass can be trusted by the strength of the horizontal field.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Zone {
    /// 6000 nT and more.
    Sound,
    /// 2000 up to 6000 nT.
    Caution,
    /// Under 2000 nT.
    Blackout,
}

/// Why there is no variation for a place and date.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum NoModel {
    /// Too far from the years the built-in models are for.
    Date {
        /// The year asked for, with its fraction.
        year: f64,
    },
    /// The latitude is over 90 degrees or the longitude over 180.
    Place,
}

/// One epoch of the model and its published error model.
struct Epoch {
    year: i32,
    /// Constant part of the declination's sigma, degrees.
    constant_deg: f64,
    /// Part of it that grows as the horizontal field weakens, nanotesla degrees.
    field_nt_deg: f64,
}

/// WMM2020 report (doi 10.25923/ytk1-yx35) and WMM2025 report (doi 10.25923/prbc-s316), section 3.4,
/// as NOAA's package wmm-calculator 1.4.4 and the model crate both carry them.
const EPOCHS: [Epoch; 2] = [
    Epoch { year: 2020, constant_deg: 0.26, field_nt_deg: 5625.0 },
    Epoch { year: 2025, constant_deg: 0.26, field_nt_deg: 5417.0 },
];

/// Years an epoch lasts.
const EPOCH_YEARS: f64 = 5.0;

/// The variation at `position` at `unix_ms` milliseconds since 1970, in the form the core takes.
///
/// # Errors
/// [`NoModel`]: the date is too far from 2020 to 2030, or the position is none.
pub fn model(position: Position, unix_ms: i64) -> Result<ModelVariation, NoModel> {
    field(f64::from(position.lat_e7) / 1e7, f64::from(position.lon_e7) / 1e7, year(unix_ms)?).map(Field::for_core)
}

/// The moment `unix_ms` as a year with its fraction.
///
/// # Errors
/// [`NoModel::Date`] where the calendar does not reach that far.
pub fn year(unix_ms: i64) -> Result<f64, NoModel> {
    let at: DateTime<Utc> =
        DateTime::from_timestamp_millis(unix_ms).ok_or(NoModel::Date { year: if unix_ms < 0 { -1e6 } else { 1e6 } })?;
    let days = if at.date_naive().leap_year() { 366.0 } else { 365.0 };
    let of_day = (at.timestamp_millis().rem_euclid(86_400_000)) as f64 / 86_400_000.0;
    Ok(f64::from(at.year()) + (f64::from(at.ordinal0()) + of_day) / days)
}

/// The field at a latitude and longitude in degrees (north and east plus), at sea level, in `year`.
///
/// # Errors
/// As [`model`].
pub fn field(lat_deg: f64, lon_deg: f64, year: f64) -> Result<Field, NoModel> {
    field_at_height(lat_deg, lon_deg, 0.0, year)
}

/// [`field`] at a height in kilometres above the ellipsoid: the published test values are for many.
fn field_at_height(lat_deg: f64, lon_deg: f64, height_km: f64, year: f64) -> Result<Field, NoModel> {
    let newest = &EPOCHS[EPOCHS.len() - 1];
    let epoch = EPOCHS.iter().find(|epoch| year < f64::from(epoch.year) + EPOCH_YEARS).unwrap_or(newest);
    let since = year - f64::from(epoch.year);
    let outside = if since < 0.0 { -since } else { (since - EPOCH_YEARS).max(0.0) };
    if !since.is_finite() || outside > FURTHEST_YEARS {
        return Err(NoModel::Date { year });
    }
    let (first, last) = (Date::from_ordinal_date(epoch.year, 1), Date::from_ordinal_date(epoch.year + 4, 365));
    let (Ok(first), Ok(last)) = (first, last) else { return Err(NoModel::Date { year }) };
    let (north_0, east_0) = north_and_east(lat_deg, lon_deg, height_km, first)?;
    let (north_1, east_1) = north_and_east(lat_deg, lon_deg, height_km, last)?;
    // From the first of January of the first year to day 365 of the fifth, which is no leap year.
    let part = since / (4.0 + 364.0 / 365.0);
    let north = north_0 + (north_1 - north_0) * part;
    let east = east_0 + (east_1 - east_0) * part;
    let horizontal_nt = north.hypot(east);
    let weak = epoch.field_nt_deg.hypot(DRIFT_NT_DEG_PER_YEAR * outside) / horizontal_nt;
    Ok(Field {
        variation_deg: east.atan2(north).to_degrees(),
        sigma_deg: epoch.constant_deg.hypot(weak).min(180.0),
        horizontal_nt,
        zone: Zone::of(horizontal_nt),
        epoch: epoch.year,
        extrapolated_years: outside,
    })
}

/// North and east components in nanotesla on a day inside an epoch.
fn north_and_east(lat_deg: f64, lon_deg: f64, height_km: f64, date: Date) -> Result<(f64, f64), NoModel> {
    #[expect(clippy::cast_possible_truncation, reason = "the model crate computes in f32")]
    let (lat, lon, height) = (lat_deg as f32, lon_deg as f32, height_km as f32);
    let field = GeomagneticField::new(
        Length::new::<kilometer>(height),
        Angle::new::<degree>(lat),
        Angle::new::<degree>(lon),
        date,
    )
    .map_err(|_| NoModel::Place)?;
    Ok((f64::from(field.x().get::<nanotesla>()), f64::from(field.y().get::<nanotesla>())))
}

impl Field {
    /// The same in the core's integers: millidegrees and whole nanotesla, rounded to the nearest.
    pub fn for_core(self) -> ModelVariation {
        #[expect(clippy::cast_possible_truncation, reason = "180 degrees and 100 000 nT are far inside an i32")]
        let (variation, sigma, horizontal_nt) = (
            (self.variation_deg * 1000.0).round() as i32,
            (self.sigma_deg * 1000.0).round() as i32,
            self.horizontal_nt.round() as i32,
        );
        ModelVariation {
            variation: Variation(Turn::from_mdeg(variation)),
            sigma: Turn::from_mdeg(sigma),
            horizontal_nt,
        }
    }
}

impl Zone {
    /// The zone of a horizontal field in nanotesla.
    pub fn of(horizontal_nt: f64) -> Self {
        match horizontal_nt {
            weak if weak < BLACKOUT_NT => Self::Blackout,
            weak if weak < CAUTION_NT => Self::Caution,
            _ => Self::Sound,
        }
    }
}

impl fmt::Display for NoModel {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Date { year } => write!(
                f,
                "no magnetic model for {year:.0}: the built-in ones are for 2020 to 2030 and are carried \
                 {FURTHEST_YEARS:.0} years further at most; is the date right?"
            ),
            Self::Place => f.write_str("no such place: latitude is at most 90 degrees, longitude at most 180"),
        }
    }
}

impl std::error::Error for NoModel {}

#[cfg(test)]
mod tests {
    use super::*;

    /// (year, height km, latitude, longitude, north, east, H), nanotesla.
    fn published() -> Vec<[f64; 7]> {
        // Source: WMM2025_TestValues.txt, NOAA NCEI, public domain.
        let text = include_str!("../../../fixtures/WMM2025_TestValues.txt");
        let rows = text.lines().filter(|line| !line.starts_with('#') && !line.trim().is_empty());
        rows.map(|line| {
            let row: Vec<f64> = line.split_whitespace().map(|field| field.parse().unwrap()).collect();
            [row[0], row[1], row[2], row[3], row[7], row[8], row[6]]
        })
        .collect()
    }

    #[test]
    fn all_hundred_published_values() {
        let rows = published();
        assert_eq!(rows.len(), 100);
        let (mut worst_deg, mut worst_nt) = (0.0_f64, 0.0_f64);
        for [year, height, lat, lon, north, east, horizontal] in rows {
            let got = field_at_height(lat, lon, height, year).unwrap();
            // From the components: the file prints the declination to 0.01 degree only.
            let declination = east.atan2(north).to_degrees();
            worst_deg = worst_deg.max((got.variation_deg - declination).abs());
            worst_nt = worst_nt.max((got.horizontal_nt - horizontal).abs());
            assert!(
                (got.variation_deg - declination).abs() <= 0.0005,
                "{year} {lat} {lon}: {got:?}, not {declination}"
            );
            // The crate adds some 170 terms of up to 30 000 nT in f32 (24 bits): a few hundredths.
            assert!((got.horizontal_nt - horizontal).abs() <= 0.05, "{year} {lat} {lon}: {got:?}, not {horizontal}");
            assert_eq!((got.epoch, got.extrapolated_years), (2025, 0.0));
        }
        println!("worst: {worst_deg:.5} deg, {worst_nt:.4} nT");
    }

    /// (year, height km, latitude, longitude, D to 0.01 degree, H to 0.1 nT): WMM2025 report, table 6; D as
    /// quoted by a public test, H recomputed with two other packages (pygeomag 1.1.0, wmm-calculator 1.4.4).
    const TABLE_6: [(f64, f64, f64, f64, f64, f64); 12] = [
        (2025.0, 0.0, 80.0, 0.0, 1.28, 6523.2),
        (2025.0, 0.0, 0.0, 120.0, -0.16, 39677.9),
        (2025.0, 0.0, -80.0, 240.0, 68.78, 16898.1),
        (2025.0, 100.0, 80.0, 0.0, 0.85, 6216.7),
        (2025.0, 100.0, 0.0, 120.0, -0.15, 37688.7),
        (2025.0, 100.0, -80.0, 240.0, 68.21, 15917.1),
        (2027.5, 0.0, 80.0, 0.0, 2.59, 6507.5),
        (2027.5, 0.0, 0.0, 120.0, -0.24, 39702.0),
        (2027.5, 0.0, -80.0, 240.0, 68.49, 16908.3),
        (2027.5, 100.0, 80.0, 0.0, 2.16, 6201.1),
        (2027.5, 100.0, 0.0, 120.0, -0.23, 37711.8),
        (2027.5, 100.0, -80.0, 240.0, 67.93, 15927.0),
    ];

    #[test]
    fn table_6_of_the_report() {
        for (year, height, lat, lon, declination, horizontal) in TABLE_6 {
            let got = field_at_height(lat, if lon > 180.0 { lon - 360.0 } else { lon }, height, year).unwrap();
            // Half of the last digit printed, and what f32 adds.
            assert!((got.variation_deg - declination).abs() <= 0.006, "{year} {lat} {lon}: {got:?}");
            assert!((got.horizontal_nt - horizontal).abs() <= 0.15, "{year} {lat} {lon}: {got:?}");
        }
    }

    #[test]
    fn sigma_grows_as_the_field_weakens() {
        // sqrt(0.26^2 + (5417 / H)^2): WMM2025 report 3.4; the four values with the crate's own output.
        for (lat, lon, height, sigma) in [
            (80.0, 0.0, 0.0, 0.8702),
            (0.0, 120.0, 0.0, 0.2937),
            (-80.0, -120.0, 0.0, 0.4128),
            (89.0, -121.0, 28.0, 3.6104),
        ] {
            let got = field_at_height(lat, lon, height, 2025.0).unwrap();
            assert!((got.sigma_deg - sigma).abs() <= 0.0002, "{lat} {lon}: {got:?}");
        }
        // And at 23.35 N 40 E, where a published package prints 7.7e-6: 0.305.
        let got = field(23.35, 40.0, 2025.0).unwrap();
        assert!((got.sigma_deg - 0.305).abs() <= 0.001, "{got:?}");
    }

    #[test]
    fn zones_at_their_edges() {
        assert_eq!(Zone::of(1999.9), Zone::Blackout);
        assert_eq!(Zone::of(2000.0), Zone::Caution);
        assert_eq!(Zone::of(5999.9), Zone::Caution);
        assert_eq!(Zone::of(6000.0), Zone::Sound);
        assert_eq!(field_at_height(89.0, -121.0, 28.0, 2025.0).unwrap().zone, Zone::Blackout);
        assert_eq!(field(80.0, 0.0, 2025.0).unwrap().zone, Zone::Sound);
    }

    #[test]
    fn an_old_log_is_carried_and_says_so() {
        let inside = field(50.0, -4.0, 2020.0).unwrap();
        let old = field(50.0, -4.0, 2008.5).unwrap();
        assert_eq!((old.epoch, inside.extrapolated_years), (2020, 0.0));
        assert!((old.extrapolated_years - 11.5).abs() < 1e-9);
        let want =
            (0.26_f64.powi(2) + (5625.0 / old.horizontal_nt).powi(2) + (1200.0 * 11.5 / old.horizontal_nt).powi(2))
                .sqrt();
        assert!((old.sigma_deg - want).abs() < 1e-9, "{old:?}");
        // WMM2010 for 50 N 4 W at 2010.0 (pygeomag 1.1.0, sea level): the carried value is inside 2 sigma.
        let carried = field(50.0, -4.0, 2010.0).unwrap();
        assert!((carried.variation_deg - WMM2010_AT_50N_4W).abs() <= 2.0 * carried.sigma_deg, "{carried:?}");
        // No step where one epoch ends and the extrapolation begins.
        let (before, after) = (field(50.0, -4.0, 2029.999).unwrap(), field(50.0, -4.0, 2030.001).unwrap());
        assert!((before.variation_deg - after.variation_deg).abs() < 0.001);
        assert!(before.extrapolated_years == 0.0 && after.extrapolated_years > 0.0);
    }

    /// Declination, degrees, by the model of 2010 for 2010.0: computed with pygeomag 1.1.0.
    const WMM2010_AT_50N_4W: f64 = -2.898;

    #[test]
    fn what_has_no_model() {
        // A board without a clock starts in 1970.
        let place = Position { lat_e7: 500_000_000, lon_e7: -40_000_000 };
        assert!(matches!(model(place, 0), Err(NoModel::Date { year }) if year == 1970.0));
        assert!(matches!(model(place, i64::MAX), Err(NoModel::Date { .. })));
        assert!(matches!(model(place, i64::MIN), Err(NoModel::Date { .. })));
        assert_eq!(field(90.5, 0.0, 2025.0), Err(NoModel::Place));
        assert_eq!(field(f64::NAN, 0.0, 2025.0), Err(NoModel::Place));
        assert!(matches!(field(0.0, 0.0, f64::NAN), Err(NoModel::Date { .. })));
    }

    #[test]
    fn the_core_gets_millidegrees() {
        // 2025-01-01T00:00:00Z; table 6 row 3: D 68.78, H 16898.1, sigma 0.4128.
        let got = model(Position { lat_e7: -800_000_000, lon_e7: -1_200_000_000 }, 1_735_689_600_000).unwrap();
        assert!((got.variation.0.as_mdeg() - 68_780).abs() <= 6, "{got:?}");
        assert_eq!((got.sigma.as_mdeg(), got.horizontal_nt), (413, 16_898));
    }

    #[test]
    fn a_year_has_its_fraction() {
        assert_eq!(year(1_735_689_600_000), Ok(2025.0));
        // 2 July 2025 12:00 is the middle of a year of 365 days; 2 July 2024 00:00 of one of 366.
        assert_eq!(year(1_751_457_600_000), Ok(2025.5));
        assert_eq!(year(1_719_878_400_000), Ok(2024.5));
    }
}
