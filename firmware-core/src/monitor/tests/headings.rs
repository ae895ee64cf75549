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

#[test]
fn two_stray_sentences_of_a_damaged_talker_contradict_nobody() {
    let mut watch = Watch::new(Settings::default());
    watch.monitor.order(Instant::from_ms(0), Command::SteerHand, &mut |_| {});
    for s in 0..1800 {
        // She turns through 100 degrees between two straits of ten minutes; variation is known.
        let heading = 60.0 + (s as f64 - 600.0).clamp(0.0, 100.0) + (s % 3) as f64 * 0.3;
        let mut first = std::vec![format!("HCHDG,{heading:.1},,,4.0,E")];
        // Strays, 23 s apart, teach the watch that more of the kind would come.
        if s == 560 || s == 583 || s == 606 {
            first.push(format!("GPVHW,,,{heading:.1},M,,,,"));
        }
        watch.second(s, &first, &[rmc(0.2, 0.0)]);
    }
    assert_eq!(watch.alerts(), [""; 0]);
    let judging = watch.monitor.status(Instant::from_ms(1_800_000)).judging;
    assert!(judging[AlertKind::HeadingDisagreement as usize].is_err());
}

#[test]
fn a_slow_second_heading_is_not_compared_with_where_she_has_turned_since() {
    let mut watch = Watch::new(Settings::default());
    watch.monitor.order(Instant::from_ms(0), Command::SteerHand, &mut |_| {});
    for s in 0..1800 {
        // A degree and a quarter each second, to and fro, and a second heading each eight.
        let heading = 60.0 + ((s % 240) as f64 - 120.0).abs() * 1.25;
        let mut first = std::vec![format!("HCHDG,{heading:.1},,,4.0,E")];
        if s % 8 == 0 {
            first.push(hdt(heading + 4.0 + (heading / 30.0).sin() * 2.0));
        }
        watch.second(s, &first, &[rmc(0.2, 0.0)]);
    }
    assert_eq!(watch.alerts(), [""; 0]);
}

#[test]
fn what_a_heading_raised_that_is_gone_for_good_may_be_over_once_somebody_answered() {
    let run = |answered: bool, other: bool| {
        let mut watch = Watch::new(Settings::default());
        for s in 0..1200 {
            let compass = 100.0 + (s % 3) as f64 * 0.3;
            let mut first = std::vec![format!("HCHDG,{compass:.1},,,4.0,E")];
            match s {
                0..100 => first.push(hdt(106.0)),
                100..130 => first.push(hdt(118.0)),
                _ => {}
            }
            // With a receiver there is another witness, and it agrees.
            let ground = rmc(5.5, 104.0);
            watch.second(s, &first, if other { core::slice::from_ref(&ground) } else { &[] });
            if answered && s == 200 {
                watch.monitor.acknowledge(Instant::from_ms(s * 1000 + 600), &mut |_| {});
            }
        }
        let last = watch.seen.iter().rfind(|line| line.contains("disagreement")).cloned().unwrap();
        let status = watch.monitor.status(Instant::from_ms(1_200_000));
        (last, status.judging[AlertKind::HeadingDisagreement as usize])
    };
    let (last, judging) = run(true, true);
    assert!(last.ends_with("normal") && judging.is_ok(), "{last} {judging:?}");
    // Ten minutes after the last value, by hand: 129 + 600.
    assert!(last.starts_with("729 ") || last.starts_with("730 "), "{last}");
    for (answered, other) in [(false, true), (false, false), (true, false)] {
        let (last, judging) = run(answered, other);
        assert!(last.contains("active-unacknowledged"), "{answered} {other}: {last}");
        assert_eq!(judging, Err(Why::NoWitness), "{answered} {other}");
    }
}

/// A heading, the log's copy of it, and the track along it.
fn with_copy(heading: f64) -> ([String; 2], String) {
    ([format!("HCHDG,{heading:.1},,,4.0,E"), format!("IIVHW,,,{heading:.1},M,5.0,N,,")], rmc(5.5, heading + 4.0))
}

/// She turns slowly to and fro.
fn slow_turns(s: u64) -> f64 {
    100.0 + ((s % 400) as f64 - 200.0).abs() * 0.6
}

/// A watch on a boat that is steered by hand.
fn by_hand() -> Watch {
    let mut watch = Watch::new(Settings::default());
    watch.monitor.order(Instant::from_ms(0), Command::SteerHand, &mut |_| {});
    watch
}

