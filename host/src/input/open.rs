//! Every named input opened: all of them logs, or all of them live.

use crate::input::InputError;
use crate::input::LiveOptions;
use crate::input::LiveSource;
use crate::input::Replay;
use crate::input::ReplayOptions;
use crate::input::Source;
use crate::input::StdinKind;

/// How inputs are opened.
#[derive(Clone, Debug, Default)]
pub struct OpenOptions {
    /// What standard input is.
    pub stdin: StdinKind,
    /// For logs; its checksum policies are for live inputs too.
    pub replay: ReplayOptions,
    /// For live inputs.
    pub live: LiveOptions,
}

/// The inputs of one run.
#[derive(Debug)]
pub enum Inputs {
    /// Recorded logs: they drive time.
    Logs(Replay),
    /// Live inputs, opened, in the order they were named: the clock rules.
    Live(Vec<LiveSource>),
}

/// Opens every input of a run. `-` is a log if its first sentences carry stamps, else live, unless
/// `options.stdin` says which; live and log never mix.
///
/// # Errors
/// [`InputError`] says which input cannot be used, why, and the remedy.
pub fn open(sources: &[Source], options: OpenOptions) -> Result<Inputs, InputError> {
    let _ = (sources, options);
    todo!()
}
