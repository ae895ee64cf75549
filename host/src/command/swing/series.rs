//! What a swing needs of a log: headings, ground velocity, wind, variation and place, in one pass.
//!
//! Memory does not grow with the log: collectors keep what a swing is made of, counters the rest.

use std::collections::BTreeMap;

use lubber_core::frame::Framed;
use lubber_core::frame::Framer;
use lubber_core::picture::HeadingChannel;
use lubber_core::picture::Kinship;
use lubber_core::picture::Name;
use lubber_core::picture::Origin;
use lubber_core::picture::Pair;
use lubber_core::picture::Reference;
use lubber_core::picture::SourceId;
use lubber_core::sentence;
use lubber_core::sentence::Sentence;
use lubber_core::time::Instant;
use lubber_core::unit::Position;

use super::wind::WindLog;
use crate::analysis::bearings::signed;
use crate::analysis::headings::Pairs;
use crate::analysis::swing::Collector;

/// One knot in metres per second.
pub(super) const KNOT: f64 = 1852.0 / 3600.0;

/// What one pass over the logs found.
pub(super) struct Series {
    /// Every heading that a compass sends, by its name.
    pub(super) sensors: Vec<Sensor>,
    /// Names and counts of every sentence, for refusals.
    pub(super) seen: BTreeMap<[u8; 5], u64>,
    /// Lines refused by the framer or the sentences.
    pub(super) refused: u64,
    /// Fixes with course and speed, and fixes that the receiver marks void.
    pub(super) fixes: u64,
    pub(super) void_fixes: u64,
    /// First and last moment of the log, and of the part inside the window, Unix milliseconds.
    pub(super) whole: Option<(i64, i64)>,
    pub(super) from: Option<i64>,
    pub(super) to: Option<i64>,
    /// The first position inside the window.
    pub(super) position: Option<Position>,
    /// Mean of the variation that the sensor's HDG, else the receiver's RMC, carries, degrees.
    pub(super) wire_variation: Option<f64>,
    /// The wind.
    pub(super) wind: WindLog,
    /// Positions that jumped farther than a boat can go.
    pub(super) jumps: u64,
}

/// A heading of the sensor's own, to be swung.
pub(super) struct Sensor {
    pub(super) name: Name,
    pub(super) samples: u64,
    pub(super) collector: Collector,
    /// The comparison with the reference, where one is asked for.
    pub(super) pairs: Pairs,
    pub(super) kinship: Kinship,
    /// The last digit of the coarser of it and the reference, degrees.
    pub(super) digit: f64,
    /// The greatest deviation that its own sentences carry, degrees.
    pub(super) wire_deviation: f64,
    /// Headings near the moments that are asked for: sums of sine and cosine, and count.
    pub(super) moments: Vec<(f64, f64, u32)>,
    channel: HeadingChannel,
    pair: Pair,
}

/// What the pass is to look for.
#[derive(Clone, Debug, Default)]
pub(super) struct Wanted {
    /// From and to, Unix milliseconds.
    pub(super) window: (Option<i64>, Option<i64>),
    /// The heading that serves as reference.
    pub(super) reference: Option<Name>,
    /// Moments at which the heading is asked for, Unix milliseconds.
    pub(super) moments: Vec<i64>,
}

/// Most names of sensors, and of sentences, that are told apart.
const MOST_SENSORS: usize = 4;
const MOST_NAMES: usize = 200;
/// A heading this near a moment counts for it, milliseconds.
const NEAR_MS: i64 = 3_000;
/// After so long a gap another current flows, milliseconds.
const OTHER_DAY_MS: u64 = 1_800_000;
/// Two fixes farther apart than this and than a boat makes good in the time between them, 20 m/s, are
/// not of one boat: metres, and the longest time, milliseconds.
const JUMP_M: f64 = 100.0;
const JUMP_MPS: f64 = 20.0;
const JUMP_WITHIN_MS: u64 = 20_000;
/// A velocity of another talker is taken only when the one in use was silent so long, milliseconds.
const SILENT_MS: u64 = 60_000;

