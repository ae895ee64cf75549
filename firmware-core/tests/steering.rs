//! Rudder, gyro and card under the whole watch: what must be raised, how soon, and when it must be quiet.
//!
//! The boat turns by Nomoto's first-order model and is written for this test alone, so that it shares no code
//! and no mistake with the host's simulator. Angles in degrees, speeds in knots, time in seconds.

use std::fmt::Write;

use lubber_core::alert::AlertKind;
use lubber_core::alert::Evidence;
use lubber_core::alert::Unanswered;
use lubber_core::alert::Why;
use lubber_core::angle::Bearing;
use lubber_core::angle::Turn;
use lubber_core::arbiter::State;
use lubber_core::heading::Card;
use lubber_core::heading::CardPoint;
use lubber_core::heading::Compass;
use lubber_core::monitor::Event;
use lubber_core::monitor::Monitor;
use lubber_core::monitor::Settings;
use lubber_core::picture::Command;
use lubber_core::picture::SourceId;
use lubber_core::time::Instant;

const STEP_MS: u64 = 100;

/// A boat, her pilot, and what is wrong with them.
struct Boat {
    noise: u64,
    now_ms: u64,
    heading: f64,
    rate: f64,
    yaw: (f64, f64),
    yaw_rms: f64,
    /// Answer: K at 6 knots in 1/s, T in s.
    k: f64,
    t: f64,
    speed: f64,
    /// Over the ground, where that is another: knots, and degrees off the bow.
    ground: Option<(f64, f64)>,
    weather_helm: f64,
    /// The rudder in the water, and where the sensor sees it.
    rudder: f64,
    quadrant: f64,
    course: f64,
    trim: f64,
    /// Held by a hand that does nothing.
    by_hand: Option<f64>,
    cable: bool,
    jammed: bool,
    sensor_sign: f64,
    gyro_sign: f64,
    gyro_bias: f64,
    gyro_stuck: Option<f64>,
    magnet: f64,
    heel: f64,
    order: &'static str,
    heel_sent: bool,
}

impl Boat {
    fn new(seed: u64) -> Self {
        Self {
            noise: (seed + 1).wrapping_mul(0x9e37_79b9_7f4a_7c15) | 1,
            now_ms: 0,
            heading: 135.0,
            rate: 0.0,
            yaw: (0.0, 0.0),
            yaw_rms: 2.0,
            k: 0.4,
            t: 1.5,
            speed: 6.0,
            ground: None,
            weather_helm: 2.0,
            rudder: 0.0,
            quadrant: 0.0,
            course: 135.0,
            trim: 0.0,
            by_hand: None,
            cable: true,
            jammed: false,
            sensor_sign: 1.0,
            gyro_sign: 1.0,
            gyro_bias: 0.0,
            gyro_stuck: None,
            magnet: 0.0,
            heel: 0.0,
            order: "HSC",
            heel_sent: true,
        }
    }

    fn uniform(&mut self) -> f64 {
        self.noise ^= self.noise << 13;
        self.noise ^= self.noise >> 7;
        self.noise ^= self.noise << 17;
        (self.noise >> 11) as f64 / (1u64 << 53) as f64
    }

    /// A sum of twelve uniforms: normal enough for noise.
    fn normal(&mut self) -> f64 {
        (0..12).map(|_| self.uniform()).sum::<f64>() - 6.0
    }

    fn truth(&self) -> f64 {
        self.heading + self.yaw.0
    }

    /// A tenth of a second; what the talkers send in it.
    fn step(&mut self) -> String {
        let dt = 0.1_f64;
        self.now_ms += STEP_MS;
        // Yaw: a damped oscillator of 6.5 s driven by noise.
        let (omega, zeta) = (2.0 * std::f64::consts::PI / 6.5, 0.12);
        let drive = 2.0 * (zeta * omega.powi(3)).sqrt() * self.yaw_rms * self.normal() / dt.sqrt();
        self.yaw.1 += (drive - omega * omega * self.yaw.0 - 2.0 * zeta * omega * self.yaw.1) * dt;
        self.yaw.0 += self.yaw.1 * dt;
        let turn = self.rate + self.yaw.1;
        let error = wrap(self.course - self.truth());
        if error.abs() < 8.0 {
            self.trim = (self.trim + 0.012 * error * dt).clamp(-10.0, 10.0);
        }
        let ordered = (0.5 * error - 0.6 * turn + self.trim).clamp(-20.0, 20.0);
        let wanted = self.by_hand.unwrap_or(ordered);
        if !self.jammed {
            self.quadrant += (wanted - self.quadrant).clamp(-6.0 * dt, 6.0 * dt);
            let water = if self.cable { self.quadrant } else { 0.0 };
            self.rudder += (water - self.rudder).clamp(-6.0 * dt, 6.0 * dt);
        }
        let way = self.speed / 6.0;
        self.rate += (self.k * way * (self.rudder + self.weather_helm) - self.rate) * dt / (self.t / way);
        self.heading += self.rate * dt;
        self.talk(ordered, turn)
    }

