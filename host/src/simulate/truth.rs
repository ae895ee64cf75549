//! The truth beside the log: what really was.

use std::fmt::Write as _;

use super::script::Event;
use super::settings::Kind;
use super::settings::Settings;

/// What really is, at one moment.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Truth {
    /// Milliseconds since 1970-01-01T00:00:00Z.
    pub unix_ms: i64,
    /// Milliseconds since the start of the voyage.
    pub since_start_ms: u64,
    /// The boat's heading, degrees true, 0 up to 360.
    pub heading_true_deg: f64,
    /// Her turn rate in degrees a second, starboard plus, the sea's yaw in it.
    pub turn_dps: f64,
    /// What a faultless sensor at this place reads: compass heading, 0 up to 360.
    pub faultless_compass_deg: f64,
    /// What the sensor reads, damping, noise and false compass in it, 0 up to 360.
    pub sensor_deg: f64,
    /// How far the script has made it read wrong, in degrees.
    pub sensor_error_deg: f64,
    /// The course ordered, by the pilot's compass; `None` while she steers by the wind.
    pub ordered_compass_deg: Option<f64>,
    /// The rudder the pilot orders, starboard plus, in degrees.
    pub rudder_ordered_deg: f64,
    /// The rudder where it is, starboard plus, in degrees.
    pub rudder_deg: f64,
    /// Speed through the water in knots.
    pub speed_through_water_kn: f64,
    /// Course over the ground, degrees true, 0 up to 360.
    pub course_true_deg: f64,
    /// Speed over the ground in knots.
    pub speed_over_ground_kn: f64,
    /// Direction the current flows towards, degrees true, 0 up to 360.
    pub set_deg: f64,
    /// Its speed in knots.
    pub drift_kn: f64,
    /// Angle of the apparent wind in degrees, -180 to 180, starboard plus.
    pub apparent_wind_deg: f64,
    /// Latitude in degrees, north plus.
    pub latitude_deg: f64,
    /// Longitude in degrees, east plus.
    pub longitude_deg: f64,
    /// Magnetic variation where she is, in degrees, east plus.
    pub variation_deg: f64,
    /// How far she heels, starboard down plus, in degrees.
    pub heel_deg: f64,
    /// The quadrant that the rudder sensor sits on; the rudder's angle while they hold together.
    pub quadrant_deg: f64,
    /// What a magnet has added to B and C of the deviation, in degrees.
    pub magnet_deg: [f64; 2],
    /// How far the script has made the second heading read wrong, in degrees.
    pub second_error_deg: f64,
    /// How far it has turned the receiver's course, in degrees.
    pub gps_error_deg: f64,
    /// How far it has put the gyro out, in degrees a second.
    pub gyro_error_dps: f64,
    /// Voltage of the battery.
    pub battery_v: f64,
}

