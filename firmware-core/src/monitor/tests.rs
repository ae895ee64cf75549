//! The monitor's notices, its status, and what follows from what.

use super::*;

use crate::alert::AlertKind;
use crate::alert::Why;
use crate::angle::Bearing;
use crate::arbiter::State;
use crate::heading::Card;
use crate::heading::CardPoint;
use crate::heading::Compass;
use crate::heading::Variation;
use crate::picture::SupplySettings;
use crate::picture::Transducer;
use std::format;
use std::string::String;
use std::vec::Vec;

mod headings;

/// Every part within its share of the 12 KiB that the watch may take on a microcontroller. Pointers are
/// narrower there than here, so it takes no more there.
#[test]
fn every_part_keeps_to_its_share_of_the_memory() {
    let shares = [
        ("framers", size_of::<[Framer; SourceId::MAX]>(), 1_792),
        ("picture", size_of::<Picture>(), 2_984),
        ("judges", size_of::<Judges>(), 4_340),
        ("arbiter", size_of::<Arbiter>(), 2_656),
        ("settings", size_of::<Kept>(), 464),
        ("told", size_of::<Told>(), 52),
    ];
    for (part, size, share) in shares {
        std::println!("{part}: {size} of {share} bytes");
    }
    for (part, size, share) in shares {
        assert!(size <= share, "{part}: {size} bytes, its share is {share}");
    }
    let all: usize = shares.iter().map(|(_, _, share)| share).sum();
    assert!(all <= 12 * 1024, "the shares are {all} bytes together");
    std::println!("Monitor: {} bytes", size_of::<Monitor>());
}

struct Watch {
    monitor: Monitor,
    seen: Vec<String>,
}

impl Watch {
    fn new(settings: Settings) -> Self {
        let monitor = Monitor::new(Instant::from_ms(0), Settings { source_count: 2, ..settings });
        Self { monitor, seen: Vec::new() }
    }

    /// Runs from `from` to `to` seconds; each source sends its sentences once a second.
    fn run(&mut self, from: u64, to: u64, sources: [&[&str]; 2]) {
        for s in from..to {
            let now = Instant::from_ms(s * 1000);
            let seen = &mut self.seen;
            let mut hear = |event: Event<'_>| match event {
                Event::Alert(c) => {
                    let follows = c.follows.map(|f| format!(" follows {f}")).unwrap_or_default();
                    seen.push(format!("{s} {} {}{follows}", c.kind, c.state.word()));
                }
                Event::Notice(notice) => seen.push(format!("{s} {notice:?}")),
                _ => {}
            };
            for (index, sentences) in (0..).zip(sources) {
                for body in sentences {
                    let sum = body.bytes().fold(0, |sum, byte| sum ^ byte);
                    self.monitor.bytes(now, SourceId(index), format!("${body}*{sum:02X}\r\n").as_bytes(), &mut hear);
                }
            }
            self.monitor.tick(now, &mut hear);
            self.monitor.tick(now + Span::from_ms(500), &mut hear);
        }
    }

    fn alerts(&self) -> Vec<&str> {
        self.seen.iter().map(String::as_str).filter(|line| line.contains("active") || line.contains("normal")).collect()
    }
}

const HDG: &str = "HCHDG,100.0,2.0,E,4.0,E";
const RMC: &str = "GPRMC,120000,A,4950.000,N,01130.000,W,5.5,104.0,140726,,,A";

#[test]
fn what_is_lost_with_its_source_follows_from_that() {
    let mut watch = Watch::new(Settings::default());
    watch.run(0, 100, [&[HDG], &[RMC]]);
    watch.run(100, 110, [&[], &[RMC]]);
    assert_eq!(
        watch.alerts(),
        // Last heard at 99 s, stale after four intervals of a second, judged at 103.5 s.
        ["103 input-lost active-unacknowledged", "103 heading-lost active-unacknowledged follows input-lost"]
    );
    watch.run(110, 120, [&[HDG], &[RMC]]);
    assert!(
        watch
            .monitor
            .status(Instant::from_ms(120_000))
            .alerts
            .iter()
            .all(|a| a.state == State::RectifiedUnacknowledged)
    );
}