/// Takes pieces of log in order of time.
pub(super) struct Reader {
    wanted: Wanted,
    framers: Vec<Framer>,
    ground: Option<(Origin, Instant)>,
    reference: HeadingChannel,
    place: Option<(Instant, Position)>,
    last: Option<Instant>,
    variation: [(f64, u64); 2],
    out: Series,
}

impl Reader {
    pub(super) fn new(framers: Vec<Framer>, wanted: Wanted) -> Self {
        let nobody = Origin {
            source: SourceId(0),
            talker: lubber_core::frame::Talker(*b"--"),
            formatter: lubber_core::frame::Formatter(*b"---"),
        };
        Self {
            wanted,
            framers,
            ground: None,
            reference: HeadingChannel::new(nobody, Reference::True),
            place: None,
            last: None,
            variation: [(0.0, 0); 2],
            out: Series {
                sensors: Vec::new(),
                seen: BTreeMap::new(),
                refused: 0,
                fixes: 0,
                void_fixes: 0,
                whole: None,
                from: None,
                to: None,
                position: None,
                wire_variation: None,
                wind: WindLog::default(),
                jumps: 0,
            },
        }
    }

    /// Takes one piece.
    pub(super) fn piece(&mut self, source: SourceId, now: Instant, utc_ms: Option<i64>, bytes: &[u8]) {
        let inside = utc_ms.is_none_or(|utc| {
            self.wanted.window.0.is_none_or(|from| utc >= from) && self.wanted.window.1.is_none_or(|to| utc <= to)
        });
        if self.last.is_some_and(|last| now.since(last).as_ms() > OTHER_DAY_MS) {
            self.out.sensors.iter_mut().for_each(|sensor| sensor.collector.next_log());
        }
        self.last = Some(now);
        if let Some(utc) = utc_ms {
            self.out.whole = Some((self.out.whole.map_or(utc, |(first, _)| first), utc));
        }
        if inside && let Some(utc) = utc_ms {
            self.out.from.get_or_insert(utc);
            self.out.to = Some(utc);
        }
        // A framer lends what it holds, so they are taken out while the lines are read.
        let mut framers = std::mem::take(&mut self.framers);
        if let Some(framer) = framers.get_mut(source.index()) {
            framer.feed(bytes, &mut |framed| self.framed(source, now, utc_ms, inside, framed));
        }
        self.framers = framers;
    }

    /// What was found, once all pieces are taken.
    pub(super) fn finish(mut self) -> Series {
        let mean = |(sum, count): (f64, u64)| (count > 0).then(|| sum / count as f64);
        self.out.wire_variation = mean(self.variation[0]).or(mean(self.variation[1]));
        for sensor in &mut self.out.sensors {
            sensor.kinship = sensor.pair.kinship();
            let decimals = sensor.channel.decimals.min(self.reference.decimals);
            sensor.digit = 0.1_f64.powi(i32::from(decimals.min(1)));
        }
        self.out
    }

    fn framed(&mut self, source: SourceId, now: Instant, utc: Option<i64>, inside: bool, framed: Framed<'_>) {
        let line = match framed {
            Framed::Line(line) => line,
            Framed::Refused(_) => {
                self.out.refused += 1;
                return;
            }
        };
        let origin = Origin { source, talker: line.talker(), formatter: line.formatter() };
        let Ok(decoded) = sentence::decode(&line) else {
            self.out.refused += 1;
            return;
        };
        if !line.is_proprietary() {
            let ([a, b], [c, d, e]) = (origin.talker.0, origin.formatter.0);
            let name = [a, b, c, d, e];
            if self.out.seen.len() < MOST_NAMES || self.out.seen.contains_key(&name) {
                *self.out.seen.entry(name).or_default() += 1;
            }
        }
        if inside {
            self.sentence(now, utc, origin, &decoded.sentence);
        }
    }

