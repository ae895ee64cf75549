//! What kind of voyage it is: the boat, the waters, the gear, the script.

use super::script;
use super::script::Event;
use super::script::Happening;

/// Everything that decides a voyage. Two equal settings give the same bytes on every machine.
#[derive(Clone, Debug, PartialEq)]
pub struct Settings {
    /// Fixes all chance.
    pub seed: u64,
    /// When it begins, in milliseconds since 1970-01-01T00:00:00Z.
    pub start_unix_ms: i64,
    /// How long it is, in milliseconds.
    pub length_ms: u64,
    /// What happens on it.
    pub events: Vec<Event>,
    /// How she is steered at the start.
    pub steering: Steering,
    /// The sea, the wind, the stream and the place.
    pub waters: Waters,
    /// The boat.
    pub boat: Boat,
    /// Heading sensor, satellite receiver and the rest.
    pub gear: Gear,
    /// Which sentences come how often.
    pub sentences: Vec<Sentence>,
}

/// What the pilot steers by.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Steering {
    /// A course by the pilot's own compass, in degrees.
    Course(f64),
    /// An angle of the apparent wind in degrees, -180 to 180, starboard plus.
    Wind(f64),
}

/// The waters.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Waters {
    /// Latitude of the start in degrees, north plus.
    pub latitude_deg: f64,
    /// Longitude of the start in degrees, east plus.
    pub longitude_deg: f64,
    /// Magnetic variation in degrees, east plus; one value for the whole voyage.
    pub variation_deg: f64,
    /// Yaw in the seaway with the pilot steering, rms in degrees. Below 1 degree her own steering
    /// about, 0.6 degrees, comes on top.
    pub yaw_rms_deg: f64,
    /// Mean period of the yaw, in seconds.
    pub wave_period_s: f64,
    /// Direction the current flows towards, degrees true.
    pub set_deg: f64,
    /// Its mean speed in knots.
    pub drift_kn: f64,
    /// How far each component of the current wanders within an hour, rms in knots.
    pub drift_wander_kn: f64,
    /// Direction the wind blows from, degrees true.
    pub wind_from_deg: f64,
    /// Its mean speed in knots.
    pub wind_kn: f64,
}

/// The boat.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Boat {
    /// Her speed through the water in knots, off the wind.
    pub speed_kn: f64,
    /// Angle by which she slides to leeward with the wind abeam, in degrees.
    pub leeway_deg: f64,
    /// Nomoto's K at 6 knots, in 1/s.
    pub nomoto_k: f64,
    /// Nomoto's T at 6 knots, in seconds.
    pub nomoto_t_s: f64,
    /// How far the rudder goes, in degrees.
    pub rudder_limit_deg: f64,
    /// How fast the drive moves it, in degrees a second.
    pub rudder_rate_dps: f64,
    /// Weather helm with the wind abeam, in degrees of rudder.
    pub weather_helm_deg: f64,
}

/// The gear.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Gear {
    /// The five coefficients A to E of the deviation curve, in degrees: the true card of the sensor.
    pub deviation: [f64; 5],
    /// Time constant of the heading sensor's damping, in seconds.
    pub heading_lag_s: f64,
    /// Short noise of the heading sensor, rms in degrees.
    pub heading_noise_deg: f64,
    /// A second heading, HDT.
    pub second: Second,
    /// What ROT is made of.
    pub rot: Rot,
    /// Time constant of the satellite receiver's velocity, in seconds.
    pub gps_lag_s: f64,
    /// Noise of its velocity, each component, rms in metres a second. The course is the worse for
    /// it the slower the boat.
    pub gps_noise_mps: f64,
    /// Decimals of COG: 0 or 1.
    pub cog_decimals: u8,
}

/// A second heading on the line.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Second {
    /// There is none.
    None,
    /// HCHDT, which is HDG plus variation: looks like a second sensor and is the same.
    Copy,
    /// GPHDT of a satellite compass: true heading with errors of its own.
    Independent,
}

/// What ROT is made of.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Rot {
    /// The change of the heading sensor: it turns when the sensor lies.
    Derived,
    /// A gyro: the boat's own turn.
    Gyro,
}

/// A sentence and how often it comes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Sentence {
    /// Which.
    pub kind: Kind,
    /// From one to the next in milliseconds: a multiple of 100.
    pub every_ms: u32,
}

