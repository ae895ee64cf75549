//! The judge of the rudder on craft of published steering, on what the sea and a helmsman do, and on faults.
//!
//! The craft is not the simulator's: she obeys the exact solution of Nomoto's first-order model,
//! `T r' + r = K (delta + helm)`, for a rudder that is constant for a tenth of a second.

use lubber_core::alert::AlertKind;
use lubber_core::alert::Evidence;
use lubber_core::alert::Unanswered;
use lubber_core::arbiter::State;
use lubber_core::monitor::Event;
use lubber_core::monitor::Monitor;
use lubber_core::monitor::Settings;
use lubber_core::picture::SourceId;
use lubber_core::time::Instant;

const STEP_S: f64 = 0.1;

/// Speed in m/s, K in 1/s, T in s, and the bandwidth her pilot is set to in rad/s.
#[derive(Clone, Copy, Debug)]
struct Craft {
    speed: f64,
    k: f64,
    t: f64,
    bandwidth: f64,
}

/// K and T: J. van Amerongen, *Adaptive Steering of Ships*, Delft 1982, as cited in the teaching code MSS of T. I.
/// Fossen's textbook: a recreational craft of 45 m. Bandwidths chosen.
const CRAFT_45_M: [Craft; 4] = [
    Craft { speed: 2.0, k: 0.15, t: 33.0, bandwidth: 0.07 },
    Craft { speed: 4.0, k: 0.37, t: 33.0, bandwidth: 0.1 },
    Craft { speed: 5.0, k: 0.50, t: 31.0, bandwidth: 0.1 },
    Craft { speed: 6.2, k: 0.83, t: 43.0, bandwidth: 0.1 },
];
/// No source: boats of 7 to 12 m, quick and slow on the helm.
const YACHTS: [Craft; 3] = [
    Craft { speed: 3.1, k: 0.4, t: 1.5, bandwidth: 0.45 },
    Craft { speed: 2.6, k: 0.25, t: 3.0, bandwidth: 0.3 },
    Craft { speed: 4.0, k: 1.0, t: 1.0, bandwidth: 0.6 },
];

/// What is set from outside, and may change at each step.
#[derive(Clone, Copy, Debug)]
struct Affairs {
    ordered_deg: f64,
    /// Rudder held by hand; else the pilot steers.
    by_hand: Option<f64>,
    /// What turns her beside the rudder, in degrees of rudder.
    helm_deg: f64,
    /// Yaw of the sea: amplitude in degrees, and period in seconds.
    yaw_deg: f64,
    yaw_s: f64,
    sensor_reversed: bool,
    /// The rudder trails amidships; its drive and its sensor do not know.
    parted: bool,
    astern: bool,
}

const FAIR: Affairs = Affairs {
    ordered_deg: 90.0,
    by_hand: None,
    helm_deg: 3.0,
    yaw_deg: 1.0,
    yaw_s: 7.0,
    sensor_reversed: false,
    parted: false,
    astern: false,
};

/// When rudder-unanswered was raised anew, in seconds, and how; when it was over; and how long it was judged.
#[derive(Debug, Default)]
struct Heard {
    raised: Vec<(u64, Unanswered)>,
    over: Vec<u64>,
    judged_s: u64,
}