impl Truth {
    /// One line of the truth file: JSON, LF at its end.
    ///
    /// From the variation on, a value is written only while it says something: where `voyage` has
    /// heel, a variation that changes or a battery on the line, and where something is wrong.
    pub fn write(&self, voyage: &Settings, to: &mut String) {
        let ordered = self.ordered_compass_deg.map_or_else(|| "null".to_owned(), |deg| format!("{}", tidy(deg, 1)));
        // Writing to a string cannot fail.
        let _ = write!(
            to,
            "{{\"at_ms\":{},\"since_start_ms\":{},\"heading_true_deg\":{},\"turn_deg_per_s\":{},\
             \"faultless_compass_deg\":{},\"sensor_deg\":{},\"sensor_error_deg\":{},\"ordered_compass_deg\":{ordered},\
             \"rudder_ordered_deg\":{},\"rudder_deg\":{},\"speed_through_water_kn\":{},\"course_true_deg\":{},\
             \"speed_over_ground_kn\":{},\"set_deg\":{},\"drift_kn\":{},\"apparent_wind_deg\":{},\
             \"latitude_deg\":{},\"longitude_deg\":{}",
            self.unix_ms,
            self.since_start_ms,
            direction(self.heading_true_deg),
            tidy(self.turn_dps, 2),
            direction(self.faultless_compass_deg),
            direction(self.sensor_deg),
            tidy(self.sensor_error_deg, 2),
            tidy(self.rudder_ordered_deg, 1),
            tidy(self.rudder_deg, 1),
            tidy(self.speed_through_water_kn, 2),
            direction(self.course_true_deg),
            tidy(self.speed_over_ground_kn, 2),
            direction(self.set_deg),
            tidy(self.drift_kn, 2),
            tidy(self.apparent_wind_deg, 1),
            tidy(self.latitude_deg, 6),
            tidy(self.longitude_deg, 6),
        );
        let has_xdr = voyage.sentences.iter().any(|sentence| sentence.kind == Kind::Xdr);
        let [b, c] = self.magnet_deg;
        for (says, name, value, decimals) in [
            (voyage.waters.variation_gradient != [0.0; 2], "variation_deg", self.variation_deg, 2),
            (voyage.boat.heel_deg > 0.0, "heel_deg", self.heel_deg, 1),
            (self.quadrant_deg != self.rudder_deg, "quadrant_deg", self.quadrant_deg, 1),
            (self.magnet_deg != [0.0; 2], "magnet_B_deg", b, 2),
            (self.magnet_deg != [0.0; 2], "magnet_C_deg", c, 2),
            (self.second_error_deg != 0.0, "second_error_deg", self.second_error_deg, 2),
            (self.gps_error_deg != 0.0, "gps_error_deg", self.gps_error_deg, 2),
            (self.gyro_error_dps != 0.0, "gyro_error_deg_per_s", self.gyro_error_dps, 2),
            (has_xdr, "battery_v", self.battery_v, 2),
        ] {
            if says {
                let _ = write!(to, ",\"{name}\":{}", tidy(value, decimals));
            }
        }
        to.push_str("}\n");
    }
}

/// What the script does at a moment.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Cue {
    /// Milliseconds since 1970-01-01T00:00:00Z.
    pub unix_ms: i64,
    /// Milliseconds since the start of the voyage.
    pub since_start_ms: u64,
    /// The event that begins or ends.
    pub event: Event,
    /// Whether it ends.
    pub ends: bool,
}

impl Cue {
    /// One line of the truth file: JSON, LF at its end.
    pub fn write(&self, to: &mut String) {
        let _ = writeln!(
            to,
            "{{\"at_ms\":{},\"since_start_ms\":{},\"event\":\"{}\",\"{}\":\"{}\"}}",
            self.unix_ms,
            self.since_start_ms,
            self.event.happening.name(),
            if self.ends { "ends" } else { "begins" },
            self.event,
        );
    }
}

/// The first line of a truth file: JSON, LF at its end. Names the schema, the seed and what is the
/// same all the way.
pub fn head(settings: &Settings, to: &mut String) {
    let [a, b, c, d, e] = settings.gear.deviation;
    let waters = &settings.waters;
    let _ = writeln!(
        to,
        "{{\"schema\":1,\"what\":\"truth of a simulated voyage\",\"seed\":{},\"start_ms\":{},\"length_ms\":{},\
         \"variation_deg\":{},\"deviation_deg\":{{\"A\":{a},\"B\":{b},\"C\":{c},\"D\":{d},\"E\":{e}}},\
         \"yaw_rms_deg\":{},\"set_deg\":{},\"drift_kn\":{},\"leeway_deg\":{}}}",
        settings.seed,
        settings.start_unix_ms,
        settings.length_ms,
        waters.variation_deg,
        waters.yaw_rms_deg,
        waters.set_deg,
        waters.drift_kn,
        settings.boat.leeway_deg,
    );
}

/// A number with so many decimals, rounded as the sentences are and without a negative zero.
fn tidy(value: f64, decimals: u8) -> f64 {
    let power = 10_u32.pow(u32::from(decimals));
    (value * f64::from(power)).round() as i64 as f64 / f64::from(power)
}

/// A direction with two decimals, 0 up to 360.
fn direction(degrees: f64) -> f64 {
    super::wire::bearing_units(degrees, 2) as f64 / 100.0
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_rounded_and_have_no_negative_zero() {
        assert_eq!((tidy(-0.04, 1).to_string(), tidy(12.345_6, 2).to_string()), ("0".to_owned(), "12.35".to_owned()));
        assert_eq!((direction(359.999).to_string(), direction(-90.0).to_string()), ("0".to_owned(), "270".to_owned()));
    }
}