    fn sentence(&mut self, now: Instant, utc: Option<i64>, origin: Origin, sentence: &Sentence<'_>) {
        let name = Name { talker: origin.talker, formatter: origin.formatter };
        match sentence {
            Sentence::Hdg(hdg) => {
                if let Some(variation) = hdg.variation.known() {
                    self.variation_came(0, variation.0.as_mdeg());
                }
                if let Some(heading) = hdg.heading.known() {
                    let deviation = hdg.deviation.known().map_or(0, |turn| turn.as_mdeg());
                    self.heading(now, utc, origin, heading.0, hdg.decimals, deviation);
                }
            }
            Sentence::Hdm(hdm) => {
                if let Some(heading) = hdm.heading.known() {
                    self.heading(now, utc, origin, heading.0, hdm.decimals, 0);
                }
            }
            Sentence::Hdt(hdt) if self.wanted.reference == Some(name) => {
                if let Some(heading) = hdt.heading.known() {
                    self.reference_came(now, origin, heading.0, hdt.decimals);
                }
            }
            Sentence::Ths(ths) if self.wanted.reference == Some(name) => {
                if let Some(heading) = ths.heading.known() {
                    self.reference_came(now, origin, heading.0, ths.decimals);
                }
            }
            Sentence::Rmc(rmc) => {
                if let Some(variation) = rmc.variation.known() {
                    self.variation_came(1, variation.0.as_mdeg());
                }
                if let Some(position) = rmc.position.known() {
                    self.position_came(now, position);
                }
                let is_void = rmc.valid.known() == Some(false);
                self.out.void_fixes += u64::from(is_void);
                if let (Some(speed), Some(course)) = (rmc.speed.known(), rmc.course.known()) {
                    self.velocity(now, origin, speed.as_mm_s(), course.0.as_mdeg());
                }
            }
            Sentence::Vtg(vtg) => {
                if let (Some(speed), Some(course)) = (vtg.speed.known(), vtg.course.known()) {
                    self.velocity(now, origin, speed.as_mm_s(), course.0.as_mdeg());
                }
            }
            Sentence::Gga(gga) => {
                if let Some(position) = gga.position.known() {
                    self.position_came(now, position);
                }
            }
            Sentence::Mwv(mwv) => {
                if let (Some(angle), Some(relative), Some(speed)) =
                    (mwv.angle.known(), mwv.relative.known(), mwv.speed.known())
                {
                    self.out.wind.bow(degrees(angle.as_mdeg()), relative, f64::from(speed.as_mm_s()) / 1000.0);
                }
            }
            Sentence::Mwd(mwd) => {
                if let (Some(from), Some(speed)) = (mwd.truth.known(), mwd.speed.known()) {
                    self.out.wind.north(degrees(from.0.as_mdeg()), f64::from(speed.as_mm_s()) / 1000.0);
                }
            }
            _ => {}
        }
    }

    fn variation_came(&mut self, rank: usize, mdeg: i32) {
        let (sum, count) = &mut self.variation[rank];
        (*sum, *count) = (*sum + degrees(mdeg), *count + 1);
        self.out.wind.variation(degrees(mdeg));
    }

