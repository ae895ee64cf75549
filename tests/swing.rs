//! `lubber swing` on logs, the whole program: what it finds, what it claims, what it refuses.
//!
//! The boats are invented and their truth is known; published swings are in `host/src/analysis`.

#[path = "common/swing.rs"]
mod common;

use std::fs;

use common::TRUTH;
use common::against;
use common::fixture;
use common::folder;
use common::json;
use common::lubber;
use common::rows;
use common::says;
use lubber::analysis::swing::Collector;
use lubber::analysis::swing::analyse;
use lubber::simulate::swing::Case;
use lubber::simulate::swing::Plan;
use serde_json::Value;
use sha2::Digest;

/// Each line of the demonstration's log through `change`, which is given the sentence without `$` and
/// checksum; what it gives back gets its stamp and a right checksum again.
fn changed(change: impl Fn(&str) -> Vec<String>) -> String {
    let text = fs::read_to_string(fixture("swing.nmea")).unwrap();
    let mut out = String::new();
    for line in text.lines() {
        let (tag, sentence) = line.split_at(line.rfind('$').unwrap());
        for body in change(&sentence[1..sentence.len() - 3]) {
            let sum = body.bytes().fold(0, |sum, byte| sum ^ byte);
            out += &format!("{tag}${body}*{sum:02X}\r\n");
        }
    }
    out
}

/// The sentence with field `at` (0 is the address) exchanged.
fn with_field(body: &str, at: usize, value: &str) -> String {
    let mut fields: Vec<&str> = body.split(',').collect();
    fields[at] = value;
    fields.join(",")
}

#[test]
fn the_demonstration_is_made_anew_byte_for_byte() {
    let folder = folder("anew");
    let made = ["simulate", "swing", "--demo", "--out", "swing.nmea", "--truth", "swing.truth.json"];
    says(&folder, &made, 0);
    for name in ["swing.nmea", "swing.truth.json"] {
        let (new, kept) = (fs::read(folder.join(name)).unwrap(), fs::read(fixture(name)).unwrap());
        assert!(new == kept, "{name} differs: see fixtures/README.md");
        assert!(new.len() <= 700_000);
    }
    says(&folder, &made, 2);
    assert_eq!(
        lubber(&folder, &["simulate", "swing", "--demo", "--out", "-"]).stdout,
        fs::read(fixture("swing.nmea")).unwrap()
    );
}

#[test]
fn the_truth_lies_within_what_is_claimed() {
    let folder = folder("truth");
    let report = json(&folder, &["swing", &fixture("swing.nmea")]);
    let (held, error) = against(&report, TRUTH);
    println!("{held} of 36 rows hold the truth; error {error:.2} deg rms");
    assert!(held >= 34 && error <= 0.4, "{held} {error}");
    assert_eq!(report["verdict"], "good");
    assert_eq!((&report["circles"]["port"], &report["circles"]["starboard"]), (&1.into(), &1.into()));
    let truth: Value = serde_json::from_str(&fs::read_to_string(fixture("swing.truth.json")).unwrap()).unwrap();
    for (key, of_truth, slack) in [("drift_kn", "drift_kn", 0.03), ("set_deg", "set_deg", 2.0), ("lag_s", "lag_s", 0.1)]
    {
        let (value, sigma) = (report[key]["value"].as_f64().unwrap(), report[key]["sigma"].as_f64().unwrap());
        let want = truth[of_truth].as_f64().unwrap();
        assert!((value - want).abs() <= 3.0 * sigma + slack, "{key}: {value} +- {sigma}, not {want}");
    }
}