#[test]
fn a_named_battery_that_is_gone_is_missed_and_sounds_unless_its_source_is_gone() {
    let battery = SupplySettings { name: Transducer::named("BATT"), ..SupplySettings::default() };
    let voltage = "IIXDR,U,12.6,V,BATT";
    for (left, expected) in [
        (&[HDG][..], &["159 supply-low active-unacknowledged"][..]),
        (
            &[],
            &[
                "103 input-lost active-unacknowledged",
                "103 heading-lost active-unacknowledged follows input-lost",
                "159 supply-low active-unacknowledged follows input-lost",
            ],
        ),
    ] {
        let mut watch = Watch::new(Settings { supply: battery, ..Settings::default() });
        watch.run(0, 100, [&[HDG, voltage], &[RMC]]);
        watch.run(100, 180, [left, &[RMC]]);
        assert_eq!(watch.alerts(), expected);
    }
    // One that nobody names may be an engine's.
    let mut watch = Watch::new(Settings::default());
    watch.run(0, 100, [&[HDG, voltage], &[RMC]]);
    watch.run(100, 180, [&[HDG], &[RMC]]);
    assert!(watch.alerts().is_empty(), "{:?}", watch.alerts());
}

#[test]
fn a_source_that_fails_is_an_alert_at_once() {
    let mut watch = Watch::new(Settings::default());
    watch.run(0, 100, [&[HDG], &[RMC]]);
    let Watch { monitor, .. } = &mut watch;
    monitor.input_works(Instant::from_ms(100_000), SourceId(1), false, &mut |_| {});
    watch.run(100, 102, [&[HDG], &[]]);
    assert_eq!(watch.alerts(), ["100 input-lost active-unacknowledged"]);
}

#[test]
fn a_source_never_heard_is_missed_after_half_a_minute() {
    let mut watch = Watch::new(Settings::default());
    watch.run(0, 60, [&[HDG], &[]]);
    assert_eq!(watch.alerts(), ["30 input-lost active-unacknowledged"]);
}

#[test]
fn many_refused_lines_are_a_caution() {
    let mut watch = Watch::new(Settings::default());
    watch.run(0, 60, [&[HDG, HDG], &[RMC]]);
    assert!(watch.alerts().is_empty());
    let now = Instant::from_ms(60_000);
    for _ in 0..30 {
        watch.monitor.bytes(now, SourceId(0), b"$HCHDG,1*00\r\n", &mut |_| {});
    }
    watch.run(60, 200, [&[HDG, HDG], &[RMC]]);
    let alerts = watch.alerts();
    assert_eq!(alerts.len(), 2, "{alerts:?}");
    assert!(alerts[0].contains("60 input-damaged active") && alerts[1].contains("input-damaged normal"), "{alerts:?}");
}

#[test]
fn the_notices_of_a_start() {
    let point = |c| CardPoint { compass: Compass(Bearing::from_deg(c)), deviation: Turn::from_deg(3) };
    let card = Card::new(&[point(0), point(180)]).ok();
    let mut watch = Watch::new(Settings { card, ..Settings::default() });
    watch.run(0, 3, [&[HDG], &[RMC]]);
    let has = |word: &str| watch.seen.iter().filter(|line| line.contains(word)).count();
    assert_eq!(has("HeadingSource"), 1, "{:?}", watch.seen);
    assert_eq!(has("correction: Wire"), 1);
    assert_eq!(has("DeviationConflict"), 1);
    assert_eq!(has("Variation("), 1);
    assert_eq!(has("Steering"), 0);
    let weak = ModelVariation { variation: Variation(Turn::ZERO), sigma: Turn::from_deg(1), horizontal_nt: 5999 };
    let mut said = 0;
    let mut count = |event: Event<'_>| said += i32::from(matches!(event, Event::Notice(Notice::WeakField { .. })));
    watch.monitor.variation(Instant::from_ms(3000), weak, &mut count);
    watch.monitor.variation(Instant::from_ms(4000), weak, &mut count);
    assert_eq!(said, 1);
}

#[test]
fn a_watch_says_what_it_cannot_judge() {
    let mut watch = Watch::new(Settings::default());
    watch.run(0, 40, [&["GPRMC,120000,A,4950.000,N,01130.000,W,0.8,104.0,140726,,,A"], &[HDG]]);
    let status = watch.monitor.status(Instant::from_ms(40_000));
    let judging = |kind: AlertKind| status.judging[kind as usize];
    assert_eq!(judging(AlertKind::OffHeading), Err(Why::NoOrder));
    let Err(why) = judging(AlertKind::HeadingDisagreement) else { panic!() };
    assert_eq!(format!("{why}"), "speed 0.8 kn, course useless below 1.5");
    assert_eq!(judging(AlertKind::InputLost), Ok(()));
    let (course, speed, _) = status.ground.unwrap();
    assert_eq!(course.map(|c| c.0), Some(Bearing::from_deg(104)));
    assert_eq!(speed.as_milliknots(), 801);
}

