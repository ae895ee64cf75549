//! Whole-program tests: simulate.
//!
//! Values are this project's own promises about its invented boat; there is no outside source.

#[path = "common/voyage.rs"]
mod voyage;

use std::fs;
use std::path::Path;
use std::path::PathBuf;
use std::process::Command;
use std::process::Output;

use lubber::simulate::Settings;
use lubber::simulate::Steering;
use lubber::simulate::Truth;
use voyage::between;
use voyage::fields;
use voyage::hours;
use voyage::moments;
use voyage::sail;

/// A folder of this test alone, empty.
fn folder(name: &str) -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("simulate").join(name);
    let _ = fs::remove_dir_all(&folder);
    fs::create_dir_all(&folder).unwrap();
    folder
}

fn voyage_in(folder: &Path, arguments: &[&str]) -> Output {
    let mut command = Command::new(env!("CARGO_BIN_EXE_lubber"));
    command.current_dir(folder).args(["simulate", "voyage"]).args(arguments).output().unwrap()
}

fn fixture(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../fixtures").join(name)
}

#[test]
fn the_demo_comes_out_byte_for_byte_as_the_fixture() {
    let folder = folder("demo");
    let made = voyage_in(&folder, &["--demo", "--out", "night-passage.nmea", "--truth", "night-passage.truth.jsonl"]);
    assert!(made.status.success(), "{}", String::from_utf8_lossy(&made.stderr));
    for name in ["night-passage.nmea", "night-passage.truth.jsonl"] {
        let (ours, kept) = (fs::read(folder.join(name)).unwrap(), fs::read(fixture(name)).unwrap());
        let differs = ours.iter().zip(&kept).position(|(a, b)| a != b);
        assert!(ours == kept, "{name}: {} and {} bytes, first difference at {differs:?}", ours.len(), kept.len());
    }
}

#[test]
fn the_yaw_is_as_asked_and_the_course_is_kept() {
    for asked in [0.5, 2.0, 3.5] {
        let mut settings = hours(3.0, &[]);
        settings.waters.yaw_rms_deg = asked;
        let (truths, _) = sail(settings);
        // In a flat sea what the pilot steers about, 0.6 degrees, comes on top.
        let (_, yaw) = moments(truths.iter().map(|t| t.heading_true_deg), truths[0].heading_true_deg);
        let most = 1.1 * asked.hypot(0.6);
        assert!((0.9 * asked..=most).contains(&yaw), "asked {asked}, yaws {yaw}");
        let (off, _) = moments(truths.iter().map(|t| t.sensor_deg), 135.0);
        assert!(off.abs() <= 0.15, "asked {asked}: {off} off the course");
        let (error, _) = moments(truths.iter().map(|t| t.sensor_deg - t.faultless_compass_deg), 0.0);
        assert!(error.abs() <= 0.2, "the sensor is {error} out on average");
    }
}

#[test]
fn a_false_compass_turns_the_boat_while_it_reads_on_course() {
    let (truths, _) = sail(hours(0.7, &["false-compass@00:20:00=15/20s"]));
    let (before, after) = (between(&truths, 300, 1200), between(&truths, 1320, 2520));
    let (turned, _) = {
        let (was, _) = moments(before.iter().map(|t| t.heading_true_deg), 140.0);
        moments(after.iter().map(|t| t.heading_true_deg), 140.0 + was)
    };
    // Fifteen by the compass; the deviation of another heading makes a little more or less of it.
    assert!((turned + 15.0).abs() <= 1.0, "{turned}");
    for part in [before, after] {
        let (off, _) = moments(part.iter().map(|t| t.sensor_deg), 135.0);
        assert!(off.abs() <= 0.3, "{off}");
    }
    // Half the turn is made by about the middle of the drift, not minutes later.
    let (half, _) = moments(between(&truths, 1214, 1220).iter().map(|t| t.heading_true_deg), 140.0);
    assert!((-14.0..=-4.0).contains(&half), "{half}");
}

#[test]
fn a_pilot_that_lets_go_loses_the_course_and_finds_it_again() {
    let (truths, lines) = sail(hours(0.5, &["pilot-lets-go@00:10:00/75s"]));
    let off = |from, to| moments(between(&truths, from, to).iter().map(|t| t.sensor_deg), 135.0).0;
    assert!(off(300, 600).abs() <= 0.5);
    assert!((20.0..=100.0).contains(&off(640, 675)), "{}", off(640, 675));
    assert!(off(900, 1500).abs() <= 0.5, "{}", off(900, 1500));
    assert!(between(&truths, 610, 670).iter().all(|t| t.rudder_deg.abs() < 0.01));
    // What it orders does not reach the rudder, and both are on the line.
    let start = truths[0].unix_ms;
    let late: Vec<_> = lines.iter().filter(|(ms, _)| (650_000..670_000).contains(&(ms - start))).collect();
    let field = |name: &str, n: usize| {
        let line = late.iter().filter_map(|(_, line)| fields(line)).find(|fields| fields[0] == name).unwrap();
        line[n].parse::<f64>().unwrap()
    };
    assert!(field("APHTD", 2) >= 10.0 && field("IIRSA", 1).abs() <= 0.3);
}

