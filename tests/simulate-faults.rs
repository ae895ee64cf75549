//! What the script of `simulate voyage` does to the boat, her gear and her waters.
//!
//! Values are this project's own promises about its invented boat; there is no outside source.

#[path = "common/voyage.rs"]
mod voyage;

use lubber::simulate::Rot;
use lubber::simulate::Second;
use lubber::simulate::Settings;
use lubber::simulate::Steering;
use lubber::simulate::Truth;
use voyage::between;
use voyage::fields;
use voyage::hours;
use voyage::moments;
use voyage::sail;

/// The values of one field of one formatter, from one second of the voyage to another.
fn heard(
    truths: &[Truth],
    lines: &[(i64, Vec<u8>)],
    formatter: &str,
    field: usize,
    from_s: i64,
    to_s: i64,
) -> Vec<String> {
    let start = truths[0].unix_ms;
    let within = |ms: i64| (from_s * 1000..to_s * 1000).contains(&(ms - start));
    let lines = lines.iter().filter(|(ms, _)| within(*ms)).filter_map(|(_, line)| fields(line));
    lines.filter(|fields| fields[0].ends_with(formatter)).map(|fields| fields[field].clone()).collect()
}

fn numbers(texts: &[String]) -> Vec<f64> {
    texts.iter().map(|text| text.parse().unwrap()).collect()
}

fn mean(values: impl Iterator<Item = f64> + Clone) -> f64 {
    values.clone().sum::<f64>() / values.count() as f64
}

#[test]
fn a_jammed_rudder_stays_where_it_is() {
    let (truths, lines) = sail(hours(0.25, &["order@00:04:59=180", "rudder-stuck@00:05:00/300s"]));
    let jammed = between(&truths, 301, 599);
    assert!(jammed.iter().all(|t| t.rudder_deg == jammed[0].rudder_deg));
    assert!(jammed.iter().any(|t| (t.rudder_ordered_deg - t.rudder_deg).abs() > 5.0));
    let says = heard(&truths, &lines, "RSA", 1, 302, 599);
    assert!(says.len() > 290 && says.iter().all(|angle| *angle == says[0]), "{says:?}");
}

#[test]
fn with_the_cable_parted_the_sensor_moves_and_the_boat_does_not_answer() {
    let (truths, lines) = sail(hours(0.25, &["cable-broken@00:05:00"]));
    let parted = between(&truths, 330, 600);
    assert!(parted.iter().all(|t| t.rudder_deg.abs() < 0.01));
    let says = numbers(&heard(&truths, &lines, "RSA", 1, 330, 600));
    assert!(says.iter().any(|angle| angle.abs() > 10.0), "{says:?}");
    // Her weather helm turns her, whatever is ordered.
    assert!(moments(parted.iter().map(|t| t.sensor_deg), 135.0).0.abs() > 20.0);
}

#[test]
fn faults_of_the_rudder_sensor_are_on_the_line_alone() {
    let plain = sail(hours(0.1, &[])).0;
    for event in ["rudder-lost@00:02:00/60s", "rudder-void@00:02:00/60s", "rudder-reversed@00:02:00/60s"] {
        let (truths, lines) = sail(hours(0.1, &[event]));
        assert!(truths == plain, "{event} changed the boat");
        let says = heard(&truths, &lines, "RSA", 1, 121, 179);
        let status = heard(&truths, &lines, "RSA", 2, 121, 179);
        match &event[..11] {
            "rudder-lost" => assert!(says.is_empty()),
            "rudder-void" => assert!(says.len() == 58 && says.iter().all(String::is_empty) && status[0] == "V"),
            _ => {
                let truth = between(&truths, 121, 179).iter().skip(1).step_by(10).map(|t| -t.rudder_deg);
                let apart = numbers(&says).into_iter().zip(truth).map(|(said, truth)| (said - truth).abs());
                assert!(apart.fold(0.0, f64::max) <= 0.051);
            }
        }
    }
}

#[test]
fn a_gyro_goes_wrong_by_its_bias_and_repeats_itself_when_stuck() {
    let mut settings = hours(0.2, &["gyro-bias@00:02:00=1.5/10s", "gyro-bias@00:06:00=0", "gyro-stuck@00:08:00"]);
    settings.gear.rot = Rot::Gyro;
    let (truths, lines) = sail(settings);
    let error = |from: i64, to: i64| {
        let says = numbers(&heard(&truths, &lines, "ROT", 1, from, to));
        let truth = between(&truths, from as u64, to as u64).iter().skip(1).step_by(10).map(|t| t.turn_dps);
        let apart: Vec<f64> = says.iter().zip(truth).map(|(said, truth)| said / 60.0 - truth).collect();
        mean(apart.into_iter())
    };
    assert!(error(10, 110).abs() <= 0.01 && error(370, 470).abs() <= 0.01);
    assert!((error(140, 350) - 1.5).abs() <= 0.01, "{}", error(140, 350));
    let says = heard(&truths, &lines, "ROT", 1, 482, 700);
    assert!(says.iter().all(|rate| *rate == says[0]));
}