#[test]
fn the_json_has_the_keys_of_schema_1_and_no_others() {
    let folder = folder("schema");
    let report = json(&folder, &["swing", &fixture("swing.nmea")]);
    let keys = |value: &Value| value.as_object().unwrap().keys().cloned().collect::<Vec<_>>().join(" ");
    assert_eq!(
        keys(&report),
        "schema sensor reference from to circles sectors_covered coefficients card greatest_deviation residual_rms_deg \
         speed_kn set_deg drift_kn lag_s variation verdict reasons"
    );
    assert_eq!(keys(&report["circles"]), "port starboard");
    assert_eq!(keys(&report["coefficients"]), "A B C D E");
    assert_eq!(keys(&report["coefficients"]["A"]), "deg sigma_deg");
    assert_eq!(keys(&report["card"][0]), "compass_deg deviation_deg sigma_deg");
    assert_eq!(keys(&report["greatest_deviation"]), "deg sigma_deg");
    for measured in ["speed_kn", "set_deg", "drift_kn", "lag_s"] {
        assert_eq!(keys(&report[measured]), "value sigma", "{measured}");
    }
    assert_eq!(keys(&report["variation"]), "deg sigma_deg from");
    assert_eq!(
        (&report["schema"], &report["sensor"], &report["reference"]),
        (&1.into(), &"HCHDG".into(), &"gps".into())
    );
    assert_eq!(report["variation"]["from"], "wire");
    let compass: Vec<f64> = rows(&report).iter().map(|row| row.0).collect();
    assert_eq!(compass, (0..36).map(|at| f64::from(at) * 10.0).collect::<Vec<_>>());
    let sun = json(&folder, &["swing", "sun", &fixture("sights-sun.toml")]);
    assert_eq!(keys(&sun), keys(&report));
    for unknown in ["speed_kn", "set_deg", "drift_kn", "lag_s"] {
        assert!(sun[unknown].is_null(), "{unknown}: not estimated is null");
    }
}

#[test]
fn the_text_begins_with_the_verdict_and_keeps_to_80_columns() {
    let folder = folder("text");
    let (text, _) = says(&folder, &["swing", &fixture("swing.nmea")], 0);
    assert!(text.starts_with("good: keep this card.\n"), "{text}");
    assert!(!text.contains('\u{1b}'), "no colour in a pipe");
    assert!(text.lines().all(|line| line.chars().count() <= 80), "{text}");
    for words in ["Coefficients", "Deviation by compass heading", "Next:", "upright", "not certified", "COLREG Rule 5"]
    {
        assert!(text.contains(words), "{words}");
    }
}

#[test]
fn a_card_is_kept_once_and_only_when_asked() {
    let folder = folder("kept");
    let log = fixture("swing.nmea");
    says(&folder, &["swing", &log], 0);
    assert_eq!(fs::read_dir(&folder).unwrap().count(), 0, "nothing is written unasked");
    let (text, _) = says(&folder, &["swing", &log, "--out", "card.toml", "--plot", "card.svg"], 0);
    assert!(text.contains("card = \"card.toml\""));
    let card = fs::read_to_string(folder.join("card.toml")).unwrap();
    let digest: String =
        sha2::Sha256::digest(fs::read(&log).unwrap()).iter().map(|byte| format!("{byte:02x}")).collect();
    assert!(card.contains(&format!("log = \"sha256:{digest}\"")), "{card}");
    let shown = json(&folder, &["card", "show", "card.toml"]);
    assert_eq!(
        (&shown["sensor"], &shown["date"], &shown["upright"]),
        (&"HCHDG".into(), &"2026-06-14".into(), &true.into())
    );
    assert_eq!((shown["points"].as_array().unwrap().len(), shown["findings"].as_array().unwrap().len()), (36, 0));
    // Over a card that is there only with --replace, and then the page too.
    let (_, error) = says(&folder, &["swing", &log, "--out", "card.toml"], 2);
    assert!(error.contains("card.toml is there already") && error.contains("--replace"), "{error}");
    assert_eq!(fs::read_to_string(folder.join("card.toml")).unwrap(), card);
    says(&folder, &["swing", &log, "--out", "card.toml", "--plot", "card.svg", "--replace"], 0);
    assert_eq!(fs::read_dir(&folder).unwrap().count(), 2, "nothing is left beside them");
    let page = fs::read_to_string(folder.join("card.svg")).unwrap();
    for words in ["Residuals", "Track, north up", "over ground", "boat upright", "COLREG", "good", &digest] {
        assert!(page.contains(words), "{words}");
    }
}

