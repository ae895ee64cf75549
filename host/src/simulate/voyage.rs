//! The voyage itself: boat, pilot, sensors and weather together, a tenth of a second at a time.

use super::chance::Chance;
use super::chance::Wander;
use super::check::SettingsError;
use super::exact;
use super::happening::Change;
use super::happening::Happening;
use super::hull::Drive;
use super::hull::Hull;
use super::pilot::Demand;
use super::pilot::Pilot;
use super::ramp::Ramp;
use super::script::Event;
use super::sensor::Compass;
use super::sensor::Gyro;
use super::sensor::Receiver;
use super::settings::Kind;
use super::settings::Second;
use super::settings::Sentence;
use super::settings::Settings;
use super::settings::Steering;
use super::talk::Fix;
use super::talk::Reading;
use super::truth::Cue;
use super::truth::Truth;
use super::weather::KNOT;
use super::weather::Vector;
use super::weather::Weather;
use super::wire::Builder;

/// The step of the model, in milliseconds.
pub const STEP_MS: u64 = 100;
pub(super) const STEP_S: f64 = 0.1;

/// How long the boat sails before the log begins, so that it begins with everything settled.
const SETTLING_STEPS: u32 = 6000;

/// Metres in a degree of latitude: 60 nautical miles of 1852 m, on a sphere.
pub(super) const METRES_PER_DEGREE: f64 = 60.0 * 1852.0;

/// Noise of the second heading, rms in degrees.
const SECOND_NOISE_DEG: f64 = 0.3;

/// Noise of the measured voltage, rms in volts: load that comes and goes.
const BATTERY_NOISE_V: f64 = 0.03;
/// How often the voltage comes where a script changes it and nobody gave it a rate.
const BATTERY_EVERY_MS: u32 = 2000;

/// What a step hands out.
#[derive(Clone, Copy, Debug)]
pub enum Heard<'a> {
    /// A line on the wire, CR and LF at its end. It may be damaged.
    Line {
        /// When it was complete, milliseconds since 1970-01-01T00:00:00Z.
        unix_ms: i64,
        /// Its bytes.
        bytes: &'a [u8],
    },
    /// The script goes on.
    Cue(Cue),
}

/// A voyage under way.
#[derive(Clone, Debug)]
pub struct Voyage {
    pub(super) settings: Settings,
    pub(super) now_ms: u64,
    steering: Steering,
    pub(super) weather: Weather,
    pub(super) hull: Hull,
    pub(super) pilot: Pilot,
    compass: Compass,
    pub(super) receiver: Receiver,
    pub(super) second: Wander,
    pub(super) second_error: Ramp,
    pub(super) gyro: Gyro,
    pub(super) rudder_noise: Wander,
    pub(super) battery: Ramp,
    pub(super) battery_noise: Wander,
    pub(super) place: (f64, f64),
    pub(super) variation_deg: f64,
    turn_dps: f64,
    pub(super) reading: Reading,
    pub(super) reading_dps: f64,
    pub(super) fix: Fix,
    pub(super) fix_every_ms: u64,
    timeline: Vec<(u64, bool, usize)>,
    next_cue: usize,
    pub(super) active: Vec<usize>,
    /// When the leap second began, if there was one.
    pub(super) leap_ms: Option<u64>,
    pub(super) trouble: Chance,
    pub(super) line: Chance,
    pub(super) builder: Builder,
}