macro_rules! kinds {
    ($($kind:ident $name:literal $offset:literal,)*) => {
        /// The sentences that can be sent.
        #[derive(Clone, Copy, Debug, PartialEq, Eq)]
        pub enum Kind { $(#[doc = $name] $kind,)* }

        impl Kind {
            /// Every kind, in the order in which they come within a tenth of a second.
            pub const ALL: &[Self] = &[$(Self::$kind,)*];

            /// The formatter.
            pub const fn formatter(self) -> &'static str {
                match self { $(Self::$kind => $name,)* }
            }

            /// Where in its second it comes, in milliseconds: spread, so that the line keeps up.
            pub(crate) const fn offset_ms(self) -> u64 {
                match self { $(Self::$kind => $offset,)* }
            }
        }
    };
}

kinds! {
    Hdg "HDG" 0,
    Hdt "HDT" 0,
    Rot "ROT" 100,
    Rsa "RSA" 100,
    Rmc "RMC" 200,
    Vtg "VTG" 200,
    Gga "GGA" 300,
    Zda "ZDA" 300,
    Vhw "VHW" 600,
    Mwv "MWV" 700,
    Htd "HTD" 800,
    Hsc "HSC" 800,
}

impl Default for Settings {
    /// Twenty-four hours with nothing in particular, by the demo's boat in the demo's waters.
    fn default() -> Self {
        let every = |kind, every_ms| Sentence { kind, every_ms };
        Self {
            seed: 1,
            // 2026-07-14T01:50:00Z: the middle of a summer night.
            start_unix_ms: 1_783_993_800_000,
            length_ms: 86_400_000,
            events: Vec::new(),
            steering: Steering::Course(135.0),
            waters: Waters::default(),
            boat: Boat::default(),
            gear: Gear::default(),
            sentences: vec![
                every(Kind::Hdg, 500),
                every(Kind::Rot, 1000),
                every(Kind::Rsa, 1000),
                every(Kind::Rmc, 1000),
                every(Kind::Vtg, 1000),
                every(Kind::Gga, 2000),
                every(Kind::Zda, 10_000),
                every(Kind::Vhw, 1000),
                every(Kind::Mwv, 1000),
                every(Kind::Htd, 1000),
            ],
        }
    }
}

impl Default for Waters {
    /// Open sea, so that nothing but the boat is invented there: at 36 N 18 E the World Magnetic
    /// Model 2025 gives 4.3 E in July 2026. Sea, wind and stream of an ordinary night.
    fn default() -> Self {
        Self {
            latitude_deg: 36.0,
            longitude_deg: 18.0,
            variation_deg: 4.1,
            yaw_rms_deg: 2.0,
            wave_period_s: 7.0,
            set_deg: 220.0,
            drift_kn: 0.8,
            drift_wander_kn: 0.1,
            wind_from_deg: 235.0,
            wind_kn: 14.0,
        }
    }
}

impl Default for Boat {
    /// A yacht of about ten metres. K and T: no citable source for boats under 20 m, chosen so that
    /// five degrees of rudder turn her by about two degrees a second after one and a half.
    fn default() -> Self {
        Self {
            speed_kn: 6.0,
            leeway_deg: 2.0,
            nomoto_k: 0.4,
            nomoto_t_s: 1.5,
            rudder_limit_deg: 30.0,
            rudder_rate_dps: 6.0,
            weather_helm_deg: 3.0,
        }
    }
}

impl Default for Gear {
    /// A sensor of ordinary quality at an ordinary place. All values chosen.
    fn default() -> Self {
        Self {
            deviation: [0.4, 1.6, -2.1, 0.8, -0.2],
            heading_lag_s: 0.6,
            heading_noise_deg: 0.2,
            second: Second::None,
            rot: Rot::Derived,
            gps_lag_s: 1.2,
            gps_noise_mps: 0.05,
            cog_decimals: 1,
        }
    }
}

/// Which setting makes no sense, and what would.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{0}")]
pub struct SettingsError(pub String);

impl Settings {
    /// The demo: a passage of 31 minutes with the script of [`script::demo`].
    pub fn demo() -> Self {
        Self { seed: 7, length_ms: script::DEMO_MS, events: script::demo(), ..Self::default() }
    }

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
            ("the yaw", waters.yaw_rms_deg, 0.0, 15.0),
            ("the wave period", waters.wave_period_s, 2.0, 20.0),
            ("the set", waters.set_deg, 0.0, 360.0),
            ("the drift", waters.drift_kn, 0.0, 6.0),
            ("the wander of the drift", waters.drift_wander_kn, 0.0, 2.0),
            ("the wind's direction", waters.wind_from_deg, 0.0, 360.0),
            ("the wind's speed", waters.wind_kn, 0.0, 60.0),
            ("the boat's speed", boat.speed_kn, 0.0, 20.0),
            ("the leeway", boat.leeway_deg, 0.0, 20.0),
            ("Nomoto's K", boat.nomoto_k, 0.05, 2.0),
            ("Nomoto's T", boat.nomoto_t_s, 0.3, 60.0),
            ("the rudder limit", boat.rudder_limit_deg, 5.0, 60.0),
            ("the rudder rate", boat.rudder_rate_dps, 0.5, 60.0),
            ("the weather helm", boat.weather_helm_deg, -10.0, 10.0),
            ("the lag of the heading sensor", gear.heading_lag_s, 0.0, 5.0),
            ("the noise of the heading sensor", gear.heading_noise_deg, 0.0, 5.0),
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
        Ok(())
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