    fn talk(&mut self, ordered: f64, turn: f64) -> String {
        let mut lines = String::new();
        let circle = |deg: f64| deg.rem_euclid(360.0);
        let (ms, truth) = (self.now_ms % 1000, self.truth());
        if ms % 500 == 0 {
            let shown = truth - 4.0 - self.magnet * truth.to_radians().sin() + 0.1 * self.normal();
            line(&mut lines, &format!("HCHDG,{:.1},,,4.0,E", circle(shown)));
            let second = truth + 0.6 + 1.5 * truth.to_radians().cos() + 0.3 * self.normal();
            line(&mut lines, &format!("GPHDT,{:.1},T", circle(second)));
        }
        if ms == 100 {
            let seen = self.sensor_sign * self.quadrant + 1.5 + 0.2 * self.normal();
            line(&mut lines, &format!("IIRSA,{seen:.1},A,,V"));
            let gyro = self.gyro_stuck.unwrap_or(self.gyro_sign * turn + self.gyro_bias + 0.1 * self.normal());
            line(&mut lines, &format!("TIROT,{:.1},A", gyro * 60.0));
        }
        if ms == 200 {
            let (speed, off) = self.ground.unwrap_or((self.speed, 0.0));
            let s = self.now_ms / 1000 % 86_400;
            let clock = format!("{:02}{:02}{:02}", s / 3600, s / 60 % 60, s % 60);
            let course = circle(self.heading + off);
            line(&mut lines, &format!("GPRMC,{clock},A,4950.000,N,01130.000,W,{speed:.1},{course:.1},140726,,,A"));
        }
        if ms == 800 && self.order == "HSC" {
            line(&mut lines, &format!("APHSC,{:.1},T,{:.1},M", circle(self.course), circle(self.course - 4.0)));
        }
        if ms == 800 && self.order == "HTD" {
            let side = if ordered < 0.0 { "L" } else { "R" };
            let course = circle(self.course - 4.0);
            line(&mut lines, &format!("APHTD,V,{:.1},{side},S,N,,,,,{course:.1},,,M,A,,,", ordered.abs()));
        }
        if ms == 900 && self.heel_sent {
            let roll = self.heel + 6.0 * (self.now_ms as f64 / 900.0).sin();
            line(&mut lines, &format!("YXXDR,A,{roll:.1},D,ROLL"));
        }
        lines
    }
}

fn wrap(deg: f64) -> f64 {
    (deg + 180.0).rem_euclid(360.0) - 180.0
}

fn line(into: &mut String, body: &str) {
    let sum = body.bytes().fold(0, |sum, byte| sum ^ byte);
    write!(into, "${body}*{sum:02X}\r\n").unwrap();
}

/// A watch over a boat, and the alerts of these three kinds it raised.
struct Watch {
    boat: Boat,
    monitor: Monitor,
    raised: Vec<(u64, AlertKind, Evidence, Option<AlertKind>)>,
    cleared: Vec<(u64, AlertKind)>,
}

const OURS: [AlertKind; 3] = [AlertKind::TurnRateDisagreement, AlertKind::RudderUnanswered, AlertKind::CardDoubtful];

impl Watch {
    fn new(boat: Boat) -> Self {
        let point = |c| CardPoint { compass: Compass(Bearing::from_deg(c)), deviation: Turn::ZERO };
        let card = Card::new(&[point(0), point(180)]).ok();
        Self::with(boat, Settings { source_count: 1, rot_is_gyro: true, card, ..Settings::default() })
    }

    fn with(boat: Boat, settings: Settings) -> Self {
        Self { boat, monitor: Monitor::new(Instant::from_ms(0), settings), raised: Vec::new(), cleared: Vec::new() }
    }