impl Voyage {
    /// A voyage at its start.
    ///
    /// # Errors
    /// [`SettingsError`] where [`Settings::check`] refuses the settings.
    pub fn new(mut settings: Settings) -> Result<Self, SettingsError> {
        settings.check()?;
        let every_ms = |kind| settings.sentences.iter().find(|s| s.kind == kind).map(|s| s.every_ms);
        // A second heading nobody gave a rate comes as often as the first.
        if let (Some(every_ms), None) = (every_ms(Kind::Hdg), every_ms(Kind::Hdt))
            && settings.gear.second != Second::None
        {
            settings.sentences.push(Sentence { kind: Kind::Hdt, every_ms });
        }
        // Nor is a battery watched that nobody speaks of.
        let sags = |event: &Event| matches!(event.happening, Happening::Runs { to: Change::Battery(_), .. });
        if settings.events.iter().any(sags) && settings.sentences.iter().all(|s| s.kind != Kind::Xdr) {
            settings.sentences.push(Sentence { kind: Kind::Xdr, every_ms: BATTERY_EVERY_MS });
        }
        settings.sentences.sort_by_key(|sentence| sentence.kind as u8);
        let of_receiver = |sentence: &&Sentence| matches!(sentence.kind, Kind::Rmc | Kind::Vtg | Kind::Gga | Kind::Zda);
        let fix_every_ms = settings.sentences.iter().filter(of_receiver).map(|s| u64::from(s.every_ms)).min();

        let mut timeline = Vec::new();
        for (index, event) in settings.events.iter().enumerate() {
            timeline.push((event.at_ms, false, index));
            if let Some(lasts) = event.lasts_ms {
                timeline.push((event.at_ms.saturating_add(lasts), true, index));
            }
        }
        timeline.sort();

        let seed = settings.seed;
        let heading = starting_heading(&settings);
        let mut voyage = Self {
            now_ms: 0,
            steering: settings.steering,
            weather: Weather::new(settings.waters, seed, STEP_S),
            hull: Hull::new(settings.boat, heading, seed, STEP_S),
            pilot: Pilot::new(settings.gear.pilot_trim_s),
            compass: Compass::new(&settings.gear, settings.waters.variation_deg, heading, seed, STEP_S),
            receiver: Receiver::new(&settings.gear, seed, STEP_S),
            second: Wander::new(Chance::new(seed, 42), SECOND_NOISE_DEG, 1.5, STEP_S),
            second_error: Ramp::new(0.0, STEP_S),
            gyro: Gyro::new(&settings.gear, seed, STEP_S),
            rudder_noise: Wander::new(Chance::new(seed, 52), settings.gear.rudder_noise_deg, 0.5, STEP_S),
            battery: Ramp::new(settings.gear.battery_v, STEP_S),
            battery_noise: Wander::new(Chance::new(seed, 50), BATTERY_NOISE_V, 20.0, STEP_S),
            place: (settings.waters.latitude_deg, settings.waters.longitude_deg),
            variation_deg: settings.waters.variation_deg,
            turn_dps: 0.0,
            reading: Reading::Void,
            reading_dps: 0.0,
            fix: Fix::default(),
            fix_every_ms: fix_every_ms.unwrap_or(1000),
            timeline,
            next_cue: 0,
            active: Vec::new(),
            leap_ms: None,
            trouble: Chance::new(seed, 40),
            line: Chance::new(seed, 41),
            builder: Builder::default(),
            settings,
        };
        for _ in 0..SETTLING_STEPS {
            voyage.sail();
        }
        voyage.place = (voyage.settings.waters.latitude_deg, voyage.settings.waters.longitude_deg);
        Ok(voyage)
    }

