//! The collector: watches a log of any length go by and keeps the turns and legs a swing is made of.
//!
//! ```text
//!   straight --turn rate above 0.6 deg/s--> turning --below 0.3, or the other way--> straight
//!      |                                       |
//!      | every 45 to 120 s a steady leg        | 180 degrees or more: a block, from 75 s before
//!      v                                       v to 75 s after; turns close together share one
//!     legs: four per sector of 10 degrees     blocks: the 32 of most turning
//! ```
//!
//! Memory is bounded: two rings of the last half hour at two samples a second, and what was kept.

use std::collections::VecDeque;

use super::decimate::Decimator;
use super::decimate::Heading;
use super::decimate::Velocity;
use super::decimate::signed;

/// Turn rate is the change over this time, seconds: longer than the yaw of a small boat.
const RATE_OVER_S: f64 = 12.0;
/// Turning begins and ends at these rates, degrees a second.
const BEGINS_DPS: f64 = 0.6;
const ENDS_DPS: f64 = 0.3;
/// A turn that is kept, degrees.
const LEAST_TURN_DEG: f64 = 180.0;
/// A full circle: 360 less what the smoothing of its ends hides.
pub(crate) const CIRCLE_DEG: f64 = 330.0;
/// Straight running kept before and after a turn, seconds.
const MARGIN_S: f64 = 75.0;
/// Longest block, seconds.
const LONGEST_BLOCK_S: f64 = 1500.0;
/// Velocities kept: more than a longest block and its margins.
const MOST_GROUND: usize = 4000;
/// Most blocks kept.
const MOST_BLOCKS: usize = 32;
/// A heading gap that ends a turn, seconds: at 5 degrees a second half a circle is out of sight in 36.
const GAP_S: f64 = 15.0;
/// A steady leg, seconds, and the time after a turn that it leaves out.
const LEG_S: [f64; 2] = [45.0, 120.0];
const SETTLE_S: f64 = 15.0;
/// How far the heading may wander on a leg, degrees, and the least speed in m/s.
const LEG_WANDER_DEG: f64 = 12.0;
const LEAST_SPEED_MPS: f64 = 0.5;
/// Legs kept per sector of 10 degrees.
const LEGS_PER_SECTOR: u8 = 4;

/// One continuous turn.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Turn {
    /// Begin and end, seconds.
    pub from_s: f64,
    /// End, seconds.
    pub to_s: f64,
    /// How far, degrees, starboard plus.
    pub degrees: f64,
}

/// A stretch of log kept for the fit.
#[derive(Clone, Debug, PartialEq)]
pub struct Block {
    /// Which log it came from, counted from 0.
    pub log: usize,
    /// Time in seconds and compass heading in degrees, unwrapped: it runs on past 360 and below 0.
    pub headings: Vec<(f64, f64)>,
    /// Time in seconds, velocity over the ground north and east in m/s.
    pub ground: Vec<(f64, f64, f64)>,
    /// The turns in it; none for a steady leg.
    pub turns: Vec<Turn>,
}

/// What was kept, and what was seen on the way.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Gathered {
    /// Blocks around turns, by time.
    pub turns: Vec<Block>,
    /// Steady legs, by time.
    pub legs: Vec<Block>,
    /// Heading samples offered.
    pub headings: u64,
    /// Ground velocities offered.
    pub ground: u64,
    /// Samples dropped as spikes.
    pub spikes: u64,
    /// Samples dropped because time ran back.
    pub disordered: u64,
    /// Greatest speed over the ground seen, averaged over half a second, m/s.
    pub greatest_speed_mps: f64,
    /// Blocks dropped because more were found than are kept.
    pub dropped: u64,
}

/// Watches samples go by in order of time.
#[derive(Clone, Debug)]
pub struct Collector {
    heading: Decimator<Heading>,
    velocity: Decimator<Velocity>,
    headings: VecDeque<(f64, f64)>,
    ground: VecDeque<(f64, f64, f64)>,
    log: usize,
    turning: Option<(f64, f64, f64)>,
    straight_since: f64,
    /// Turns of the block that is open.
    open: Vec<Turn>,
    legs_in_sector: [u8; 36],
    out: Gathered,
}

impl Default for Collector {
    fn default() -> Self {
        Self::new()
    }
}