    fn run(&mut self, seconds: u64) {
        for _ in 0..seconds * 1000 / STEP_MS {
            let lines = self.boat.step();
            let now = Instant::from_ms(self.boat.now_ms);
            let (raised, cleared) = (&mut self.raised, &mut self.cleared);
            let mut hear = |event: Event<'_>| match event {
                Event::Alert(c) if OURS.contains(&c.kind) && !c.repeated && !c.escalated => match c.state {
                    State::Active | State::ActiveUnacknowledged => {
                        raised.push((c.at.as_ms() / 1000, c.kind, c.evidence, c.follows));
                    }
                    _ => cleared.push((c.at.as_ms() / 1000, c.kind)),
                },
                Event::Refused { refused, .. } => panic!("refused {refused:?}"),
                Event::Malformed { malformed, .. } => panic!("malformed {malformed:?}"),
                _ => {}
            };
            self.monitor.tick(now, &mut hear);
            self.monitor.bytes(now, SourceId(0), lines.as_bytes(), &mut hear);
        }
    }

    fn order(&mut self, command: Command) {
        assert!(self.monitor.order(Instant::from_ms(self.boat.now_ms), command, &mut |_| {}));
    }

    /// A settled boat: two turns and half an hour of quiet.
    fn settled(boat: Boat) -> Self {
        let mut watch = Self::new(boat);
        for change in [60.0, -90.0, 30.0] {
            watch.run(300);
            watch.boat.course += change;
        }
        watch.run(600);
        assert_eq!(watch.raised, []);
        watch
    }

    /// Seconds to the alert from now on, and what it saw.
    fn until(&mut self, kind: AlertKind, limit: u64) -> Option<(u64, Evidence)> {
        let (began, before) = (self.boat.now_ms / 1000, self.raised.len());
        for _ in 0..limit {
            self.run(1);
            if let Some((at, _, evidence, _)) = self.raised[before..].iter().find(|(_, k, ..)| *k == kind) {
                return Some((at - began, *evidence));
            }
        }
        None
    }

    fn judging(&self, kind: AlertKind) -> Result<(), Why> {
        self.monitor.judging()[kind as usize]
    }
}

fn how(evidence: Evidence) -> Unanswered {
    let Evidence::RudderUnanswered { how, .. } = evidence else { panic!("{evidence:?}") };
    how
}

#[test]
fn quiet_hours_of_courses_gusts_and_a_pilot_that_works_against_the_waves() {
    for seed in 0..6 {
        let mut boat = Boat::new(seed);
        boat.yaw_rms = 3.5;
        boat.order = ["HSC", "HTD", ""][seed as usize % 3];
        (boat.k, boat.t) = [(0.4, 1.5), (0.2, 3.0), (0.7, 0.8)][seed as usize / 2];
        let mut watch = Watch::new(boat);
        for leg in 0..24usize {
            watch.run(200);
            watch.boat.course += [40.0, -100.0, 15.0, 170.0, -25.0, 60.0][leg % 6];
            // The helm changes sides in a tack, and grows in gusts.
            watch.boat.weather_helm = [3.0, -3.0][leg % 2];
            watch.run(200);
            watch.boat.weather_helm *= 1.8;
            watch.run(100);
            watch.boat.weather_helm /= 1.8;
        }
        assert_eq!(watch.raised, [], "seed {seed}");
        assert_eq!(watch.judging(AlertKind::RudderUnanswered), Ok(()));
        assert_eq!(watch.judging(AlertKind::TurnRateDisagreement), Ok(()));
    }
}

#[test]
fn hand_steering_with_a_still_rudder_a_boat_hove_to_astern_or_slow_is_no_fault() {
    // Held by hand, she turns slowly as the wind shifts.
    let mut watch = Watch::settled(Boat::new(20));
    watch.boat.order = "";
    watch.order(Command::SteerHand);
    watch.boat.by_hand = Some(watch.boat.quadrant);
    watch.run(300);
    watch.boat.weather_helm += 1.5;
    watch.run(60);
    assert_eq!(watch.raised, []);
    // Hove to: the helm lashed over, she lies still and drifts three knots abeam.
    let mut watch = Watch::settled(Boat::new(21));
    watch.boat.order = "";
    watch.order(Command::SteerHand);
    (watch.boat.k, watch.boat.rate, watch.boat.speed) = (0.0, 0.0, 1.0);
    watch.boat.ground = Some((3.0, 80.0));
    watch.boat.by_hand = Some(28.0);
    watch.run(600);
    let Err(Why::NoSteerageWay { speed, .. }) = watch.judging(AlertKind::RudderUnanswered) else { panic!() };
    assert!((speed.as_milliknots() - 521).abs() < 150, "{speed:?}");
    // Astern, where the rudder works the other way.
    watch.boat.ground = Some((3.0, 180.0));
    (watch.boat.k, watch.boat.speed) = (-0.4, 3.0);
    for rudder in [20.0, -20.0, 20.0, -20.0] {
        watch.boat.by_hand = Some(rudder);
        watch.run(20);
    }
    assert_eq!(watch.raised, []);
}

