//! What is quiet: how much a difference swings and wanders by itself, learned on board.
//!
//! A cumulative sum adds up what it is fed, so what counts is not how far the difference swings from
//! moment to moment but how much of that is left in a sum: its *long-run variance*, the variance of a
//! mean over a block of time, times the length of the block. A yaw that swings to and fro nearly cancels
//! in it; noise with a memory counts for more than it looks. So a threshold made with it holds the run
//! length of white noise without the noise being white (the method of batch means; P. W. Glynn and
//! W. Whitt, 1991, from memory). It is taken from the squares of the steps from one block to the next
//! (J. von Neumann, *Distribution of the ratio of the mean square successive difference to the
//! variance*, Ann. Math. Statist. 12, 1941), which a slow drift does not feed: that one is judged, not
//! learned.

/// A block: 8 s of half seconds, one yaw period of a small yacht or more (3 to 8 s, common practice, no
/// source).
const BLOCK: u8 = 16;
const BLOCK_S: i64 = 8;
/// Blocks that the learned values remember: about six minutes, in which a sea hardly changes.
const MEMORY: u8 = 48;
/// What is supposed before anything is learned counts as so many blocks.
const SUPPOSED: u8 = 6;
/// A single step from block to block counts as no more than this many times the variance so far: a ship's
/// wash, or the fault itself, is no sea state.
const WILD: i64 = 9;

/// No mean: none is so far out.
const NONE: i32 = i32::MIN;

/// How a thousandth of a degree that is quiet swings and wanders.
#[derive(Clone, Copy, Debug)]
pub(super) struct Noise {
    squares: i64,
    /// Millidegrees squared, and those times a second.
    swing: i64,
    long_run: i64,
    sum: i32,
    /// The root of the swing: it is asked for at every step, and is another only after a block.
    rms: u32,
    /// The mean of the block before, [`NONE`] where there is none.
    before: i32,
    count: u8,
    blocks: u8,
}

impl Noise {
    /// What is supposed at first: the rms of the swing in millidegrees, and the long-run deviation in
    /// millidegrees times the root of a second.
    pub(super) const fn supposed(swing: i32, long_run: i32) -> Self {
        let (swing, long_run) = (swing as i64, long_run as i64);
        Self {
            sum: 0,
            squares: 0,
            count: 0,
            rms: crate::angle::trig::sqrt(swing.unsigned_abs() * swing.unsigned_abs()),
            before: NONE,
            swing: swing * swing,
            long_run: long_run * long_run,
            blocks: SUPPOSED,
        }
    }

    /// Takes one quiet value, in millidegrees, each half second.
    pub(super) fn take(&mut self, value: i32) {
        // Sixteen values of half a circle at most.
        self.sum = self.sum.saturating_add(value);
        self.squares += i64::from(value) * i64::from(value);
        self.count += 1;
        if self.count < BLOCK {
            return;
        }
        let (mean, block) = (self.sum / i32::from(BLOCK), i64::from(BLOCK));
        let inside = (self.squares / block - i64::from(mean) * i64::from(mean)).max(0);
        (self.sum, self.squares, self.count) = (0, 0, 0);
        let before = core::mem::replace(&mut self.before, mean);
        if before == NONE {
            return;
        }
        let step = i64::from(mean) - i64::from(before);
        let part = self.blocks.min(MEMORY);
        self.blocks = part + 1;
        let towards = |old: i64, new: i64| old + (new.min(old.max(1) * WILD) - old) / i64::from(part);
        self.swing = towards(self.swing, inside);
        self.rms = crate::angle::trig::sqrt(self.swing.unsigned_abs());
        self.long_run = towards(self.long_run, step * step / 2 * BLOCK_S);
    }

    /// The run of quiet values is broken: the block begins again.
    pub(super) fn interrupt(&mut self) {
        (self.sum, self.squares, self.count, self.before) = (0, 0, 0, NONE);
    }

    /// The rms of the swing, millidegrees.
    pub(super) fn swing(&self) -> i64 {
        i64::from(self.rms)
    }

    /// The variance of an average with the time constant `tau_s`: millidegrees squared.
    pub(super) fn of_average(&self, tau_s: i64) -> i64 {
        self.long_run / (2 * tau_s)
    }

    /// The threshold, in millidegrees times a half second, that a cumulative sum passes by chance less
    /// than once in 100 days while the mean stays `margin` millidegrees or more inside the reference;
    /// it is held between `least` and `most` (both in millidegrees times a second).
    ///
    /// The mean time to a false signal is near `exp(2 margin h / v) v / (2 margin^2)` (D. Siegmund,
    /// *Sequential Analysis*, 1985), with `v` the long-run variance: for 100 days (8.64e6 s), and `v` and
    /// `margin` as they are met here, the exponent must be 17. It is made [`EXPONENT`], because `v` is
    /// itself learned from some fifty blocks and may be a quarter too small. To that comes what one half
    /// swing adds by itself before the next takes it off again: `half_swing_s` times its rms, [`HALF_SWING_S`]
    /// where the sum is fed the swing itself and nothing where it is fed a long average.
    pub(super) fn threshold(&self, margin: i32, half_swing_s: i64, least: i64, most: i64) -> i32 {
        let wander = EXPONENT * self.long_run / (2 * i64::from(margin).max(1));
        let half_steps = 2 * (wander + half_swing_s * self.swing()).clamp(least, most);
        i32::try_from(half_steps).unwrap_or(i32::MAX)
    }
}