#[test]
fn what_is_missing_is_named() {
    let folder = folder("refusals");
    let only =
        |part: &'static str| changed(move |body| if body.contains(part) { vec![body.to_owned()] } else { vec![] });
    let each = |change: fn(&str) -> String| changed(move |body| vec![change(body)]);
    for (name, log, expected) in [
        (
            "no-heading",
            changed(|body| if body.starts_with("HC") { vec![] } else { vec![body.to_owned()] }),
            "no heading in the log",
        ),
        ("no-gps", only("HCHDG"), "no course and speed over the ground"),
        (
            "void",
            each(|body| match &body[..5] {
                "GPRMC" => format!("{}N", with_field(body, 2, "V").trim_end_matches('A')),
                "GPVTG" => format!("{}N", body.trim_end_matches('A')),
                _ => body.to_owned(),
            }),
            "marked void by the receiver",
        ),
        (
            "anchor",
            each(|body| match &body[..5] {
                "GPRMC" => with_field(body, 7, "0.05"),
                "GPVTG" => with_field(body, 5, "0.05"),
                _ => body.to_owned(),
            }),
            "the boat made no way",
        ),
        (
            "two-boats",
            changed(|body| match &body[..5] {
                "GPRMC" => vec![body.to_owned(), with_field(body, 3, "4610.0000")],
                _ => vec![body.to_owned()],
            }),
            "two boats are mixed",
        ),
        (
            "straight",
            changed(|body| vec![body.to_owned()]).lines().take(200).collect::<Vec<_>>().join("\n"),
            "no circle in the log",
        ),
        ("not-a-log", "Dear diary, today we swung the compass.\n".repeat(40), "not a log of NMEA 0183"),
        ("empty", String::new(), "empty"),
    ] {
        let file = format!("{name}.nmea");
        fs::write(folder.join(&file), log).unwrap();
        let (out, error) = says(&folder, &["swing", &file, "--out", "card.toml"], 2);
        assert!(error.contains(expected), "{name}: {error}");
        assert!(out.is_empty() && !folder.join("card.toml").exists(), "{name}");
    }
    let log = fixture("swing.nmea");
    for (arguments, expected) in [
        (&["swing", &log, "--reference", "HDT"][..], "no HDT in the log to compare with: it holds HCHDG"),
        (&["swing", &log, "--reference", "GPTHS"], "no heading GPTHS in the log"),
        (&["swing", &log, "--heading", "IIHDM"], "no heading IIHDM in the log: it holds HCHDG"),
        (&["swing", &log, "--from", "09:00"], "it runs from 2026-06-14T08:00:00"),
        (&["swing", &log, "--from", "8 o'clock"], "08:02:30"),
        (&["swing", &log, "--variation", "4 N"], "--variation 4.1E"),
        (&["swing", &log, "--wind", "calm"], "--wind 4"),
        (&["swing", "tcp:localhost:10110"], "keep its lines in a file first"),
        (&["swing", "absent.nmea"], "there is no such file"),
        (&["swing", &log, &log], "named twice"),
    ] {
        let (_, error) = says(&folder, arguments, 2);
        assert!(error.contains(expected), "{arguments:?}: {error}");
    }
}