#[test]
fn a_broken_cable_is_found_and_its_mending_seen() {
    let mut delays = Vec::new();
    for seed in 0..8 {
        let mut boat = Boat::new(30 + seed);
        boat.weather_helm = 3.0;
        let mut watch = Watch::settled(boat);
        watch.boat.cable = false;
        let (took, evidence) = watch.until(AlertKind::RudderUnanswered, 180).expect("not found");
        assert!(matches!(how(evidence), Unanswered::NoTurn | Unanswered::WrongWay), "{evidence:?}");
        delays.push(took);
        watch.boat.cable = true;
        watch.run(120);
        watch.boat.course += 60.0;
        watch.run(60);
        assert!(watch.cleared.iter().any(|(_, kind)| *kind == AlertKind::RudderUnanswered), "seed {seed}");
    }
    delays.sort_unstable();
    println!("broken cable: {delays:?}");
    assert!(delays[7] <= 90, "{delays:?}");
}

#[test]
fn a_jammed_rudder_is_found_by_the_rudder_ordered_or_the_course_left() {
    for (order, wanted, seed) in [("HTD", Unanswered::Stands, 40), ("HSC", Unanswered::TurnsAlone, 41)] {
        let mut watch = Watch::settled(Boat { order, ..Boat::new(seed) });
        watch.boat.jammed = true;
        watch.boat.weather_helm += 1.0;
        let (took, evidence) = watch.until(AlertKind::RudderUnanswered, 120).expect("not found");
        assert_eq!(how(evidence), wanted, "{evidence:?}");
        assert!(took <= 60, "{order}: {took}");
        watch.boat.jammed = false;
        watch.run(60);
        assert_eq!(watch.cleared.last().map(|(_, kind)| *kind), Some(AlertKind::RudderUnanswered));
    }
}

#[test]
fn a_reversed_sensor_is_found_in_the_first_turns_of_a_harbour_trial() {
    for seed in 0..6 {
        let mut boat = Boat::new(50 + seed);
        (boat.yaw_rms, boat.speed, boat.order, boat.sensor_sign) = (0.3, 4.0, "", -1.0);
        let mut watch = Watch::new(boat);
        watch.order(Command::SteerHand);
        watch.run(120);
        let mut found = None;
        for turn in 1..=6 {
            watch.boat.course += 90.0;
            found = found.or(watch.until(AlertKind::RudderUnanswered, 60).map(|(_, evidence)| (turn, evidence)));
        }
        let (turns, evidence) = found.expect("not found");
        assert_eq!(how(evidence), Unanswered::WrongWay);
        assert!(turns <= 3, "seed {seed}: after {turns} turns");
    }
}

#[test]
fn a_gyro_that_is_biased_stuck_or_of_the_wrong_sign_is_found() {
    let kind = AlertKind::TurnRateDisagreement;
    for seed in 0..4 {
        let sign = if seed % 2 == 0 { 1.0 } else { -1.0 };
        let mut watch = Watch::settled(Boat::new(60 + seed));
        watch.boat.gyro_bias = sign;
        let (took, evidence) = watch.until(kind, 120).expect("not found");
        let Evidence::TurnRate { gyro, shows, .. } = evidence else { panic!() };
        assert!(f64::from((gyro.as_mdeg_per_s() - shows.as_mdeg_per_s()).signum()) == sign, "{evidence:?}");
        assert!(took <= 60, "bias: {took}");
        watch.boat.gyro_bias = 0.0;
        watch.run(180);
        assert_eq!(watch.cleared.last().map(|(_, kind)| *kind), Some(kind));

        let mut watch = Watch::settled(Boat::new(70 + seed));
        watch.boat.gyro_stuck = Some(0.1);
        let took = watch.until(kind, 300).expect("not found").0;
        // In a yaw of two degrees: the quicker the sea, the less of it a damped heading shows.
        assert!(took <= 240, "stuck: {took}");

        let mut watch = Watch::new(Boat { gyro_sign: -1.0, ..Boat::new(80 + seed) });
        let took = watch.until(kind, 300).expect("not found").0;
        assert!(took <= 240, "wrong sign: {took}");
    }
    // A small bias, as sound sensors have it, is learned and not told.
    let mut watch = Watch::new(Boat { gyro_bias: 0.15, ..Boat::new(90) });
    watch.run(7200);
    assert_eq!(watch.raised, []);
    // Not declared, it is no witness.
    let mut watch =
        Watch::with(Boat { gyro_sign: -1.0, ..Boat::new(91) }, Settings { source_count: 1, ..Settings::default() });
    watch.run(300);
    assert_eq!((watch.raised.len(), watch.judging(kind)), (0, Err(Why::NoGyro)));
}

