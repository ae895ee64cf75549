//! `lubber card`, the whole program: published conversions and tables, and refusals.

use std::path::Path;
use std::path::PathBuf;
use std::process::Command;
use std::process::Output;
use std::process::Stdio;

use serde_json::Value;

const FIXTURES: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../fixtures");

/// Runs `lubber card` in a folder without a boat file.
fn card(args: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_lubber"))
        .arg("card")
        .args(args)
        .current_dir(env!("CARGO_TARGET_TMPDIR"))
        .stdin(Stdio::null())
        .output()
        .unwrap()
}

fn text(args: &[&str]) -> String {
    let output = card(args);
    assert_eq!(output.status.code(), Some(0), "{args:?}: {}", String::from_utf8_lossy(&output.stderr));
    String::from_utf8(output.stdout).unwrap()
}

fn json(args: &[&str]) -> Value {
    serde_json::from_str(&text(&[args, &["--format", "json"]].concat())).unwrap()
}

/// What a run that must fail says.
fn refusal(args: &[&str]) -> String {
    let output = card(args);
    assert_eq!(output.status.code(), Some(2), "{args:?}: {}", String::from_utf8_lossy(&output.stdout));
    assert!(output.stdout.is_empty(), "{args:?}");
    String::from_utf8(output.stderr).unwrap()
}

/// A file of this test's own.
fn file(name: &str, content: impl AsRef<[u8]>) -> String {
    let path = PathBuf::from(env!("CARGO_TARGET_TMPDIR")).join(format!("card-{name}"));
    std::fs::write(&path, content).unwrap();
    path.to_str().unwrap().to_owned()
}

fn fixture(name: &str) -> String {
    Path::new(FIXTURES).join(name).to_str().unwrap().to_owned()
}

fn near(got: &Value, want: f64, tolerance: f64) {
    let got = got.as_f64().unwrap_or_else(|| panic!("{got} is no number"));
    assert!((got - want).abs() <= tolerance, "{got}, not {want}");
}

/// (compass, deviation, magnetic, variation, true), whole degrees, east plus.
///
/// Sources: nauticalive.com "Application of deviation" 3 and 4; tidalstreams.net "Compass examples" 5 and 6;
/// oceannavigator.com "Correcting from compass to true and back again" 1 and 3; seasources.net compass course
/// problems (leeway taken out); NAVEDTRA 14221 assignment 2; a USCG deck question on a range (answer computed).
const CONVERSIONS: [(i32, i32, i32, i32, i32); 13] = [
    (18, 5, 23, -3, 20),
    (135, 6, 141, -4, 137),
    (274, -4, 270, -7, 263),
    (90, -8, 82, 12, 94),
    (225, 8, 233, -22, 211),
    (195, 4, 199, -13, 186),
    (75, 5, 80, -10, 70),
    // TC 236, 8E, 1E, SSE wind with 1 degree of leeway: 235 through the water, psc 226.
    (226, 1, 227, 8, 235),
    // TC 046, 6E, 12W, N wind with 5 degrees of leeway: 041 through the water, psc 047.
    (47, -12, 35, 6, 41),
    (170, 15, 185, -5, 180),
    (85, 10, 95, -5, 90),
    (180, 2, 182, -6, 176),
    (315, 3, 318, -6, 312),
];

#[test]
fn published_conversions_from_each_of_the_three() {
    for (compass, deviation, magnetic, variation, truth) in CONVERSIONS {
        let flat = file(
            &format!("flat{deviation}.toml"),
            format!("points = [{{compass = 0, deviation = {deviation}}}, {{compass = 180, deviation = {deviation}}}]"),
        );
        let letter = if variation < 0 { 'W' } else { 'E' };
        let variation_typed = format!("{}{letter}", variation.abs());
        let given = [format!("{compass}C"), format!("{magnetic:03}M"), format!("{truth}.0 T")];
        let args = ["convert", &given[0], &given[1], &given[2], "--card", &flat, "--variation", &variation_typed];
        let answer = json(&args);
        let rows = answer["headings"].as_array().unwrap();
        assert_eq!(rows.len(), 3);
        for row in rows {
            near(&row["compass_deg"], compass.into(), 0.0);
            near(&row["deviation_deg"], deviation.into(), 0.0);
            near(&row["magnetic_deg"], magnetic.into(), 0.0);
            near(&row["variation_deg"], variation.into(), 0.0);
            near(&row["true_deg"], truth.into(), 0.0);
        }
    }
}

