//! Copies and second sensors on an invented boat, with everything that makes them look alike.

use super::*;
use crate::frame::Formatter;
use crate::frame::Talker;
use crate::picture::Origin;
use crate::picture::Reference;
use crate::picture::SourceId;
use std::vec::Vec;

#[test]
fn a_pair_is_small_for_there_are_28_of_them() {
    assert!(size_of::<Pair>() <= 28, "{}", size_of::<Pair>());
}

#[test]
fn half_a_logarithm() {
    for ratio in [64, 65, 80, 100, 127, 128, 300, 6400, 640_000, 1 << 40] {
        let want = (ratio as f64 / 64.0).ln() * 32.0;
        let off = want - f64::from(half_ln(ratio));
        assert!((-0.1..=3.0).contains(&off), "{ratio}: {off}");
    }
}

/// Numbers that the seed alone decides.
struct Chance(u64);

impl Chance {
    /// From 0 up to 1.
    fn part(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mixed = (self.0 ^ (self.0 >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        let mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        ((mixed ^ (mixed >> 31)) >> 11) as f64 / (1_u64 << 53) as f64
    }

    fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.part()
    }

    /// Mean nothing, standard deviation one: twelve uniform numbers.
    fn normal(&mut self) -> f64 {
        (0..12).map(|_| self.part()).sum::<f64>() - 6.0
    }

    fn pick<T: Copy, const N: usize>(&mut self, from: [T; N]) -> T {
        from[(self.part() * N as f64) as usize]
    }
}

/// What a talker makes of a magnetic heading.
#[derive(Clone, Debug)]
struct Sensor {
    /// B, C, D, E of its deviation, degrees.
    deviation: [f64; 4],
    noise: f64,
    memory_s: f64,
    lag_s: f64,
    damped: Option<f64>,
    wander: f64,
}

impl Sensor {
    fn good() -> Self {
        Self { deviation: [0.0; 4], noise: 0.0, memory_s: 1.0, lag_s: 0.0, damped: None, wander: 0.0 }
    }