#[test]
fn a_card_that_is_not_usable_is_not_kept() {
    let folder = folder("not-usable");
    says(&folder, &["simulate", "swing", "--deviation", "0,50,0,0,0", "--out", "bad.nmea"], 0);
    let (text, _) = says(&folder, &["swing", "bad.nmea"], 0);
    assert!(text.starts_with("not usable: swing again.\n"), "{text}");
    assert!(text.replace("\n  ", " ").contains("find the sensor another place"), "{text}");
    says(&folder, &["swing", "bad.nmea", "--check"], 1);
    let (text, error) = says(&folder, &["swing", "bad.nmea", "--out", "card.toml"], 2);
    assert!(text.starts_with("not usable") && error.contains("card.toml was not written"), "{error}");
    assert!(!folder.join("card.toml").exists());
    says(&folder, &["swing", "bad.nmea", "--plot", "bad.svg"], 0);
    let page = fs::read_to_string(folder.join("bad.svg")).unwrap();
    assert!(page.contains("not usable") && !page.contains("To make good"), "nothing to steer by");
    says(&folder, &["swing", &fixture("swing.nmea"), "--check"], 0);
}

#[test]
fn one_circle_says_that_a_is_open_and_a_window_finds_it() {
    let folder = folder("window");
    let log = fixture("swing.nmea");
    let whole = json(&folder, &["swing", &log]);
    let part = json(&folder, &["swing", &log, "--from", "08:00", "--to", "08:03:30"]);
    let circles = |report: &Value| {
        (report["circles"]["port"].as_u64().unwrap(), report["circles"]["starboard"].as_u64().unwrap())
    };
    assert_eq!((circles(&whole), circles(&part)), ((1, 1), (1, 0)));
    let sigma = |report: &Value| report["coefficients"]["A"]["sigma_deg"].as_f64().unwrap();
    assert!(sigma(&part) > sigma(&whole), "{} {}", sigma(&part), sigma(&whole));
    assert!(part["reasons"].to_string().contains("port only"), "{}", part["reasons"]);
    assert!((part["coefficients"]["A"]["deg"].as_f64().unwrap() - TRUTH[0]).abs() <= 2.0 * sigma(&part));
}

#[test]
fn the_wind_enters_sigma_and_verdict_and_logs_pool() {
    let folder = folder("wind");
    let log = fixture("swing.nmea");
    let calm = json(&folder, &["swing", &log]);
    let wind = json(&folder, &["swing", &log, "--wind", "12/220"]);
    let sigma = |report: &Value| rows(report).iter().map(|row| row.2).fold(0.0, f64::max);
    assert!(sigma(&wind) > sigma(&calm) + 0.5, "{} {}", sigma(&wind), sigma(&calm));
    assert!(wind["verdict"] != "good" && wind["reasons"].to_string().contains("true wind 12 kn"));
    // MWV on the line says the same as --wind: 12 knots from ahead, whatever her heading, has no direction.
    let blown = changed(|body| {
        let mwd = "WIMWD,220.0,T,,M,12.0,N,,".to_owned();
        if body.starts_with("GPRMC") { vec![body.to_owned(), mwd] } else { vec![body.to_owned()] }
    });
    fs::write(folder.join("blown.nmea"), blown).unwrap();
    let line = json(&folder, &["swing", "blown.nmea"]);
    assert!((sigma(&line) - sigma(&wind)).abs() <= 0.01, "{} {}", sigma(&line), sigma(&wind));
    // The same boat and gear in another current the next day: both are taken, and the card is the surer.
    let other = [
        "simulate",
        "swing",
        "--demo",
        "--current",
        "90/0.3",
        "--start",
        "2026-06-15T08:00:00Z",
        "--out",
        "other.nmea",
    ];
    says(&folder, &other, 0);
    let both = json(&folder, &["swing", &log, "other.nmea"]);
    assert_eq!((&both["circles"]["port"], &both["circles"]["starboard"]), (&2.into(), &2.into()));
    let b = |report: &Value| report["coefficients"]["B"]["sigma_deg"].as_f64().unwrap();
    assert!(b(&both) < b(&calm), "{} {}", b(&both), b(&calm));
    assert!(against(&both, TRUTH).0 >= 34);
}

#[test]
fn more_circles_than_a_fit_is_made_of_do_no_harm() {
    let log = Plan::drawn(1, Case::PortOnly).run();
    let mut collector = Collector::new();
    for _ in 0..17 {
        log.play(&mut collector);
        collector.next_log();
    }
    let swing = analyse(&collector.finish(), &log.settings()).unwrap();
    assert_eq!((swing.circles.port, swing.circles.starboard), (16, 0));
}

