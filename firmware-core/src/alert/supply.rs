//! Supply-low: the battery that the gear lives on is nearly empty, or is named and its voltage is gone.

use crate::alert::Evidence;
use crate::alert::Latch;
use crate::alert::LimitSettings;
use crate::alert::Lost;
use crate::alert::Verdict;
use crate::alert::Why;
use crate::picture::Supply;
use crate::time::Instant;
use crate::time::Mark;
use crate::time::Span;

/// 11.8 V: a 12 V lead-acid battery under the load of a boat under way is nearly empty there, and a pilot
/// begins to fail somewhat below. Common practice, no source.
const LIMIT: u32 = 11_800;
/// A windlass or a starter pulls any battery down for some seconds. Common practice, no source.
const DELAY: Span = Span::from_s(30);
/// It is over when the voltage is above the limit by this, for [`BACK`]: a battery recovers a little when
/// its load goes. Common practice, no source.
const HYSTERESIS: u32 = 200;
const BACK: Span = Span::from_s(30);
/// Without a limit of the owner's, this first stretch of voltage without a break says what kind of
/// battery it is, by its least voltage: above 18 V none of 12 V is ever charged, and down to it none of
/// 24 V ever falls while anything still works.
const FIRST: Span = Span::from_min(1);
const OVER_12: u32 = 18_000;
/// Above this it is neither, and no default will do.
const OVER_24: u32 = 32_000;
/// One that was never heard is not waited for beyond this.
const GRACE: Span = Span::from_s(30);
/// One that the owner names is missed after this, and longer where it comes so seldom: a battery takes hours
/// to empty, and whatever measures it may be started anew. One that nobody names may be an engine's, whose
/// voltage goes with its key. Common practice, no source.
const MISSED: Span = Span::from_s(60);

/// The judge of the battery.
#[derive(Clone, Copy, Debug)]
pub struct SupplyLow {
    began: Instant,
    delay: Span,
    latch: Latch,
    /// The limit, of the owner or by what kind of battery it is; 0 while that is not known.
    limit: u32,
    /// The least voltage of the first stretch, and when that began.
    least: u32,
    first: Mark,
}

impl SupplyLow {
    /// A judge that begins at `began`, by the owner's settings; `limit` in thousandths of a volt.
    pub fn new(began: Instant, settings: LimitSettings, limit: Option<u32>) -> Self {
        Self {
            began,
            delay: settings.delay.unwrap_or(DELAY),
            latch: Latch::default(),
            limit: limit.unwrap_or(0),
            least: 0,
            first: Mark::NONE,
        }
    }

    /// Judges, once every half second.
    pub fn judge(&mut self, supply: &Supply, now: Instant) -> Verdict {
        let Some(millivolts) = supply.millivolts().fresh(now) else {
            self.latch.pause();
            self.first = Mark::NONE;
            let heard = supply.millivolts().latest().is_some();
            let silent = if heard { supply.millivolts().age(now) } else { now.since(self.began) };
            if supply.is_named() && silent >= MISSED {
                let how = match heard {
                    _ if supply.millivolts().is_void(now) => Lost::Void,
                    true => Lost::Silent,
                    false => Lost::NeverCame,
                };
                return Verdict::Raised(Evidence::Lost { how, silent });
            }
            return Verdict::Unjudged(if heard || supply.is_named() {
                Why::NoVoltage
            } else if now.since(self.began) < GRACE {
                Why::NotYetHeard
            } else {
                Why::NotWanted
            });
        };
        if self.limit == 0 {
            if let Err(why) = self.learn(millivolts, now) {
                return Verdict::Unjudged(why);
            }
        }
        let above = millivolts >= self.limit.saturating_add(HYSTERESIS);
        if self.latch.step(now, millivolts < self.limit, above, self.delay, BACK) {
            let lasting = self.latch.above_since().map_or(Span::ZERO, |since| now.since(since));
            Verdict::Raised(Evidence::SupplyLow { millivolts, limit_millivolts: self.limit, lasting })
        } else {
            Verdict::Clear
        }
    }