#[test]
fn a_talker_that_sends_no_heading_from_the_start_is_missed() {
    let mut watch = Watch::new(Settings::default());
    watch.run(0, 40, [&["HCHDG,,,,,"], &[RMC]]);
    assert_eq!(watch.alerts(), ["30 heading-lost active-unacknowledged"]);
}

#[test]
fn a_receiver_without_a_fix_is_missed_after_five_minutes() {
    let mut watch = Watch::new(Settings::default());
    watch.run(0, 320, [&[HDG], &["GPRMC,,V,,,,,,,,,,N"]]);
    assert_eq!(watch.alerts(), ["310 position-lost active-unacknowledged"]);
}

#[test]
fn what_is_switched_off_is_shown_as_such() {
    let mut settings = Settings::default();
    settings.limits[AlertKind::InputLost as usize].disabled = true;
    let mut watch = Watch::new(settings);
    watch.run(0, 60, [&[HDG], &[]]);
    assert!(watch.alerts().is_empty());
    let status = watch.monitor.status(Instant::from_ms(60_000));
    assert_eq!(status.judging[AlertKind::InputLost as usize], Err(Why::Disabled));
}

/// A heading without variation and a position with course and speed, as many a boat sends them.
fn hdg(deg: f64) -> String {
    format!("HCHDG,{:05.1},,,,", deg.rem_euclid(360.0))
}

fn hdt(deg: f64) -> String {
    format!("GPHDT,{:05.1},T", deg.rem_euclid(360.0))
}

fn rmc(knots: f64, course: f64) -> String {
    format!("GPRMC,120000,A,4950.000,N,01130.000,W,{knots:.1},{course:.1},140726,,,A")
}

impl Watch {
    /// As `run`, one second, with sentences made for it.
    fn second(&mut self, s: u64, first: &[String], other: &[String]) {
        let texts = |of: &[String]| of.iter().map(|text| text.clone().leak() as &str).collect::<Vec<_>>();
        self.run(s, s + 1, [&texts(first), &texts(other)]);
    }

    fn steer(&mut self, s: u64, mdeg: i64) {
        let order = crate::picture::Referred {
            bearing: Bearing::from_mdeg(mdeg),
            reference: crate::picture::Reference::Compass,
        };
        self.monitor.order(Instant::from_ms(s * 1000), Command::Steer(order), &mut |_| {});
    }
}

#[test]
fn talkers_at_a_fifth_of_a_hertz_are_not_missed() {
    let settings = Settings { primary: crate::picture::Name::parse("HCHDG"), ..Settings::default() };
    let mut watch = Watch::new(settings);
    for s in 0..400 {
        let now = s % 5 == 0;
        let (heading, ground) = ([hdg(100.0)], [rmc(5.5, 104.0)]);
        watch.second(s, if now { &heading } else { &[] }, if now { &ground } else { &[] });
    }
    assert_eq!(watch.alerts(), [""; 0]);
    assert_eq!(watch.monitor.status(Instant::from_ms(400_000)).judging[AlertKind::OffHeading as usize], Ok(()));
    // Four of its intervals.
    watch.run(400, 440, [&[], &[&rmc(5.5, 104.0)]]);
    assert!(watch.alerts().iter().any(|line| line.starts_with("415 heading-lost")), "{:?}", watch.alerts());
}

#[test]
fn an_order_that_never_rests_does_not_keep_off_heading_from_judging() {
    let mut watch = Watch::new(Settings::default());
    for s in 0..180u64 {
        // A pilot that follows a track trims its own order by tenths all the time.
        watch.steer(s, 100_000 + i64::try_from(s % 7).unwrap() * 200);
        let heading = if s < 60 { 100.0 } else { 130.0 };
        watch.second(s, &[hdg(heading)], &[rmc(5.5, 104.0)]);
    }
    let raised = watch.alerts().into_iter().find(|line| line.contains("off-heading active-unacknowledged"));
    assert!(raised.is_some(), "{:?}", watch.seen);
    let at: u64 = raised.unwrap().split(' ').next().unwrap().parse().unwrap();
    // Twice the limit at once, in no sea at all: it takes the least delay and no more than three times that.
    assert!((63..=69).contains(&at), "at {at}");
}

