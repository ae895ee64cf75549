//! Every named input opened: all of them logs, or all of them live.

use std::io;

use lubber_core::picture::SourceId;

use crate::input::InputError;
use crate::input::LiveOptions;
use crate::input::LiveSource;
use crate::input::Replay;
use crate::input::ReplayOptions;
use crate::input::Source;
use crate::input::StdinKind;
use crate::input::live::Wire;
use crate::input::replay::open_file;
use crate::input::replay::open_stream;
use crate::input::stdin::PATIENCE;
use crate::input::stdin::StdinFeed;

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
pub fn open(sources: &[Source], options: &OpenOptions) -> Result<Inputs, InputError> {
    check_count(sources)?;
    let mut feed = None;
    let stdin_is_log = match options.stdin {
        _ if !sources.contains(&Source::Stdin) => false,
        StdinKind::Log => true,
        StdinKind::Live => false,
        StdinKind::Auto => feed.insert(StdinFeed::start(io::stdin())).is_stamped(PATIENCE),
    };
    let is_log = |source: &Source| source.is_file() || (stdin_is_log && *source == Source::Stdin);
    let log = sources.iter().find(|source| is_log(source));
    let live = sources.iter().find(|source| !is_log(source));
    if let (Some(log), Some(live)) = (log, live) {
        return Err(InputError::Mixed { log: log.clone(), live: live.clone() });
    }
    if log.is_some() {
        let open = |source: &Source| match source {
            Source::File(path) => open_file(source, path),
            _ => {
                let feed = feed.take().unwrap_or_else(|| StdinFeed::start(io::stdin()));
                open_stream(source, Box::new(feed))
            }
        };
        let opened = sources.iter().map(open).collect::<Result<_, _>>()?;
        return Replay::of(opened, &options.replay).map(Inputs::Logs);
    }
    let mut all = Vec::new();
    for (at, source) in sources.iter().enumerate() {
        let checksum = options.replay.checksums.get(at).copied().unwrap_or_default();
        all.push(match feed.take_if(|_| *source == Source::Stdin) {
            Some(feed) => LiveSource::of(source, checksum, &options.live, Wire::Stdin(feed)),
            None => LiveSource::open(source, checksum, &options.live)?,
        });
    }
    Ok(Inputs::Live(all))
}

/// Refuses none, too many, and the same one twice.
fn check_count(sources: &[Source]) -> Result<(), InputError> {
    if sources.is_empty() {
        return Err(InputError::None);
    }
    if sources.len() > SourceId::MAX {
        return Err(InputError::TooMany { count: sources.len() });
    }
    for (at, source) in sources.iter().enumerate() {
        if sources[..at].contains(source) {
            return Err(InputError::Twice { from: source.clone() });
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_cannot_run_together_is_refused() {
        let said = |texts: &[&str]| {
            let sources: Vec<Source> = texts.iter().map(|text| text.parse().unwrap()).collect();
            let options = OpenOptions { stdin: StdinKind::Live, ..OpenOptions::default() };
            open(&sources, &options).unwrap_err().to_string()
        };
        assert!(said(&[]).contains("no input was named"));
        assert!(said(&["a", "b", "c", "d", "e"]).contains("5 inputs were named; at most 4"));
        assert!(said(&["a", "a"]).contains("a is named twice"));
        assert!(said(&["a", "-"]).contains("a is a recorded log and - is live"));
        assert!(said(&["a", "tcp:host:10110"]).contains("in separate runs"));
        assert!(said(&["/no/such/folder/night.nmea"]).contains("there is no such file"));
    }
}