#[test]
fn a_variation_far_from_the_model_is_not_believed() {
    let folder = folder("variation");
    let wrong = changed(|body| {
        vec![if body.starts_with("HC") { with_field(&with_field(body, 4, "9.0"), 5, "E") } else { body.to_owned() }]
    });
    fs::write(folder.join("wrong.nmea"), wrong).unwrap();
    let report = json(&folder, &["swing", "wrong.nmea"]);
    assert_eq!(report["variation"]["from"], "model");
    assert!(report["reasons"].to_string().contains("look at the variation set in the gear"));
    assert!(against(&report, TRUTH).0 >= 34);
    let given = json(&folder, &["swing", "wrong.nmea", "--variation", "0.4W"]);
    assert_eq!((&given["variation"]["from"], &given["variation"]["deg"]), (&"given".into(), &(-0.4).into()));
    // A deviation of the sensor's own is pointed out.
    let own = changed(|body| {
        vec![if body.starts_with("HC") { with_field(&with_field(body, 2, "2.0"), 3, "E") } else { body.to_owned() }]
    });
    fs::write(folder.join("own.nmea"), own).unwrap();
    let report = json(&folder, &["swing", "own.nmea"]);
    assert!(report["reasons"].to_string().contains("carries a deviation of its own, up to 2.0 E"));
    assert!(against(&report, TRUTH).0 >= 34, "the raw field is fitted");
    // A sensor that sends HDM alone is swung too, with the receiver's variation.
    let hdm = changed(|body| {
        let heading = body.strip_prefix("HCHDG,").and_then(|rest| rest.split(',').next());
        vec![heading.map_or_else(|| body.to_owned(), |heading| format!("HCHDM,{heading},M"))]
    });
    fs::write(folder.join("hdm.nmea"), hdm).unwrap();
    let report = json(&folder, &["swing", "hdm.nmea"]);
    assert_eq!((&report["sensor"], &report["variation"]["from"]), (&"HCHDM".into(), &"wire".into()));
    assert!(report["reasons"].to_string().contains("may correct itself already"));
    assert!(against(&report, TRUTH).0 >= 34);
}

#[test]
fn another_heading_is_a_reference_unless_it_is_the_same_sensor() {
    let folder = folder("reference");
    let turns: Vec<String> = (1..=12)
        .map(|at| {
            // Six turns of 60 degrees to starboard, then six back.
            let course = if at <= 6 { at * 60 } else { (12 - at) * 60 };
            format!("order@{}s={}", at * 90, course % 360)
        })
        .collect();
    let voyage = |second: &str, out: &str| {
        let mut arguments =
            vec!["simulate", "voyage", "--hours", "0.34", "--yaw", "1", "--wind", "0/0", "--leeway", "0"];
        arguments.extend(["--course", "0", "--second", second, "--out", out]);
        turns.iter().for_each(|turn| arguments.extend(["--event", turn]));
        says(&folder, &arguments, 0);
    };
    voyage("copy", "copy.nmea");
    let (_, error) = says(&folder, &["swing", "copy.nmea", "--reference", "HDT"], 2);
    assert!(error.contains("one sensor under two names"), "{error}");
    voyage("independent", "two.nmea");
    let report = json(&folder, &["swing", "two.nmea", "--reference", "HDT"]);
    assert_eq!(report["reference"], "GPHDT");
    assert!(report["speed_kn"].is_null() && report["lag_s"]["value"].is_number());
    // The voyage's own deviation, its default.
    let (held, error) = against(&report, [0.4, 1.6, -2.1, 0.8, -0.2]);
    println!("by heading: {held} of 36 rows, {error:.2} deg rms");
    assert!(held >= 34 && error <= 0.6, "{held} {error}: {}", report["coefficients"]);
}
