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
const BLOCK: i64 = 16;
const BLOCK_S: i64 = 8;
/// Blocks that the learned values remember: about four minutes, in which a sea does not change.
const MEMORY: i64 = 32;
/// What is supposed before anything is learned counts as so many blocks.
const SUPPOSED: i64 = 6;
/// A single step from block to block counts as no more than this many times the variance so far: a ship's
/// wash, or the fault itself, is no sea state.
const WILD: i64 = 9;

/// How a thousandth of a degree that is quiet swings and wanders.
#[derive(Clone, Copy, Debug)]
pub(super) struct Noise {
    sum: i64,
    squares: i64,
    count: i64,
    before: Option<i64>,
    /// Millidegrees squared, and those times a second.
    swing: i64,
    long_run: i64,
    blocks: i64,
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
            before: None,
            swing: swing * swing,
            long_run: long_run * long_run,
            blocks: SUPPOSED,
        }
    }

    /// Takes one quiet value, in millidegrees, each half second.
    pub(super) fn take(&mut self, value: i32) {
        let value = i64::from(value);
        self.sum += value;
        self.squares += value * value;
        self.count += 1;
        if self.count < BLOCK {
            return;
        }
        let mean = self.sum / BLOCK;
        let inside = (self.squares / BLOCK - mean * mean).max(0);
        (self.sum, self.squares, self.count) = (0, 0, 0);
        let Some(before) = self.before.replace(mean) else { return };
        let step = mean - before;
        let part = self.blocks.min(MEMORY);
        self.blocks = part + 1;
        let towards = |old: i64, new: i64| old + (new.min(old.max(1) * WILD) - old) / part;
        self.swing = towards(self.swing, inside);
        self.long_run = towards(self.long_run, step * step / 2 * BLOCK_S);
    }

    /// The run of quiet values is broken: the block begins again.
    pub(super) fn interrupt(&mut self) {
        (self.sum, self.squares, self.count, self.before) = (0, 0, 0, None);
    }

    /// The rms of the swing, millidegrees.
    pub(super) fn swing(&self) -> i64 {
        i64::from(crate::angle::trig::sqrt(u64::try_from(self.swing).unwrap_or(0)))
    }

    /// The long-run variance: millidegrees squared times a second.
    pub(super) fn long_run(&self) -> i64 {
        self.long_run
    }

    /// The threshold, in millidegrees times a half second, that a cumulative sum passes by chance less
    /// than once in 100 days while the mean stays `margin` millidegrees or more inside the reference;
    /// it is held between `least` and `most` (both in millidegrees times a second).
    ///
    /// The mean time to a false signal is near `exp(2 margin h / v) v / (2 margin^2)` (D. Siegmund,
    /// *Sequential Analysis*, 1985), with `v` the long-run variance: for 100 days (8.64e6 s), and `v` and
    /// `margin` as they are met here, the exponent must be 17. It is made [`EXPONENT`], because `v` is
    /// itself learned from some thirty blocks and may be a third too small. To that comes what one half
    /// swing adds by itself before the next takes it off again: `half_swing_s` times its rms, [`HALF_SWING_S`]
    /// where the sum is fed the swing itself and nothing where it is fed a long average.
    pub(super) fn threshold(&self, margin: i32, half_swing_s: i64, least: i64, most: i64) -> i32 {
        let wander = EXPONENT * self.long_run / (2 * i64::from(margin).max(1));
        let half_steps = 2 * (wander + half_swing_s * self.swing()).clamp(least, most);
        i32::try_from(half_steps).unwrap_or(i32::MAX)
    }
}

/// See [`Noise::threshold`]; how long it holds is tested below with a learned variance.
const EXPONENT: i64 = 26;
/// Half a swing of period `T` and amplitude `A` adds `A T / pi`; of 7 s and twice the rms: 4.5 s. The
/// margin takes off a third.
pub(super) const HALF_SWING_S: i64 = 3;
