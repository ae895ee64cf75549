//! From what was typed and what the boat file says to what is listened to.

use std::path::PathBuf;

use lubber_core::frame::ChecksumPolicy;
use lubber_core::picture::HeadingSettings;
use lubber_core::picture::Name;

use super::Args;
use crate::analysis::listen::Around;
use crate::clock::Clock;
use crate::command::sources;
use crate::command::sources::Named;
use crate::exit::Failure;
use crate::input;
use crate::input::InputError;
use crate::input::Inputs;
use crate::input::OpenOptions;
use crate::input::Source;

/// All that is needed to listen.
pub(super) struct Setup {
    pub(super) inputs: Vec<Source>,
    options: OpenOptions,
    /// What the sources are called, in their order.
    pub(super) names: Vec<String>,
    pub(super) policies: Vec<ChecksumPolicy>,
    pub(super) headings: HeadingSettings,
    pub(super) boat_file: Option<PathBuf>,
    pub(super) card: Option<PathBuf>,
    card_sensor: Option<Name>,
    /// Whether the owner said what standard input is.
    pub(super) stdin_said: bool,
}

/// The inputs, opened.
pub(super) struct Opened {
    pub(super) inputs: Inputs,
    pub(super) timed: HowTimed,
}

/// Where the times of logs come from.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct HowTimed {
    /// A rate was made up, to read whatever has no time.
    pub(super) made_up_rate: bool,
    /// Sentences with a wrong checksum were let tell the time.
    pub(super) times_unchecked: bool,
}

/// Sentences a second where there is no time: only their order counts then, and those that stand
/// together are to be of one moment.
const MADE_UP_RATE: f64 = 1000.0;

impl Setup {
    pub(super) fn of(args: &Args) -> Result<Self, Failure> {
        let (boat_file, boat) = sources::boat(args.boat.as_deref())?;
        let (card, card_file) = sources::card(args.card.as_deref(), &boat)?.unzip();
        let settings = boat.settings(card_file.as_ref().map(|file| file.card.clone()));
        let mut headings = settings.headings();
        let card_sensor = card_file.as_ref().and_then(|card| card.sensor);
        headings.primary = headings.primary.or(card_sensor);

        let named = sources::named(&args.sources, &boat)?;
        let policy = |own: ChecksumPolicy| args.checksum.map_or(own, ChecksumPolicy::from);
        let policies: Vec<ChecksumPolicy> = named.iter().map(|source| policy(source.checksum)).collect();
        let name = |source: &Named| source.name.clone().unwrap_or_else(|| source.input.to_string());
        let names = named.iter().map(name).collect();
        let inputs = named.into_iter().map(|source| source.input).collect();
        Ok(Self {
            inputs,
            options: args.reading.options(policies.clone()),
            names,
            policies,
            headings,
            boat_file,
            card,
            card_sensor,
            stdin_said: args.reading.says_stdin(),
        })
    }

    /// Opens the inputs. To count sentences no time is needed, and no right checksum: what a watch
    /// refuses is what somebody listens for.
    pub(super) fn open(&self) -> Result<Opened, Failure> {
        // Standard input can be opened once only, so a log on it gets the made-up rate at once; times of
        // its own win.
        let once = self.inputs.contains(&Source::Stdin);
        let plain = HowTimed { made_up_rate: once && self.options.replay.rate.is_none(), ..HowTimed::default() };
        let unchecked = HowTimed { times_unchecked: true, ..HowTimed::default() };
        let made_up = HowTimed { made_up_rate: true, ..HowTimed::default() };
        let ways = [plain, unchecked, made_up];
        let mut ways = ways.iter().take(if once { 1 } else { ways.len() }).peekable();
        while let Some(&timed) = ways.next() {
            let mut options = self.options.clone();
            if timed.made_up_rate {
                options.replay.rate = Some(MADE_UP_RATE);
            }
            if timed.times_unchecked {
                options.replay.checksums = vec![ChecksumPolicy::Ignored; self.inputs.len()];
            }
            match input::open(&self.inputs, &options) {
                Ok(inputs) => return Ok(Opened { inputs, timed }),
                Err(
                    InputError::NoTime { .. } | InputError::NoTrustedTime { .. } | InputError::NoRightChecksum { .. },
                ) if ways.peek().is_some() => {}
                Err(error) => return Err(self.explain(&error)),
            }
        }
        Err(self.explain(&InputError::None))
    }

    /// What the rules of the findings are told.
    pub(super) fn around(&self, untimed: bool, live: bool) -> Around {
        Around {
            sources: self.names.clone(),
            policies: self.policies.clone(),
            card: self.card.as_ref().map(|_| self.card_sensor),
            deviation: self.headings.deviation,
            today_ms: Some(Clock::utc().timestamp_millis()),
            live,
            untimed,
        }
    }

    fn explain(&self, error: &InputError) -> Failure {
        sources::explain(error, self.boat_file.as_deref())
    }
}
