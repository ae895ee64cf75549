//! What the tests of `lubber swing` share: running the program, and an invented boat's known truth.

use std::fs;
use std::path::Path;
use std::path::PathBuf;
use std::process::Command;
use std::process::Output;
use std::process::Stdio;

use serde_json::Value;

/// The deviation of the demonstration's boat.
pub(crate) const TRUTH: [f64; 5] = [0.4, 3.6, -2.1, 0.8, -0.2];

/// A folder of one test alone, empty.
pub(crate) fn folder(name: &str) -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("swing").join(name);
    let _ = fs::remove_dir_all(&folder);
    fs::create_dir_all(&folder).unwrap();
    folder
}

pub(crate) fn fixture(name: &str) -> String {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../fixtures").join(name).to_str().unwrap().to_owned()
}

pub(crate) fn lubber(folder: &Path, arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_lubber"))
        .args(arguments)
        .current_dir(folder)
        .stdin(Stdio::null())
        .output()
        .unwrap()
}

/// What a run says that must end with `status`: standard output, and standard error.
pub(crate) fn says(folder: &Path, arguments: &[&str], status: i32) -> (String, String) {
    let output = lubber(folder, arguments);
    let (out, error) = (String::from_utf8(output.stdout).unwrap(), String::from_utf8(output.stderr).unwrap());
    assert_eq!(output.status.code(), Some(status), "{arguments:?}: {out}{error}");
    (out, error)
}

pub(crate) fn json(folder: &Path, arguments: &[&str]) -> Value {
    serde_json::from_str(&says(folder, &[arguments, &["--format", "json"]].concat(), 0).0).unwrap()
}

pub(crate) fn deviation(coefficients: [f64; 5], compass_deg: f64) -> f64 {
    let c = compass_deg.to_radians();
    let [a, b, cc, d, e] = coefficients;
    a + b * c.sin() + cc * c.cos() + d * (2.0 * c).sin() + e * (2.0 * c).cos()
}

/// Rows of a report's card: compass, deviation, sigma.
pub(crate) fn rows(report: &Value) -> Vec<(f64, f64, f64)> {
    let number = |row: &Value, key: &str| row[key].as_f64().unwrap();
    let rows = report["card"].as_array().unwrap();
    rows.iter()
        .map(|row| (number(row, "compass_deg"), number(row, "deviation_deg"), number(row, "sigma_deg")))
        .collect()
}

/// How many rows hold the truth within two sigma, and the rms error with its mean taken out.
pub(crate) fn against(report: &Value, truth: [f64; 5]) -> (usize, f64) {
    let rows = rows(report);
    assert_eq!(rows.len(), 36);
    let held = rows.iter().filter(|(c, dev, sigma)| (dev - deviation(truth, *c)).abs() <= 2.0 * sigma).count();
    let errors: Vec<f64> = rows.iter().map(|(c, dev, _)| dev - deviation(truth, *c)).collect();
    let mean = errors.iter().sum::<f64>() / 36.0;
    (held, (errors.iter().map(|e| (e - mean).powi(2)).sum::<f64>() / 36.0).sqrt())
}
