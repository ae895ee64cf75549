//! Turn-rate-disagreement: what a declared gyro turns and what the heading turns are not the same.
//!
//! Two tests, each a cumulative sum. One compares the angles turned over stretches of eight seconds: it
//! finds a biased gyro, a heading that turns alone, and any fault at all once she turns. The other asks
//! of each two seconds whether the gyro shares what the heading turned, or is silent about it: it finds
//! a stuck gyro and one of the wrong sign in the yaw of a seaway, where the angles of long stretches
//! are nothing.

use crate::alert::Evidence;
use crate::alert::LimitSettings;
use crate::alert::Verdict;
use crate::alert::Why;
use crate::alert::cusum::Cusum;
use crate::alert::cusum::Design;
use crate::alert::cusum::ONE;
use crate::alert::cusum::TwoSided;
use crate::alert::cusum::score;
use crate::alert::smooth::in_a_second;
use crate::alert::smooth::towards;
use crate::angle::Bearing;
use crate::angle::Turn;
use crate::angle::TurnRate;
use crate::picture::Origin;
use crate::picture::Picture;
use crate::time::Instant;
use crate::time::Mark;
use crate::time::Span;

/// Half a degree a second, 30 degrees a minute: several times the drift of a small-craft rate sensor
/// that is sound (common practice, no source), sixty times what A.526(13) lets a rate-of-turn indicator
/// show at rest; and a pilot that damps by a gyro so far out steers visibly to one side.
const LIMIT: Turn = Turn::from_mdeg(500);
/// Beyond what the tests need. None: they last by themselves.
const DELAY: Span = Span::ZERO;
/// Both are smoothed over this before they are compared, so that a difference of damping shows less.
const SMOOTH_MS: i64 = 2000;
/// Angles are compared over so long: about one yaw period of a small yacht (3 to 8 s, common practice,
/// no source), so that the swings cancel.
const STRETCH_MS: i64 = 8000;
/// A stretch in which she turns this far is joined to the next, until she goes straight again: a damped
/// heading lags behind a gyro in a turn and comes up with it after.
const TURNING: i64 = 12_000;
/// But no longer than this: then what the lag may do is allowed for instead, and the stretch ends.
const LONGEST_MS: i64 = 64_000;
const LAG_MS: i64 = 4000;
/// A part of what she turned may differ, in hundredths: deviation turns a sensor of 6 degrees faster by up
/// to a tenth, and a gyro on a boat heeled 20 degrees slower by 6.
const SHARE: i64 = 17;
/// Standard deviation of the difference of one stretch, millidegrees: learned, because it is the work of the
/// sea and of two dampings that differ. It begins at 1.5 degrees, measured in a seaway of 2 degrees rms with a
/// gyro heard once a second, and never counts as less than one.
const SIGMA: i64 = 1500;
const LEAST_SIGMA: i64 = 1000;
/// Threshold times reference, both in standard deviations: the logarithm of the run length without a fault is
/// about twice this and twice 1.166 times the reference (D. Siegmund, *Sequential Analysis*, 1985, from
/// memory): some months were the stretches independent; in fact the errors of neighbours cancel.
const WEIGHT: i64 = 6;
/// The threshold is never less than this.
const LEAST_THRESHOLD: i64 = 3;
/// One wild stretch alone signals nothing.
const MOST: i32 = 4 * ONE;
/// The gyro's own bias is followed by this part of each quiet stretch: nine minutes, slow
/// enough that a fault is not learned, quick enough for the temperature. At most half the limit is taken out.
const FOLLOW: i64 = 64;

/// The second test looks at so much at a time.
const GLANCE_MS: i64 = 2000;
/// A heading sensor damped by two seconds follows a quick sea a quarter of a period late; a gyro damped by this
/// keeps time with it. One that keeps time either way is alive.
const DAMPING_MS: i64 = 1500;
/// Turns smaller than this in a glance are rounding and noise.
const DEAD: i64 = 700;
/// Log likelihood of a silent gyro against one that shares the turn, `h (h / 2 - g) / sigma^2`, sigma
/// 1 degree; held within this, for at the end of a fast turn the heading still moves and the gyro does not.
const MOST_GLANCE: i32 = 3 * ONE;
/// In natural logarithms: e^15 glances of two seconds are two months of unbroken seaway.
const SILENT: Design = Design { reference: 0, threshold: 15 * ONE, headstart: 0, ceiling: 20 * ONE };

/// Sums over a stretch of time, in millidegrees times 16: 64 s of the fastest turn fit many times.
#[derive(Clone, Copy, Debug, Default)]
struct Sums {
    heading: i32,
    gyro: i32,
    ms: i32,
}

impl Sums {
    fn add(&mut self, other: Self) {
        self.heading = self.heading.saturating_add(other.heading);
        self.gyro = self.gyro.saturating_add(other.gyro);
        self.ms = self.ms.saturating_add(other.ms);
    }

