//! What kind of voyage it is: the boat, the waters, the gear, the script.

use super::script;
use super::script::Event;

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
    /// Magnetic variation at the start in degrees, east plus.
    pub variation_deg: f64,
    /// How it changes on the way: degrees for each degree of latitude and of longitude made good.
    pub variation_gradient: [f64; 2],
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
    /// A tide that runs to and fro along the set on top of it: its greatest speed in knots.
    pub tide_kn: f64,
    /// Where in its turn the tide begins, in degrees: 0 runs full, 90 is slack.
    pub tide_phase_deg: f64,
    /// Direction the wind blows from, degrees true.
    pub wind_from_deg: f64,
    /// Its mean speed in knots.
    pub wind_kn: f64,
    /// How far it goes up and down within a minute or so, rms as a part of its mean.
    pub gust_rms: f64,
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
    /// Heel with the wind abeam, in degrees.
    pub heel_deg: f64,
    /// How much heel, weather helm and leeway follow the pressure of the wind: 0 not at all, 1 in proportion.
    pub gust_response: f64,
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
    /// What a degree of heel to starboard adds to the deviation on compass north, in degrees.
    pub heel_error: f64,
    /// A second heading, HDT.
    pub second: Second,
    /// What ROT is made of.
    pub rot: Rot,
    /// Noise of the gyro, rms in degrees a second.
    pub gyro_noise_dps: f64,
    /// Noise of the rudder sensor, rms in degrees.
    pub rudder_noise_deg: f64,
    /// How far the rudder sensor is out amidships, in degrees.
    pub rudder_offset_deg: f64,
    /// After how long the pilot takes a large error for standing helm and not for a turn, in seconds.
    pub pilot_trim_s: f64,
    /// Voltage of the battery, which XDR says.
    pub battery_v: f64,
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
    Xdr "XDR" 900,
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
            variation_gradient: [0.0; 2],
            yaw_rms_deg: 2.0,
            wave_period_s: 7.0,
            set_deg: 220.0,
            drift_kn: 0.8,
            drift_wander_kn: 0.1,
            tide_kn: 0.0,
            tide_phase_deg: 0.0,
            wind_from_deg: 235.0,
            wind_kn: 14.0,
            gust_rms: 0.1,
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
            heel_deg: 0.0,
            gust_response: 0.0,
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
            heel_error: 0.0,
            second: Second::None,
            rot: Rot::Derived,
            gyro_noise_dps: 0.0,
            rudder_noise_deg: 0.0,
            rudder_offset_deg: 0.0,
            pilot_trim_s: 90.0,
            battery_v: 12.6,
            gps_lag_s: 1.2,
            gps_noise_mps: 0.05,
            cog_decimals: 1,
        }
    }
}

impl Settings {
    /// The demo: a passage of 31 minutes with the script of [`script::demo`].
    pub fn demo() -> Self {
        Self { seed: 7, length_ms: script::DEMO_MS, events: script::demo(), ..Self::default() }
    }
}
