//! The voyage itself: boat, pilot, sensors and weather together, a tenth of a second at a time.

use super::chance::Chance;
use super::chance::Wander;
use super::damage;
use super::exact;
use super::hull::Hull;
use super::pilot::Demand;
use super::pilot::Pilot;
use super::script::Event;
use super::script::Happening;
use super::script::Whom;
use super::sensor::Compass;
use super::sensor::Receiver;
use super::settings::Kind;
use super::settings::Second;
use super::settings::Sentence;
use super::settings::Settings;
use super::settings::SettingsError;
use super::settings::Steering;
use super::talk;
use super::talk::Fix;
use super::talk::Reading;
use super::talk::Said;
use super::truth::Cue;
use super::truth::Truth;
use super::weather::KNOT;
use super::weather::Vector;
use super::weather::Weather;
use super::wire::Builder;

/// The step of the model, in milliseconds.
pub const STEP_MS: u64 = 100;
const STEP_S: f64 = 0.1;

/// How long the boat sails before the log begins, so that it begins with everything settled.
const SETTLING_STEPS: u32 = 6000;

/// Metres in a degree of latitude: 60 nautical miles of 1852 m, on a sphere.
const METRES_PER_DEGREE: f64 = 60.0 * 1852.0;

/// How long the line needs for a byte at 38 400 baud, in microseconds.
const BYTE_US: u64 = 260;

