//! One pass over the logs: replayed, digested, read.

use lubber_core::frame::ChecksumPolicy;
use lubber_core::frame::Framer;
use lubber_core::picture::Kinship;
use lubber_core::picture::Name;
use lubber_core::picture::SourceId;
use sha2::Digest;
use sha2::Sha256;

use super::LogArgs;
use super::series::Reader;
use super::series::Sensor;
use super::series::Series;
use super::series::Wanted;
use crate::exit::Failure;
use crate::input::InputError;
use crate::input::Replay;
use crate::input::ReplayOptions;
use crate::input::Source;
use crate::terminal::Progress;

/// What a pass gave.
pub(super) struct Replayed {
    pub(super) series: Series,
    /// `sha256:...` of each log, in the order they were named.
    pub(super) digest: String,
    /// The logs, as named.
    pub(super) names: Vec<String>,
}

/// Replays the logs once.
pub(super) fn replay(
    sources: &[Source],
    args: &LogArgs,
    mut wanted: Wanted,
    window: &Window,
) -> Result<Replayed, Failure> {
    if let Some(live) = sources.iter().find(|source| !source.is_file() && **source != Source::Stdin) {
        return Err(Failure::new(format!(
            "{live} is live, and a swing is reckoned from a log: keep its lines in a file first, as they come"
        )));
    }
    if sources.len() > SourceId::MAX {
        return Err(Failure::new(format!(
            "{} logs: at most {} are pooled at once; join them in one file",
            sources.len(),
            SourceId::MAX
        )));
    }
    if let Some(at) = (1..sources.len()).find(|&at| sources[..at].contains(&sources[at])) {
        return Err(failure(InputError::Twice { from: sources[at].clone() }));
    }
    let policy = args.checksum.map_or(ChecksumPolicy::default(), ChecksumPolicy::from);
    let options = ReplayOptions { start: args.start, rate: args.rate, checksums: vec![policy; sources.len()] };
    let mut replay = Replay::open(sources, &options).map_err(failure)?;
    let progress = Progress::before_output(replay.progress().total);
    let mut digests = vec![Sha256::new(); sources.len()];
    let mut reader: Option<Reader> = None;
    let mut pieces = 0_u32;
    while let Some(piece) = replay.next().map_err(failure)? {
        if let Some(digest) = digests.get_mut(piece.source.index()) {
            digest.update(piece.bytes);
        }
        if reader.is_none() {
            wanted.window = window.settle(piece.utc_ms)?;
        }
        let reader = reader.get_or_insert_with(|| {
            Reader::new(sources.iter().map(|_| Framer::new(policy)).collect(), std::mem::take(&mut wanted))
        });
        reader.piece(piece.source, piece.at, piece.utc_ms, piece.bytes);
        pieces = pieces.wrapping_add(1);
        if pieces.is_multiple_of(4096) {
            progress.at(replay.progress().read);
        }
    }
    progress.done();
    let reader = reader.ok_or_else(|| Failure::new("the log is empty: record one while the boat turns her circles"))?;
    let digest: Vec<String> = digests
        .into_iter()
        .map(|digest| digest.finalize().iter().map(|byte| format!("{byte:02x}")).collect::<String>())
        .map(|hex| format!("sha256:{hex}"))
        .collect();
    Ok(Replayed {
        series: reader.finish(),
        digest: digest.join(" "),
        names: sources.iter().map(ToString::to_string).collect(),
    })
}

#[expect(clippy::needless_pass_by_value, reason = "serves map_err")]
fn failure(error: InputError) -> Failure {
    Failure::new(error.to_string())
}

/// The part of the log that is asked for, as typed.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct Window {
    pub(super) from: Option<Moment>,
    pub(super) to: Option<Moment>,
}

/// A moment as typed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Moment {
    /// With its date: Unix milliseconds.
    Utc(i64),
    /// A time of day, milliseconds since midnight, UTC.
    OfDay(i64),
}

const DAY_MS: i64 = 86_400_000;

impl Window {
    /// In Unix milliseconds, for a log that begins at `first`: a time of day is the first one after that, or
    /// up to an hour before, which asks for the log's beginning.
    fn settle(&self, first: Option<i64>) -> Result<(Option<i64>, Option<i64>), Failure> {
        if self.from.is_none() && self.to.is_none() {
            return Ok((None, None));
        }
        let first = first.ok_or_else(|| {
            Failure::new(
                "--from and --to need the time of the log, and it has no date: give --start 2026-06-14T08:00:00Z",
            )
        })?;
        let after = |moment: Moment, earliest: i64| match moment {
            Moment::Utc(ms) => ms,
            Moment::OfDay(of_day) => earliest + (of_day - earliest).rem_euclid(DAY_MS),
        };
        let from = self.from.map(|from| after(from, first - 3_600_000));
        let to = self.to.map(|to| after(to, from.unwrap_or(first)));
        match (from, to) {
            (Some(from), Some(to)) if from >= to => Err(Failure::new("--from is not before --to; exchange them")),
            window => Ok(window),
        }
    }
}

