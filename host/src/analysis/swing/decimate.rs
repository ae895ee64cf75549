//! Raw samples to two a second: spikes out, a 10 Hz sensor averaged round the circle.

/// Length of one bin, seconds: two a second keep every turn a boat can make.
pub(crate) const BIN_S: f64 = 0.5;

/// A gap after which nothing is known of what came before, seconds.
const FORGET_S: f64 = 5.0;

/// What a stream of samples is made of.
pub(crate) trait Sample: Copy {
    /// How far two samples lie apart.
    fn apart(self, other: Self) -> f64;
    /// How far two samples may lie apart at most, after a time in seconds.
    fn reach(elapsed_s: f64) -> f64;
    /// The mean of two or more.
    fn mean(samples: &[(f64, Self)]) -> Self;
}

/// A compass heading in degrees.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Heading(pub(crate) f64);

/// A velocity over the ground, metres per second, north and east.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Velocity(pub(crate) f64, pub(crate) f64);

impl Sample for Heading {
    fn apart(self, other: Self) -> f64 {
        signed(self.0 - other.0).abs()
    }

    /// 20 degrees of noise and a turn of 25 degrees a second: more than a boat does.
    fn reach(elapsed_s: f64) -> f64 {
        20.0 + 25.0 * elapsed_s
    }

    /// The circular mean: the first and the mean departure from it, right on either side of north.
    fn mean(samples: &[(f64, Self)]) -> Self {
        let first = samples[0].1.0;
        let departure: f64 = samples.iter().map(|(_, heading)| signed(heading.0 - first)).sum();
        Self((first + departure / samples.len() as f64).rem_euclid(360.0))
    }
}

impl Sample for Velocity {
    fn apart(self, other: Self) -> f64 {
        (self.0 - other.0).hypot(self.1 - other.1)
    }

    /// 1.5 m/s of noise and a change of 1.5 m/s each second.
    fn reach(elapsed_s: f64) -> f64 {
        1.5 + 1.5 * elapsed_s
    }

    fn mean(samples: &[(f64, Self)]) -> Self {
        let count = samples.len() as f64;
        Self(
            samples.iter().map(|(_, v)| v.0).sum::<f64>() / count,
            samples.iter().map(|(_, v)| v.1).sum::<f64>() / count,
        )
    }
}

/// An angle brought into -180 up to 180 degrees.
pub(crate) fn signed(degrees: f64) -> f64 {
    (degrees + 180.0).rem_euclid(360.0) - 180.0
}

/// Gathers samples into bins.
#[derive(Clone, Debug)]
pub(crate) struct Decimator<S> {
    last: Option<(f64, S)>,
    /// A sample that jumped, kept until the next one confirms or denies it.
    doubted: Option<(f64, S)>,
    bin: Vec<(f64, S)>,
    /// Samples that jumped and were denied.
    pub(crate) spikes: u64,
    /// Samples from before the one that came last.
    pub(crate) disordered: u64,
    /// All samples offered.
    pub(crate) offered: u64,
}

impl<S: Sample> Decimator<S> {
    /// Nothing yet.
    pub(crate) fn new() -> Self {
        Self { last: None, doubted: None, bin: Vec::new(), spikes: 0, disordered: 0, offered: 0 }
    }

    /// Takes a sample; gives the mean of a bin that it closes.
    pub(crate) fn push(&mut self, t_s: f64, sample: S) -> Option<(f64, S)> {
        self.offered += 1;
        if let Some((before, last)) = self.last {
            if t_s < before {
                self.disordered += 1;
                return None;
            }
            let elapsed = t_s - before;
            let jumps = elapsed <= FORGET_S && sample.apart(last) > S::reach(elapsed);
            let confirmed = self.doubted.is_some_and(|(at, doubted)| sample.apart(doubted) <= S::reach(t_s - at));
            if jumps && !confirmed {
                // A second jump elsewhere denies the first.
                self.spikes += u64::from(self.doubted.is_some());
                self.doubted = Some((t_s, sample));
                return None;
            }
            if self.doubted.take().is_some() && !jumps {
                self.spikes += 1;
            }
        }
        self.last = Some((t_s, sample));
        let closed = match self.bin.first() {
            Some(&(first, _)) if (first / BIN_S).floor() != (t_s / BIN_S).floor() => self.flush(),
            _ => None,
        };
        // A runaway talker cannot make a bin grow without bound.
        if self.bin.len() < 256 {
            self.bin.push((t_s, sample));
        }
        closed
    }

    /// The mean of the bin that is open.
    pub(crate) fn flush(&mut self) -> Option<(f64, S)> {
        if self.bin.is_empty() {
            return None;
        }
        let t_s = self.bin.iter().map(|(t, _)| t).sum::<f64>() / self.bin.len() as f64;
        let mean = S::mean(&self.bin);
        self.bin.clear();
        Some((t_s, mean))
    }

    /// Forgets the past: the next sample begins another log.
    pub(crate) fn restart(&mut self) {
        (self.last, self.doubted) = (None, None);
        self.bin.clear();
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn run(samples: &[(f64, f64)]) -> (Vec<f64>, Decimator<Heading>) {
        let mut decimator = Decimator::new();
        let mut out: Vec<f64> =
            samples.iter().filter_map(|&(t, h)| decimator.push(t, Heading(h))).map(|(_, h)| h.0).collect();
        out.extend(decimator.flush().map(|(_, h)| h.0));
        (out, decimator)
    }

    #[test]
    fn ten_a_second_become_two_across_north() {
        let samples: Vec<(f64, f64)> = (0..10).map(|i| (f64::from(i) * 0.1, f64::from(358 + i % 5) % 360.0)).collect();
        let (out, _) = run(&samples);
        assert_eq!(out.len(), 2);
        assert!(out.iter().all(|h| h.abs() <= 1e-9 || (h - 360.0).abs() <= 1e-9), "{out:?}");
    }

    #[test]
    fn a_spike_is_dropped_and_a_lasting_jump_is_believed() {
        let (out, decimator) = run(&[(0.0, 100.0), (1.0, 101.0), (2.0, 250.0), (3.0, 102.0), (4.0, 103.0)]);
        assert_eq!(out, [100.0, 101.0, 102.0, 103.0]);
        assert_eq!(decimator.spikes, 1);
        let (out, decimator) = run(&[(0.0, 100.0), (1.0, 101.0), (2.0, 250.0), (3.0, 252.0), (4.0, 253.0)]);
        assert_eq!(out, [100.0, 101.0, 252.0, 253.0]);
        assert_eq!(decimator.spikes, 0);
    }

    #[test]
    fn time_running_back_is_counted() {
        let (out, decimator) = run(&[(5.0, 1.0), (4.0, 2.0), (6.0, 3.0)]);
        assert_eq!(out, [1.0, 3.0]);
        assert_eq!(decimator.disordered, 1);
    }
}