#[test]
fn a_fair_line_has_sound_sentences_at_the_rates_asked_for() {
    let (truths, lines) = sail(hours(0.25, &[]));
    let mut before = 0;
    let mut count = std::collections::BTreeMap::new();
    for (ms, line) in &lines {
        assert!(*ms >= before && line.len() <= 82, "{ms} after {before}: {}", String::from_utf8_lossy(line));
        before = *ms;
        let fields = fields(line).unwrap_or_else(|| panic!("{}", String::from_utf8_lossy(line)));
        *count.entry(fields[0].clone()).or_insert(0) += 1;
        if fields[0] == "HCHDG" {
            let heading: f64 = fields[1].parse().unwrap();
            let truth = &truths[((ms - truths[0].unix_ms) / 100) as usize];
            let apart = (heading - truth.sensor_deg + 540.0).rem_euclid(360.0) - 180.0;
            assert!(apart.abs() <= 0.051 && (0.0..360.0).contains(&heading), "{heading}");
            assert_eq!(fields[2..], ["", "", "4.1", "E"]);
        }
    }
    let expected = [("APHTD", 900), ("GPGGA", 450), ("GPRMC", 900), ("GPVTG", 900), ("GPZDA", 90), ("HCHDG", 1800)];
    let more = [("IIMWV", 900), ("IIRSA", 900), ("IIVHW", 900), ("TIROT", 900)];
    let expected = expected.iter().chain(&more).map(|(name, n)| ((*name).to_owned(), *n)).collect();
    assert_eq!(count, expected);
}

#[test]
fn the_track_is_what_course_and_speed_make_of_it() {
    let (truths, lines) = sail(hours(1.0, &["order@00:20:00=250"]));
    let place = |value: &str, side: &str, whole: usize| {
        let degrees = value[..whole].parse::<f64>().unwrap() + value[whole..].parse::<f64>().unwrap() / 60.0;
        if "SW".contains(side) { -degrees } else { degrees }
    };
    let (mut north, mut east, mut first, mut last) = (0.0, 0.0, None, (0.0, 0.0));
    for (_, line) in &lines {
        let fields = fields(line).unwrap();
        if fields[0] == "GPRMC" {
            last = (place(&fields[3], &fields[4], 2), place(&fields[5], &fields[6], 3));
            first.get_or_insert(last);
            let speed = fields[7].parse::<f64>().unwrap() * 1852.0 / 3600.0;
            let course = fields[8].parse::<f64>().unwrap().to_radians();
            north += speed * course.cos();
            east += speed * course.sin();
        }
    }
    let first = first.unwrap();
    let made = ((last.0 - first.0) * 111_120.0, (last.1 - first.1) * 111_120.0 * first.0.to_radians().cos());
    // Position errors of some metres at either end, the lag, and an hour of rounded velocity.
    assert!((made.0 - north).abs() <= 40.0 && (made.1 - east).abs() <= 40.0, "{made:?} and {north} {east}");
    let truth = &truths[truths.len() - 1];
    assert!(((last.0 - truth.latitude_deg) * 111_120.0).abs() <= 25.0);
}

#[test]
fn the_current_is_between_the_water_and_the_ground() {
    let (truths, _) = sail(hours(2.0, &[]));
    let mean = |of: &dyn Fn(&Truth) -> f64| truths.iter().map(of).sum::<f64>() / truths.len() as f64;
    let apart = |north: bool| {
        mean(&|t: &Truth| {
            let part = |degrees: f64| if north { degrees.to_radians().cos() } else { degrees.to_radians().sin() };
            // Two degrees of leeway to port, the wind being to starboard.
            let heading = t.heading_true_deg - 2.0;
            t.speed_over_ground_kn * part(t.course_true_deg)
                - t.speed_through_water_kn * part(heading)
                - t.drift_kn * part(t.set_deg)
        })
    };
    assert!(apart(true).abs() <= 0.03 && apart(false).abs() <= 0.03, "{} {}", apart(true), apart(false));
}