#[test]
fn published_conversions_without_a_card() {
    // tidalstreams.net "Compass examples" 2, 3 and 4; oceannavigator.com no. 4; NAVEDTRA 14221.
    for (given, variation, magnetic, truth) in [
        ("188M", "4W", 188.0, 184.0),
        ("067M", "6E", 67.0, 73.0),
        ("154T", "7W", 161.0, 154.0),
        ("125T", "-21", 146.0, 125.0),
        ("255M", "5W", 255.0, 250.0),
    ] {
        let answer = json(&["convert", given, "--variation", variation]);
        near(&answer["headings"][0]["magnetic_deg"], magnetic, 0.0);
        near(&answer["headings"][0]["true_deg"], truth, 0.0);
        assert!(answer["headings"][0]["compass_deg"].is_null());
    }
}

#[test]
fn the_text_of_a_conversion() {
    let got = text(&["convert", "135C", "352.5 m", "--card", &fixture("handbook-card.toml"), "--variation", "4.1E"]);
    let lines: Vec<&str> = got.lines().skip(2).collect();
    assert_eq!(
        lines,
        [
            "given         compass  deviation   magnetic  variation       true",
            "135C          135.0 C      1.2 W    133.8 M      4.1 E    137.9 T",
            // By fixed point on the fitted curve and its residuals, computed independently: 347.171 C, 5.329 E.
            "352.5 m       347.2 C      5.3 E    352.5 M      4.1 E    356.6 T",
        ]
    );
}

#[test]
fn the_model_gives_the_variation() {
    // WMM2025 report, table 6: 80 N 0 E, sea level, 2025.0: D 1.28, H 6523.2, sigma 0.870; half a day later here.
    let answer = json(&["convert", "100M", "--at", "80,0", "--date", "2025-01-01"]);
    near(&answer["variation"]["deg"], 1.28, 0.01);
    near(&answer["variation"]["sigma_deg"], 0.870, 0.001);
    near(&answer["variation"]["horizontal_nt"], 6523.0, 1.0);
    near(&answer["headings"][0]["true_deg"], 101.28, 0.01);
    assert_eq!(answer["findings"].as_array().map(Vec::len), Some(0));
    // 89 N 121 W: the field is too weak for a compass (WMM2025_TestValues.txt, first row, at 28 km: 1504 nT).
    let weak = json(&["convert", "100M", "--at", "89N,121W", "--date", "2025-01-01"]);
    assert!(weak["findings"][0].as_str().unwrap().contains("not to be relied on"), "{weak}");
    let old = json(&["convert", "100M", "--at", "-33.9,18.4", "--date", "2014-07-01"]);
    near(&old["variation"]["extrapolated_years"], 5.5, 0.05);
    assert!(old["findings"][0].as_str().unwrap().contains("less sure"), "{old}");
}