#[test]
fn off_heading_is_over_when_nothing_is_ordered_any_more() {
    for command in [Command::SteerHand, Command::SteerWind, Command::Cancel] {
        let mut watch = Watch::new(Settings::default());
        watch.steer(0, 100_000);
        watch.run(0, 60, [&[HDG], &[RMC]]);
        watch.run(60, 90, [&["HCHDG,130.0,,,,"], &[RMC]]);
        let last = |watch: &Watch, state: &str| {
            let alerts = watch.seen.iter().rfind(|line| line.contains("off-heading"));
            assert!(alerts.is_some_and(|line| line.contains(state)), "{command:?} {state}: {:?}", watch.seen);
        };
        last(&watch, "off-heading active-unacknowledged");
        let mut states = Vec::new();
        watch.monitor.order(Instant::from_ms(90_000), command, &mut |event| match event {
            Event::Alert(change) if change.kind == AlertKind::OffHeading => states.push(change.state.word()),
            _ => {}
        });
        // Whoever takes the order away has answered: nothing more waits for an answer.
        assert_eq!(states, ["active-acknowledged", "normal"], "{command:?}");
        watch.run(90, 100, [&["HCHDG,130.0,,,,"], &[RMC]]);
        last(&watch, "off-heading active-unacknowledged");
        assert!(watch.monitor.status(Instant::from_ms(100_000)).judging[AlertKind::OffHeading as usize].is_err());
    }
}

#[test]
fn a_second_heading_that_stops_does_not_clear_what_it_raised() {
    let mut watch = Watch::new(Settings::default());
    for s in 0..300 {
        let mut first = std::vec![hdg(100.0)];
        match s {
            0..100 => first.push(hdt(102.0)),
            100..130 => first.push(hdt(114.0)),
            _ => {}
        }
        watch.second(s, &first, &[rmc(5.5, 104.0)]);
    }
    let alerts: Vec<_> = watch.seen.iter().filter(|line| line.contains("disagreement")).collect();
    assert_eq!(alerts.len(), 1, "{alerts:?}");
    let status = watch.monitor.status(Instant::from_ms(300_000));
    assert_ne!(status.judging[AlertKind::HeadingDisagreement as usize], Ok(()));
}

#[test]
fn a_heading_that_comes_late_on_another_source_is_no_longer_lost() {
    let settings = Settings { primary: crate::picture::Name::parse("HCHDG"), ..Settings::default() };
    let mut watch = Watch::new(settings);
    watch.run(0, 40, [&[RMC], &["GPZDA,120000,14,07,2026,00,00"]]);
    watch.run(40, 60, [&[RMC], &[HDG]]);
    let standing = |watch: &Watch, s: u64| {
        let status = watch.monitor.status(Instant::from_ms(s * 1000));
        status.alerts.iter().filter(|a| a.state == State::ActiveUnacknowledged).count()
    };
    assert!(watch.alerts().contains(&"30 heading-lost active-unacknowledged"), "{:?}", watch.alerts());
    assert_eq!(standing(&watch, 60), 0, "{:?}", watch.alerts());
    // Without a name: one talker never has a value, another one comes late.
    let mut watch = Watch::new(Settings::default());
    watch.run(0, 40, [&["HCHDG,,,,,"], &[RMC]]);
    watch.run(40, 60, [&["HCHDG,,,,,", "GPHDT,100.0,T"], &[RMC]]);
    assert!(watch.alerts().contains(&"30 heading-lost active-unacknowledged"), "{:?}", watch.alerts());
    assert_eq!(standing(&watch, 60), 0, "{:?}", watch.alerts());
}

#[test]
fn a_heading_that_was_only_there_for_a_moment_does_not_stay_the_one_that_counts() {
    let mut watch = Watch::new(Settings::default());
    watch.run(0, 12, [&["GPHDT,100.0,T"], &[RMC]]);
    watch.run(12, 30, [&["GPHDT,100.0,T", HDG], &[RMC]]);
    watch.run(30, 120, [&[HDG], &[RMC]]);
    let heading = watch.monitor.status(Instant::from_ms(120_000)).heading.unwrap();
    assert_eq!((format!("{}", heading.origin), heading.stale), ("HCHDG".into(), false), "{:?}", watch.seen);
}