impl Collector {
    /// A collector that has seen nothing.
    pub fn new() -> Self {
        Self {
            heading: Decimator::new(),
            velocity: Decimator::new(),
            headings: VecDeque::new(),
            ground: VecDeque::new(),
            log: 0,
            turning: None,
            straight_since: f64::NEG_INFINITY,
            open: Vec::new(),
            legs_in_sector: [0; 36],
            out: Gathered::default(),
        }
    }

    /// A raw compass heading in degrees at a time in seconds. A number that is not finite is ignored.
    pub fn heading(&mut self, t_s: f64, compass_deg: f64) {
        if t_s.is_finite()
            && compass_deg.is_finite()
            && let Some((t, heading)) = self.heading.push(t_s, Heading(compass_deg.rem_euclid(360.0)))
        {
            self.take_heading(t, heading.0);
        }
    }

    /// A velocity over the ground in m/s, north and east, at a time in seconds.
    pub fn ground(&mut self, t_s: f64, north_mps: f64, east_mps: f64) {
        // 30 m/s: no boat this is for, and past it the receiver has lost its senses.
        if t_s.is_finite()
            && north_mps.hypot(east_mps) <= 30.0
            && let Some((t, v)) = self.velocity.push(t_s, Velocity(north_mps, east_mps))
        {
            self.take_velocity(t, v);
        }
    }

    /// A velocity over the ground as RMC and VTG give it: speed in m/s and course in degrees true.
    pub fn course(&mut self, t_s: f64, speed_mps: f64, course_true_deg: f64) {
        let (sin, cos) = course_true_deg.to_radians().sin_cos();
        self.ground(t_s, speed_mps * cos, speed_mps * sin);
    }

    /// The next sample belongs to another log: another current, another speed, time may start anew.
    pub fn next_log(&mut self) {
        self.end_log();
        self.log += 1;
    }

    /// What was kept.
    pub fn finish(mut self) -> Gathered {
        self.end_log();
        self.out.headings = self.heading.offered;
        self.out.ground = self.velocity.offered;
        self.out.spikes = self.heading.spikes + self.velocity.spikes;
        self.out.disordered = self.heading.disordered + self.velocity.disordered;
        let by_time = |a: &Block, b: &Block| (a.log, a.headings[0].0).partial_cmp(&(b.log, b.headings[0].0));
        self.out.turns.sort_by(|a, b| by_time(a, b).unwrap_or(std::cmp::Ordering::Equal));
        self.out
    }

    fn end_log(&mut self) {
        if let Some((t, heading)) = self.heading.flush() {
            self.take_heading(t, heading.0);
        }
        if let Some((t, v)) = self.velocity.flush() {
            self.take_velocity(t, v);
        }
        self.break_off();
        self.heading.restart();
        self.velocity.restart();
        self.ground.clear();
    }

    /// Ends whatever is open: nothing that follows belongs to it.
    fn break_off(&mut self) {
        if let Some(&(t, unwrapped)) = self.headings.back() {
            self.end_turn(t, unwrapped);
            self.keep_leg(t);
        }
        self.close_block(f64::INFINITY);
        self.headings.clear();
        self.straight_since = f64::NEG_INFINITY;
    }

    fn take_velocity(&mut self, t_s: f64, v: Velocity) {
        self.out.greatest_speed_mps = self.out.greatest_speed_mps.max(v.0.hypot(v.1));
        self.ground.push_back((t_s, v.0, v.1));
        // Without headings nothing else would shorten this ring.
        if self.ground.len() > MOST_GROUND {
            self.ground.pop_front();
        }
    }

    fn take_heading(&mut self, t_s: f64, compass_deg: f64) {
        let unwrapped = match self.headings.back() {
            Some(&(before, last)) if t_s - before <= GAP_S => {
                // Across a gap a turn goes on as it went.
                let expected = last + self.turning.map_or(0.0, |(_, _, rate)| rate * (t_s - before));
                expected + signed(compass_deg - expected)
            }
            Some(_) => {
                self.break_off();
                compass_deg
            }
            None => compass_deg,
        };
        if self.headings.is_empty() {
            self.straight_since = t_s;
        }
        self.headings.push_back((t_s, unwrapped));
        self.judge(t_s, unwrapped);
        self.forget(t_s);
    }