/// Sails for so many seconds under a watch; `affairs` says what is at each second and is told her heading.
fn sail(craft: Craft, seconds: u64, mut affairs: impl FnMut(f64, f64) -> Affairs) -> Heard {
    let mut heard = Heard::default();
    let mut monitor = Monitor::new(Instant::from_ms(0), Settings { source_count: 1, ..Settings::default() });
    let Craft { speed, k, t, bandwidth } = craft;
    // Gains by placing both poles at the bandwidth, critically damped: Kp = T w^2 / K, Kd = (2 w T - 1) / K,
    // Ti = 10 / w, the textbook's form.
    let (kp, kd) = (t * bandwidth * bandwidth / k, (2.0 * bandwidth * t - 1.0) / k);
    let (mut psi, mut r, mut rudder, mut trim, mut filtered) = (90.0_f64, 0.0_f64, 0.0_f64, 0.0_f64, 0.0_f64);
    let mut before = psi;
    let fold = |deg: f64| deg - 360.0 * (deg / 360.0).round();
    let mut noise = 1_u64;
    for step in 0..seconds * 10 {
        let now_s = step as f64 * STEP_S;
        let is = affairs(now_s, before);
        // Two swells that beat, so that the sea is not one sine.
        let wave = |period: f64| (now_s / period * std::f64::consts::TAU).sin();
        let psi_shown = psi + is.yaw_deg * 0.7 * (wave(is.yaw_s) + 0.6 * wave(is.yaw_s * 0.83));
        let rate = fold(psi_shown - before) / STEP_S;
        before = psi_shown;
        // What the pilot takes for her turn is filtered by a twentieth of her time constant and at least half a second.
        filtered += (rate - filtered) * STEP_S / (0.5 + t / 20.0);
        let error = fold(is.ordered_deg - psi_shown);
        if error.abs() < 8.0 {
            trim = (trim + kp * bandwidth / 10.0 * error * STEP_S).clamp(-10.0, 10.0);
        }
        let wanted = is.by_hand.unwrap_or((kp * error - kd * filtered + trim).clamp(-25.0, 25.0));
        rudder += (wanted - rudder).clamp(-6.0 * STEP_S, 6.0 * STEP_S);
        let sense = if is.astern { -1.0 } else { 1.0 };
        let settled = sense * k * (if is.parted { 0.0 } else { rudder } + is.helm_deg);
        // Exact for a rudder that stands for the step.
        let decay = (-STEP_S / t).exp();
        psi += settled * STEP_S + (r - settled) * t * (1.0 - decay);
        r = settled + (r - settled) * decay;
        if step % 5 == 0 {
            noise = noise.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
            let heading = (psi_shown + (noise >> 40) as f64 / f64::from(1 << 24) * 0.4).rem_euclid(360.0);
            let says = if is.sensor_reversed { -rudder } else { rudder };
            let knots = speed / 0.514_444;
            let track = if is.astern { heading + 180.0 } else { heading }.rem_euclid(360.0);
            let mut bodies = vec![format!("HCHDG,{heading:.1},0.0,E,0.0,E"), format!("IIRSA,{says:.1},A,,V")];
            if step % 10 == 0 {
                bodies.push(format!("VWVHW,,T,,M,{knots:.2},N,,K"));
                bodies.push(format!("GPVTG,{track:.1},T,,M,{knots:.2},N,,K,A"));
                if is.by_hand.is_none() {
                    let side = if wanted < 0.0 { 'L' } else { 'R' };
                    bodies.push(format!(
                        "APHTD,V,{:.1},{side},S,N,,,,,{:.1},,,M,A,,,{heading:.1}",
                        wanted.abs(),
                        is.ordered_deg.rem_euclid(360.0)
                    ));
                }
            }
            let now = Instant::from_ms(step * 100);
            let mut hear = |event: Event<'_>| {
                let Event::Alert(change) = event else { return };
                let Evidence::RudderUnanswered { how, rudder, turns, .. } = change.evidence else { return };
                let at_s = change.at.as_ms() / 1000;
                if matches!(change.state, State::Normal | State::RectifiedUnacknowledged) {
                    heard.over.push(at_s);
                } else if heard.raised.len() == heard.over.len() {
                    heard.raised.push((at_s, how));
                    // It says what it saw: rudder one way, turn the other.
                    let (rudder, turns) = (rudder.as_mdeg(), turns.as_centideg_per_min());
                    assert!(how != Unanswered::WrongWay || rudder.signum() * turns.signum() < 0, "{rudder} {turns}");
                }
            };
            for body in bodies {
                let sum = body.bytes().fold(0, |sum, byte| sum ^ byte);
                monitor.bytes(now, SourceId(0), format!("${body}*{sum:02X}\r\n").as_bytes(), &mut hear);
            }
            while monitor.wake_at() <= now {
                let wake = monitor.wake_at();
                monitor.tick(wake, &mut hear);
            }
            if step % 10 == 0 {
                let judging = monitor.status(now).judging[AlertKind::RudderUnanswered as usize];
                heard.judged_s += u64::from(judging.is_ok());
            }
        }
    }
    heard
}

/// 40 degrees to and fro, every four minutes.
fn orders(now_s: f64) -> f64 {
    if ((now_s / 240.0) as u64).is_multiple_of(2) { 90.0 } else { 130.0 }
}

/// Every craft, with the yaw of a sea that she would feel: the long ones less.
fn all() -> impl Iterator<Item = (Craft, f64)> {
    CRAFT_45_M.into_iter().map(|craft| (craft, 0.3)).chain(YACHTS.map(|craft| (craft, 2.0)))
}

/// Ordered by 40 degrees to and fro, and by 100 degrees, on either helm: she answers.
#[test]
fn craft_that_answer_are_no_alert() {
    for (craft, yaw_deg) in all() {
        for (helm_deg, turn) in [(-4.0, 40.0), (4.0, 100.0), (-4.0, 100.0)] {
            let ordered = |now_s| if orders(now_s) > 100.0 { 90.0 + turn } else { 90.0 };
            let heard =
                sail(craft, 3600, |now_s, _| Affairs { ordered_deg: ordered(now_s), helm_deg, yaw_deg, ..FAIR });
            assert!(heard.judged_s > 3500, "{craft:?}: judged {} s", heard.judged_s);
            assert_eq!(heard.raised, [], "{craft:?} helm {helm_deg} turn {turn}");
        }
    }
}