#[test]
fn a_whole_degree_sensor_that_writes_a_decimal_is_not_frozen_in_a_calm() {
    let mut watch = Watch::new(Settings::default());
    for s in 0..400u32 {
        // A seaway, then the lee of the land.
        let heading = if s < 300 { 100.0 + f64::from(s * 7 % 5) } else { 102.0 };
        watch.second(s.into(), &[hdg(heading)], &[rmc(5.5, 104.0)]);
    }
    assert_eq!(watch.alerts(), [""; 0]);
}

#[test]
fn what_is_normal_is_learned_again_after_a_stop() {
    let mut watch = Watch::new(Settings::default());
    for s in 0..300 {
        watch.second(s, &[hdg(100.0 + (s % 3) as f64 * 0.3)], &[rmc(5.5, 112.0)]);
    }
    // Two hours at anchor; then on with the tide that has turned.
    for s in 300..7500 {
        watch.second(s, &[hdg(100.0 + (s % 3) as f64 * 0.3)], &[rmc(0.2, 0.0)]);
    }
    for s in 7500..7800 {
        watch.second(s, &[hdg(100.0 + (s % 3) as f64 * 0.3)], &[rmc(5.5, 88.0)]);
    }
    assert_eq!(watch.alerts(), [""; 0]);
    assert_eq!(watch.monitor.status(Instant::from_ms(7_800_000)).judging[1], Ok(()));
}

#[test]
fn a_damped_second_heading_is_no_contradiction_in_a_quick_tack() {
    let mut watch = Watch::new(Settings::default());
    watch.monitor.order(Instant::from_ms(0), Command::SteerWind, &mut |_| {});
    let (mut heading, mut damped) = (50.0, 50.0);
    for s in 0..900u64 {
        let course = if s / 120 % 2 == 0 { 50.0 } else { 320.0 };
        let left = (course - heading + 540.0_f64).rem_euclid(360.0) - 180.0;
        heading += left.clamp(-9.0, 9.0);
        damped += ((heading - damped + 540.0_f64).rem_euclid(360.0) - 180.0) * 0.3;
        watch.second(s, &[hdg(heading + (s % 3) as f64 * 0.3), hdt(damped)], &[rmc(5.5, heading)]);
    }
    assert_eq!(watch.alerts(), [""; 0]);
}

#[test]
fn a_contradiction_of_true_headings_says_by_how_much() {
    let mut watch = Watch::new(Settings::default());
    let mut by = Vec::new();
    // They are 40 degrees apart from the start, which nobody can tell before variation is known.
    for s in 0..120 {
        watch.second(s, &[hdg(100.0), hdt(140.0)], &[]);
    }
    let model = ModelVariation { variation: Variation(Turn::ZERO), sigma: Turn::from_deg(1), horizontal_nt: 20_000 };
    watch.monitor.variation(Instant::from_ms(120_000), model, &mut |_| {});
    for s in 120..150 {
        watch.second(s, &[hdg(100.0), hdt(140.0)], &[]);
        let alerts = watch.monitor.status(Instant::from_ms(s * 1000)).alerts;
        let apart = alerts.iter().filter(|alert| alert.kind == AlertKind::HeadingDisagreement);
        by.extend(apart.map(|alert| format!("{}", alert.evidence)));
    }
    assert!(by.last().is_some_and(|text| text.contains("40 to starboard")), "{by:?}");
}

#[test]
fn two_sensors_taken_for_one_can_still_contradict_each_other() {
    let mut watch = Watch::new(Settings::default());
    let whole = |deg: f64| deg.round();
    for s in 0..900 {
        // Whole degrees, and alike within a tenth on a slow turn: no copy can be told from that.
        let heading = 100.0 + (s as f64 * 0.4).min(200.0);
        let knocked = if s < 600 { 0.0 } else { 15.0 };
        let other = heading + 0.08 * (heading / 40.0).sin();
        watch.second(s, &[hdg(whole(heading + knocked)), hdt(whole(other))], &[]);
        if s == 590 {
            assert!(watch.seen.iter().any(|line| line.contains("OneSensor")), "{:?}", watch.seen);
        }
    }
    let raised = watch.seen.iter().find(|line| line.contains("disagreement active-unacknowledged"));
    assert!(raised.is_some_and(|line| line.starts_with("6")), "{:?}", watch.seen);
}
