//! The heading the watch is kept by: when it is missed, what takes its place, and when it comes back.

use super::*;

const RSA: &str = "IIRSA,2.0,A,,";

fn named(names: &str) -> Settings {
    Settings { primary: crate::picture::Name::parse(names), ..Settings::default() }
}

/// The alerts of one kind only.
fn of<'a>(watch: &'a Watch, kind: &str) -> Vec<&'a str> {
    watch.alerts().into_iter().filter(|line| line.split(' ').nth(1) == Some(kind)).collect()
}

#[test]
fn a_heading_that_goes_before_it_was_there_for_a_minute_is_missed() {
    let mut watch = Watch::new(Settings::default());
    watch.run(0, 45, [&[HDG], &[RMC]]);
    watch.run(45, 120, [&[RSA], &[RMC]]);
    assert_eq!(watch.alerts(), ["48 heading-lost active-unacknowledged"]);
    // While the gear starts up it may come and go.
    for (from, to) in [(5, 10), (5, 25)] {
        let mut watch = Watch::new(Settings::default());
        watch.run(0, from, [&[HDG], &[RMC]]);
        watch.run(from, to, [&[RSA], &[RMC]]);
        watch.run(to, 120, [&[HDG], &[RMC]]);
        assert_eq!(watch.alerts(), [""; 0]);
    }
    let mut watch = Watch::new(Settings::default());
    watch.run(0, 10, [&[HDG], &[RMC]]);
    watch.run(10, 120, [&[RSA], &[RMC]]);
    assert_eq!(watch.alerts(), ["30 heading-lost active-unacknowledged"]);
}

#[test]
fn a_heading_that_comes_and_goes_from_the_start_is_missed_each_time() {
    let mut watch = Watch::new(Settings::default());
    for s in 0..500 {
        let there = s % 50 < 44;
        watch.run(s, s + 1, [if there { &[HDG] } else { &[RSA] }, &[RMC]]);
    }
    let raised = of(&watch, "heading-lost").into_iter().filter(|line| line.contains("active-unack")).count();
    assert_eq!(raised, 10, "{:?}", watch.alerts());
}

#[test]
fn a_line_that_lives_and_brings_no_heading_is_missed_one() {
    let mut watch = Watch::new(Settings::default());
    watch.run(0, 3600, [&[RSA], &[RMC]]);
    assert_eq!(watch.alerts(), ["30 heading-lost active-unacknowledged"]);
    // Nor does one whose every sentence is refused.
    let mut watch = Watch::new(Settings::default());
    for s in 0..100 {
        watch.run(s, s + 1, [&[], &[RMC]]);
        watch.monitor.bytes(Instant::from_ms(s * 1000 + 600), SourceId(0), b"$HCHDG,100.0,,,,*00\r\n", &mut |_| {});
    }
    assert_eq!(of(&watch, "heading-lost"), ["30 heading-lost active-unacknowledged"]);
    // It is over once there is one, whoever sends it.
    watch.run(100, 120, [&[HDG], &[RMC]]);
    assert!(watch.seen.iter().any(|line| line == "100 heading-lost rectified-unacknowledged"), "{:?}", watch.seen);
}

#[test]
fn without_any_byte_the_missing_heading_follows_from_the_missing_line() {
    for settings in [Settings::default(), named("HCHDG")] {
        let mut watch = Watch::new(settings);
        watch.run(0, 60, [&[], &[]]);
        assert_eq!(
            watch.alerts(),
            [
                "30 input-lost active-unacknowledged",
                "30 input-lost active-unacknowledged",
                "30 heading-lost active-unacknowledged follows input-lost"
            ]
        );
    }
    // One source that lives might have brought it.
    let mut watch = Watch::new(Settings::default());
    watch.run(0, 60, [&[RMC], &[]]);
    assert_eq!(watch.alerts(), ["30 input-lost active-unacknowledged", "30 heading-lost active-unacknowledged"]);
}

#[test]
fn what_was_heard_for_less_than_a_minute_is_not_called_never_heard() {
    let mut watch = Watch::new(Settings::default());
    watch.run(0, 20, [&[HDG, RSA], &[RMC]]);
    watch.run(20, 60, [&[HDG], &[RMC]]);
    let judging = watch.monitor.status(Instant::from_ms(60_000)).judging;
    assert_eq!(judging[AlertKind::RudderLost as usize], Err(Why::HardlyHeard));
    assert!(!format!("{}", Why::HardlyHeard).contains("never"));
}
