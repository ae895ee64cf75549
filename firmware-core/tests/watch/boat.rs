//! A small boat under a watch.
//!
//! The boat here is kinematic and written for these tests alone, so that it shares no code and no
//! mistake with the host's simulator. Angles in degrees, speeds in knots, time in seconds.

use std::fmt::Write;

use lubber_core::alert::AlertKind;
use lubber_core::alert::Why;
use lubber_core::angle::Bearing;
use lubber_core::arbiter::AlertChange;
use lubber_core::arbiter::State;
use lubber_core::monitor::Event;
use lubber_core::monitor::Monitor;
use lubber_core::monitor::Settings;
use lubber_core::picture::Command;
use lubber_core::picture::Reference;
use lubber_core::picture::Referred;
use lubber_core::picture::SourceId;
use lubber_core::time::Instant;

/// A boat that a pilot keeps on course by a compass.
pub(crate) struct Boat {
    pub(crate) noise: u64,
    pub(crate) now_ms: u64,
    /// Where the pilot thinks it steers, true.
    pub(crate) course: f64,
    /// What the compass shows too much.
    pub(crate) compass_error: f64,
    /// Where the boat really heads, without yaw.
    pub(crate) heading: f64,
    pub(crate) yaw_rms: f64,
    pub(crate) yaw: (f64, f64),
    pub(crate) truth: f64,
    pub(crate) speed: f64,
    pub(crate) current: (f64, f64),
    pub(crate) velocity: (f64, f64),
    /// How far the sea throws the antenna to either side, knots.
    pub(crate) sway: f64,
    pub(crate) heading_sent: bool,
    pub(crate) second: bool,
    /// What the second heading shows too much.
    pub(crate) second_error: f64,
    pub(crate) gyro: bool,
    pub(crate) gps: bool,
    pub(crate) stuck: Option<f64>,
    /// Half a minute of swinging at the wheel is what a person does, not a pilot.
    pub(crate) pilot: bool,
}

impl Boat {
    pub(crate) fn new(seed: u64) -> Self {
        Self {
            noise: seed.wrapping_mul(0x9e37_79b9_7f4a_7c15) | 1,
            now_ms: 0,
            course: 135.0,
            compass_error: 0.0,
            heading: 135.0,
            yaw_rms: 2.0,
            yaw: (0.0, 0.0),
            truth: 135.0,
            speed: 5.5,
            current: (0.6, -0.5),
            velocity: (0.0, 0.0),
            sway: 0.0,
            heading_sent: true,
            second: false,
            second_error: 0.0,
            gyro: false,
            gps: true,
            stuck: None,
            pilot: true,
        }
    }

    pub(crate) fn uniform(&mut self) -> f64 {
        self.noise ^= self.noise << 13;
        self.noise ^= self.noise >> 7;
        self.noise ^= self.noise << 17;
        (self.noise >> 11) as f64 / (1u64 << 53) as f64
    }

    /// A sum of twelve uniforms: normal enough for noise.
    pub(crate) fn normal(&mut self) -> f64 {
        (0..12).map(|_| self.uniform()).sum::<f64>() - 6.0
    }

