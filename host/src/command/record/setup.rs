//! From what was typed and what the boat file says to what is recorded.

use std::path::PathBuf;

use lubber_core::frame::ChecksumPolicy;

use super::Args;
use crate::command::sources;
use crate::command::sources::Named;
use crate::exit::Failure;
use crate::input::InputError;
use crate::input::OpenOptions;
use crate::input::Source;
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
        let (boat_file, boat) = sources::boat(args.boat.as_deref())?;
        let named = sources::named(&args.sources, &boat)?;
        let policies: Vec<ChecksumPolicy> = named.iter().map(|source| source.checksum).collect();
        let name = |source: &Named| source.name.clone().unwrap_or_else(|| short(&source.input));
        let names = named.iter().map(name).collect();
        let inputs = named.into_iter().map(|source| source.input).collect();
        let options = args.reading.options(policies.clone());
        let limits = Limits { size: args.size, keep: args.keep, floor: args.floor };
        Ok(Self { inputs, options, names, policies, limits, boat_file })
    }

    /// An input's refusal, with what only the verb knows.
    pub(super) fn explain(&self, error: &InputError) -> Failure {
        sources::explain(error, self.boat_file.as_deref())
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
