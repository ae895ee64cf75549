//! A voyage of the invented boat as truths and lines, and what to measure on them.

use lubber::simulate::Heard;
use lubber::simulate::Settings;
use lubber::simulate::Truth;
use lubber::simulate::Voyage;

/// Sails it through: the truth of every step and every line with its time.
pub(crate) fn sail(settings: Settings) -> (Vec<Truth>, Vec<(i64, Vec<u8>)>) {
    let mut voyage = Voyage::new(settings).unwrap();
    let (mut truths, mut lines) = (Vec::new(), Vec::new());
    while let Some(truth) = voyage.step(&mut |heard| {
        if let Heard::Line { unix_ms, bytes } = heard {
            lines.push((unix_ms, bytes.to_vec()));
        }
    }) {
        truths.push(truth);
    }
    (truths, lines)
}

pub(crate) fn hours(hours: f64, events: &[&str]) -> Settings {
    let events = events.iter().map(|event| event.parse().unwrap()).collect();
    Settings { length_ms: (hours * 3_600_000.0) as u64, events, ..Settings::default() }
}

/// The mean and the standard deviation of angles about `about`, in degrees.
pub(crate) fn moments(angles: impl Iterator<Item = f64>, about: f64) -> (f64, f64) {
    let off: Vec<f64> = angles.map(|angle| (angle - about + 540.0).rem_euclid(360.0) - 180.0).collect();
    let mean = off.iter().sum::<f64>() / off.len() as f64;
    let square = off.iter().map(|off| (off - mean) * (off - mean)).sum::<f64>() / off.len() as f64;
    (mean, square.sqrt())
}

pub(crate) fn between(truths: &[Truth], from_s: u64, to_s: u64) -> &[Truth] {
    &truths[from_s as usize * 10..to_s as usize * 10]
}

/// A sentence's fields, its checksum tried by the obvious way; `None` where it is damaged.
pub(crate) fn fields(line: &[u8]) -> Option<Vec<String>> {
    let line = std::str::from_utf8(line).ok()?.strip_suffix("\r\n")?;
    let (body, sum) = line.strip_prefix('$')?.split_once('*')?;
    let xor = body.bytes().fold(0, |xor, byte| xor ^ byte);
    (format!("{xor:02X}") == sum).then(|| body.split(',').map(str::to_owned).collect())
}