#[test]
fn a_second_heading_and_a_receiver_go_wrong_without_turning_the_boat() {
    let plain = {
        let mut settings = hours(0.2, &[]);
        settings.gear.second = Second::Independent;
        sail(settings)
    };
    for (event, formatter, field) in
        [("false-second@00:04:00=15/20s", "HDT", 1), ("false-gps@00:04:00=15/20s", "VTG", 1)]
    {
        let mut settings = hours(0.2, &[event]);
        settings.gear.second = Second::Independent;
        let (truths, lines) = sail(settings);
        for (with, without) in truths.iter().zip(&plain.0) {
            assert_eq!(with.heading_true_deg, without.heading_true_deg);
        }
        let says = |run: &(Vec<Truth>, Vec<(i64, Vec<u8>)>), from, to| {
            moments(numbers(&heard(&run.0, &run.1, formatter, field, from, to)).into_iter(), 140.0).0
        };
        let run = (truths, lines);
        assert!((says(&run, 0, 240) - says(&plain, 0, 240)).abs() <= 1e-9);
        let turned = says(&run, 265, 700) - says(&plain, 265, 700);
        assert!((turned - 15.0).abs() <= 0.1, "{event}: {turned}");
    }
}

#[test]
fn a_magnet_changes_the_card_by_b_and_c() {
    // East and south by compass, before and after: B shows on the one, C turned round on the other.
    let events = ["order@00:00:01=90", "order@00:10:00=180", "magnet@00:20:00=5,-4/60s", "order@00:30:00=90"];
    let (truths, _) = sail(hours(0.7, &events));
    let deviation = |from, to| {
        moments(between(&truths, from, to).iter().map(|t| t.heading_true_deg - 4.1 - t.faultless_compass_deg), 0.0).0
    };
    let (east, south) = (deviation(1900, 2500) - deviation(120, 600), deviation(1300, 1800) - deviation(720, 1200));
    assert!((east - 5.0).abs() <= 0.3 && (south - 4.0).abs() <= 0.3, "{east} {south}");
}

#[test]
fn the_battery_is_on_the_line_once_it_sags() {
    let (truths, lines) = sail(hours(0.2, &["battery@00:04:00=11.2/60s"]));
    let volts = |from, to| mean(numbers(&heard(&truths, &lines, "XDR", 2, from, to)).into_iter());
    assert!((volts(0, 240) - 12.6).abs() <= 0.05 && (volts(310, 700) - 11.2).abs() <= 0.05);
    let xdr = lines.iter().filter_map(|(_, line)| fields(line)).find(|fields| fields[0] == "IIXDR").unwrap();
    assert_eq!((&*xdr[1], &*xdr[3], &*xdr[4], xdr.len()), ("U", "V", "BATT", 5));
}

#[test]
fn current_sea_and_speed_arrive_where_the_script_sends_them() {
    let events = ["current@00:10:00=40,1.5/5m", "sea@00:10:00=3.5/5m", "speed@00:30:00=1/2m"];
    let mut settings = hours(0.7, &events);
    (settings.waters.yaw_rms_deg, settings.waters.drift_wander_kn) = (1.0, 0.0);
    let (truths, _) = sail(settings);
    let after = &truths[9100];
    assert!((after.set_deg - 40.0).abs() <= 0.01 && (after.drift_kn - 1.5).abs() <= 0.01, "{after:?}");
    let yaw = |from, to| moments(between(&truths, from, to).iter().map(|t| t.heading_true_deg), 140.0).1;
    assert!((0.8..=1.5).contains(&yaw(60, 600)) && (2.8..=4.0).contains(&yaw(960, 1800)), "{}", yaw(960, 1800));
    let speed = mean(between(&truths, 2100, 2500).iter().map(|t| t.speed_through_water_kn));
    assert!((speed - 1.0).abs() <= 0.15, "{speed}");
}

#[test]
fn a_tide_turns_within_half_its_time() {
    let mut settings = hours(6.5, &[]);
    (settings.waters.drift_kn, settings.waters.drift_wander_kn, settings.waters.tide_kn) = (0.0, 0.0, 1.2);
    let (truths, _) = sail(settings);
    // Full to 220 at the start, slack after a quarter of 12.42 hours, full to 40 after a half.
    let (first, slack, last) = (&truths[0], &truths[111_785 - 6000], &truths[223_570 - 6000]);
    assert!((first.set_deg - 220.0).abs() <= 0.1 && (last.set_deg - 40.0).abs() <= 0.1);
    assert!((first.drift_kn - 1.2).abs() <= 0.01 && (last.drift_kn - 1.2).abs() <= 0.01 && slack.drift_kn <= 0.01);
}

