//! From what was typed and what the boat file says to what is recorded.

use std::path::PathBuf;

use lubber_core::frame::ChecksumPolicy;

use super::Args;
use crate::boat::file::BoatFile;
use crate::exit::Failure;
use crate::input::InputError;
use crate::input::OpenOptions;
use crate::input::ReplayOptions;
use crate::input::Source;
use crate::input::StdinKind;
use crate::record::Limits;

/// All that is needed to record.
pub(super) struct Setup {
    pub(super) inputs: Vec<Source>,
    pub(super) options: OpenOptions,
    /// What the sources are called, in their order.
    pub(super) names: Vec<String>,
    /// Only a sentence that these let pass may tell the date; every line is kept.
    pub(super) policies: Vec<ChecksumPolicy>,
    pub(super) limits: Limits,
    boat_file: Option<PathBuf>,
}

/// A file smaller than this is not worth its name.
const SMALLEST: u64 = 4_000;

/// A number of bytes, such as 64MB: powers of ten, as disks are sold.
pub(super) fn size(text: &str) -> Result<u64, String> {
    let units = [("GB", 1_000_000_000), ("MB", 1_000_000), ("kB", 1_000), ("B", 1)];
    let read = |(unit, bytes): (&str, u64)| {
        let number = text.strip_suffix(unit)?.trim().parse::<u64>().ok()?;
        number.checked_mul(bytes)
    };
    units.into_iter().find_map(read).ok_or_else(|| "a size in kB, MB or GB was expected. Example: 64MB".into())
}

impl Setup {
    pub(super) fn of(args: &Args) -> Result<Self, Failure> {
        if args.size < SMALLEST {
            return Err(Failure::new(format!(
                "--size: a file of less than {SMALLEST} B is none; give more, such as 64MB"
            )));
        }
        if args.keep / 2 < args.size {
            return Err(Failure::new(
                "--keep must have room for two files of --size, the one being written and the one being compressed; \
                 give a larger --keep or a smaller --size",
            ));
        }
        let (boat_file, boat) = match BoatFile::find(args.boat.as_deref())? {
            Some((path, boat)) => (Some(path), boat),
            None => (None, BoatFile::default()),
        };
        let named: Vec<(Source, String, ChecksumPolicy)> = if args.sources.is_empty() {
            let named = boat.sources.iter().map(|source| {
                let input = source.from.parse().map_err(|error| {
                    let file = boat_file.as_deref().map_or_else(String::new, |file| file.display().to_string());
                    Failure::new(format!("{file}: source \"{}\": {error}", source.name))
                })?;
                Ok((input, source.name.clone(), source.checksum))
            });
            named.collect::<Result<_, Failure>>()?
        } else {
            let named = args.sources.iter().map(|input| {
                let typed = input.to_string();
                // A source that the boat file knows is called as the boat file says.
                match boat.sources.iter().find(|source| source.from == typed) {
                    Some(known) => (input.clone(), known.name.clone(), known.checksum),
                    None => (input.clone(), short(input), ChecksumPolicy::default()),
                }
            });
            named.collect()
        };
        let policies: Vec<ChecksumPolicy> = named.iter().map(|(.., policy)| *policy).collect();
        let (inputs, names) = named.into_iter().map(|(input, name, _)| (input, name)).unzip();
        let stdin = match (args.live, args.log) {
            (true, _) => StdinKind::Live,
            (_, true) => StdinKind::Log,
            _ => StdinKind::default(),
        };
        let replay = ReplayOptions { start: args.start, rate: args.rate, checksums: policies.clone() };
        let limits = Limits { size: args.size, keep: args.keep, floor: args.floor };
        let options = OpenOptions { stdin, replay, ..OpenOptions::default() };
        Ok(Self { inputs, options, names, policies, limits, boat_file })
    }

    /// An input's refusal, with what only the verb knows.
    pub(super) fn explain(&self, error: &InputError) -> Failure {
        match (error, &self.boat_file) {
            (InputError::None, Some(file)) => {
                Failure::new(format!("{error}; or a [[source]] in {}, which has none", file.display()))
            }
            (InputError::None, None) => Failure::new(format!("{error}; or a [[source]] in boat.toml")),
            _ => Failure::new(error.to_string()),
        }
    }
}

/// What tells a source best in the 15 characters of a TAG block.
fn short(source: &Source) -> String {
    match source {
        Source::Serial { device, .. } => device.rsplit('/').next().unwrap_or(device).to_owned(),
        Source::File(path) => path.file_stem().map_or("log".into(), |stem| stem.to_string_lossy().into_owned()),
        Source::Stdin => "stdin".to_owned(),
        Source::Tcp { host, port } => format!("{host}-{port}"),
        Source::Udp { port, .. } => format!("udp-{port}"),
    }
}

/// What only a log can obey is refused for a live line, not passed over.
pub(super) fn refuse_for_live(args: &Args) -> Result<(), Failure> {
    let given = [("--start", args.start.is_some()), ("--rate", args.rate.is_some())];
    match given.iter().find(|(_, given)| *given) {
        Some((name, _)) => {
            Err(Failure::new(format!("{name} is for recorded logs; on a live line the clock rules: leave it out")))
        }
        None => Ok(()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_a_size() {
        for (text, bytes) in [("64MB", 64_000_000), ("2GB", 2_000_000_000), ("500 kB", 500_000), ("0B", 0)] {
            assert_eq!(size(text), Ok(bytes));
        }
        for wrong in ["64", "64M", "-1MB", "MB", "", "99999999999999999999GB", "20000000000GB"] {
            assert!(size(wrong).is_err_and(|text| text.contains("Example: 64MB")), "{wrong}");
        }
    }

    #[test]
    fn sources_have_short_names() {
        let name = |text: &str| short(&text.parse().unwrap());
        assert_eq!(name("serial:/dev/ttyUSB0?baud=4800"), "ttyUSB0");
        assert_eq!(name("udp:0.0.0.0:10110"), "udp-10110");
        assert_eq!(name("logs/night.nmea"), "night");
    }
}
