//! `lubber swing sun`, `swing bearings`, `card compare` and `card plot`, the whole program.
//!
//! The boats are invented and their truth is known; published azimuths and swings are in
//! `host/src/analysis`.

#[path = "common/swing.rs"]
mod common;

use std::fs;

use common::TRUTH;
use common::against;
use common::fixture;
use common::folder;
use common::json;
use common::says;

#[test]
fn the_sun_and_a_lighthouse_give_the_same_card() {
    let folder = folder("sights");
    for (verb, file) in [("sun", "sights-sun.toml"), ("bearings", "sights-bearings.toml")] {
        let report = json(&folder, &["swing", verb, &fixture(file)]);
        let (held, error) = against(&report, TRUTH);
        println!("{verb}: {held} of 36 rows hold the truth; error {error:.2} deg rms");
        // Read to whole degrees: 0.3 degrees rms each, eight of them, five unknowns.
        assert!(held == 36 && error <= 0.4, "{verb}: {held} {error}");
        assert_eq!((&report["reference"], &report["verdict"]), (&verb.into(), &"good".into()));
        assert_eq!(report["sensor"], "HCHDG");
    }
    let (text, _) = says(&folder, &["swing", "sun", &fixture("sights-sun.toml"), "--out", "card.toml"], 0);
    assert!(text.starts_with("good") && text.contains("by the sun"));
    assert!(fs::read_to_string(folder.join("card.toml")).unwrap().contains("boat = \"Curlew\""));
}

#[test]
fn sights_that_cannot_be_used_are_refused_with_their_line() {
    let folder = folder("sights-refused");
    let sun = fs::read_to_string(fixture("sights-sun.toml")).unwrap();
    let refused = |name: &str, text: &str, expected: &str| {
        fs::write(folder.join(name), text).unwrap();
        let (_, error) = says(&folder, &["swing", "sun", name], 2);
        assert!(error.contains(expected), "{name}: {error}");
    };
    refused("typo.toml", &sun.replacen("compass = 47", "compas = 47", 1), "typo.toml:9: unknown key \"compas\"");
    refused("night.toml", &sun.replace("at = 07:", "at = 01:"), "below the horizon");
    refused("noon.toml", &sun.replace("at = 07:", "at = 12:"), "observe in the morning or the evening");
    let few: Vec<&str> =
        sun.lines().filter(|line| !line.contains("at = 07:1") && !line.contains("at = 07:2")).collect();
    refused("few.toml", &few.join("\n"), "3 sights do not determine a curve");
    let no_compass = sun.replacen("compass = 47, ", "", 1);
    refused("none.toml", &no_compass, "none.toml:9: compass is missing");
    // The log tells it, where it holds that time.
    let log = fixture("swing.nmea");
    let (_, error) = says(&folder, &["swing", "sun", "none.toml", "--log", &log], 2);
    assert!(error.contains("none.toml:9: the log has no heading of HCHDG"), "{error}");
    let in_log = no_compass.replace("at = 07:", "at = 08:").replacen("at = 08:05:20", "at = 08:00:30", 1);
    fs::write(folder.join("log.toml"), in_log).unwrap();
    let with_log = json(&folder, &["swing", "sun", "log.toml", "--log", &log]);
    // By the log she headed about 9 then, in the sector of the sight on 3: seven sectors, not eight.
    assert_eq!(with_log["sectors_covered"], 7);
}

#[test]
fn cards_are_compared_by_what_they_know() {
    let folder = folder("compare");
    says(&folder, &["swing", &fixture("swing.nmea"), "--out", "old.toml"], 0);
    let again = ["simulate", "swing", "--demo", "--seed", "5", "--out", "again.nmea"];
    says(&folder, &again, 0);
    says(&folder, &["swing", "again.nmea", "--out", "again.toml"], 0);
    // The same boat on another morning: chance. A stove fitted near the sensor: real.
    let same = json(&folder, &["card", "compare", "old.toml", "again.toml"]);
    assert_eq!(same["real"], false, "{same}");
    let (text, _) = says(&folder, &["card", "compare", "old.toml", "old.toml", "--check"], 0);
    assert!(text.starts_with("There is no change: ") && !text.contains("chance, which"), "{text}");
    let (text, _) = says(&folder, &["card", "compare", "old.toml", "again.toml", "--check"], 0);
    assert!(
        text.starts_with("The change may be chance") && text.lines().all(|line| line.chars().count() <= 80),
        "{text}"
    );
    let stove =
        ["simulate", "swing", "--demo", "--seed", "6", "--deviation", "0.4,6.1,-4.1,0.8,-0.2", "--out", "stove.nmea"];
    says(&folder, &stove, 0);
    says(&folder, &["swing", "stove.nmea", "--out", "stove.toml"], 0);
    let (text, _) = says(&folder, &["card", "compare", "old.toml", "stove.toml", "--check"], 1);
    assert!(text.starts_with("The change is real") && text.contains("look for what was moved"), "{text}");
    let real = json(&folder, &["card", "compare", "old.toml", "stove.toml"]);
    let change = real["coefficients"]["B"]["deg"].as_f64().unwrap();
    let sigma = real["coefficients"]["B"]["sigma_deg"].as_f64().unwrap();
    assert!((change - 2.5).abs() <= 2.5 * sigma, "{change} {sigma}");
    // A card without sigmas is believed to a degree, and that is said.
    let paper = json(&folder, &["card", "compare", &fixture("card.toml"), "old.toml"]);
    assert!(paper["notes"].to_string().contains("does not say how sure it is"));
    fs::write(folder.join("two.toml"), "points = [{compass=0, deviation=1}, {compass=180, deviation=1}]").unwrap();
    let (_, error) = says(&folder, &["card", "compare", "two.toml", "old.toml"], 2);
    assert!(error.contains("do not determine a curve"), "{error}");
}

#[test]
fn a_card_is_drawn_on_one_page() {
    let folder = folder("page");
    says(&folder, &["card", "plot", &fixture("card.toml"), "--out", "card.svg"], 0);
    let page = fs::read_to_string(folder.join("card.svg")).unwrap();
    assert!(page.contains("width=\"210mm\" height=\"297mm\""));
    for words in
        ["Deviation card of Curlew", "sensor HCHDG", "made 2026-06-14", "boat upright", "as written", "To make good"]
    {
        assert!(page.contains(words), "{words}");
    }
    let (_, error) = says(&folder, &["card", "plot", &fixture("card.toml"), "--out", "card.svg"], 2);
    assert!(error.contains("is there already"), "{error}");
    says(&folder, &["card", "plot", &fixture("handbook-card.toml"), "--out", "card.svg", "--replace"], 0);
    // Handbook of Magnetic Compass Adjustment (NGA 2004), art. 501: to make good 180 magnetic steer 185.7
    // by compass (inverse of its curve with A 1, B 12, C 8, D 5, E 1.5, computed apart: 185.693).
    let page = fs::read_to_string(folder.join("card.svg")).unwrap();
    let cells: Vec<&str> = page.split("mono\" xml:space=\"preserve\">").skip(1).map(|rest| &rest[..3]).collect();
    let steer: Vec<&str> = page.split("mono strong\" xml:space=\"preserve\">").skip(1).map(|rest| &rest[..3]).collect();
    assert_eq!((cells.len(), steer.len()), (72, 72));
    assert_eq!((cells[18], steer[18]), ("180", "186"));
    assert_eq!((cells[9], steer[9]), ("090", "074"));
}
