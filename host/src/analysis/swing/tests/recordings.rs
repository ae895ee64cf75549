//! Real days of a keelboat on Lake Geneva, where they lie beside the project.

use std::path::PathBuf;

use crate::analysis::swing::Collector;
use crate::analysis::swing::Refusal;
use crate::analysis::swing::Settings;
use crate::analysis::swing::Swing;
use crate::analysis::swing::Verdict;
use crate::analysis::swing::analyse;

/// The text of a day, or `None` with one line said where the recordings are absent.
fn day(name: &str) -> Option<String> {
    let folder = PathBuf::from(concat!(env!("CARGO_MANIFEST_DIR"), "/../../shared/recordings/keelboat"));
    match std::fs::read(folder.join(name)) {
        Ok(bytes) => Some(String::from_utf8_lossy(&bytes).into_owned()),
        Err(_) => {
            println!("skipped: no recording {name} beside the project");
            None
        }
    }
}

/// The fields of a line whose checksum holds.
fn fields(line: &str) -> Option<Vec<&str>> {
    let (body, sum) = line.trim_end().strip_prefix('$')?.split_once('*')?;
    let right = body.bytes().fold(0, |sum, byte| sum ^ byte);
    (u8::from_str_radix(sum, 16) == Ok(right)).then(|| body.split(',').collect())
}

enum Seen {
    Heading(f64),
    Ground(f64, f64),
}

/// Plays a day; headings take their time from the RMC about them, by their place between.
fn play(text: &str, collector: &mut Collector, injected: impl Fn(f64) -> f64) {
    let mut waiting: Vec<Seen> = Vec::new();
    let mut before: Option<f64> = None;
    for line in text.lines() {
        let Some(fields) = fields(line) else { continue };
        let number = |at: usize| fields.get(at).and_then(|field| field.parse::<f64>().ok());
        match fields[0] {
            "IIHDG" => waiting.extend(number(1).map(|h| Seen::Heading((h - injected(h)).rem_euclid(360.0)))),
            "IIRMC" if fields.get(2) == Some(&"A") => {
                let (Some(clock), Some(knots), Some(course)) = (number(1), number(7), number(8)) else { continue };
                let (h, m, s) = ((clock / 1e4).floor(), (clock / 100.0).floor() % 100.0, clock % 100.0);
                let now = 3600.0 * h + 60.0 * m + s;
                let from = before.filter(|b| now - b <= 5.0 && now >= *b).unwrap_or(now - 1.0);
                let count = waiting.len() as f64;
                for (at, seen) in waiting.drain(..).enumerate() {
                    let t = from + (now - from) * (at as f64 + 1.0) / (count + 1.0);
                    match seen {
                        Seen::Heading(h) => collector.heading(t, h),
                        Seen::Ground(speed, course) => collector.course(from, speed, course),
                    }
                }
                waiting.push(Seen::Ground(knots * 1852.0 / 3600.0, course));
                before = Some(now);
            }
            _ => {}
        }
    }
}

fn fitted(names: &[&str], injected: impl Fn(f64) -> f64) -> Option<Result<Swing, Refusal>> {
    let mut collector = Collector::new();
    for name in names {
        play(&day(name)?, &mut collector, &injected);
        collector.next_log();
    }
    let settings = Settings { variation_deg: 1.5, variation_sigma_deg: 0.4, ..Settings::default() };
    Some(analyse(&collector.finish(), &settings))
}

fn line(name: &str, found: &Result<Swing, Refusal>) {
    match found {
        Ok(s) => {
            let c = s.coefficients;
            println!(
                "{name}: {} port {} stbd; A {:.1}+-{:.1} B {:.1}+-{:.1} C {:.1}+-{:.1} D {:.1}+-{:.1} E {:.1}+-{:.1}; rms {:.1}, {:.1} kn, lag {:?}, {}: {:?}",
                s.circles.port, s.circles.starboard,
                c.a.deg, c.a.sigma_deg, c.b.deg, c.b.sigma_deg, c.c.deg, c.c.sigma_deg, c.d.deg, c.d.sigma_deg, c.e.deg, c.e.sigma_deg,
                s.residual_rms_deg, s.speed_kn.value, s.lag_s, s.verdict, s.reasons
            );
        }
        Err(refusal) => println!("{name}: {refusal}"),
    }
}

const DAYS: [&str; 13] = [
    "2008-05-21_0000.nmea",
    "2008-05-28_0000.nmea",
    "2008-06-26_0000.nmea",
    "2014-06-11_0048.nmea",
    "2014-06-18_0001.nmea",
    "2014-06-19_0002.nmea",
    "2014-06-19_0003.nmea",
    "2014-06-20_0005.nmea",
    "2014-06-25_0006.nmea",
    "2014-06-27_0000.nmea",
    "2014-06-27_0001.nmea",
    "2014-06-28_0000.nmea",
    "2014-06-29_0001.nmea",
];

#[test]
fn every_day_is_fitted_or_refused() {
    for name in DAYS {
        let Some(found) = fitted(&[name], |_| 0.0) else { return };
        line(name, &found);
    }
    let Some(found) = fitted(&DAYS[3..], |_| 0.0) else { return };
    line("2014", &found);
}
