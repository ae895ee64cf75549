//! Generated logs, read by us and by two published parsers: nmea-kit 0.8.9 and nmea 0.8.0.
//!
//! Where both decode a line, every value must be the same or the difference must be one of those
//! listed below with its reason. A reason that no longer occurs fails the test as well, and so does
//! a formatter of which too few values were compared.

#[path = "differential/generated.rs"]
mod generated;
#[path = "differential/kit.rs"]
mod kit;
#[path = "differential/nmea8.rs"]
mod nmea8;
#[path = "differential/ours.rs"]
mod ours;
mod reading;

use std::collections::BTreeMap;

use lubber_core::sentence::Defect;
use lubber_core::sentence::Field;

/// Values by name, as integers: millidegrees, millimetres a second, degrees times ten million,
/// milliseconds, days, or plain counts.
type Values<T> = Vec<(&'static str, T)>;

/// Why a difference stands: our state and their value, by name and formatter.
type Excuse = fn(formatter: &str, name: &str, ours: Field<i64>, theirs: Option<i64>) -> Option<&'static str>;

const LINES: u64 = 30_000;

fn compare(theirs: fn(&str) -> Option<Values<Option<i64>>>, formatters: &[&str], excuse: Excuse, reasons: &[&str]) {
    let mut agreed: BTreeMap<String, u64> = BTreeMap::new();
    let mut excused: BTreeMap<&str, u64> = BTreeMap::new();
    let mut only_one = 0;
    let mut log = generated::Log::new(0x005E_A51C);
    for _ in 0..LINES {
        let text = log.line();
        let formatter = text[3..6].to_owned();
        if !formatters.contains(&formatter.as_str()) {
            continue;
        }
        reading::one(&text, |_, got| {
            let (Ok(got), Some(theirs)) = (got, theirs(&text)) else {
                only_one += 1;
                return;
            };
            let ours = ours::values(&got.sentence);
            for (name, their) in theirs {
                let (_, our) = ours.iter().find(|(n, _)| *n == name).unwrap_or_else(|| panic!("{formatter} {name}"));
                if same(name, our.known(), their) {
                    *agreed.entry(formatter.clone()).or_default() += 1;
                } else if let Some(reason) = excuse(&formatter, name, *our, their) {
                    *excused.entry(reason).or_default() += 1;
                } else {
                    panic!("{text}: {name} is {our:?} here and {their:?} there");
                }
            }
        });
    }
    println!("agreed {agreed:?}\nexcused {excused:#?}\nread by one alone or by none: {only_one}");
    for formatter in formatters {
        let count = agreed.get(*formatter).copied().unwrap_or(0);
        assert!(count > 900, "{formatter}: only {count} values were compared");
    }
    assert_eq!(excused.keys().copied().collect::<Vec<_>>(), reasons, "the exceptions that occur");
}

/// Equal, but for the last digit of a position: theirs are divided in floating point.
fn same(name: &str, ours: Option<i64>, theirs: Option<i64>) -> bool {
    match (ours, theirs) {
        (Some(a), Some(b)) if name == "lat" || name == "lon" => (a - b).abs() <= 1,
        (a, b) => a == b,
    }
}

const NO_STATUS: &str = "statuses and modes are left to the caller";
const NO_LETTER: &str = "a letter that is missing is not looked at";
const NO_RANGE: &str = "numbers have no range";
const NO_UNIT: &str = "a unit letter that is wrong is not looked at";

/// What both crates do: they hand the digits over and judge nothing.
fn unjudged(ours: Field<i64>, theirs: Option<i64>) -> Option<&'static str> {
    match (ours, theirs) {
        (Field::Unusable(Defect::MarkedInvalid), Some(_)) => Some(NO_STATUS),
        (Field::Unusable(Defect::HalfPresent), Some(_)) => Some(NO_LETTER),
        (Field::Unusable(Defect::OutOfRange), Some(_)) => Some(NO_RANGE),
        (Field::Unusable(Defect::UnknownLetter), Some(_)) => Some(NO_UNIT),
        _ => None,
    }
}

#[test]
fn nmea_kit() {
    const ZONE: &str = "the minus of a zone of less than an hour is lost";
    let formatters = [
        "HDG", "HDM", "HDT", "THS", "ROT", "RSA", "VHW", "VTG", "RMC", "GGA", "GLL", "GNS", "ZDA", "MWV", "MWD", "HSC",
    ];
    compare(
        kit::values,
        &formatters,
        |formatter, name, ours, theirs| match (formatter, name, ours, theirs) {
            // `-00` is read as the number 0, and the minutes are then counted the wrong way.
            ("ZDA", "zone", Field::Known(a), Some(b)) if a == -b && a.abs() < 60 => Some(ZONE),
            _ => unjudged(ours, theirs),
        },
        &[NO_LETTER, NO_UNIT, NO_RANGE, NO_STATUS, ZONE],
    );
}

#[test]
fn nmea_0_8() {
    const KMH: &str = "VTG with km/h alone has no speed: the grammar misses the comma before it";
    const CENTURY: &str = "two-digit years 70 to 82 are read as 2070 to 2082";
    let formatters = ["HDT", "VHW", "VTG", "RMC", "GGA", "GLL", "GNS", "ZDA", "MWV"];
    compare(
        nmea8::values,
        &formatters,
        |formatter, name, ours, theirs| match (formatter, name, ours, theirs) {
            ("VTG", "speed", Field::Known(_), None) => Some(KMH),
            ("RMC", "date", Field::Known(a), Some(b)) if b - a == 36_525 => Some(CENTURY),
            _ => unjudged(ours, theirs),
        },
        &[KMH, NO_RANGE, NO_STATUS, CENTURY],
    );
}