/// `2026-06-14T08:02:00Z`, `08:02` or `08:02:30`.
pub(super) fn moment(text: &str) -> Result<Moment, String> {
    if let Ok(at) = chrono::DateTime::parse_from_rfc3339(text) {
        return Ok(Moment::Utc(at.timestamp_millis()));
    }
    let parts: Option<Vec<i64>> = text
        .split(':')
        .map(|part| part.parse().ok().filter(|_| part.len() == 2 && part.bytes().all(|b| b.is_ascii_digit())))
        .collect();
    match parts.as_deref() {
        Some([h @ 0..=23, m @ 0..=59]) => Ok(Moment::OfDay((h * 60 + m) * 60_000)),
        Some([h @ 0..=23, m @ 0..=59, s @ 0..=59]) => Ok(Moment::OfDay(((h * 60 + m) * 60 + s) * 1000)),
        _ => Err("a time in UTC, for example: 08:02, 08:02:30 or 2026-06-14T08:02:00Z".to_owned()),
    }
}

impl Series {
    /// The sensor to be swung: the one named, else the boat file's, else the first HDG, else the first HDM.
    ///
    /// # Errors
    /// What is missing, and what the log holds instead.
    pub(super) fn sensor(&mut self, named: Option<Name>, boats: Option<Name>) -> Result<Sensor, Failure> {
        let holds = self.holds();
        if let Some(name) = named {
            let at = self.sensors.iter().position(|sensor| sensor.name == name);
            let at = at.ok_or_else(|| Failure::new(format!("no heading {name} in the log: {holds}")))?;
            return Ok(self.sensors.swap_remove(at));
        }
        let boats = self.sensors.iter().position(|sensor| Some(sensor.name) == boats);
        let hdg = self.sensors.iter().position(|sensor| sensor.name.formatter.0 == *b"HDG");
        let at = boats.or(hdg).or((!self.sensors.is_empty()).then_some(0));
        let at = at.ok_or_else(|| {
            Failure::new(format!(
                "no heading in the log: a swing needs HDG, or HDM, from the sensor to be swung; {holds}"
            ))
        })?;
        Ok(self.sensors.swap_remove(at))
    }

    /// What stands in the log, in words.
    pub(super) fn holds(&self) -> String {
        if self.seen.is_empty() {
            return match self.refused {
                0 => "it holds no sentence in the part that was asked for".to_owned(),
                refused => format!(
                    "it holds no good sentence, and {refused} lines were refused; if they have no checksum, give \
                     --checksum optional"
                ),
            };
        }
        let mut most: Vec<(&[u8; 5], &u64)> = self.seen.iter().collect();
        most.sort_by(|a, b| b.1.cmp(a.1).then(a.0.cmp(b.0)));
        let names: Vec<String> =
            most.iter().take(8).map(|(name, _)| String::from_utf8_lossy(*name).into_owned()).collect();
        let more = most.len().saturating_sub(8);
        let more = if more > 0 { format!(" and {more} more") } else { String::new() };
        format!("it holds {}{more}", names.join(" "))
    }
}

/// The refusal of a reference that is a copy of the sensor: by the watch's own rule, or because their
/// difference, `stray_deg` about its mean once the lag is taken out, is no more than rounding makes.
pub(super) fn same_sensor(sensor: &Sensor, reference: Name, stray_deg: Option<f64>) -> Option<Failure> {
    // Two numbers rounded to a digit differ by up to 0.41 digits rms; two compasses of any kind by more.
    let by_rounding = stray_deg.is_some_and(|stray| stray < 0.5 * sensor.digit + 0.05);
    (sensor.kinship == Kinship::OneSensor || by_rounding).then(|| {
        Failure::new(format!(
            "{reference} is {} with a constant added, one sensor under two names: it shows no deviation. Name another \
             reference, or leave --reference out to swing by GPS",
            sensor.name
        ))
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn moments_and_windows() {
        assert_eq!(moment("08:02"), Ok(Moment::OfDay(28_920_000)));
        assert_eq!(moment("2026-06-14T00:00:00Z"), Ok(Moment::Utc(1_781_395_200_000)));
        for bad in ["8:02", "24:00", "08:60", "noon", "08", "+1:02"] {
            assert!(moment(bad).is_err(), "{bad}");
        }
        let first = 1_781_395_200_000 + 8 * 3_600_000;
        let window = |from: &str, to: &str| Window { from: moment(from).ok(), to: moment(to).ok() }.settle(Some(first));
        assert_eq!(window("09:00", "10:00").unwrap(), (Some(first + 3_600_000), Some(first + 7_200_000)));
        assert_eq!(window("07:30", "08:30").unwrap(), (Some(first - 1_800_000), Some(first + 1_800_000)));
        // Long before the log begins is the next day's.
        assert_eq!(window("23:00", "01:00").unwrap(), (Some(first + 54_000_000), Some(first + 61_200_000)));
        assert!(window("2026-06-15T00:00:00Z", "2026-06-14T00:00:00Z").is_err());
        assert!(Window { from: moment("08:00").ok(), to: None }.settle(None).is_err());
        assert_eq!(Window::default().settle(None).unwrap(), (None, None));
    }
}