    /// The change over the last [`RATE_OVER_S`] as a rate, once that much is known.
    fn rate(&self, t_s: f64, unwrapped: f64) -> Option<(f64, f64)> {
        let before = self.headings.partition_point(|(t, _)| *t <= t_s - RATE_OVER_S).checked_sub(1)?;
        let (from, heading) = self.headings[before];
        Some(((unwrapped - heading) / (t_s - from), from))
    }

    fn judge(&mut self, t_s: f64, unwrapped: f64) {
        let Some((rate, from)) = self.rate(t_s, unwrapped) else { return };
        match self.turning {
            None if rate.abs() >= BEGINS_DPS => {
                let began = from.max(self.straight_since);
                self.keep_leg(began);
                let heading = self.headings[self.headings.partition_point(|(t, _)| *t < began)].1;
                self.turning = Some((began, heading, rate));
            }
            Some((.., usual)) if rate * usual.signum() < ENDS_DPS => {
                self.end_turn(t_s, unwrapped);
                self.straight_since = t_s;
            }
            Some((began, heading, _)) => self.turning = Some((began, heading, rate)),
            None => {
                if t_s - self.straight_since >= LEG_S[1] + SETTLE_S {
                    self.keep_leg(t_s);
                }
            }
        }
        if self.open.last().is_some_and(|turn| self.turning.is_none() && t_s >= turn.to_s + MARGIN_S)
            || self.open.first().is_some_and(|turn| t_s >= turn.from_s + LONGEST_BLOCK_S)
        {
            self.close_block(t_s);
        }
        if self.turning.is_some_and(|(began, ..)| t_s >= began + LONGEST_BLOCK_S) {
            self.end_turn(t_s, unwrapped);
            self.straight_since = t_s;
        }
    }

    fn end_turn(&mut self, t_s: f64, unwrapped: f64) {
        if let Some((from_s, heading, _)) = self.turning.take() {
            let degrees = unwrapped - heading;
            if degrees.abs() >= LEAST_TURN_DEG {
                if self.open.last().is_some_and(|turn| from_s > turn.to_s + MARGIN_S) {
                    self.close_block(from_s);
                }
                self.open.push(Turn { from_s, to_s: t_s, degrees });
            }
        }
    }

    fn close_block(&mut self, now_s: f64) {
        let (Some(first), Some(last)) = (self.open.first(), self.open.last()) else { return };
        let (from, to) = (first.from_s - MARGIN_S, (last.to_s + MARGIN_S).min(now_s));
        let turns = std::mem::take(&mut self.open);
        if let Some(block) = self.cut(from, to, turns) {
            self.out.turns.push(block);
        }
        if self.out.turns.len() > MOST_BLOCKS {
            let turned = |block: &Block| block.turns.iter().map(|turn| turn.degrees.abs()).sum::<f64>();
            let least = (0..self.out.turns.len())
                .min_by(|&a, &b| turned(&self.out.turns[a]).total_cmp(&turned(&self.out.turns[b])));
            if let Some(least) = least {
                self.out.turns.remove(least);
                self.out.dropped += 1;
            }
        }
    }

    fn keep_leg(&mut self, to_s: f64) {
        let from = (self.straight_since + SETTLE_S).max(to_s - LEG_S[1]);
        self.straight_since = if to_s - from >= LEG_S[1] { to_s - SETTLE_S } else { self.straight_since };
        if to_s - from < LEG_S[0] {
            return;
        }
        let Some(block) = self.cut(from, to_s, Vec::new()) else { return };
        let (least, most) = block
            .headings
            .iter()
            .fold((f64::INFINITY, f64::NEG_INFINITY), |(least, most), (_, h)| (least.min(*h), most.max(*h)));
        let speed = block.ground.iter().map(|(_, n, e)| n.hypot(*e)).sum::<f64>() / block.ground.len() as f64;
        let sector = (((least + most) / 2.0).rem_euclid(360.0) / 10.0) as usize % 36;
        if most - least > 2.0 * LEG_WANDER_DEG || speed < LEAST_SPEED_MPS {
            return;
        }
        if self.legs_in_sector[sector] >= LEGS_PER_SECTOR {
            self.out.dropped += 1;
            return;
        }
        self.legs_in_sector[sector] += 1;
        self.out.legs.push(block);
    }