    /// Half a second passes; what the talkers send.
    pub(crate) fn step(&mut self) -> String {
        let dt = 0.5;
        self.now_ms += 500;
        if self.pilot {
            // At most 3 degrees a second, and settling.
            let wanted = wrap(self.course - self.compass_error - self.heading);
            self.heading += (wanted * 0.25).clamp(-3.0, 3.0) * dt;
        }
        // Yaw: a damped oscillator of 7 s driven by noise.
        let (omega, zeta) = (2.0 * std::f64::consts::PI / 7.0, 0.1);
        let drive = 2.0 * (zeta * omega.powi(3)).sqrt() * self.yaw_rms * self.normal() / dt.sqrt();
        self.yaw.1 += (drive - omega * omega * self.yaw.0 - 2.0 * zeta * omega * self.yaw.1) * dt;
        self.yaw.0 += self.yaw.1 * dt;
        let truth = self.heading + self.yaw.0;
        let turned = wrap(truth - self.truth);
        self.truth = truth;
        // Velocity lags by 1.5 s.
        let through = (self.speed * truth.to_radians().cos(), self.speed * truth.to_radians().sin());
        let ground = (through.0 + self.current.0, through.1 + self.current.1);
        self.velocity.0 += (ground.0 - self.velocity.0) * dt / 1.5;
        self.velocity.1 += (ground.1 - self.velocity.1) * dt / 1.5;
        let mut lines = String::new();
        if self.heading_sent {
            let shown = self.stuck.unwrap_or(truth - 4.0 + self.compass_error + 0.1 * self.normal());
            line(&mut lines, &format!("HCHDG,{:.1},,,4.0,E", shown.rem_euclid(360.0)));
        }
        if self.second {
            let shown = truth + 1.0 + 2.0 * truth.to_radians().sin() + self.second_error + 0.3 * self.normal();
            line(&mut lines, &format!("GPHDT,{:.1},T", shown.rem_euclid(360.0)));
        }
        if self.gyro {
            line(&mut lines, &format!("TIROT,{:.1},A", turned / dt * 60.0 + 0.4));
        }
        if self.gps && self.now_ms % 1000 == 0 {
            let sway = self.sway * (self.now_ms as f64 / 850.0).sin();
            let abeam = (self.heading + 90.0).to_radians();
            let n = self.velocity.0 + sway * abeam.cos() + 0.1 * self.normal();
            let e = self.velocity.1 + sway * abeam.sin() + 0.1 * self.normal();
            let (course, speed) = (e.atan2(n).to_degrees().rem_euclid(360.0), n.hypot(e));
            let s = self.now_ms / 1000 % 86_400;
            let clock = format!("{:02}{:02}{:02}", s / 3600, s / 60 % 60, s % 60);
            line(&mut lines, &format!("GPRMC,{clock},A,4950.000,N,01130.000,W,{speed:.1},{course:.1},140726,,,A"));
        }
        lines
    }
}

pub(crate) fn wrap(deg: f64) -> f64 {
    (deg + 180.0).rem_euclid(360.0) - 180.0
}

pub(crate) fn line(into: &mut String, body: &str) {
    let sum = body.bytes().fold(0, |sum, byte| sum ^ byte);
    write!(into, "${body}*{sum:02X}\r\n").unwrap();
}

/// A watch over a boat, and the alerts it raised.
pub(crate) struct Watch {
    pub(crate) boat: Boat,
    pub(crate) monitor: Monitor,
    pub(crate) alerts: Vec<AlertChange>,
}

impl Watch {
    pub(crate) fn new(boat: Boat) -> Self {
        let mut settings = Settings { source_count: 1, ..Settings::default() };
        settings.rot_is_gyro = boat.gyro;
        Self { boat, monitor: Monitor::new(Instant::from_ms(0), settings), alerts: Vec::new() }
    }

    pub(crate) fn now(&self) -> Instant {
        Instant::from_ms(self.boat.now_ms)
    }

    pub(crate) fn run(&mut self, seconds: u64) {
        for _ in 0..seconds * 2 {
            let lines = self.boat.step();
            let now = self.now();
            let alerts = &mut self.alerts;
            self.monitor.bytes(now, SourceId(0), lines.as_bytes(), &mut |event| match event {
                Event::Alert(change) => alerts.push(change),
                Event::Refused { refused, .. } => panic!("refused {refused:?}"),
                Event::Malformed { malformed, .. } => panic!("malformed {malformed:?}"),
                _ => {}
            });
        }
    }

    pub(crate) fn order(&mut self, command: Command) {
        let now = self.now();
        assert!(self.monitor.order(now, command, &mut |_| {}));
    }

    /// Steers the boat to `course` (true) and says so to the watch, in compass.
    pub(crate) fn steer(&mut self, course: f64) {
        self.boat.course = course;
        let compass = ((course - 4.0).rem_euclid(360.0) * 1000.0) as i64;
        let order = Referred { bearing: Bearing::from_mdeg(compass), reference: Reference::Compass };
        self.order(Command::Steer(order));
    }

    pub(crate) fn raised(&self) -> Vec<(u64, &'static str)> {
        let up = |c: &&AlertChange| matches!(c.state, State::ActiveUnacknowledged | State::Active) && !c.repeated;
        self.alerts.iter().filter(up).map(|c| (c.at.as_ms() / 1000, c.kind.name())).collect()
    }

    pub(crate) fn judging(&self, kind: AlertKind) -> Result<(), Why> {
        self.monitor.status(self.now()).judging[kind as usize]
    }

    /// Runs until the alert is raised, at most `limit` seconds; how many it took.
    pub(crate) fn until_raised(&mut self, kind: AlertKind, limit: u64) -> Option<u64> {
        let before = self.alerts.len();
        for s in 1..=limit {
            self.run(1);
            if self.alerts[before..].iter().any(|c| c.kind == kind && c.state == State::ActiveUnacknowledged) {
                return Some(s);
            }
        }
        None
    }
}
