//! How she answers her rudder: first-order steering, `T r' + r = K (delta - delta0)`, learned on board.
//!
//! K. Nomoto and others, *On the steering qualities of ships*, International Shipbuilding Progress 4 (35),
//! 1957 (from memory). K grows and T shrinks with the speed, so both are kept per metre of way, where they
//! hardly change: she turns `gain` times the rudder for each metre made, with a lag of so many metres.
//!
//! Learned from differences between one block of five seconds and the next, and only where the rudder moved
//! well and in what follows: then neither the standing helm nor a gust that is steered against can be taken for an answer, and
//! the sea, which a pilot steers against too late, cannot turn the sign.

/// One metre of way and one of lag, in millimetres.
const METRE: i64 = 1000;
/// The lags tried, in millimetres: a small yacht of T = 1.5 s at 6 knots has 5 m, the 45 m craft of van
/// Amerongen (1982) 66 to 267 m. Each is 1.8 times the one before: a lag a third wrong costs little.
const LAGS: [i64; 8] = [4 * METRE, 7 * METRE, 12 * METRE, 20 * METRE, 36 * METRE, 65 * METRE, 118 * METRE, 215 * METRE];
/// Gains are in parts of this, per metre: degrees of turn for each degree of rudder and metre of way.
pub(super) const GAIN_ONE: i64 = 1 << 16;
/// Before it is learned: a third of what van Amerongen's craft shows (0.073 to 0.134 a metre), which is
/// long and slow beside any boat this watches; and a lag of 20 m, 6 s at 6 knots. So what is not known yet is
/// judged late rather than wrongly.
const PRESUMED_GAIN: i64 = GAIN_ONE / 40;
const PRESUMED_LAG: usize = 3;
/// Least and most that is believed.
const LEAST_GAIN: i64 = GAIN_ONE / 64;
const MOST_GAIN: i64 = GAIN_ONE;
/// The rudder's part in a block must change by this much, millidegrees, for the block to teach.
const MOVED: i64 = 2500;
/// So many blocks teach from there on: how the turn dies away tells the lag.
const TEACHES: u8 = 4;
/// A longer lag is believed when it explains this part more.
const BETTER: i64 = 50;
/// Blocks remembered.
const MEMORY: i64 = 48;
/// The rudder must explain so much of the turning, rms: a degree between one block and the next, a third of
/// what she turns beside it.
const PLAIN: i64 = TURN_UNIT;
/// Known after so many.
const ENOUGH: u16 = 6;

/// The regression counts rudder times way in eighths of a degree metre and turn in 64ths of a degree, so that the
/// products fit: a block has less than `MOST_X` and `MOST_Y` of them.
const RUDDER_UNIT: i64 = 8;
const TURN_UNIT: i64 = 64;
const MOST_X: i64 = 40_000;
const MOST_Y: i64 = 20_000;

/// What was added up over one block.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Block {
    /// What she turned, millidegrees.
    pub(super) turned: i64,
    /// Way made, millimetres.
    pub(super) way: i64,
    /// The rudder as each lag passes it on, times way: millidegrees x metres.
    worked: [i32; LAGS.len()],
}

/// The model and what it has learned.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Answer {
    /// The rudder behind each lag, millidegrees times 16.
    lagged: [i32; LAGS.len()],
    primed: bool,
    before: Option<Block>,
    /// Means of the regression: rudder by rudder and turn by rudder, in [`RUDDER_UNIT`] and [`TURN_UNIT`].
    own: [i32; LAGS.len()],
    with: [i32; LAGS.len()],
    taught: u16,
    teaches: u8,
    best: u8,
}