    /// A tenth of a second on: hands out what is heard in it, and returns the truth at its
    /// beginning; `None` at the end of the voyage.
    pub fn step(&mut self, hear: &mut dyn FnMut(Heard<'_>)) -> Option<Truth> {
        if self.now_ms >= self.settings.length_ms {
            return None;
        }
        self.play(hear);
        let truth = self.truth();
        self.speak(hear);
        self.sail();
        self.now_ms += STEP_MS;
        Some(truth)
    }

    /// The settings, as the voyage uses them.
    pub fn settings(&self) -> &Settings {
        &self.settings
    }

    /// What really is, now.
    pub fn truth(&self) -> Truth {
        let circle = |degrees: f64| degrees.rem_euclid(360.0);
        Truth {
            unix_ms: self.unix_ms(),
            since_start_ms: self.now_ms,
            heading_true_deg: circle(self.hull.heading_deg),
            turn_dps: self.turn_dps,
            faultless_compass_deg: circle(self.compass.faultless_deg),
            sensor_deg: circle(self.compass.reading_deg),
            sensor_error_deg: self.compass.error.value,
            ordered_compass_deg: self.ordered(),
            rudder_ordered_deg: self.pilot.rudder_deg,
            rudder_deg: self.hull.rudder_deg,
            speed_through_water_kn: self.hull.speed_mps / KNOT,
            course_true_deg: circle(self.hull.over_ground.direction()),
            speed_over_ground_kn: self.hull.over_ground.length() / KNOT,
            set_deg: circle(self.weather.current.direction()),
            drift_kn: self.weather.current.length() / KNOT,
            apparent_wind_deg: self.hull.apparent_wind(&self.weather).0,
            latitude_deg: self.place.0,
            longitude_deg: self.place.1,
            variation_deg: self.variation_deg,
            heel_deg: self.hull.heel_deg,
            quadrant_deg: self.hull.quadrant_deg,
            magnet_deg: [self.compass.magnet[0].value, self.compass.magnet[1].value],
            second_error_deg: self.second_error.value,
            gps_error_deg: self.receiver.error.value,
            gyro_error_dps: self.gyro.bias.value,
            battery_v: self.battery.value,
        }
    }

    pub(super) fn unix_ms(&self) -> i64 {
        self.settings.start_unix_ms + self.now_ms as i64
    }

    pub(super) fn ordered(&self) -> Option<f64> {
        match self.steering {
            Steering::Course(course) => Some(course),
            Steering::Wind(_) => None,
        }
    }

    pub(super) fn happens(&self, what: impl Fn(&Happening) -> bool) -> bool {
        self.active.iter().any(|&index| what(&self.settings.events[index].happening))
    }

    /// Plays the script up to now.
    fn play(&mut self, hear: &mut dyn FnMut(Heard<'_>)) {
        while let Some(&(at_ms, ends, index)) = self.timeline.get(self.next_cue)
            && at_ms <= self.now_ms
        {
            self.next_cue += 1;
            let event = self.settings.events[index];
            self.cue(event, ends, index);
            self.reading = self.reads();
            hear(Heard::Cue(Cue { unix_ms: self.unix_ms(), since_start_ms: self.now_ms, event, ends }));
        }
    }

    fn cue(&mut self, event: Event, ends: bool, index: usize) {
        match event.happening {
            Happening::Order(course) => self.steering = Steering::Course(course),
            Happening::Tack => {
                if let Steering::Wind(angle) = self.steering {
                    self.steering = Steering::Wind(-angle);
                }
            }
            Happening::FalseCompass { error_deg, over_ms } => self.compass.error.run(error_deg, over_ms),
            Happening::Runs { to, over_ms } => self.change(to, over_ms),
            Happening::LeapSecond => self.leap_ms = Some(event.at_ms),
            _ if ends => self.active.retain(|&active| active != index),
            _ => self.active.push(index),
        }
    }

    fn change(&mut self, to: Change, over_ms: u64) {
        match to {
            Change::FalseSecond(error_deg) => self.second_error.run(error_deg, over_ms),
            Change::FalseGps(error_deg) => self.receiver.error.run(error_deg, over_ms),
            Change::GyroBias(bias_dps) => self.gyro.bias.run(bias_dps, over_ms),
            Change::Magnet(b_deg, c_deg) => {
                self.compass.magnet[0].run(b_deg, over_ms);
                self.compass.magnet[1].run(c_deg, over_ms);
            }
            Change::Current(set_deg, drift_kn) => self.weather.current_to(set_deg, drift_kn, over_ms),
            Change::Sea(rms_deg) => self.weather.sea_to(rms_deg, over_ms),
            Change::Speed(speed_kn) => self.hull.speed_kn.run(speed_kn, over_ms),
            Change::Battery(volts) => self.battery.run(volts, over_ms),
        }
    }

    /// What moves the rudder, the script's faults in it.
    fn drive(&self) -> Drive {
        if self.happens(|h| matches!(h, Happening::RudderStuck)) {
            Drive::Stuck
        } else if self.happens(|h| matches!(h, Happening::PilotLetsGo)) {
            Drive::Free
        } else if self.happens(|h| matches!(h, Happening::CableBroken)) {
            Drive::Parted(self.pilot.rudder_deg)
        } else {
            Drive::Holds(self.pilot.rudder_deg)
        }
    }

    /// The physics of one step.
    fn sail(&mut self) {
        let squall = self.active.iter().rev().find_map(|&index| match self.settings.events[index].happening {
            Happening::Gust(times) => Some(times),
            _ => None,
        });
        self.weather.step(squall.unwrap_or(1.0));
        let demand = match self.steering {
            Steering::Course(course) => Demand::Course(course),
            Steering::Wind(wanted_deg) => {
                Demand::Wind { wanted_deg, felt_deg: self.hull.apparent_wind(&self.weather).0 }
            }
        };
        self.pilot.step(self.reading.degrees(), demand, STEP_S);
        let before = self.hull.heading_deg;
        self.hull.step(self.drive(), &self.weather);
        self.turn_dps = (self.hull.heading_deg - before) / STEP_S;

        let ground = self.hull.over_ground;
        let (latitude, longitude) = self.place;
        let parallel = exact::sin_cos(latitude).1.max(0.1);
        self.place = (
            latitude + ground.north * STEP_S / METRES_PER_DEGREE,
            exact::fold(longitude + ground.east * STEP_S / (METRES_PER_DEGREE * parallel)),
        );
        self.receiver.step(ground + Vector::towards(self.hull.heading_deg + 90.0, self.weather.sway_mps));
        let waters = &self.settings.waters;
        let [north, east] = waters.variation_gradient;
        self.variation_deg = waters.variation_deg
            + north * (self.place.0 - waters.latitude_deg)
            + east * exact::fold(self.place.1 - waters.longitude_deg);
        self.second.step();
        self.second_error.step();
        self.rudder_noise.step();
        self.battery.step();
        self.battery_noise.step();
        let stuck = self.happens(|h| matches!(h, Happening::GyroStuck));
        self.gyro.step(self.turn_dps, stuck);
        self.sense();
    }

    /// What the heading sensor makes of the step.
    fn sense(&mut self) {
        (self.compass.variation_deg, self.compass.heel_deg) = (self.variation_deg, self.hull.heel_deg);
        self.compass.step(self.hull.heading_deg);
        let before = self.reading.degrees();
        self.reading = self.reads();
        if let (Some(before), Some(now)) = (before, self.reading.degrees()) {
            self.reading_dps += (exact::fold(now - before) / STEP_S - self.reading_dps) * STEP_S;
        }
    }

    /// What the heading sensor says, the script's faults in it.
    fn reads(&self) -> Reading {
        let reading = (exact::fold(self.compass.reading_deg) * 10.0).round() / 10.0;
        if self.happens(|h| matches!(h, Happening::HeadingLost)) {
            Reading::Lost
        } else if self.happens(|h| matches!(h, Happening::HeadingVoid)) {
            Reading::Void
        } else if self.happens(|h| matches!(h, Happening::HeadingFrozen)) {
            Reading::Is(self.reading.degrees().unwrap_or(reading))
        } else {
            Reading::Is(reading)
        }
    }
}

/// The true heading to begin with: the course by the true card, or about the wind angle.
fn starting_heading(settings: &Settings) -> f64 {
    let variation = settings.waters.variation_deg;
    match settings.steering {
        Steering::Course(course) => {
            let compass = Compass::new(&settings.gear, variation, course, settings.seed, STEP_S);
            course + compass.deviation(course) + variation
        }
        Steering::Wind(angle) => settings.waters.wind_from_deg - angle,
    }
}