/// The changes of the heading the watch is kept by, as they are told.
fn kept_by(watch: &Watch) -> Vec<String> {
    let told = watch.seen.iter().filter(|line| line.contains("HeadingSource"));
    let words = |line: &String| {
        let hdg = line.contains(&format!("{:?}", crate::frame::Formatter(*b"HDG")));
        let by = if hdg { "HDG" } else { "VHW" };
        format!("{} {by} {}", line.split(' ').next().unwrap(), line.contains("Uncorrected"))
    };
    told.map(words).collect()
}

#[test]
fn a_hole_of_some_seconds_does_not_move_the_watch_to_another_heading() {
    let mut watch = by_hand();
    for s in 0..900 {
        let ([heading, copy], ground) = with_copy(slow_turns(s));
        let there = !(40..47).contains(&s);
        let first = if there { [heading, copy].to_vec() } else { [copy].to_vec() };
        watch.second(s, &first, &[ground]);
    }
    assert_eq!(kept_by(&watch), ["0 HDG true"], "{:?}", watch.seen);
    assert_eq!(watch.alerts(), ["43 heading-lost active-unacknowledged"]);
}

#[test]
fn the_watch_returns_to_the_better_heading_once_and_then_stays_with_it() {
    let mut watch = by_hand();
    let mut judged = Vec::new();
    for s in 0..1800 {
        let ([heading, copy], ground) = with_copy(100.0 + (s % 3) as f64 * 0.3);
        // Gone in the third second, as the gear starts up; then there, with a hole each two minutes.
        let there = s != 0 && !(3..9).contains(&s) && (s < 300 || s % 120 > 20);
        let first = if there { [heading, copy].to_vec() } else { [copy].to_vec() };
        watch.second(s, &first, &[ground]);
        if watch.monitor.judging()[AlertKind::HeadingDisagreement as usize].is_ok() {
            judged.push(s);
        }
    }
    // Its first copy, the hole, and the minute in all: 2 s and 60 s from the ninth on, by hand.
    let told = kept_by(&watch);
    assert_eq!(told.len(), 4, "{told:?}");
    assert_eq!((&*told[0], &*told[1], &*told[2]), ("0 VHW false", "1 HDG true", "6 VHW false"), "{told:?}");
    let at: u64 = told[3].strip_suffix(" HDG true").unwrap().parse().unwrap();
    assert!((66..=70).contains(&at), "{told:?}");
    // From then on its holes are alerts, and the watch does not go to and fro.
    assert!(of(&watch, "heading-lost").len() > 5, "{:?}", watch.alerts());
    // The contradiction of witnesses is learned anew, in no more time than at the start.
    let began = judged.iter().find(|s| **s > at).unwrap();
    assert!(began - at <= 52, "{judged:?}");
}

#[test]
fn the_watch_does_not_return_while_an_alert_stands_on_what_it_is_kept_by() {
    let run = |answered: bool| {
        let mut watch = Watch::new(Settings::default());
        watch.steer(0, 100_000);
        for s in 0..200 {
            // Off her course while the better heading is away, and still when it comes back.
            let ([heading, copy], ground) = with_copy((s % 3) as f64 * 0.3 + if s < 60 { 100.0 } else { 140.0 });
            let there = !(2..=80).contains(&s);
            let first = if there { [heading, copy].to_vec() } else { [copy].to_vec() };
            watch.second(s, &first, &[ground]);
            if answered && s == 100 {
                watch.steer(s, 140_000);
            }
        }
        kept_by(&watch).len()
    };
    assert_eq!((run(false), run(true)), (2, 3));
}

#[test]
fn a_copy_of_a_compass_that_nothing_corrects_is_uncorrected_too_and_agrees_with_nobody() {
    let mut watch = by_hand();
    for s in 0..900 {
        let ([heading, copy], ground) = with_copy(slow_turns(s));
        // The compass goes for good before it was there for a minute, and comes back for a while each minute.
        let there = s < 40 || s % 60 < 25;
        let first = if there { [heading, copy].to_vec() } else { [copy].to_vec() };
        drop(ground);
        watch.second(s, &first, &[]);
    }
    let told = kept_by(&watch);
    assert_eq!(told.first().map(String::as_str), Some("0 HDG true"));
    assert!(
        told.iter().any(|line| line.ends_with("VHW false")) && told.last().unwrap().ends_with("VHW true"),
        "{told:?}"
    );
    let status = watch.monitor.status(Instant::from_ms(860_000));
    assert_eq!(status.heading.map(|heading| heading.correction), Some(Correction::Uncorrected));
    assert!(status.judging[AlertKind::HeadingDisagreement as usize].is_err());
}
