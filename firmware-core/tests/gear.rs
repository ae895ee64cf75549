//! The rudder angle and the battery through the whole monitor.

use lubber_core::alert::AlertKind;
use lubber_core::alert::Why;
use lubber_core::monitor::Event;
use lubber_core::monitor::Monitor;
use lubber_core::monitor::Settings;
use lubber_core::picture::SourceId;
use lubber_core::time::Instant;

struct Watch {
    monitor: Monitor,
    seen: Vec<String>,
}

fn at(s: u64) -> Instant {
    Instant::from_ms(s * 1000)
}

impl Watch {
    fn new() -> Self {
        let mut settings = Settings { source_count: 1, ..Settings::default() };
        // No heading comes here, and that is no matter of these tests.
        settings.limits[AlertKind::HeadingLost as usize].disabled = true;
        Self { monitor: Monitor::new(at(0), settings), seen: Vec::new() }
    }

    /// Runs from `from` to `to` seconds, each second with `sentences`.
    fn run(&mut self, from: u64, to: u64, sentences: &[&str]) {
        for s in from..to {
            let seen = &mut self.seen;
            let mut hear = |event: Event<'_>| {
                if let Event::Alert(c) = event {
                    let follows = c.follows.map(|f| format!(" follows {f}")).unwrap_or_default();
                    seen.push(format!("{s} {} {} {}{follows}", c.priority, c.kind, c.state.word()));
                }
            };
            for body in sentences {
                let sum = body.bytes().fold(0, |sum, byte| sum ^ byte);
                let line = format!("${body}*{sum:02X}\r\n");
                self.monitor.bytes(at(s), SourceId(0), line.as_bytes(), &mut hear);
            }
            self.monitor.tick(at(s), &mut hear);
        }
    }

    fn judging(&self, kind: AlertKind) -> Result<(), Why> {
        self.monitor.judging()[kind as usize]
    }
}

const DEPTH: &str = "SDDBT,12.0,f,3.7,M,2.0,F";
const RUDDER: &str = "IIRSA,2.5,A,,V";

#[test]
fn a_rudder_that_was_there_for_a_minute_is_missed_and_one_that_was_not_is_not() {
    let mut watch = Watch::new();
    watch.run(0, 40, &[DEPTH, RUDDER]);
    watch.run(40, 100, &[DEPTH]);
    assert_eq!((watch.judging(AlertKind::RudderLost), watch.seen.len()), (Err(Why::HardlyHeard), 0));
    watch.run(100, 170, &[DEPTH, RUDDER]);
    assert_eq!(watch.judging(AlertKind::RudderLost), Ok(()));
    // Last heard at 169 s, stale after four intervals of a second, and five seconds of patience. The first
    // gap counts for as much as an outage may: a little more than four seconds.
    watch.run(170, 200, &[DEPTH]);
    let raised: Vec<u64> = watch.seen.iter().map(|line| line.split(' ').next().unwrap().parse().unwrap()).collect();
    assert_eq!(raised.len(), 1, "{:?}", watch.seen);
    assert!((178..=182).contains(&raised[0]), "{:?}", watch.seen);
    assert!(watch.seen[0].ends_with("caution rudder-lost active"), "{:?}", watch.seen);
    // Back at 200 s, judged from 201 s on, and it must stay for five seconds.
    watch.run(200, 206, &[DEPTH, RUDDER]);
    assert_eq!(watch.seen.len(), 1);
    watch.run(206, 207, &[DEPTH, RUDDER]);
    assert_eq!(watch.seen[1], "206 caution rudder-lost normal");
}

#[test]
fn a_rudder_marked_invalid_is_lost_and_one_lost_with_its_source_follows() {
    let mut watch = Watch::new();
    watch.run(0, 100, &[DEPTH, RUDDER]);
    watch.run(100, 120, &[DEPTH, "IIRSA,2.5,V,,V"]);
    assert_eq!(watch.seen.len(), 1, "{:?}", watch.seen);
    let status = watch.monitor.status(at(119));
    assert!(status.alerts[0].evidence.to_string().starts_with("comes empty or marked invalid"));
    let mut watch = Watch::new();
    watch.run(0, 100, &[DEPTH, RUDDER]);
    watch.run(100, 120, &[]);
    assert!(watch.seen[0].ends_with("alarm input-lost active-unacknowledged"), "{:?}", watch.seen);
    assert!(watch.seen[1].ends_with("caution rudder-lost active follows input-lost"), "{:?}", watch.seen);
    assert_eq!(watch.seen.len(), 2);
}

#[test]
fn a_battery_that_runs_down_is_a_warning() {
    let mut watch = Watch::new();
    watch.run(0, 20, &[DEPTH]);
    assert_eq!(watch.judging(AlertKind::SupplyLow), Err(Why::NotYetHeard));
    watch.run(20, 40, &[DEPTH]);
    assert_eq!(watch.judging(AlertKind::SupplyLow), Err(Why::NotWanted));
    // Heard at 40 s, judged from 41 s on: a minute tells what kind of battery it is.
    watch.run(40, 102, &[DEPTH, "IIXDR,U,12.4,V,BATT"]);
    assert_eq!(watch.judging(AlertKind::SupplyLow), Ok(()));
    watch.run(102, 160, &[DEPTH, "IIXDR,U,11.7,V,BATT"]);
    assert_eq!(watch.seen, ["133 warning supply-low active-unacknowledged"]);
    let status = watch.monitor.status(at(159));
    assert_eq!(status.supply.map(|(millivolts, _)| millivolts), Some(11_700));
    assert_eq!(status.alerts[0].evidence.to_string(), "battery at 11.7 V, below 11.8 V for 56 s");
}
