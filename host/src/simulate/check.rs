//! Which settings make a voyage, and which could not be sailed.

use super::happening::Change;
use super::happening::Happening;
use super::script::Event;
use super::settings::Kind;
use super::settings::Rot;
use super::settings::Second;
use super::settings::Settings;
use super::settings::Steering;

/// Which setting makes no sense, and what would.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{0}")]
pub struct SettingsError(pub String);

impl Settings {
    /// Refuses what no boat could sail.
    ///
    /// # Errors
    /// [`SettingsError`] names the first setting that is out of its range.
    pub fn check(&self) -> Result<(), SettingsError> {
        let (waters, boat, gear) = (&self.waters, &self.boat, &self.gear);
        let course = match self.steering {
            Steering::Course(course) => ("the course", course, 0.0, 360.0),
            Steering::Wind(angle) => ("the wind angle", angle, -180.0, 180.0),
        };
        let ranges = [
            course,
            // Longer periods and faster boats than these are not a small boat's any more.
            ("the latitude", waters.latitude_deg, -80.0, 80.0),
            ("the longitude", waters.longitude_deg, -180.0, 180.0),
            ("the variation", waters.variation_deg, -180.0, 180.0),
            ("the variation's change to the north", waters.variation_gradient[0], -20.0, 20.0),
            ("the variation's change to the east", waters.variation_gradient[1], -20.0, 20.0),
            ("the yaw", waters.yaw_rms_deg, 0.0, 15.0),
            ("the wave period", waters.wave_period_s, 2.0, 20.0),
            ("the set", waters.set_deg, 0.0, 360.0),
            ("the drift", waters.drift_kn, 0.0, 6.0),
            ("the wander of the drift", waters.drift_wander_kn, 0.0, 2.0),
            ("the tide", waters.tide_kn, 0.0, 6.0),
            ("the phase of the tide", waters.tide_phase_deg, 0.0, 360.0),
            ("the wind's direction", waters.wind_from_deg, 0.0, 360.0),
            ("the wind's speed", waters.wind_kn, 0.0, 60.0),
            ("the gusts", waters.gust_rms, 0.0, 0.5),
            ("the boat's speed", boat.speed_kn, 0.0, 20.0),
            ("the leeway", boat.leeway_deg, 0.0, 20.0),
            ("Nomoto's K", boat.nomoto_k, 0.05, 2.0),
            ("Nomoto's T", boat.nomoto_t_s, 0.3, 60.0),
            ("the rudder limit", boat.rudder_limit_deg, 5.0, 60.0),
            ("the rudder rate", boat.rudder_rate_dps, 0.5, 60.0),
            ("the weather helm", boat.weather_helm_deg, -10.0, 10.0),
            ("the heel", boat.heel_deg, 0.0, 40.0),
            ("the answer to gusts", boat.gust_response, 0.0, 2.0),
            ("the lag of the heading sensor", gear.heading_lag_s, 0.0, 5.0),
            ("the noise of the heading sensor", gear.heading_noise_deg, 0.0, 5.0),
            ("the deviation by heel", gear.heel_error, -1.0, 1.0),
            ("the noise of the gyro", gear.gyro_noise_dps, 0.0, 5.0),
            ("the noise of the rudder sensor", gear.rudder_noise_deg, 0.0, 5.0),
            ("the offset of the rudder sensor", gear.rudder_offset_deg, -30.0, 30.0),
            ("the time until the pilot trims", gear.pilot_trim_s, 0.0, 3600.0),
            ("the voltage of the battery", gear.battery_v, 0.0, 60.0),
            ("the lag of the satellite receiver", gear.gps_lag_s, 0.0, 10.0),
            ("the noise of the satellite receiver", gear.gps_noise_mps, 0.0, 1.0),
            ("the decimals of COG", f64::from(gear.cog_decimals), 0.0, 1.0),
        ];
        for (name, value, min, max) in ranges {
            if !(min..=max).contains(&value) {
                return Err(SettingsError(format!("{name} is {value}; it goes from {min} to {max}")));
            }
        }
        let [a, b, c, d, e] = gear.deviation;
        let slope = (b.abs() + c.abs() + 2.0 * d.abs() + 2.0 * e.abs()).to_radians();
        if !(slope <= 0.5 && a.abs() <= 180.0) {
            let message = "the deviation is steeper than half a degree a degree; take smaller coefficients";
            return Err(SettingsError(message.into()));
        }
        if !(0..=253_402_300_799_999 - 86_400_000_000).contains(&self.start_unix_ms) {
            return Err(SettingsError("the start lies between the years 1970 and 9997".into()));
        }
        if self.length_ms > 86_400_000_000 {
            return Err(SettingsError("a voyage is at most 1000 days long".into()));
        }
        for sentence in &self.sentences {
            if sentence.every_ms == 0 || sentence.every_ms % 100 != 0 {
                let name = sentence.kind.formatter();
                return Err(SettingsError(format!(
                    "{name} comes every 100 ms or a multiple of it (10 a second at most)"
                )));
            }
        }
        if gear.second == Second::None && self.sentences.iter().any(|sentence| sentence.kind == Kind::Hdt) {
            return Err(SettingsError(
                "HDT is a second heading, and there is none; choose a copy or an independent one".into(),
            ));
        }
        if let Some(tack) = self.events.iter().find(|event| event.happening == Happening::Tack) {
            let turns = |event: &&Event| event.at_ms <= tack.at_ms && matches!(event.happening, Happening::Order(_));
            if matches!(self.steering, Steering::Course(_)) || self.events.iter().any(|event| turns(&event)) {
                return Err(SettingsError(format!("`{tack}`: she tacks only while she is steered by the wind")));
            }
        }
        self.events.iter().try_for_each(|event| self.check_event(event))
    }

    /// Refuses what happens to gear that is not there, and a leap second that is none.
    fn check_event(&self, event: &Event) -> Result<(), SettingsError> {
        let needs = |there: bool, what: &str| {
            if there { Ok(()) } else { Err(SettingsError(format!("`{event}`: {what}"))) }
        };
        match event.happening {
            Happening::Runs { to: Change::FalseSecond(_), .. } => {
                needs(self.gear.second == Second::Independent, "there is no independent second heading to go wrong")
            }
            Happening::Runs { to: Change::GyroBias(_), .. } | Happening::GyroStuck => {
                needs(self.gear.rot == Rot::Gyro, "there is no gyro; ROT is made from the heading")
            }
            Happening::LeapSecond => {
                let late_ms = (self.start_unix_ms + i64::try_from(event.at_ms).unwrap_or(0)).rem_euclid(86_400_000);
                needs(late_ms == 0, "a leap second begins at midnight UTC; put it where the voyage passes that")
            }
            _ => Ok(()),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_defaults_make_sense() {
        assert_eq!((Settings::default().check(), Settings::demo().check()), (Ok(()), Ok(())));
    }

    #[test]
    fn a_tack_needs_the_wind_to_steer_by() {
        let tack = |steering, order: &str| {
            let events = ["tack@60s", order].map(|text| text.parse().unwrap());
            Settings { steering, events: events.into(), ..Settings::default() }.check()
        };
        assert!(tack(Steering::Course(90.0), "gps-lost@1s").is_err());
        assert!(tack(Steering::Wind(45.0), "order@1s=90").is_err());
        assert_eq!(tack(Steering::Wind(45.0), "order@90s=90"), Ok(()));
    }

    #[test]
    fn nonsense_is_named() {
        let mut settings = Settings::default();
        settings.waters.yaw_rms_deg = f64::NAN;
        assert!(settings.check().unwrap_err().to_string().contains("the yaw"));
    }
}