/// An error of the second heading that stands (its aerials are not quite in line), and its noise.
const SECOND_OUT_BY_DEG: f64 = 0.6;
const SECOND_NOISE_DEG: f64 = 0.3;

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
    settings: Settings,
    now_ms: u64,
    steering: Steering,
    weather: Weather,
    hull: Hull,
    pilot: Pilot,
    compass: Compass,
    receiver: Receiver,
    second: Wander,
    place: (f64, f64),
    turn_dps: f64,
    reading: Reading,
    reading_dps: f64,
    fix: Fix,
    fix_every_ms: u64,
    timeline: Vec<(u64, bool, usize)>,
    next_cue: usize,
    active: Vec<usize>,
    trouble: Chance,
    line: Chance,
    builder: Builder,
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
            pilot: Pilot::default(),
            compass: Compass::new(&settings.gear, settings.waters.variation_deg, heading, seed, STEP_S),
            receiver: Receiver::new(&settings.gear, seed, STEP_S),
            second: Wander::new(Chance::new(seed, 42), SECOND_NOISE_DEG, 1.5, STEP_S),
            place: (0.0, 0.0),
            turn_dps: 0.0,
            reading: Reading::Void,
            reading_dps: 0.0,
            fix: Fix::default(),
            fix_every_ms: fix_every_ms.unwrap_or(1000),
            timeline,
            next_cue: 0,
            active: Vec::new(),
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
            sensor_error_deg: self.compass.error_deg,
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
        }
    }

    fn unix_ms(&self) -> i64 {
        self.settings.start_unix_ms + self.now_ms as i64
    }

    fn ordered(&self) -> Option<f64> {
        match self.steering {
            Steering::Course(course) => Some(course),
            Steering::Wind(_) => None,
        }
    }

    fn happens(&self, what: impl Fn(&Happening) -> bool) -> bool {
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
            Happening::FalseCompass { error_deg, over_ms } => self.compass.go_wrong(error_deg, over_ms),
            _ if ends => self.active.retain(|&active| active != index),
            _ => self.active.push(index),
        }
    }

    /// The physics of one step.
    fn sail(&mut self) {
        self.weather.step();
        let held = !self.happens(|h| matches!(h, Happening::PilotLetsGo));
        let demand = match self.steering {
            Steering::Course(course) => Demand::Course(course),
            Steering::Wind(wanted_deg) => {
                Demand::Wind { wanted_deg, felt_deg: self.hull.apparent_wind(&self.weather).0 }
            }
        };
        self.pilot.step(self.reading.degrees(), demand, STEP_S);
        let before = self.hull.heading_deg;
        self.hull.step(held.then_some(self.pilot.rudder_deg), &self.weather);
        self.turn_dps = (self.hull.heading_deg - before) / STEP_S;

        let ground = self.hull.over_ground;
        let (latitude, longitude) = self.place;
        let parallel = exact::sin_cos(latitude).1.max(0.1);
        self.place = (
            latitude + ground.north * STEP_S / METRES_PER_DEGREE,
            exact::fold(longitude + ground.east * STEP_S / (METRES_PER_DEGREE * parallel)),
        );
        self.receiver.step(ground + Vector::towards(self.hull.heading_deg + 90.0, self.weather.sway_mps));
        self.second.step();
        self.sense();
    }

    /// What the heading sensor makes of the step.
    fn sense(&mut self) {
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

    /// The sentences of this step.
    fn speak(&mut self, hear: &mut dyn FnMut(Heard<'_>)) {
        if self.now_ms.is_multiple_of(self.fix_every_ms) {
            let (latitude, longitude) = self.place;
            let parallel = exact::sin_cos(latitude).1.max(0.1);
            let off = self.receiver.out_by_m;
            self.fix = Fix {
                unix_ms: self.unix_ms(),
                valid: !self.happens(|h| matches!(h, Happening::GpsLost)),
                latitude_deg: latitude + off.north / METRES_PER_DEGREE,
                longitude_deg: exact::fold(longitude + off.east / (METRES_PER_DEGREE * parallel)),
                velocity: self.receiver.velocity,
            };
        }
        let said = self.said();
        let share = self.active.iter().rev().find_map(|&index| match self.settings.events[index].happening {
            Happening::LineNoise(share) => Some(share),
            _ => None,
        });
        let (start, mut busy_us) = (self.unix_ms(), 0);
        let mut builder = std::mem::take(&mut self.builder);
        for index in 0..self.settings.sentences.len() {
            let Sentence { kind, every_ms } = self.settings.sentences[index];
            let every = u64::from(every_ms);
            if self.now_ms % every != kind.offset_ms() % every {
                continue;
            }
            let (talker, formatter) = (talk::talker(kind, &self.settings.gear), kind.formatter());
            if self.happens(|h| matches!(h, Happening::Silence(whom) if whom.covers(talker, formatter))) {
                continue;
            }
            let Some(line) = said.line(kind, &self.settings.gear, &mut builder) else { continue };
            let damaged = share.is_some_and(|share| self.trouble.fraction() < share);
            if damaged {
                let line = damage::noise(line, &mut self.trouble);
                self.send(&line, start, &mut busy_us, hear);
            } else {
                self.send(line, start, &mut busy_us, hear);
            }
        }
        self.builder = builder;
        let silent = self.happens(|h| matches!(h, Happening::Silence(whom) if *whom == Whom::ALL));
        if self.now_ms % 500 == 400 && !silent && self.happens(|h| matches!(h, Happening::Garbage)) {
            let burst = damage::garbage(&mut self.trouble);
            self.send(&burst, start, &mut busy_us, hear);
        }
    }

    /// Puts bytes on the line. Whoever stamps lines sees a new one after every LF, wanted or not.
    fn send(&mut self, bytes: &[u8], start_ms: i64, busy_us: &mut u64, hear: &mut dyn FnMut(Heard<'_>)) {
        for bytes in bytes.split_inclusive(|&byte| byte == b'\n') {
            *busy_us += bytes.len() as u64 * BYTE_US + self.line.below(2000);
            // A line that is asked for more than it can carry would run into the next step.
            let unix_ms = start_ms + (*busy_us / 1000).min(STEP_MS - 1) as i64;
            hear(Heard::Line { unix_ms, bytes });
        }
    }

    fn said(&self) -> Said {
        let (wind_deg, wind_mps) = self.hull.apparent_wind(&self.weather);
        Said {
            reading: self.reading,
            second_true_deg: self.hull.heading_deg + SECOND_OUT_BY_DEG + self.second.value,
            reading_dps: self.reading_dps,
            gyro_dps: self.turn_dps,
            rudder_deg: self.hull.rudder_deg,
            rudder_ordered_deg: self.pilot.rudder_deg,
            ordered_deg: self.ordered(),
            speed_mps: self.hull.speed_mps,
            wind_deg,
            wind_mps,
            variation_deg: self.settings.waters.variation_deg,
            fix: self.fix,
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