    /// Heading, gyro and time, and begins again.
    fn take(&mut self) -> (i64, i64, i64) {
        let Self { heading, gyro, ms } = core::mem::take(self);
        (heading.into(), gyro.into(), ms.into())
    }
}

/// The judge of the primary heading against the declared gyro.
#[derive(Clone, Copy, Debug)]
pub struct TurnRateDisagreement {
    /// Half the limit, millidegrees a second.
    half: i32,
    delay: Span,
    before: Option<(Origin, Bearing)>,
    /// When that was.
    at: Mark,
    /// Smoothed rates, millidegrees a second times 16.
    heading_rate: i64,
    gyro_rate: i64,
    /// The gyro's, damped once more.
    damped_rate: i64,
    glance: Sums,
    /// What the damped gyro turned in the glance.
    damped: i64,
    stretch: Sums,
    /// Stretches in which she turned, waiting for one in which she does not.
    turn: Sums,
    /// What the gyro shows when she does not turn, millidegrees a second times 256.
    bias: i32,
    /// The standard deviation learned, millidegrees times 16.
    scatter: i64,
    drift: TwoSided,
    /// As it comes, and behind a lag.
    silent: [Cusum; 2],
    signals: Mark,
    /// Rates over the last stretch.
    shown: (TurnRate, TurnRate),
}

impl TurnRateDisagreement {
    /// A judge by the owner's settings; the limit counts as degrees a second.
    pub fn new(settings: LimitSettings) -> Self {
        let half = settings.limit.unwrap_or(LIMIT).as_mdeg().clamp(50, 20_000) / 2;
        Self {
            scatter: SIGMA * 16,
            half,
            delay: settings.delay.unwrap_or(DELAY),
            before: None,
            at: Mark::NONE,
            heading_rate: 0,
            gyro_rate: 0,
            damped_rate: 0,
            damped: 0,
            glance: Sums::default(),
            stretch: Sums::default(),
            turn: Sums::default(),
            bias: 0,
            drift: TwoSided::default(),
            silent: [Cusum::default(); 2],
            signals: Mark::NONE,
            shown: (TurnRate::default(), TurnRate::default()),
        }
    }

    /// Judges the picture, once every half second.
    pub fn judge(&mut self, picture: &Picture, now: Instant) -> Verdict {
        let declared = picture.settings().rot_is_gyro;
        let Some(gyro) = picture.rate().fresh(now).filter(|_| declared) else {
            self.pause();
            return Verdict::Unjudged(Why::NoGyro);
        };
        let (Some(primary), Some(reduced)) = (picture.primary(), picture.heading(now)) else {
            self.pause();
            return Verdict::Unjudged(Why::NoHeading);
        };
        // Deviation makes a sensor turn faster or slower than the boat: what the card takes out is out.
        let Some(heading) = reduced.magnetic.map(|m| m.0).or(reduced.truth.map(|t| t.0)) else {
            self.pause();
            return Verdict::Unjudged(Why::NoHeading);
        };
        let before = self.before.replace((primary.origin, heading)).zip(self.at.moment());
        self.at = Mark::at(now);
        let same = before.filter(|((origin, _), _)| *origin == primary.origin);
        let elapsed = same.map(|((_, h), at)| (h, now.since(at)));
        match elapsed.map(|(h, span)| (h, i64::try_from(span.as_ms()).unwrap_or(i64::MAX))) {
            Some((last, ms @ 1..=2000)) => {
                // Hundredths of a degree a minute, to millidegrees a second times 16.
                let gyro = i64::from(gyro.as_centideg_per_min()) * 16 / 6;
                self.step(i64::from(last.turn_to(heading).as_mdeg()), gyro, ms);
            }
            // A gap, or another heading: what was being summed is of no use.
            _ => self.drop_sums(),
        }
        // A sum of nothing is under any threshold.
        let threshold = if self.drift.sum() == 0 { ONE } else { self.design().threshold };
        // What one damping explains is no silence.
        let silent = self.silent.iter().map(Cusum::sum).min().unwrap_or(0);
        let signals = self.drift.sum() > threshold || silent > SILENT.threshold;
        // It stands until the sums say that all is well again, and not only less bad.
        let well = self.drift.sum() < threshold / 2 && silent < SILENT.threshold / 2;
        if signals {
            self.signals.moment_or(now);
        } else if well {
            self.signals = Mark::NONE;
        }
        match self.signals.moment().map(|since| now.since(since)) {
            Some(lasting) if lasting >= self.delay => {
                let (shows, gyro) = self.shown;
                Verdict::Raised(Evidence::TurnRate { of: primary.origin, shows, gyro, lasting })
            }
            _ => Verdict::Clear,
        }
    }