impl Answer {
    /// The rudder, smoothed as the heading is, in millidegrees times 16, over `way` millimetres more.
    pub(super) fn add(&mut self, block: &mut Block, rudder_16: i64, way: i64) {
        block.way += way;
        let rudder = i32::try_from(rudder_16).unwrap_or(0);
        if !self.primed {
            self.lagged = [rudder; LAGS.len()];
            self.primed = true;
        }
        for ((lagged, lag), worked) in self.lagged.iter_mut().zip(LAGS).zip(&mut block.worked) {
            let step = (rudder_16 - i64::from(*lagged)) * way / (way / 2 + lag).max(way).max(1);
            *lagged = lagged.saturating_add(i32::try_from(step).unwrap_or(0));
            let more = i64::from(*lagged) * way / (16 * METRE);
            *worked = worked.saturating_add(i32::try_from(more).unwrap_or(0));
        }
    }

    /// Where the rudder comes to work over the block, millidegrees: the mean, behind the lag in use.
    pub(super) fn rudder(&self, block: &Block) -> i64 {
        i64::from(block.worked.get(self.lag_in_use()).copied().unwrap_or(0)) * METRE / block.way.max(1)
    }

    /// The same, but behind the quickest lag as long as hers is not known: what a turn begins with is seen.
    pub(super) fn rudder_so_far(&self, block: &Block) -> i64 {
        if self.is_known() {
            return self.rudder(block);
        }
        i64::from(block.worked.first().copied().unwrap_or(0)) * METRE / block.way.max(1)
    }

    /// What `rudder` millidegrees beyond the standing helm turn her over the way of the block, millidegrees.
    pub(super) fn turns(&self, rudder: i64, block: &Block) -> i64 {
        rudder * (block.way / 16) / METRE * self.gain() / (GAIN_ONE / 16)
    }

    /// The rudder that the turn of the block is worth, millidegrees.
    pub(super) fn worth(&self, block: &Block) -> i64 {
        self.worth_of(block.turned, block)
    }

    /// The rudder that a turn of `turned` millidegrees over the way of the block is worth.
    pub(super) fn worth_of(&self, turned: i64, block: &Block) -> i64 {
        turned * GAIN_ONE / (self.gain() * block.way / METRE).max(1)
    }

    /// Turn for each degree of rudder and metre of way, times [`GAIN_ONE`].
    pub(super) fn gain(&self) -> i64 {
        if !self.is_known() {
            return PRESUMED_GAIN;
        }
        let (own, with) = self.sums(usize::from(self.best));
        (with * GAIN_ONE * RUDDER_UNIT / TURN_UNIT / own.max(1)).clamp(LEAST_GAIN, MOST_GAIN)
    }

    /// Whether she has shown how she answers.
    pub(super) fn is_known(&self) -> bool {
        // A sign is believed only where it is plausible: starboard rudder turns her to starboard. What hardly
        // explains a turn may be the sea.
        self.taught >= ENOUGH && self.explains(usize::from(self.best)) >= PLAIN * PLAIN
    }

    /// How much of the turning the lag explains, squared: with^2 / own; nothing by a wrong sign.
    fn explains(&self, lag: usize) -> i64 {
        let (own, with) = self.sums(lag);
        with.max(0) * with.max(0) / own.max(1)
    }

    fn sums(&self, lag: usize) -> (i64, i64) {
        let of = |sums: &[i32; LAGS.len()]| i64::from(sums.get(lag).copied().unwrap_or(0));
        (of(&self.own), of(&self.with))
    }

    fn lag_in_use(&self) -> usize {
        if self.is_known() { usize::from(self.best) } else { PRESUMED_LAG }
    }

    /// A break in the data: blocks before and after are no neighbours.
    pub(super) fn interrupted(&mut self) {
        self.before = None;
        self.teaches = 0;
        self.primed = false;
    }

