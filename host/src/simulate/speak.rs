//! What the gear on board makes of the voyage, and how it comes down the line.

use super::damage;
use super::exact;
use super::happening::Happening;
use super::happening::Whom;
use super::settings::Kind;
use super::settings::Sentence;
use super::talk;
use super::talk::Fix;
use super::talk::Said;
use super::talk::Utc;
use super::voyage::Heard;
use super::voyage::METRES_PER_DEGREE;
use super::voyage::STEP_MS;
use super::voyage::Voyage;

/// How long the line needs for a byte at 38 400 baud, in microseconds.
const BYTE_US: u64 = 260;

/// An error of the second heading that stands: its aerials are not quite in line.
const SECOND_OUT_BY_DEG: f64 = 0.6;

impl Voyage {
    /// The sentences of this step.
    pub(super) fn speak(&mut self, hear: &mut dyn FnMut(Heard<'_>)) {
        if self.now_ms.is_multiple_of(self.fix_every_ms) {
            let (latitude, longitude) = self.place;
            let parallel = exact::sin_cos(latitude).1.max(0.1);
            let off = self.receiver.out_by_m;
            self.fix = Fix {
                utc: self.utc(),
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
            if self.is_silent(talk::talker(kind, &self.settings.gear), kind) {
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

    /// What UTC the receiver says: a second behind the log's stamps once a leap second has begun.
    fn utc(&self) -> Utc {
        let unix_ms = self.unix_ms();
        match self.leap_ms {
            None => Utc { unix_ms, leap: false },
            Some(began) => Utc { unix_ms: unix_ms - 1000, leap: self.now_ms < began + 1000 },
        }
    }

    /// The angle the rudder sensor says; `None` where it has none.
    fn rudder_says(&self) -> Option<f64> {
        if self.happens(|h| matches!(h, Happening::RudderVoid)) {
            return None;
        }
        let gear = &self.settings.gear;
        let angle = self.hull.quadrant_deg + gear.rudder_offset_deg + self.rudder_noise.value;
        let reversed = self.happens(|h| matches!(h, Happening::RudderReversed));
        Some(if reversed { -angle } else { angle })
    }

    /// Whether the script keeps this talker from speaking.
    fn is_silent(&self, talker: &str, kind: Kind) -> bool {
        self.happens(|h| match h {
            Happening::Silence(whom) => whom.covers(talker, kind.formatter()),
            Happening::RudderLost => kind == Kind::Rsa,
            _ => false,
        })
    }

    fn said(&self) -> Said {
        let (wind_deg, wind_mps) = self.hull.apparent_wind(&self.weather);
        Said {
            reading: self.reading,
            second_true_deg: self.hull.heading_deg + SECOND_OUT_BY_DEG + self.second.value + self.second_error.value,
            reading_dps: self.reading_dps,
            gyro_dps: self.gyro.says_dps,
            rudder_deg: self.rudder_says(),
            rudder_ordered_deg: self.pilot.rudder_deg,
            ordered_deg: self.ordered(),
            speed_mps: self.hull.speed_mps,
            wind_deg,
            wind_mps,
            variation_deg: self.variation_deg,
            battery_v: self.battery.value + self.battery_noise.value,
            heel_deg: (self.settings.boat.heel_deg > 0.0).then_some(self.hull.heel_deg),
            fix: self.fix,
        }
    }
}