#[test]
fn a_card_that_no_longer_fits_is_told_upright_and_never_heeled() {
    let kind = AlertKind::CardDoubtful;
    let mut watch = Watch::new(Boat::new(100));
    for change in [120.0; 6] {
        watch.run(300);
        watch.boat.course += change;
    }
    watch.run(3 * 3600);
    assert_eq!((watch.raised.len(), watch.judging(kind)), (0, Ok(())));
    // Iron beside the compass: 9 degrees on east and west, 6.4 on this course.
    watch.boat.magnet = 9.0;
    let (took, evidence) = watch.until(kind, 3 * 3600).expect("not found");
    let Evidence::CardDoubtful { seen, card, .. } = evidence else { panic!() };
    assert!((seen - card).as_mdeg() > 5000 && (seen - card).as_mdeg() < 8000, "{evidence}");
    assert!((1200..=7200).contains(&took), "{took}");
    // The same, heeled from the start: never judged, and that is the reason given.
    let mut watch = Watch::new(Boat { magnet: 9.0, heel: 15.0, ..Boat::new(101) });
    for change in [120.0; 6] {
        watch.run(300);
        watch.boat.course += change;
    }
    watch.run(4 * 3600);
    assert!(watch.raised.iter().all(|(_, k, ..)| *k != kind));
    assert_eq!(watch.judging(kind), Err(Why::Heeled));
    // And where nothing says whether she is upright, or there is no card, it says so.
    let mut watch = Watch::new(Boat { heel_sent: false, ..Boat::new(102) });
    for change in [120.0; 6] {
        watch.run(300);
        watch.boat.course += change;
    }
    watch.run(60);
    assert_eq!(watch.judging(kind), Err(Why::HeelUnknown));
    let mut watch = Watch::with(Boat::new(103), Settings { source_count: 1, ..Settings::default() });
    watch.run(60);
    assert_eq!(watch.judging(kind), Err(Why::NoCard));
}

#[test]
fn a_frozen_heading_is_what_the_others_follow_from() {
    let mut watch = Watch::settled(Boat::new(110));
    // A compass that lies by 40 degrees at once: heading-disagreement stands, and the gyro follows from it.
    watch.boat.magnet = 60.0;
    watch.run(60);
    let gyro = watch.raised.iter().find(|(_, kind, ..)| *kind == AlertKind::TurnRateDisagreement);
    assert!(gyro.is_none_or(|(.., follows)| *follows == Some(AlertKind::HeadingDisagreement)), "{gyro:?}");
}

#[test]
fn the_three_judges_are_small() {
    let size = std::mem::size_of::<lubber_core::alert::TurnRateDisagreement>()
        + std::mem::size_of::<lubber_core::alert::RudderUnanswered>()
        + std::mem::size_of::<lubber_core::alert::CardDoubtful>();
    let beside = std::mem::size_of::<lubber_core::picture::Beside>();
    println!("the three judges: {size} bytes, and {beside} of what they look at beside");
    assert!(size <= 900 && beside <= 120, "{size} {beside}");
}

#[test]
fn a_moored_boat_with_rudder_and_rate_of_turn_on_the_line_is_quiet() {
    // Real data, beside the project and not in it: 86 s of a moored boat's gateway, spread evenly here.
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/../../shared/recordings/gateway/moored.nmea");
    let Ok(log) = std::fs::read(path) else {
        println!("no recordings beside the project: not checked");
        return;
    };
    let settings = Settings { source_count: 1, rot_is_gyro: true, ..Settings::default() };
    let mut monitor = Monitor::new(Instant::from_ms(0), settings);
    let lines: Vec<&[u8]> = log.split_inclusive(|byte| *byte == b'\n').collect();
    let mut raised = Vec::new();
    for (place, line) in lines.iter().enumerate() {
        let now = Instant::from_ms(place as u64 * 86_000 / lines.len() as u64);
        monitor.bytes(now, SourceId(0), line, &mut |event| match event {
            Event::Alert(change) if OURS.contains(&change.kind) => raised.push(change),
            _ => {}
        });
    }
    assert_eq!(raised, []);
    assert_eq!(monitor.judging()[AlertKind::TurnRateDisagreement as usize], Ok(()));
    let Err(Why::NoSteerageWay { .. }) = monitor.judging()[AlertKind::RudderUnanswered as usize] else {
        panic!("{:?}", monitor.judging()[AlertKind::RudderUnanswered as usize]);
    };
}