/// The sensor turns its sign 20 s before a turn, whether she is known by then or not. Either helm changes its side by
/// that. A yacht is found by the second turn; a craft of 45 m answers so slowly that it may take the fourth.
#[test]
fn a_sensor_reversed_under_way_is_found_by_the_next_turns() {
    for (craft, yaw_deg) in all() {
        for helm_deg in [-4.0, 4.0] {
            for after_s in [700, 3580] {
                let heard = sail(craft, after_s + 900, |now_s, _| {
                    let sensor_reversed = now_s >= after_s as f64;
                    let ordered_deg = if after_s > 1000 || sensor_reversed { orders(now_s) } else { 90.0 };
                    Affairs { ordered_deg, helm_deg, yaw_deg, sensor_reversed, ..FAIR }
                });
                println!("{craft:?} helm {helm_deg} after {after_s} s: {:?}", heard.raised);
                let (at_s, how) = *heard.raised.first().expect("missed");
                assert_eq!(how, Unanswered::WrongWay);
                let turns = if craft.t > 10.0 { 4 } else { 2 };
                assert!(
                    (after_s..after_s + 20 + 240 * (turns - 1) + 60).contains(&at_s),
                    "{craft:?} {helm_deg}: {at_s}"
                );
            }
        }
    }
}

/// When the sensor is right again, the next turn says so; and an hour without an answer was not learned for one.
#[test]
fn a_fault_of_an_hour_is_over_with_the_next_turn_and_was_not_learned() {
    for craft in YACHTS {
        for sensor in [true, false] {
            let heard = sail(craft, 9600, |now_s, _| {
                let fault = (3580.0..7180.0).contains(&now_s);
                Affairs {
                    ordered_deg: orders(now_s),
                    yaw_deg: 2.0,
                    sensor_reversed: sensor && fault || now_s >= 9000.0,
                    parted: !sensor && fault,
                    ..FAIR
                }
            });
            println!("{craft:?} {sensor}: {:?} {:?}", heard.raised, heard.over);
            assert!((3580..4180).contains(&heard.raised[0].0), "{craft:?} {sensor}: {heard:?}");
            let (over, again) = (heard.over.last().copied(), heard.raised.last().copied());
            assert!(over.is_some_and(|over| (3580..8000).contains(&over)), "{craft:?} {sensor}: {heard:?}");
            assert!(again.is_some_and(|(again, _)| (9000..9500).contains(&again)), "{craft:?} {sensor}: {heard:?}");
        }
    }
}

/// A quartering sea yaws her by some 15 degrees, and the helm works against it: by pilot, and by hand a second late.
#[test]
fn a_quartering_sea_is_no_alert() {
    for craft in YACHTS {
        for yaw_s in [6.0, 8.0, 10.0, 13.0] {
            let by_pilot =
                sail(craft, 3600, |now_s, _| Affairs { ordered_deg: orders(now_s), yaw_deg: 12.0, yaw_s, ..FAIR });
            let mut shown = [90.0_f64; 10];
            let by_hand = sail(craft, 3600, |now_s, heading| {
                shown.rotate_right(1);
                shown[0] = heading;
                let rudder = (0.6 * (orders(now_s) - shown[9]) - 0.8 * (shown[0] - shown[9])).clamp(-25.0, 25.0);
                Affairs { by_hand: Some(rudder - 3.0), yaw_deg: 12.0, yaw_s, ..FAIR }
            });
            assert_eq!((by_pilot.raised, by_hand.raised), (vec![], vec![]), "{craft:?} every {yaw_s} s");
        }
    }
}

/// She broaches: a breaking sea throws her for six seconds with the rudder hard against it, at times just as a course
/// is ordered.
#[test]
fn a_broach_is_no_alert() {
    for craft in YACHTS {
        for every_s in [300.0, 900.0] {
            for side in [-1.0, 1.0] {
                let heard = sail(craft, 7200, |now_s, _| {
                    let thrown = now_s % every_s > every_s - 6.0;
                    let helm_deg = if thrown { 32.0 * side } else { 3.0 * side };
                    Affairs { ordered_deg: orders(now_s), helm_deg, yaw_deg: 3.0, ..FAIR }
                });
                assert_eq!(heard.raised, [], "{craft:?} every {every_s} s, {side}");
            }
        }
    }
}

/// Astern the rudder works the other way, and the ground says that she goes astern.
#[test]
fn going_astern_is_not_judged() {
    let heard = sail(YACHTS[0], 3600, |now_s, _| Affairs {
        astern: now_s > 1200.0,
        by_hand: Some(if ((now_s / 20.0) as u64).is_multiple_of(2) { -15.0 } else { 9.0 }),
        ..FAIR
    });
    assert_eq!(heard.raised, []);
    assert!((1000..1300).contains(&heard.judged_s), "{heard:?}");
}

/// Under two knots there is no steerage way.
#[test]
fn drifting_is_not_judged() {
    let slow = Craft { speed: 0.9, k: 0.02, t: 8.0, bandwidth: 0.1 };
    let heard = sail(slow, 3600, |now_s, _| Affairs { ordered_deg: orders(now_s), yaw_deg: 4.0, ..FAIR });
    assert_eq!((heard.raised.len(), heard.judged_s), (0, 0), "{heard:?}");
}