    /// Learns from a block and the one before it.
    pub(super) fn learn(&mut self, block: &Block, quiet: bool) {
        let Some(before) = self.before.replace(*block) else { return };
        let metres = block.way / METRE;
        let turned = block.turned - before.turned;
        let moved = |lag: usize| {
            let change = |b: &Block| i64::from(b.worked.get(lag).copied().unwrap_or(0));
            change(block) - change(&before)
        };
        // The quickest lag says whether the rudder moved at all.
        if metres > 0 && moved(0).abs() >= MOVED * metres {
            self.teaches = TEACHES;
        }
        let wrong = (0..LAGS.len()).all(|lag| moved(lag) * turned < 0);
        // A fault must not unteach the sign that was learned: a wrong way, by whatever lag, is for the test.
        if !quiet || metres == 0 || wrong && self.is_known() {
            self.teaches = 0;
        }
        if self.teaches == 0 {
            return;
        }
        // Nor does what follows from a wrong way teach: by a lag that is too long it would look like a right one.
        self.teaches = if wrong { 0 } else { self.teaches - 1 };
        self.taught = self.taught.saturating_add(1);
        let part = MEMORY.min(i64::from(self.taught));
        for lag in 0..LAGS.len() {
            let x = (moved(lag) * RUDDER_UNIT / 1000).clamp(-MOST_X, MOST_X);
            let y = (turned * TURN_UNIT / 1000).clamp(-MOST_Y, MOST_Y);
            let follow = |sum: &mut i32, new: i64| {
                let step = (new - i64::from(*sum)) / part;
                *sum = sum.saturating_add(i32::try_from(step).unwrap_or(0));
            };
            if let (Some(own), Some(with)) = (self.own.get_mut(lag), self.with.get_mut(lag)) {
                follow(own, x * x);
                follow(with, x * y);
            }
        }
        // A longer lag goes with a larger gain and explains a short turn hardly less: it must explain more.
        let best = (1..LAGS.len()).fold(0, |best, lag| {
            let better = self.explains(lag) > self.explains(best) + self.explains(best) / BETTER;
            if better { lag } else { best }
        });
        self.best = u8::try_from(best).unwrap_or(0);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::println;

    /// A craft by the model, in degrees and seconds, that zigzags by `rudder` degrees of rudder and of heading.
    struct Craft {
        k: f64,
        t: f64,
        rate: f64,
        heading: f64,
    }

    impl Craft {
        fn step(&mut self, rudder: f64, dt: f64) {
            self.rate += (self.k * rudder - self.rate) * dt / self.t;
            self.heading += self.rate * dt;
        }
    }

    /// J. van Amerongen, *Adaptive Steering of Ships*, Delft 1982, as cited in the teaching code MSS of T. I.
    /// Fossen's textbook: speed in m/s, K in 1/s, T in s; a recreational craft of 45 m and a frigate of 100 m.
    const PUBLISHED: [(f64, f64, f64); 6] = [
        (2.0, 0.15, 33.0),
        (2.6, 0.19, 33.0),
        (4.0, 0.37, 33.0),
        (5.0, 0.50, 31.0),
        (6.2, 0.83, 43.0),
        (9.0, 0.18, 27.0),
    ];

    #[test]
    fn the_test_boat_follows_the_closed_form() {
        // K = 0.37, T = 33, a step of 10 degrees: K d (t - T (1 - e^(-t/T))), computed apart.
        let mut craft = Craft { k: 0.37, t: 33.0, rate: 0.0, heading: 0.0 };
        for ms in 1..=60_000 {
            craft.step(10.0, 0.001);
            if ms == 10_000 {
                assert!((craft.heading - 5.0802).abs() < 0.01, "{}", craft.heading);
            }
        }
        assert!((craft.heading - 119.7193).abs() < 0.05 && (craft.rate - 3.0994).abs() < 0.002, "{}", craft.heading);
    }

    /// What is learned of such a craft in `s` seconds of zigzag: gain for each metre, and lag in metres.
    fn learned((speed, k, t): (f64, f64, f64), s: u32, sense: f64) -> (bool, f64, f64) {
        let mut craft = Craft { k, t, rate: 0.0, heading: 0.0 };
        let (mut answer, mut block) = (Answer::default(), Block::default());
        let mut rudder = 10.0;
        for half in 1..=s * 2 {
            let before = craft.heading;
            for _ in 0..50 {
                if craft.heading * rudder >= 100.0 {
                    rudder = -rudder;
                }
                craft.step(rudder, 0.01);
            }
            block.turned += ((craft.heading - before) * 1000.0) as i64;
            answer.add(&mut block, (rudder * sense * 16_000.0) as i64, (speed * 500.0) as i64);
            if half % 10 == 0 {
                answer.learn(&core::mem::take(&mut block), true);
            }
        }
        (answer.is_known(), answer.gain() as f64 / GAIN_ONE as f64, LAGS[answer.lag_in_use()] as f64 / 1000.0)
    }

    #[test]
    fn the_published_craft_are_learned() {
        for craft in PUBLISHED {
            let (speed, k, t) = craft;
            let (known, gain, lag) = learned(craft, 1800, 1.0);
            let (gain_off, lag_off) = (gain / (k / speed), lag / (t * speed));
            println!("{craft:?}: gain {gain:.4}, {gain_off:.2} of it; lag {lag} m, {lag_off:.2} of it");
            // A zigzag of blocks of five seconds tells their quotient well, which says how soon she turns, and
            // each alone coarsely.
            assert!(known && (0.7..=1.4).contains(&gain_off) && (0.7..=1.4).contains(&lag_off), "{craft:?}");
            assert!((0.85..=1.15).contains(&(gain_off / lag_off)), "{craft:?}");
        }
    }

    /// What is learned of a craft foretells her turn by the exact solution for a step of the rudder,
    /// `K d (t - T (1 - e^(-t/T)))`, within 15 % after 10, 30 and 60 s; the craft zigzags by the exact solution too. Two yachts
    /// of no source are there as well.
    #[test]
    fn what_is_learned_foretells_the_exact_turn_of_a_step() {
        for (speed, k, t) in PUBLISHED.into_iter().chain([(3.1, 0.4, 1.5), (2.6, 0.25, 3.0)]) {
            let decay = f64::exp(-0.5 / t);
            let (mut answer, mut block) = (Answer::default(), Block::default());
            let (mut rate, mut heading, mut rudder) = (0.0, 0.0, 10.0);
            for half in 1..=3600 {
                if heading * rudder >= 100.0 {
                    rudder = -rudder;
                }
                let turned = k * rudder * 0.5 + (rate - k * rudder) * t * (1.0 - decay);
                rate = k * rudder + (rate - k * rudder) * decay;
                heading += turned;
                block.turned += (turned * 1000.0) as i64;
                answer.add(&mut block, (rudder * 16_000.0) as i64, (speed * 500.0) as i64);
                if half % 10 == 0 {
                    answer.learn(&core::mem::take(&mut block), true);
                }
            }
            assert!(answer.is_known());
            answer.interrupted();
            answer.add(&mut Block::default(), 0, (speed * 500.0) as i64);
            let mut foretold = 0;
            for second in 1..=60 {
                let mut block = Block::default();
                for _ in 0..2 {
                    answer.add(&mut block, 5 * 16_000, (speed * 500.0) as i64);
                }
                foretold += answer.turns(answer.rudder(&block), &block);
                if [10, 30, 60].contains(&second) {
                    let time = f64::from(second);
                    let exact = k * 5.0 * (time - t * (1.0 - (-time / t).exp()));
                    let off = foretold as f64 / 1000.0 / exact;
                    println!("{speed} m/s, K {k}, T {t}: {second} s: {off:.3} of {exact:.2} deg");
                    assert!(
                        (0.85..=1.15).contains(&off),
                        "{speed} m/s, K {k}, T {t}: {second} s: {off:.3} of {exact:.2}"
                    );
                }
            }
        }
    }

    #[test]
    fn a_small_yacht_is_learned_in_a_few_turns_and_a_wrong_sign_never() {
        let yacht = (3.1, 0.4, 1.5);
        let (known, gain, lag) = learned(yacht, 200, 1.0);
        // 4.65 m lie between two that are tried, and the longer one goes with the larger gain.
        assert!(known && (gain / (0.4 / 3.1) - 1.0).abs() < 0.35 && (lag == 4.0 || lag == 7.0), "{gain} {lag}");
        let (known, gain, _) = learned(yacht, 2000, -1.0);
        assert!(!known && gain < 0.03);
    }
}
