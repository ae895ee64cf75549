//! The watch over the invented boat: the demo's night, quiet hours, and each fault.

#[path = "common/passage.rs"]
mod passage;

use lubber::simulate::Happening;
use lubber::simulate::Second;
use lubber::simulate::Settings as Boat;
use lubber_core::alert::AlertKind;
use lubber_core::arbiter::State;
use passage::at;
use passage::boat;
use passage::sail;

#[test]
fn the_demo_night() {
    let night = sail(Boat::demo(), None, |_| false);
    let seen: Vec<String> =
        night.raised.iter().map(|(ms, kind, text)| format!("{} {kind}: {text}", ms / 1000)).collect();
    let kinds: Vec<AlertKind> = night.raised.iter().map(|r| r.1).collect();
    assert_eq!(
        kinds,
        [AlertKind::HeadingDisagreement, AlertKind::OffHeading, AlertKind::PositionLost, AlertKind::InputDamaged],
        "{seen:#?}"
    );
    // The compass turns false at 900 s; the boat has turned by half of it some 10 s later.
    let half = night.turned_at(900_000, 7.5).unwrap();
    assert!(night.raised[0].0 <= half + 45_000, "{seen:#?}");
}

#[test]
fn quiet_hours() {
    for (seed, second) in [(1001, Second::None), (1002, Second::Copy), (1003, Second::Independent)] {
        let mut quiet = boat(seed, second);
        quiet.length_ms = 4 * 3_600_000;
        quiet.waters.yaw_rms_deg = 3.5;
        let turns = [30.0, 310.0, 80.0, 200.0, 190.0, 5.0, 355.0];
        quiet.events = (1..).zip(turns).map(|(n, course)| at(n * 1_900_000, Happening::Order(course))).collect();
        let hours = sail(quiet, None, |_| false);
        assert_eq!(hours.raised, [], "seed {seed}");
        // It was not quiet because nothing was judged.
        let off = hours.judged_s[AlertKind::OffHeading as usize];
        let disagreement = hours.judged_s[AlertKind::HeadingDisagreement as usize];
        assert!(off > 14_000 && disagreement > 13_000, "judged {off} s and {disagreement} s of 14400");
    }
}

#[test]
fn each_fault_is_found() {
    for seed in 2001..2007 {
        let second = if seed % 2 == 0 { Second::Independent } else { Second::None };
        let sign = if seed % 4 < 2 { 1.0 } else { -1.0 };
        let fault = 600_000;
        let run = |kind: AlertKind, happening: Happening| {
            let mut faulty = boat(seed, second);
            faulty.length_ms = fault + 240_000;
            faulty.events = vec![at(fault, happening)];
            sail(faulty, None, |c| c.kind == kind && c.state == State::ActiveUnacknowledged)
        };
        let kind = AlertKind::HeadingDisagreement;
        let false_compass = run(kind, Happening::FalseCompass { error_deg: 15.0 * sign, over_ms: 20_000 });
        let found = false_compass.first(kind, fault).unwrap();
        let half = false_compass.turned_at(fault, 7.5).unwrap_or(found);
        let allowed = if second == Second::None { 45_000 } else { 15_000 };
        assert!(found <= half + allowed, "seed {seed}: {} s after half", (found - half) / 1000);

        let let_go = run(AlertKind::OffHeading, Happening::PilotLetsGo);
        let found = let_go.first(AlertKind::OffHeading, fault).unwrap();
        let passed = let_go.turned_at(fault, 15.0).unwrap();
        assert!(found <= passed + 20_000, "seed {seed}: {} s after the limit", (found - passed) / 1000);
    }
}