    /// Copies a stretch of the rings; `None` where either of the two is missing.
    fn cut(&self, from: f64, to: f64, turns: Vec<Turn>) -> Option<Block> {
        let headings: Vec<_> = self.headings.iter().filter(|(t, _)| (from..=to).contains(t)).copied().collect();
        let ground: Vec<_> = self.ground.iter().filter(|(t, ..)| (from..=to).contains(t)).copied().collect();
        (headings.len() >= 20 && ground.len() >= 5).then_some(Block { log: self.log, headings, ground, turns })
    }

    /// Drops what no block or leg can still ask for.
    fn forget(&mut self, now_s: f64) {
        let mut from = now_s - MARGIN_S - LEG_S[1] - 2.0 * RATE_OVER_S;
        if let Some((began, ..)) = self.turning {
            from = from.min(began - MARGIN_S);
        }
        if let Some(turn) = self.open.first() {
            from = from.min(turn.from_s - MARGIN_S);
        }
        while self.headings.front().is_some_and(|(t, _)| *t < from) {
            self.headings.pop_front();
        }
        while self.ground.front().is_some_and(|(t, ..)| *t < from) {
            self.ground.pop_front();
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A log of `hours` whose heading is given by the second.
    fn collected(hours: usize, heading: impl Fn(f64) -> f64) -> (Collector, usize) {
        let mut collector = Collector::new();
        let mut most = 0;
        for half in 0..hours * 7200 {
            let t = half as f64 * 0.5;
            let h = heading(t).rem_euclid(360.0);
            collector.heading(t, h);
            collector.course(t, 2.5, h);
            most = most.max(collector.headings.len() + collector.ground.len());
        }
        (collector, most)
    }

    #[test]
    fn circles_are_found_with_the_straight_running_beside_them() {
        let heading = |t: f64| 350.0 - 2.5 * (t - 900.0).clamp(0.0, 148.0) + 3.0 * (t - 1200.0).clamp(0.0, 125.0);
        let gathered = collected(1, heading).0.finish();
        assert_eq!(gathered.turns.len(), 2, "{:?}", gathered.turns.iter().map(|b| &b.turns).collect::<Vec<_>>());
        for (block, expected) in gathered.turns.iter().zip([-370.0, 375.0]) {
            assert!((block.turns[0].degrees - expected).abs() <= 6.0, "{:?}", block.turns);
            let (first, last) = (block.headings[0].0, block.headings.last().unwrap().0);
            assert!((block.turns[0].from_s - first - MARGIN_S).abs() <= 1.0, "{first}");
            assert!((last - block.turns[0].to_s - MARGIN_S).abs() <= 1.0, "{last}");
        }
        assert!(gathered.legs.len() >= 4);
    }

    #[test]
    fn turns_close_together_share_a_block_and_a_lost_heading_parts_them() {
        let heading = |t: f64| -2.5 * (t - 900.0).clamp(0.0, 148.0) + 2.5 * (t - 1060.0).clamp(0.0, 148.0);
        let gathered = collected(1, heading).0.finish();
        assert_eq!((gathered.turns.len(), gathered.turns[0].turns.len()), (1, 2));
        let mut collector = Collector::new();
        for second in (0..400).chain(440..900) {
            let t = f64::from(second);
            collector.heading(t, (2.0 * t).rem_euclid(360.0));
            collector.course(t, 2.5, 2.0 * t);
        }
        assert_eq!(collector.finish().turns.len(), 2);
    }

    /// Memory does not grow with the log: straight for a day, then turning for a day.
    #[test]
    fn what_is_held_is_bounded() {
        let (straight, most) = collected(24, |t| 10.0 * (t / 600.0).floor());
        assert!(most <= 3000, "{most}");
        assert_eq!(straight.out.legs.len(), 36 * usize::from(LEGS_PER_SECTOR));
        assert!(straight.out.dropped > 0);
        let (turning, most) = collected(24, |t| 2.0 * t);
        assert!(most <= 2 * 4000, "{most}");
        let gathered = turning.finish();
        assert!(gathered.turns.len() <= MOST_BLOCKS && gathered.dropped > 0);
    }

    #[test]
    fn velocities_without_headings_are_bounded_too() {
        let mut collector = Collector::new();
        for t in 0..100_000 {
            collector.course(f64::from(t), 2.0, 10.0);
        }
        assert!(collector.ground.len() <= MOST_GROUND);
    }
}