    fn heading(
        &mut self,
        now: Instant,
        utc: Option<i64>,
        origin: Origin,
        heading: lubber_core::angle::Bearing,
        decimals: u8,
        deviation_mdeg: i32,
    ) {
        let name = Name { talker: origin.talker, formatter: origin.formatter };
        let at = match self.out.sensors.iter().position(|sensor| sensor.name == name) {
            Some(at) => at,
            None if self.out.sensors.len() < MOST_SENSORS => {
                self.out.sensors.push(Sensor {
                    name,
                    samples: 0,
                    collector: Collector::new(),
                    pairs: Pairs::default(),
                    kinship: Kinship::Unknown,
                    digit: 0.1,
                    wire_deviation: 0.0,
                    moments: vec![(0.0, 0.0, 0); self.wanted.moments.len()],
                    channel: HeadingChannel::new(origin, Reference::Compass),
                    pair: Pair::default(),
                });
                self.out.sensors.len() - 1
            }
            None => return,
        };
        let sensor = &mut self.out.sensors[at];
        let (t_s, compass) = (seconds(now), degrees(heading.as_mdeg()));
        sensor.samples += 1;
        sensor.collector.heading(t_s, compass);
        if degrees(deviation_mdeg).abs() > sensor.wire_deviation.abs() {
            sensor.wire_deviation = degrees(deviation_mdeg);
        }
        if self.wanted.reference.is_some() {
            sensor.pairs.heading(t_s, compass);
            sensor.channel.take(now, heading, decimals);
            sensor.pair.compare(now, &sensor.channel, &self.reference);
        }
        if let Some(utc) = utc {
            for (sum, moment) in sensor.moments.iter_mut().zip(&self.wanted.moments) {
                if (utc - moment).abs() <= NEAR_MS {
                    let (sin, cos) = compass.to_radians().sin_cos();
                    *sum = (sum.0 + sin, sum.1 + cos, sum.2 + 1);
                }
            }
        }
        if at == 0 {
            self.out.wind.heading(compass);
        }
    }

    fn reference_came(&mut self, now: Instant, origin: Origin, heading: lubber_core::angle::Bearing, decimals: u8) {
        if self.reference.origin != origin {
            self.reference = HeadingChannel::new(origin, Reference::True);
        }
        self.reference.take(now, heading, decimals);
        for sensor in &mut self.out.sensors {
            // Whichever of a copy and its model comes first, one of the two is fresh.
            sensor.pair.compare(now, &sensor.channel, &self.reference);
            sensor.pairs.reference(seconds(now), degrees(heading.as_mdeg()));
        }
    }

    fn velocity(&mut self, now: Instant, origin: Origin, mm_s: i32, course_mdeg: i32) {
        let rank = |origin: Origin| u8::from(origin.formatter.0 != *b"RMC");
        let is_ours = self
            .ground
            .is_none_or(|(own, last)| own == origin || now.since(last).as_ms() > SILENT_MS || rank(origin) < rank(own));
        if !is_ours {
            return;
        }
        self.ground = Some((origin, now));
        self.out.fixes += 1;
        let (speed, course) = (f64::from(mm_s) / 1000.0, degrees(course_mdeg));
        for sensor in &mut self.out.sensors {
            sensor.collector.course(seconds(now), speed, course);
        }
        self.out.wind.boat(speed, course);
    }

    fn position_came(&mut self, now: Instant, position: Position) {
        self.out.position.get_or_insert(position);
        if let Some((before, last)) = self.place
            && now.since(before).as_ms() <= JUMP_WITHIN_MS
            && metres(last, position) > JUMP_M + JUMP_MPS * now.since(before).as_ms() as f64 / 1000.0
        {
            self.out.jumps += 1;
        }
        self.place = Some((now, position));
    }
}

impl Sensor {
    /// The mean heading near moment number `at`, degrees; `None` where the log has none there.
    pub(super) fn at_moment(&self, at: usize) -> Option<f64> {
        let &(sin, cos, count) = self.moments.get(at)?;
        (count > 0).then(|| signed(sin.atan2(cos).to_degrees()).rem_euclid(360.0))
    }
}

fn seconds(now: Instant) -> f64 {
    now.as_ms() as f64 / 1000.0
}

fn degrees(mdeg: i32) -> f64 {
    f64::from(mdeg) / 1000.0
}

/// How far two positions are apart, metres, on the plane between them.
fn metres(a: Position, b: Position) -> f64 {
    let (lat_a, lat_b) = (f64::from(a.lat_e7) / 1e7, f64::from(b.lat_e7) / 1e7);
    let east = signed((f64::from(b.lon_e7) - f64::from(a.lon_e7)) / 1e7) * ((lat_a + lat_b) / 2.0).to_radians().cos();
    (lat_b - lat_a).hypot(east) * 60.0 * 1852.0
}
