//! A value that runs evenly to another within a time, as the script has it.

/// The value, and where it is going.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Ramp {
    step_s: f64,
    target: f64,
    per_s: f64,
    /// The value now.
    pub(crate) value: f64,
}

impl Ramp {
    /// Stands at `value`, advanced in steps of `step_s`.
    pub(crate) fn new(value: f64, step_s: f64) -> Self {
        Self { step_s, target: value, per_s: 0.0, value }
    }

    /// Makes it run to `target` within `over_ms`; within one step where that is no time at all.
    pub(crate) fn run(&mut self, target: f64, over_ms: u64) {
        self.target = target;
        self.per_s = (target - self.value).abs() / (over_ms as f64 / 1000.0).max(self.step_s);
    }

    /// One step on.
    pub(crate) fn step(&mut self) -> f64 {
        let most = self.per_s * self.step_s;
        self.value += (self.target - self.value).clamp(-most, most);
        self.value
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn it_arrives_when_it_should_and_stays() {
        let mut ramp = Ramp::new(0.0, 0.1);
        ramp.run(-15.0, 20_000);
        for step in 1..=300 {
            let expected = (-0.075 * f64::from(step)).max(-15.0);
            let value = ramp.step();
            assert!((value - expected).abs() <= 1e-9, "{step}: {value}");
        }
        ramp.run(3.0, 0);
        assert!((ramp.step() - 3.0).abs() <= 1e-9);
    }
}