#[test]
fn by_the_wind_she_goes_about() {
    let mut settings = hours(0.5, &["tack@00:15:00"]);
    settings.steering = Steering::Wind(40.0);
    let (truths, lines) = sail(settings);
    let wind = |from, to| moments(between(&truths, from, to).iter().map(|t| t.apparent_wind_deg), 0.0).0;
    assert!((wind(300, 900) - 40.0).abs() <= 1.5 && (wind(1000, 1800) + 40.0).abs() <= 1.5);
    // Through the wind within a minute, and not in a bound.
    assert!((wind(950, 960) + 40.0).abs() <= 15.0, "{}", wind(950, 960));
    let fastest = between(&truths, 900, 940).iter().map(|t| t.turn_dps.abs()).fold(0.0, f64::max);
    assert!((3.0..=20.0).contains(&fastest), "{fastest}");
    // There is no heading to steer on the line.
    let orders = lines.iter().filter_map(|(_, line)| fields(line)).filter(|fields| fields[0] == "APHTD");
    assert!(orders.map(|fields| fields[10].clone()).all(|order| order.is_empty()));
}

#[test]
fn faults_of_the_line_are_on_the_line() {
    let share = |event: &str, name: &str| {
        let (truths, lines) = sail(hours(0.1, &[event]));
        let within = |ms: &i64| (120_000..180_000).contains(&(ms - truths[0].unix_ms));
        let (mut named, mut damaged, mut filled) = (0, 0, 0);
        for (_, line) in lines.iter().filter(|(ms, _)| within(ms)) {
            match fields(line) {
                None => damaged += 1,
                Some(fields) if fields[0] == name => {
                    named += 1;
                    filled += usize::from(!fields[1].is_empty());
                }
                Some(_) => {}
            }
        }
        (named, damaged, filled)
    };
    assert_eq!(share("heading-lost@00:02:00/60s", "HCHDG"), (0, 0, 0));
    assert_eq!(share("heading-void@00:02:00/60s", "HCHDG"), (120, 0, 0));
    assert_eq!(share("silence@00:02:00=GP/60s", "GPVTG"), (0, 0, 0));
    assert_eq!(share("silence@00:02:00=GP/60s", "HCHDG"), (120, 0, 120));
    assert_eq!(share("silence@00:02:00/60s", "HCHDG"), (0, 0, 0));
    assert_eq!(share("gps-lost@00:02:00/60s", "GPVTG"), (60, 0, 0));
    assert_eq!(share("gps-lost@00:03:00/60s", "GPVTG"), (60, 0, 60));
    let (_, damaged, _) = share("garbage@00:02:00/60s", "HCHDG");
    assert!(damaged >= 100, "{damaged}");
    // A fifth of about 580 lines; a flipped bit can make two pieces of one.
    let (_, damaged, _) = share("line-noise@00:02:00=0.2/60s", "HCHDG");
    assert!((80..=160).contains(&damaged), "{damaged}");
}

#[test]
fn a_frozen_sensor_repeats_itself_while_she_wanders() {
    let (truths, lines) = sail(hours(0.2, &["heading-frozen@00:02:00/300s"]));
    let frozen: std::collections::BTreeSet<String> = lines
        .iter()
        .filter(|(ms, _)| (120_100..420_000).contains(&(ms - truths[0].unix_ms)))
        .filter_map(|(_, line)| fields(line).filter(|fields| fields[0] == "HCHDG").map(|fields| fields[1].clone()))
        .collect();
    assert_eq!(frozen.len(), 1, "{frozen:?}");
    let (_, yaw) = moments(between(&truths, 120, 420).iter().map(|t| t.heading_true_deg), 140.0);
    assert!((2.0..=90.0).contains(&yaw), "{yaw}");
}

/// The place of the demo is chosen so that the World Magnetic Model (WMM2025, by the crate that
/// the program uses) agrees with the variation on its line.
#[test]
fn the_variation_of_the_demo_is_that_of_its_place() {
    use world_magnetic_model::GeomagneticField;
    use world_magnetic_model::time::Date;
    use world_magnetic_model::uom::si::angle::degree;
    use world_magnetic_model::uom::si::f32::Angle;
    use world_magnetic_model::uom::si::f32::Length;
    use world_magnetic_model::uom::si::length::meter;
    let waters = Settings::demo().waters;
    // 14 July is the 195th day of 2026.
    let field = GeomagneticField::new(
        Length::new::<meter>(0.0),
        Angle::new::<degree>(waters.latitude_deg as f32),
        Angle::new::<degree>(waters.longitude_deg as f32),
        Date::from_ordinal_date(2026, 195).unwrap(),
    );
    let model = f64::from(field.unwrap().declination().get::<degree>());
    assert!((model - waters.variation_deg).abs() <= 0.5, "{model}");
}