    fn read(&mut self, heading: f64, chance: &mut Chance) -> f64 {
        let keep = (-STEP_S / self.memory_s).exp();
        self.wander = keep * self.wander + self.noise * (1.0 - keep * keep).sqrt() * chance.normal();
        let share = STEP_S / self.lag_s.max(STEP_S);
        let before = self.damped.unwrap_or(heading);
        let damped = before + (heading - before) * share;
        self.damped = Some(damped);
        damped - card(&self.deviation, damped) + self.wander
    }
}

/// Deviation on a heading by B, C, D, E.
fn card([b, c, d, e]: &[f64; 4], heading: f64) -> f64 {
    let h = heading.to_radians();
    b * h.sin() + c * h.cos() + d * (2.0 * h).sin() + e * (2.0 * h).cos()
}

const STEP_S: f64 = 0.1;

/// How a heading comes down the line.
#[derive(Clone, Copy, Debug)]
struct Talk {
    formatter: &'static [u8; 3],
    decimals: u8,
    every: usize,
    phase: usize,
}

impl Talk {
    fn digit(self) -> i64 {
        if self.decimals == 0 { 1000 } else { 100 }
    }
}

/// What the second heading is.
#[derive(Clone, Debug)]
enum Second {
    /// A copy of the first.
    Copy(Copied),
    /// A sensor.
    Sensor(Sensor),
}

/// What a copy does to its model.
#[derive(Clone, Debug)]
struct Copied {
    /// What it adds, and how that changes by the hour: degrees. By steps of whole degrees where `steps`.
    plus: f64,
    per_hour: f64,
    steps: bool,
    /// How late it is, from and to, and the low pass it goes through: seconds.
    late_s: [f64; 2],
    damped_s: f64,
    /// A card of its own.
    card: [f64; 4],
    /// Whether it repeats the last value for half a minute, now and then.
    hangs: bool,
}

/// How the boat turns.
#[derive(Clone, Copy, Debug)]
enum Turning {
    /// A new course, so many degrees away at most, every so many seconds.
    Courses(f64, f64),
    /// Circles, so many degrees a second.
    Circles(f64),
    /// She wanders.
    Wanders,
}

#[derive(Clone, Debug)]
struct Voyage {
    seed: u64,
    seconds: usize,
    yaw: f64,
    turning: Turning,
    first: Sensor,
    second: Second,
    talks: [Talk; 2],
}

/// What became of the pair.
struct Told {
    /// Each change: when, to what, and how far she had turned by then, yaw left out.
    changes: Vec<(f64, Kinship, f64)>,
    last: Kinship,
}

impl Voyage {
    fn sail(mut self) -> Told {
        let mut chance = Chance(self.seed);
        let origin = |talker: &[u8; 2], talk: Talk| Origin {
            source: SourceId(0),
            talker: Talker(*talker),
            formatter: Formatter(*talk.formatter),
        };
        let mut channels = [
            HeadingChannel::new(origin(b"HC", self.talks[0]), Reference::Compass),
            HeadingChannel::new(origin(b"GP", self.talks[1]), Reference::True),
        ];
        let mut pair = Pair::default();
        let (mut course, mut steered, mut rate, mut turned) = (chance.between(0.0, 360.0), 0.0, 0.0_f64, 0.0);
        steered += course;
        // A lightly damped swing of 5 to 7 seconds.
        let omega = 2.0 * core::f64::consts::PI / chance.between(5.0, 7.0);
        let (mut yaw, mut yaw_rate) = (self.yaw * chance.normal(), 0.0);
        let mut past: Vec<f64> = Vec::new();
        let mut low_pass = None;
        let mut hung = 0.0;
        let mut told = Told { changes: Vec::new(), last: Kinship::Unknown };
        for step in 0..self.seconds * 10 {
            match self.turning {
                Turning::Courses(most, every) if step % (every * 10.0) as usize == 0 => {
                    course += chance.between(30.0, most) * chance.pick([-1.0, 1.0]);
                }
                Turning::Wanders => course += 0.4 * chance.normal(),
                Turning::Circles(dps) => course += dps * STEP_S,
                Turning::Courses(..) => {}
            }
            let wanted = match self.turning {
                Turning::Circles(dps) => dps,
                _ => ((course - steered) * 0.3_f64).clamp(-5.0, 5.0),
            };
            rate += (wanted - rate) * STEP_S / 1.5;
            steered += rate * STEP_S;
            turned += rate.abs() * STEP_S;
            let push = self.yaw * (4.0 * 0.1 * omega * omega * omega / STEP_S).sqrt() * chance.normal();
            yaw_rate += (push - 0.2 * omega * yaw_rate - omega * omega * yaw) * STEP_S;
            yaw += yaw_rate * STEP_S;
            let heading = steered + yaw;
            let one = self.first.read(heading, &mut chance);
            past.push(one);
            let two = match &mut self.second {
                Second::Sensor(sensor) => sensor.read(heading, &mut chance),
                Second::Copy(copied) => {
                    if copied.hangs && step % 18_000 > 17_600 {
                        hung
                    } else {
                        let delay = (chance.between(copied.late_s[0], copied.late_s[1]) * 10.0) as usize;
                        let late = past[past.len().saturating_sub(1 + delay)];
                        let before = low_pass.unwrap_or(late);
                        let damped = before + (late - before) * STEP_S / copied.damped_s.max(STEP_S);
                        low_pass = Some(damped);
                        let more = copied.plus + copied.per_hour * step as f64 / 36_000.0;
                        hung = damped + card(&copied.card, damped) + if copied.steps { more.round() } else { more };
                        hung
                    }
                }
            };
            let now = Instant::from_ms(step as u64 * 100);
            for (place, value) in [one, two].into_iter().enumerate() {
                let talk = self.talks[place];
                if step % talk.every != talk.phase % talk.every {
                    continue;
                }
                // A copy is made of what was sent.
                let digit = talk.digit();
                let rounded = (value * 1000.0 / digit as f64).round() as i64 * digit;
                channels[place].take(now, Bearing::from_mdeg(rounded), talk.decimals);
                pair.compare(now, &channels[0], &channels[1]);
                if pair.kinship() != told.last {
                    told.last = pair.kinship();
                    told.changes.push((step as f64 / 10.0, told.last, turned));
                }
            }
        }
        told
    }
}

/// A voyage of the seed, in all that does not matter to what is told.
fn voyage(seed: u64, second: impl FnOnce(&mut Chance) -> Second) -> Voyage {
    let mut chance = Chance(seed ^ 0x5eed);
    let first = sensor(&mut chance);
    let second = second(&mut chance);
    let talk = |chance: &mut Chance, formatter, decimals| {
        let every = chance.pick([5, 10, 10]);
        Talk { formatter, decimals, every, phase: (chance.part() * 10.0) as usize }
    };
    let yaw = chance.between(0.5, 3.5);
    let turning = match chance.pick([0, 0, 1, 2]) {
        0 => Turning::Courses(120.0, chance.between(180.0, 1200.0)),
        1 => Turning::Circles(chance.between(0.5, 3.0)),
        _ => Turning::Wanders,
    };
    let decimals = [chance.pick([1, 1, 0]), chance.pick([1, 1, 0])];
    let talks = [talk(&mut chance, b"HDG", decimals[0]), talk(&mut chance, b"HDT", decimals[1])];
    Voyage { seed, seconds: 7200, yaw, turning, first, second, talks }
}

/// A compass: deviation of 0.5 to 3 degrees.
fn sensor(chance: &mut Chance) -> Sensor {
    let greatest = chance.between(0.5, 3.0);
    let shares = [(); 4].map(|()| chance.between(-1.0, 1.0));
    let scale = greatest / (shares[0].hypot(shares[1]) + shares[2].hypot(shares[3]));
    Sensor {
        deviation: shares.map(|share| share * scale),
        noise: 0.3,
        memory_s: chance.pick([0.05, 0.5, 1.5]),
        lag_s: chance.between(0.5, 2.0),
        ..Sensor::good()
    }
}

/// A copy of some kind: constant, variation that changes, late, unsteadily late, damped.
fn copy(chance: &mut Chance) -> Copied {
    let late = chance.between(0.0, 0.9);
    Copied {
        plus: chance.between(-20.0, 20.0),
        per_hour: chance.pick([0.0, 0.0, 1.0, -1.0]),
        steps: chance.pick([false, false, true]),
        late_s: chance.pick([[late, late], [0.1, 0.9]]),
        damped_s: chance.pick([0.0, 0.0, 1.0, 2.0]),
        card: [0.0; 4],
        hangs: chance.pick([false, false, false, true]),
    }
}

fn wanted_none(told: &Told, kind: &str) -> bool { kind != "card copy" && !told.changes.iter().any(|c| c.1 == if kind == "copy" { Kinship::OneSensor } else { Kinship::Two }) }

#[test]
fn measure() {
    for (name, fine) in [("fine", true), ("any digits", false)] {
        for kind in ["copy", "two"] {
            for way in 0..3 {
            let (mut ever_two, mut ever_one, mut ends) = (0, 0, [0; 3]);
            let mut first = Vec::new();
            for seed in 0..if kind == "copy" { 3000 } else if kind == "two" { 600 } else { 0 } {
                let mut v = voyage(seed, |chance| match kind {
                    "copy" => Second::Copy(copy(chance)),
                    "card copy" => {
                        let copied = copy(chance);
                        Second::Copy(Copied { card: sensor(chance).deviation, ..copied })
                    }
                    _ => Second::Sensor(sensor(chance)),
                });
                let this = match v.turning { Turning::Courses(..) => 0, Turning::Circles(..) => 1, _ => 2 };
                if way != this { continue }
                if fine {
                    v.talks.iter_mut().for_each(|t| t.decimals = 1);
                }
                let text = std::format!("{seed} yaw {:.1} {:?} {:?}", v.yaw, v.turning, v.talks.map(|t| (t.decimals, t.every, t.phase)));
                let second = std::format!("{:?}", v.second); let text2 = second.clone();
                let told = v.sail();
                let two = told.changes.iter().find(|c| c.1 == Kinship::Two);
                let one = told.changes.iter().find(|c| c.1 == Kinship::OneSensor);
                ever_two += i32::from(two.is_some());
                ever_one += i32::from(one.is_some());
                ends[told.last as usize] += 1;
                if fine && seed < 0 && way < 1 && wanted_none(&told, kind) { std::println!("   {kind} {text} {second} {:?}", told.changes); }
                let wanted = if kind == "copy" { one } else { two };
                first.push(wanted.map_or(f64::INFINITY, |c| c.2));
                if kind == "copy" && two.is_some() && (ever_two < 3 || !text2.contains("hangs: true")) {
                    std::println!("   {text} {second} {:?}", told.changes);
                }
            }
            first.sort_by(f64::total_cmp);
            let q = |p: f64| first[(first.len() as f64 * p) as usize];
            std::println!("{name} {kind} {way}: ever Two {ever_two} ever One {ever_one} at the end unknown/one/two {ends:?}; degrees turned until told 50 % {:.0} 80 % {:.0} 90 % {:.0} 95 % {:.0}", q(0.5), q(0.8), q(0.9), q(0.95));
            }
        }
    }
}