#[test]
fn the_handbook_table_is_shown() {
    // Handbook of Magnetic Compass Adjustment (NGA, 2004), art. 501, figure 501; inverse computed from its
    // coefficients A 1 B 12 C 8 D 5 E 1.5, which miss the table by up to 0.1 degree.
    let answer = json(&["show", &fixture("handbook-card.toml")]);
    let points = answer["points"].as_array().unwrap();
    let deviations: Vec<f64> = points.iter().map(|point| point["deviation_deg"].as_f64().unwrap()).collect();
    assert_eq!(deviations, [10.5, 20.0, 11.5, -1.2, -5.5, -8.0, -12.5, -6.8]);
    for (name, deg) in [("A", 1.0), ("B", 11.9397), ("C", 7.9598), ("D", 5.0), ("E", 1.5)] {
        near(&answer["coefficients"][name]["deg"], deg, 0.0006);
    }
    near(&answer["residual_sigma_deg"], 0.084, 0.0006);
    near(&answer["greatest_deviation"]["deg"], 20.0, 0.0);
    let table = answer["card"].as_array().unwrap();
    assert_eq!(table.len(), 36);
    for (at, row) in table.iter().enumerate() {
        near(&row["compass_deg"], at as f64 * 10.0, 0.0);
        let magnetic = (at as f64 * 10.0 + row["deviation_deg"].as_f64().unwrap()).rem_euclid(360.0);
        near(&row["magnetic_deg"], magnetic, 1e-9);
    }
    let steer = answer["steer"].as_array().unwrap();
    for (magnetic, compass) in [
        (0, 352.486),
        (45, 26.576),
        (90, 73.843),
        (135, 136.448),
        (180, 185.693),
        (225, 234.134),
        (270, 282.458),
        (315, 320.187),
    ] {
        near(&steer[magnetic / 5]["magnetic_deg"], magnetic as f64, 0.0);
        near(&steer[magnetic / 5]["compass_deg"], compass, 0.15);
    }
}

#[test]
fn the_card_fits_a_page_and_carries_its_safety_words() {
    for name in ["handbook-card.toml", "card.toml"] {
        let got = text(&["show", &fixture(name)]);
        for line in got.lines().skip(1) {
            assert!(line.chars().count() <= 80, "{line}");
        }
        assert!(!got.contains('\x1b'));
        assert!(got.contains("upright: heel changes the deviation, most on north and south"));
        assert!(got.contains("Check the card against a known bearing before you rely on it"));
        assert!(got.contains("not certified equipment"));
        assert!(got.lines().any(|line| line.starts_with("    090 C") && line.contains("090 M")), "{got}");
    }
    let every_ten = text(&["show", &fixture("card.toml"), "--step", "10"]);
    assert_eq!(every_ten.lines().filter(|line| line.starts_with("    ") && line.contains(" M    ")).count(), 36);
}

#[test]
fn a_card_is_found_through_the_boat_file() {
    let answer = json(&["convert", "135C", "--boat", &fixture("boat.toml")]);
    near(&answer["headings"][0]["deviation_deg"], 2.2, 0.0);
    assert!(answer["headings"][0]["true_deg"].is_null());
    assert!(answer["card"].as_str().unwrap().ends_with("card.toml"));
}

#[test]
fn a_card_that_bends_is_used_as_written_and_says_so() {
    let points: Vec<String> = [0.0, 0.0, 6.0, 0.0, 0.0, 0.0, 0.0, 0.0]
        .iter()
        .enumerate()
        .map(|(at, deviation)| format!("{{ compass = {}, deviation = {deviation:.1} }}", at * 45))
        .collect();
    let bent = file("bent.toml", format!("points = [ {} ]", points.join(", ")));
    let answer = json(&["convert", "090C", "000C", "--card", &bent]);
    near(&answer["headings"][0]["deviation_deg"], 6.0, 0.0);
    near(&answer["headings"][1]["deviation_deg"], 0.0, 0.0);
    assert!(answer["findings"][0].as_str().unwrap().contains("furthest off is compass 090"), "{answer}");
    let output = card(&["convert", "090C", "--card", &bent]);
    assert!(String::from_utf8_lossy(&output.stderr).contains("note: the points do not lie on a smooth curve"));
}

#[test]
fn words_from_the_file_cannot_drive_the_terminal() {
    let hostile = file(
        "hostile.toml",
        "boat = \"\\u001b[2JCurlew\"\nnote = \"a\\nb\\u0007\"\npoints = [{compass=0,deviation=1},{compass=180,deviation=1}]",
    );
    let got = text(&["show", &hostile]);
    assert!(got.chars().all(|c| c == '\n' || !c.is_control()), "{got:?}");
}