    fn sigma(&self) -> i64 {
        (self.scatter / 16).max(LEAST_SIGMA)
    }

    #[inline(never)]
    fn design(&self) -> Design {
        let reference = score(i64::from(self.half) * STRETCH_MS / 1000, self.sigma(), 64 * ONE).max(ONE / 8);
        let threshold = i64::from(ONE) * i64::from(ONE) * WEIGHT / i64::from(reference);
        let threshold = i32::try_from(threshold.max(LEAST_THRESHOLD * i64::from(ONE))).unwrap_or(i32::MAX);
        Design { reference, threshold, headstart: 0, ceiling: threshold.saturating_add(3 * reference) }
    }

    /// A witness is missing just now.
    fn pause(&mut self) {
        self.before = None;
        self.drop_sums();
    }

    fn drop_sums(&mut self) {
        (self.glance, self.stretch, self.turn) = Default::default();
        (self.heading_rate, self.gyro_rate, self.damped_rate) = (0, 0, 0);
        self.damped = 0;
    }

    /// `turned` millidegrees of heading in `ms`; the gyro in millidegrees a second times 16.
    fn step(&mut self, turned: i64, gyro: i64, ms: i64) {
        self.heading_rate = towards(self.heading_rate, in_a_second(turned * 16, ms), ms, SMOOTH_MS);
        self.gyro_rate = towards(self.gyro_rate, gyro, ms, SMOOTH_MS);
        self.damped_rate = towards(self.damped_rate, self.gyro_rate, ms, DAMPING_MS);
        self.damped += self.damped_rate * ms / 1000;
        let narrow = |value: i64| i32::try_from(value).unwrap_or(0);
        let (heading, gyro) = (self.heading_rate * ms / 1000, self.gyro_rate * ms / 1000);
        let step = Sums { heading: narrow(heading), gyro: narrow(gyro), ms: narrow(ms) };
        self.glance.add(step);
        self.stretch.add(step);
        if i64::from(self.glance.ms) >= GLANCE_MS {
            self.end_glance();
        }
        if i64::from(self.stretch.ms) >= STRETCH_MS {
            self.end_stretch();
        }
    }

    #[inline(never)]
    fn end_glance(&mut self) {
        let (heading, gyro, ms) = self.glance.take();
        let heading = heading / 16;
        let bias = i64::from(self.bias) * ms / 256_000;
        let alive = (heading.abs() - DEAD).max(0) * heading.signum();
        let damped = core::mem::take(&mut self.damped);
        for (sum, gyro) in self.silent.iter_mut().zip([gyro, damped]) {
            let likelihood = alive * (alive / 2 - (gyro / 16 - bias));
            sum.step(score(likelihood, 1_000_000, MOST_GLANCE), &SILENT);
        }
    }

    #[inline(never)]
    fn end_stretch(&mut self) {
        let stretch = self.stretch;
        let (heading, gyro, ms) = self.stretch.take();
        let rate = |sum: i64| {
            let centideg_per_min = sum * 6000 / 16 / ms.max(1);
            TurnRate::from_centideg_per_min(i32::try_from(centideg_per_min).unwrap_or(0))
        };
        self.shown = (rate(heading), rate(gyro));
        let turning = heading.abs().max(gyro.abs()) / 16 >= TURNING;
        self.turn.add(stretch);
        if turning && i64::from(self.turn.ms) < LONGEST_MS {
            return;
        }
        let (heading, gyro, ms) = self.turn.take();
        let (heading, gyro) = (heading / 16, gyro / 16);
        let error = heading - (gyro - i64::from(self.bias) * ms / 256_000);
        let lag = if turning { self.heading_rate.abs().max(self.gyro_rate.abs()) / 16 * LAG_MS / 1000 } else { 0 };
        let share = heading.abs().max(gyro.abs()) * SHARE / 100;
        // A long stretch may drift for long; the design takes off only what one stretch may.
        let longer = i64::from(self.half) * (ms - STRETCH_MS).max(0) / 1000;
        let beyond = (error.abs() - share - lag - longer).max(0) * error.signum();
        let (sigma, design) = (self.sigma(), self.design());
        self.drift.step(score(beyond, sigma, MOST), &design);
        if self.drift.sum() < design.threshold / 2 && ms < 2 * STRETCH_MS {
            // The mean size of what is normal is four fifths of its standard deviation.
            let size = error.abs().min(2 * sigma) * 16 * 5 / 4;
            self.scatter += (size - self.scatter) / FOLLOW;
            let seen = (gyro - heading) * 256_000 / ms.max(1);
            let (old, most) = (i64::from(self.bias), i64::from(self.half) * 256);
            self.bias = i32::try_from((old + (seen - old) / FOLLOW).clamp(-most, most)).unwrap_or(0);
        }
    }
}
