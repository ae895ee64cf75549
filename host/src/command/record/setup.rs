//! From what was typed and what the boat file says to what is recorded.

use std::path::PathBuf;

use lubber_core::frame::ChecksumPolicy;

use super::Args;
use crate::boat::recording::Sizes;
use crate::command::limits::limits;
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

impl Setup {
    pub(super) fn of(args: &Args) -> Result<Self, Failure> {
        let (boat_file, boat) = sources::boat(args.boat.as_deref())?;
        let named = sources::named(&args.sources, &boat)?;
        let policies: Vec<ChecksumPolicy> = named.iter().map(|source| source.checksum).collect();
        let name = |source: &Named| source.name.clone().unwrap_or_else(|| short(&source.input));
        let names = named.iter().map(name).collect();
        let inputs = named.into_iter().map(|source| source.input).collect();
        let options = args.reading.options(policies.clone());
        let typed = Sizes { size: args.size, keep: args.keep, floor: args.floor };
        let limits = limits(typed.or(boat.record))?;
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
    fn sources_have_short_names() {
        let name = |text: &str| short(&text.parse().unwrap());
        assert_eq!(name("serial:/dev/ttyUSB0?baud=4800"), "ttyUSB0");
        assert_eq!(name("udp:0.0.0.0:10110"), "udp-10110");
        assert_eq!(name("logs/night.nmea"), "night");
    }
}