/// See [`Noise::threshold`]. Simulated over 40 days each with everything learned (white noise; yaw of 4, 7 and
/// 10 s; noise with a memory of 3 s; 2 and 3.5 degrees rms; the margins of the judges): none, but for a
/// pair of headings that differ by 2 degrees rms with a memory of 3 s, once in 13 days. With 17, and
/// three instead of four for the half swing, there were up to five in ten days.
const EXPONENT: i64 = 20;
/// Half a swing of period `T` and amplitude `A` adds `A T / pi`; of 7 s and twice the rms: 4.5 s, less what
/// the margin takes off.
pub(super) const HALF_SWING_S: i64 = 4;

#[cfg(test)]
mod tests {
    use super::*;
    use crate::alert::cusum::Design;
    use crate::alert::cusum::TwoSided;

    /// A sum of twelve uniforms, near enough to normal to two deviations and lighter beyond.
    struct Normal(u64);

    impl Normal {
        fn next(&mut self) -> i64 {
            let mut sum = -6 * 65_536;
            for _ in 0..3 {
                self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
                let mut z = self.0;
                z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
                z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
                z ^= z >> 31;
                sum += (0..4).map(|n| ((z >> (16 * n)) & 0xffff) as i64).sum::<i64>();
            }
            sum
        }

        /// With a deviation of `rms` millidegrees.
        fn value(&mut self, rms: i64) -> i32 {
            i32::try_from(self.next() * rms / 65_536).unwrap()
        }
    }

    fn near(value: i64, expected: i64, percent: i64) {
        assert!((value - expected).abs() * 100 <= expected * percent, "{value}, expected {expected}");
    }

    #[test]
    fn white_noise_of_half_seconds_has_half_its_variance_a_second() {
        let (mut noise, mut chance) = (Noise::supposed(3000, 3000), Normal(5));
        let (mut swing, mut long_run) = (0, 0);
        for step in 0..400_000 {
            noise.take(chance.value(2000));
            if step >= 100_000 {
                swing += noise.swing();
                long_run += noise.long_run;
            }
        }
        // 2000^2 x 0.5 s; within a block of 16, one part in 16 goes to its mean: 2000 x sqrt(15/16) = 1936.
        near(long_run / 300_000, 2_000_000, 5);
        near(swing / 300_000, 1936, 2);
    }

    #[test]
    fn a_swing_cancels_and_a_drift_is_not_learned() {
        let mut noise = Noise::supposed(3000, 3000);
        // A swing of 4000 with a period of 4 s, on a drift of a degree a minute.
        for step in 0..8000_i32 {
            let swing = [0, 2828, 4000, 2828, 0, -2828, -4000, -2828][(step % 8) as usize];
            noise.take(swing + step * 8);
        }
        near(noise.swing(), 2828, 3);
        // Each block is 128 above the one before: 128^2 / 2 x 8 s.
        near(noise.long_run, 65_536, 5);
    }

    #[test]
    fn one_wild_value_is_no_sea() {
        let (mut noise, mut chance) = (Noise::supposed(2000, 1000), Normal(6));
        (0..20_000).for_each(|_| noise.take(chance.value(2000)));
        let before = noise.threshold(3750, 0, 0, i64::MAX / 4);
        noise.take(180_000);
        (0..40).for_each(|_| noise.take(chance.value(2000)));
        let after = noise.threshold(3750, 0, 0, i64::MAX / 4);
        assert!(after < before * 3 / 2, "{before} {after}");
    }

    #[test]
    fn the_threshold_is_the_one_that_is_stated_and_is_held() {
        // 20 x 2000^2 / (2 x 3750) = 10 666, and 4 s of 1500: in half seconds twice that.
        let noise = Noise::supposed(1500, 2000);
        assert_eq!(noise.threshold(3750, HALF_SWING_S, 0, 100_000), 2 * (10_666 + 6000));
        assert_eq!(noise.threshold(3750, 0, 12_000, 100_000), 24_000);
        assert_eq!(noise.threshold(3750, 0, 0, 5000), 10_000);
        assert_eq!(noise.of_average(4), 500_000);
    }

    /// The mean stands at the edge of what is quiet for ten days: no signal. At the middle of what is a
    /// fault it signals within seconds.
    #[test]
    fn ten_days_at_the_edge_of_quiet() {
        for (rms, margin, seed) in [(2000, 2000, 1), (3500, 3750, 2), (1000, 2000, 3)] {
            let (mut noise, mut chance) = (Noise::supposed(3000, 3000), Normal(seed));
            let mut test = TwoSided::default();
            for step in 0..10 * 172_800 {
                let value = chance.value(rms);
                let design = Design::new(margin, noise.threshold(margin, HALF_SWING_S, 0, i64::MAX / 4));
                assert_eq!(test.step(value, &design), None, "rms {rms} margin {margin}: at step {step}");
                noise.take(value);
            }
            let design = Design::new(margin, noise.threshold(margin, HALF_SWING_S, 0, i64::MAX / 4));
            let steps = (1..).find(|_| test.step(3 * margin + chance.value(rms), &design).is_some());
            // It gains twice the margin a step, from nothing to the threshold, but for the noise.
            let expected = design.threshold / (2 * margin) + 1;
            assert!(steps.is_some_and(|s| (s - expected).abs() <= 2 + expected / 2), "{steps:?} {expected}");
        }
    }
}