#[test]
fn by_the_wind_leeway_and_heel_change_sides_with_the_tack_and_follow_the_gusts() {
    let mut settings = hours(1.0, &["tack@00:30:00"]);
    settings.steering = Steering::Wind(60.0);
    (settings.boat.heel_deg, settings.boat.gust_response, settings.boat.leeway_deg) = (15.0, 1.0, 4.0);
    (settings.waters.gust_rms, settings.waters.drift_kn, settings.waters.drift_wander_kn) = (0.15, 0.0, 0.0);
    let (truths, lines) = sail(settings);
    let leeway =
        |from, to| moments(between(&truths, from, to).iter().map(|t| t.course_true_deg - t.heading_true_deg), 0.0).0;
    let heel = |from, to| moments(between(&truths, from, to).iter().map(|t| t.heel_deg), 0.0);
    // The wind to starboard drives her to port and down on that side.
    assert!(leeway(300, 1800) < -2.5 && leeway(2000, 3600) > 2.5);
    assert!(heel(300, 1800).0 < -9.0 && heel(2000, 3600).0 > 9.0);
    assert!(heel(300, 1800).1 > 2.0, "gusts heel her by {}", heel(300, 1800).1);
    assert!(lines.iter().all(|(_, line)| fields(line).is_some_and(|fields| fields[0] != "IIXDR")));
}

#[test]
fn a_squall_comes_and_goes() {
    let (truths, lines) = sail(hours(0.3, &["gust@00:06:00=2/120s"]));
    let knots = |from, to| mean(numbers(&heard(&truths, &lines, "MWV", 3, from, to)).into_iter());
    assert!(knots(400, 470) > 1.5 * knots(60, 350) && knots(540, 1000) < 1.3 * knots(60, 350));
}

#[test]
fn the_variation_changes_with_the_place() {
    let mut settings = hours(4.0, &[]);
    settings.waters.variation_gradient = [0.5, -2.0];
    let (truths, lines) = sail(settings);
    let (first, last) = (&truths[0], &truths[truths.len() - 1]);
    let expected = 4.1 + 0.5 * (last.latitude_deg - 36.0) - 2.0 * (last.longitude_deg - 18.0);
    assert!((last.variation_deg - expected).abs() <= 0.001 && (last.variation_deg - first.variation_deg).abs() > 0.2);
    let says = numbers(&heard(&truths, &lines, "HDG", 4, 4 * 3600 - 10, 4 * 3600));
    assert!(says.iter().all(|said| (said - last.variation_deg).abs() <= 0.051));
}

#[test]
fn a_leap_second_is_called_60() {
    // 2026-12-31T23:59:30Z.
    let start_unix_ms = 1_798_761_570_000;
    let settings = Settings { start_unix_ms, ..hours(0.02, &["leap-second@30s"]) };
    let (truths, lines) = sail(settings);
    let times = heard(&truths, &lines, "RMC", 1, 28, 34);
    assert_eq!(times, ["235958.00", "235959.00", "235960.00", "000000.00", "000001.00", "000002.00"]);
    let dates = heard(&truths, &lines, "RMC", 9, 29, 32);
    assert_eq!(dates, ["311226", "311226", "010127"]);
    let wrong = Settings { start_unix_ms, ..hours(0.02, &["leap-second@31s"]) };
    assert!(lubber::simulate::Voyage::new(wrong).unwrap_err().to_string().contains("midnight"));
}

#[test]
fn what_is_not_on_board_cannot_go_wrong() {
    for (event, remedy) in [
        ("false-second@10s=15/20s", "no independent second heading"),
        ("gyro-bias@10s=1", "there is no gyro"),
        ("gyro-stuck@10s", "there is no gyro"),
    ] {
        let refused = lubber::simulate::Voyage::new(hours(0.1, &[event])).unwrap_err().to_string();
        assert!(refused.contains(remedy), "{event}: {refused}");
    }
}

#[test]
fn the_truth_says_what_is_wrong_while_it_is() {
    let mut settings = hours(0.05, &["battery@00:01:00=11/1s", "magnet@00:01:00=3,0/1s", "cable-broken@00:01:00"]);
    settings.boat.heel_deg = 10.0;
    let mut voyage = lubber::simulate::Voyage::new(settings).unwrap();
    let (mut before, mut after) = (String::new(), String::new());
    while let Some(truth) = voyage.step(&mut |_| {}) {
        match truth.since_start_ms {
            50_000 => truth.write(voyage.settings(), &mut before),
            70_000 => truth.write(voyage.settings(), &mut after),
            _ => {}
        }
    }
    let [before, after]: [serde_json::Value; 2] = [&before, &after].map(|line| serde_json::from_str(line).unwrap());
    assert!(before["heel_deg"].is_number() && before["battery_v"] == 12.6);
    assert!(before.get("magnet_B_deg").is_none() && before.get("quadrant_deg").is_none());
    assert!(after["magnet_B_deg"] == 3 && after["battery_v"] == 11 && after["quadrant_deg"].is_number());
}