#[test]
fn a_copy_follows_a_false_compass_and_a_satellite_compass_does_not() {
    for (second, expected) in [("copy", 0.0), ("independent", -15.0)] {
        let folder = folder(second);
        let event = "--event=false-compass@00:03:00=15/20s";
        let options = ["--out", "-", "--stamps", "none", "--hours", "0.1", "--second", second, event];
        let made = voyage_in(&folder, &options);
        let mean = |from: usize, to: usize| {
            let lines = made.stdout.split_inclusive(|&byte| byte == b'\n').filter_map(fields);
            let headings: Vec<f64> = lines.filter(|f| f[0].ends_with("HDT")).map(|f| f[1].parse().unwrap()).collect();
            assert_eq!(headings.len(), 720);
            moments(headings[from * 2..to * 2].iter().copied(), 139.0).0
        };
        let turned = mean(240, 360) - mean(0, 180);
        assert!((turned - expected).abs() <= 1.2, "{second}: {turned}");
    }
}

#[test]
fn the_seed_decides() {
    let folder = folder("seed");
    let log = |seed| {
        let options = ["--out", "-", "--hours", "0.01", "--event", "none", "--seed", seed];
        voyage_in(&folder, &options).stdout
    };
    assert!(log("3") == log("3") && log("3") != log("4"));
    assert!(log("3").starts_with(b"\\c:17839938000"));
}

#[test]
fn nothing_is_written_over_unasked() {
    let folder = folder("replace");
    let short = ["--out", "log", "--truth", "truth", "--hours", "0.01", "--event", "none"];
    assert_eq!(voyage_in(&folder, &short).status.code(), Some(0));
    let before = fs::read(folder.join("log")).unwrap();
    let again = voyage_in(&folder, &[&short[..], &["--seed", "9"]].concat());
    assert_eq!(again.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&again.stderr).contains("--replace"));
    assert!(fs::read(folder.join("log")).unwrap() == before);
    let again = voyage_in(&folder, &[&short[..], &["--seed", "9", "--replace"]].concat());
    assert_eq!(again.status.code(), Some(0));
    assert!(fs::read(folder.join("log")).unwrap() != before);
    // A log that is there stops the voyage before the truth is begun, or takes it away again.
    let other = voyage_in(&folder, &["--out", "log", "--truth", "other", "--hours", "0.01"]);
    assert!(other.status.code() == Some(2) && !folder.join("other").exists());
}

#[test]
fn what_makes_no_sense_is_refused_with_the_remedy() {
    let folder = folder("refused");
    for (options, remedy) in [
        (&["--event", "mutiny@5m"][..], "there are order, tack"),
        (&["--event", "gps-lost@2h", "--hours", "1"], "make it longer with --hours"),
        (&["--event", "tack@5m"], "steered by the wind"),
        (&["--event", "none", "--event", "gps-lost@5m"], "contradict"),
        (&["--demo", "--hours", "3"], "cannot be used with"),
        (&["--hours", "-1"], "--hours"),
        (&["--hours", "0"], "from 0.0003 (a second) to 24000 hours"),
        (&["--yaw", "90"], "goes from 0 to 15"),
        (&["--sentences", "HDG=50"], "a rate goes from"),
        (&["--sentences", "ABC"], "there are HDG"),
        (&["--sentences", "HDT"], "a second heading"),
        (&["--deviation", "1,2"], "five numbers"),
        (&["--start", "yesterday"], "2026-07-14T01:50:00Z"),
        (&["--truth", "log"], "a file of its own"),
        (&["--truth", "truth", "--truth-every", "0s"], "a multiple of"),
    ] {
        let refused = voyage_in(&folder, &[&["--out", "log"], options].concat());
        let said = String::from_utf8_lossy(&refused.stderr);
        assert!(refused.status.code() == Some(2) && said.contains(remedy), "{options:?}: {said}");
        assert_eq!(fs::read_dir(&folder).unwrap().count(), 0, "{options:?} left a file behind");
    }
    let nowhere = voyage_in(&folder, &["--out", "no/such/folder", "--hours", "0.01"]);
    assert!(nowhere.status.code() == Some(2) && String::from_utf8_lossy(&nowhere.stderr).contains("mkdir -p no/such"));
}

#[test]
fn every_line_of_the_truth_is_json_and_the_first_names_schema_and_seed() {
    let text = fs::read_to_string(fixture("night-passage.truth.jsonl")).unwrap();
    let lines: Vec<serde_json::Value> = text.lines().map(|line| serde_json::from_str(line).unwrap()).collect();
    assert_eq!((&lines[0]["schema"], &lines[0]["seed"]), (&1.into(), &7.into()));
    let events = lines.iter().filter(|line| line.get("event").is_some()).count();
    let moments = lines.iter().filter(|line| line.get("heading_true_deg").is_some()).count();
    assert_eq!((events, moments, lines.len()), (9, 186, 196));
}