    /// Learns what kind of battery it is.
    fn learn(&mut self, millivolts: u32, now: Instant) -> Result<(), Why> {
        if self.first.moment().is_none() {
            self.least = millivolts;
        }
        self.least = self.least.min(millivolts);
        if now.since(self.first.moment_or(now)) < FIRST {
            return Err(Why::Settling);
        }
        self.limit = match self.least {
            least if least <= OVER_12 => LIMIT,
            least if least <= OVER_24 => 2 * LIMIT,
            _ => return Err(Why::NoLimit),
        };
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::picture::SupplySettings;
    use crate::picture::Transducer;

    /// A judge, its supply, and the seconds so far.
    struct Battery {
        judge: SupplyLow,
        supply: Supply,
        s: u64,
    }

    impl Battery {
        fn new(limit: Option<u32>) -> Self {
            let judge = SupplyLow::new(Instant::from_ms(0), LimitSettings::default(), limit);
            Self { judge, supply: Supply::new(SupplySettings::default()), s: 0 }
        }

        /// So many seconds at so many millivolts; the last verdict.
        fn run(&mut self, seconds: u64, millivolts: u32) -> Verdict {
            let mut verdict = Verdict::Clear;
            for _ in 0..seconds {
                let now = Instant::from_ms(self.s * 1000);
                self.supply.take_for_tests(now, b"BATT", millivolts);
                verdict = self.judge.judge(&self.supply, now);
                self.s += 1;
            }
            verdict
        }
    }

    const fn low(millivolts: u32, limit_millivolts: u32, s: u64) -> Verdict {
        Verdict::Raised(Evidence::SupplyLow { millivolts, limit_millivolts, lasting: Span::from_s(s) })
    }

    #[test]
    fn a_battery_of_12_volts_from_full_to_empty_and_charged_again() {
        let mut battery = Battery::new(None);
        assert_eq!(battery.run(60, 12_700), Verdict::Unjudged(Why::Settling));
        assert_eq!(battery.run(600, 12_400), Verdict::Clear);
        assert_eq!(battery.run(20, 10_500), Verdict::Clear, "a starter");
        assert_eq!(battery.run(60, 12_300), Verdict::Clear);
        assert_eq!(battery.run(60, 11_800), Verdict::Clear, "at the limit is not below it");
        assert_eq!(battery.run(30, 11_790), Verdict::Clear);
        assert_eq!(battery.run(1, 11_790), low(11_790, 11_800, 30));
        // Within the hysteresis nothing changes; above it for half a minute it is over.
        assert!(matches!(battery.run(600, 11_990), Verdict::Raised(_)));
        assert!(matches!(battery.run(30, 12_000), Verdict::Raised(_)));
        assert_eq!(battery.run(1, 12_000), Verdict::Clear);
    }

    #[test]
    fn a_battery_of_24_volts_is_known_by_its_first_minute() {
        let mut battery = Battery::new(None);
        battery.run(61, 24_900);
        assert_eq!(battery.run(600, 23_600), Verdict::Clear);
        assert_eq!(battery.run(31, 23_500), low(23_500, 23_600, 30));
        // One of 12 V that is charged, or empty at the start, is one of 12 V.
        let mut battery = Battery::new(None);
        battery.run(61, 15_500);
        assert_eq!(battery.run(60, 12_000), Verdict::Clear);
        let mut battery = Battery::new(None);
        assert_eq!(battery.run(60, 9_000), Verdict::Unjudged(Why::Settling));
        assert_eq!(battery.run(31, 9_000), low(9_000, 11_800, 30));
    }

    #[test]
    fn the_owners_limit_needs_no_learning_and_what_no_default_fits_says_so() {
        let mut battery = Battery::new(Some(12_200));
        assert_eq!(battery.run(31, 12_100), low(12_100, 12_200, 30));
        assert_eq!(Battery::new(None).run(300, 51_200), Verdict::Unjudged(Why::NoLimit));
        assert_eq!(Battery::new(Some(47_000)).run(300, 51_200), Verdict::Clear);
    }

    #[test]
    fn a_battery_that_is_named_is_missed() {
        let named = || SupplySettings { name: Transducer::named("BATT"), ..SupplySettings::default() };
        let mut battery = Battery::new(Some(11_800));
        battery.supply = Supply::new(named());
        let at = |s: u64| Instant::from_ms(s * 1000);
        let lost = |how, s| Verdict::Raised(Evidence::Lost { how, silent: Span::from_s(s) });
        let judge = |battery: &mut Battery, s| battery.judge.judge(&battery.supply, at(s));
        assert_eq!(judge(&mut battery, 59), Verdict::Unjudged(Why::NoVoltage));
        assert_eq!(judge(&mut battery, 60), lost(Lost::NeverCame, 60));
        battery.s = 70;
        assert_eq!(battery.run(10, 12_600), Verdict::Clear, "it came after all");
        // The last one came at 79 s.
        assert_eq!(judge(&mut battery, 138), Verdict::Unjudged(Why::NoVoltage));
        assert_eq!(judge(&mut battery, 139), lost(Lost::Silent, 60));
        // Low before it went, and low when it comes back: it was never over.
        battery.s = 200;
        assert!(matches!(battery.run(40, 11_000), Verdict::Raised(Evidence::SupplyLow { .. })));
        assert_eq!(judge(&mut battery, 300), lost(Lost::Silent, 61));
        battery.s = 400;
        assert!(matches!(battery.run(1, 11_000), Verdict::Raised(Evidence::SupplyLow { .. })));
        // One that comes every 30 s is not missed between two.
        let mut battery = Battery::new(Some(11_800));
        battery.supply = Supply::new(named());
        for s in (0..600).step_by(30) {
            battery.s = s;
            battery.run(1, 12_600);
        }
        assert_eq!(judge(&mut battery, 570 + 100), Verdict::Clear);
        assert_eq!(judge(&mut battery, 570 + 130), lost(Lost::Silent, 130));
    }

    #[test]
    fn a_voltage_that_is_gone_clears_nothing() {
        let mut battery = Battery::new(Some(11_800));
        battery.run(40, 11_000);
        let later = Instant::from_ms(100_000);
        assert_eq!(battery.judge.judge(&battery.supply, later), Verdict::Unjudged(Why::NoVoltage));
        battery.s = 200;
        assert!(matches!(battery.run(5, 12_500), Verdict::Raised(_)), "it must be well for a while first");
    }
}
