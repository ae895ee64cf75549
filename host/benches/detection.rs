//! How the watch detects: false alerts over quiet days, and how soon each fault is found.
//!
//! Not a timing: it prints a table of log time. `cargo bench --bench detection` sails 100 quiet
//! days and 200 of each fault; `cargo bench --bench detection -- 5 20` sails 5 and 20, and a third number is
//! the first of the days. The seeds
//! are not the ones of the tests.

#[path = "../../tests/common/passage.rs"]
mod passage;

use lubber::simulate::Event;
use lubber::simulate::Happening;
use lubber::simulate::Second;
use lubber::simulate::Settings as Boat;
use lubber::simulate::Steering;
use lubber_core::alert::AlertKind;
use lubber_core::arbiter::State;
use lubber_core::picture::Command;
use passage::at;
use passage::boat;
use passage::sail;

const DAY_MS: u64 = 86_400_000;

fn main() {
    let numbers: Vec<u64> = std::env::args().skip(1).filter_map(|arg| arg.parse().ok()).collect();
    let (days, faults) = (numbers.first().copied().unwrap_or(100), numbers.get(1).copied().unwrap_or(200));
    quiet(numbers.get(2).copied().unwrap_or(0), days);
    if faults == 0 {
        return;
    }
    println!();
    println!("{:<44} {:>6} {:>7} {:>7} {:>7}", "fault (seconds of log time)", "missed", "median", "90 %", "worst");
    let error = |seed: u64| if seed.is_multiple_of(2) { 15.0 } else { -15.0 };
    for (name, second) in [("GPS only", Second::None), ("two headings", Second::Independent)] {
        fault(
            &format!("false compass 15 deg over 20 s, {name}"),
            faults,
            second,
            AlertKind::HeadingDisagreement,
            7.5,
            |s| Happening::FalseCompass { error_deg: error(s), over_ms: 20_000 },
        );
        fault(
            &format!("creeping compass 0.06 deg/s, {name}"),
            faults / 4,
            second,
            AlertKind::HeadingDisagreement,
            0.0,
            |s| Happening::FalseCompass { error_deg: error(s) * 4.0, over_ms: 1_000_000 },
        );
    }
    fault("pilot lets go, from the limit", faults, Second::None, AlertKind::OffHeading, 15.0, |_| {
        Happening::PilotLetsGo
    });
    fault("heading lost", faults, Second::None, AlertKind::HeadingLost, 0.0, |_| Happening::HeadingLost);
    fault("heading frozen, pilot steers by it", faults, Second::None, AlertKind::HeadingFrozen, 0.0, |_| {
        Happening::HeadingFrozen
    });
    fault("position lost", faults / 4, Second::None, AlertKind::PositionLost, 0.0, |_| Happening::GpsLost);
}

/// Days of every kind of steering, in seas up to 3.5 degrees rms of yaw, with nothing wrong.
fn quiet(from: u64, days: u64) {
    let mut false_alerts = Vec::new();
    let mut judged = 0;
    for day in from..from + days {
        let second = [Second::None, Second::Copy, Second::Independent][(day % 3) as usize];
        let mut quiet = boat(50_000 + day, second);
        quiet.length_ms = DAY_MS;
        let by_wind = day % 4 == 3;
        let command = by_wind.then_some(Command::SteerWind);
        if by_wind {
            quiet.steering = Steering::Wind(45.0);
        }
        // Something every 20 to 60 minutes: a tack, or a new course up to 120 degrees away.
        let mut course = 135.0;
        let mut when = 0;
        for n in 0u64.. {
            let mixed = (day * 1000 + n).wrapping_mul(0x9e37_79b9_7f4a_7c15) >> 20;
            when += 1_200_000 + mixed % 2_400_000;
            if when >= DAY_MS {
                break;
            }
            course = (course + (mixed / 7 % 241) as f64 - 120.0_f64).rem_euclid(360.0);
            let happening = if by_wind { Happening::Tack } else { Happening::Order(course) };
            quiet.events.push(at(when, happening));
        }
        let passage = sail(quiet, command, |_| false);
        judged += passage.judged_s[AlertKind::HeadingDisagreement as usize];
        false_alerts.extend(passage.raised.into_iter().map(|(ms, kind, text)| (day, ms / 1000, kind, text)));
    }
    // The 95 % upper bound of a Poisson rate after none: ln 20 = 3.0; after n, by Wilson and Hilferty.
    let n = false_alerts.len() as f64;
    let z = 1.645;
    let bound = (n + 1.0) * (1.0 - 1.0 / (9.0 * (n + 1.0)) + z / (3.0 * (n + 1.0).sqrt())).powi(3);
    println!("quiet days: {days}; false alerts: {n}; 95 % bound {:.3} a day", bound / days as f64);
    println!("heading-disagreement judged {:.1} % of the time", judged as f64 / (days * 864) as f64);
    for (day, s, kind, text) in false_alerts {
        println!("  day {day} second {s}: {kind}: {text}");
    }
}

/// Each fault once a seed at ten minutes; delays from the moment the heading has turned by `from_deg`.
fn fault(name: &str, count: u64, second: Second, kind: AlertKind, from_deg: f64, happening: impl Fn(u64) -> Happening) {
    let fault_ms = 600_000;
    let mut delays: Vec<f64> = Vec::new();
    let mut others = 0;
    for seed in 0..count {
        let mut faulty: Boat = boat(80_000 + seed, second);
        faulty.length_ms = fault_ms + 1_200_000;
        faulty.events = vec![Event { lasts_ms: None, ..at(fault_ms, happening(seed)) }];
        let passage = sail(faulty, None, |c| c.kind == kind && c.state == State::ActiveUnacknowledged);
        others += passage.raised.iter().filter(|(ms, k, _)| *k != kind && *ms < fault_ms).count();
        if let Some(found) = passage.first(kind, fault_ms) {
            let from = if from_deg > 0.0 { passage.turned_at(fault_ms, from_deg).unwrap_or(found) } else { fault_ms };
            delays.push((found as f64 - from as f64) / 1000.0);
        }
    }
    delays.sort_by(f64::total_cmp);
    let at =
        |part: f64| delays.get(((delays.len() as f64 * part).ceil() as usize).max(1) - 1).copied().unwrap_or(f64::NAN);
    println!(
        "{name:<44} {:>6} {:>7.1} {:>7.1} {:>7.1}{}",
        count as usize - delays.len(),
        at(0.5),
        at(0.9),
        at(1.0),
        if others > 0 { format!("  ({others} other alerts before the fault)") } else { String::new() }
    );
}