#[test]
fn refusals_name_the_line_and_the_remedy() {
    let bad = file("bad.toml", "sensor = \"HCHDG\"\npoints = [\n  { compass = 0, deviation = \"3 N\" },\n]\n");
    let said = refusal(&["show", &bad]);
    assert!(said.contains("card-bad.toml:3: deviation = \"3 N\": expected degrees up to 90"), "{said}");
    assert!(said.contains("for example: deviation = -1.5 or deviation = \"1.5 W\""), "{said}");
    let folder = file("folded.toml", "points = [\n{compass=0,deviation=40},\n{compass=30,deviation=-40}]");
    assert!(refusal(&["show", &folder]).contains("folded.toml:1: the card folds between"));
    for (content, said) in [
        (&b""[..], "is empty; a deviation card begins like this"),
        (&b" \n\n"[..], "is empty"),
        (&b"\x00\x01\x02\xff"[..], "is not text"),
        (&b"$HCHDG,101.1,,,7.1,W*3C\r\n"[..], ":1: not TOML"),
    ] {
        let path = file("odd.toml", content);
        let got = refusal(&["show", &path]);
        assert!(got.contains(said), "{got}");
    }
    assert!(refusal(&["show", env!("CARGO_TARGET_TMPDIR")]).contains("is a folder; expected a deviation card"));
    let nowhere = refusal(&["plot", &fixture("card.toml"), "--out", "no/such/folder.svg"]);
    assert!(nowhere.contains("there is no folder no/such; make it (mkdir -p no/such)"), "{nowhere}");
    assert!(refusal(&["show", "no-such.toml"]).contains("no-such.toml: there is no such file"));
    assert!(refusal(&["show", env!("CARGO_BIN_EXE_lubber")]).contains("is over 1 MiB, so it is no deviation card"));
}

#[test]
fn what_cannot_be_converted_says_what_is_missing() {
    let handbook = fixture("handbook-card.toml");
    for (args, said) in [
        (&["convert", "135"][..], "\"135\" is no heading: expected degrees from 0 to 360 and C, M or T"),
        (&["convert", "361C", "--variation", "1E"], "for example: 135C"),
        (&["convert", "135C"], "135C leads nowhere without a deviation card: give --card FILE"),
        (&["convert", "135M"], "135M leads nowhere without a card or a variation"),
        (&["convert", "135T", "--card", &handbook], "135T leads nowhere without a variation: give --variation 4.1E"),
        (
            &["convert", "135M", "--variation", "4N"],
            "--variation \"4N\": expected degrees up to 180 with the letter E or W",
        ),
        (
            &["convert", "135M", "--at", "91,0", "--date", "2025-01-01"],
            "--at \"91,0\": expected latitude and longitude",
        ),
        (
            &["convert", "135M", "--at", "50,0", "--date", "2025-02-30"],
            "--date \"2025-02-30\": expected a day that exists",
        ),
        (&["convert", "135M", "--at", "50,0", "--date", "1970-01-01"], "no magnetic model for 1970"),
        (&["convert", "135M", "--at", "50,0"], "--date"),
        (&["show", &handbook, "--step", "7"], "one of 5, 10, 15, 30, 45"),
    ] {
        let got = refusal(args);
        assert!(got.contains(said), "{args:?}: {got}");
    }
}

#[test]
fn a_reader_that_has_seen_enough_is_no_failure() {
    let mut child = Command::new(env!("CARGO_BIN_EXE_lubber"))
        .args(["card", "show", &fixture("card.toml")])
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    drop(child.stdout.take());
    let output = child.wait_with_output().unwrap();
    assert_eq!(output.status.code(), Some(0), "{}", String::from_utf8_lossy(&output.stderr));
    assert!(output.stderr.is_empty());
}
