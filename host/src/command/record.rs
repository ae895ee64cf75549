//! `lubber record`.

mod setup;
mod show;

use std::io;
use std::path::PathBuf;
use std::sync::mpsc::RecvTimeoutError;
use std::sync::mpsc::sync_channel;
use std::time::Duration;

use lubber_core::picture::HeadingSettings;
use lubber_core::picture::SourceId;
use lubber_core::time::Instant;

use crate::analysis::listen::At;
use crate::analysis::listen::Survey;
use crate::clock::Clock;
use crate::command::Format;
use crate::command::limits::size;
use crate::command::sources::Reading;
use crate::exit::Exit;
use crate::exit::Failure;
use crate::input;
use crate::input::InputError;
use crate::input::Inputs;
use crate::input::Live;
use crate::input::LiveSource;
use crate::input::Replay;
use crate::input::Source;
use crate::input::Stop;
use crate::input::mend_live_date;
use crate::record::Recorder;
use crate::record::Settings;
use crate::record::Times;
use crate::session::Interrupt;
use setup::Setup;
use show::Show;

/// Keep the data line on disk: stamped, a file a day, compressed, within a size, safe against a cut of power.
///
/// Each line is kept as it came, behind a TAG block with its source and the time it came in: plain NMEA 0183, which
/// `watch`, `listen` and `swing` read, compressed or not, a file or the whole folder.
#[derive(Debug, clap::Args)]
#[command(after_long_help = EXAMPLES)]
pub struct Args {
    /// What to keep: serial:DEVICE, tcp:HOST:PORT, udp:ADDRESS:PORT or - (standard input), up to 4; or recorded logs,
    /// which are stamped by their own time. None: the sources of the boat file.
    #[arg(value_name = "SOURCE")]
    sources: Vec<Source>,
    /// The folder to keep it in; made if only itself is missing.
    #[arg(long, value_name = "FOLDER")]
    to: PathBuf,
    /// The boat file; else boat.toml in the working folder, if there is one.
    #[arg(long, value_name = "FILE")]
    boat: Option<PathBuf>,
    /// A file is closed before it is longer than this, and at each end of a day of UTC; 64MB unless set here or under
    /// [record] in the boat file.
    #[arg(long, value_name = "SIZE", value_parser = size)]
    size: Option<u64>,
    /// All files together are no larger than this; the oldest are dropped. 2GB unless set.
    #[arg(long, value_name = "SIZE", value_parser = size)]
    keep: Option<u64>,
    /// So much of the disk stays free; the oldest are dropped for it. 200MB unless set.
    #[arg(long, value_name = "SIZE", value_parser = size)]
    floor: Option<u64>,
    /// How the output is written: lines as it goes on, or one summary at the end.
    #[arg(long, value_enum, default_value_t)]
    format: Format,
    #[command(flatten)]
    reading: Reading,
}

const EXAMPLES: &str = "\
Examples:
  lubber record serial:/dev/ttyUSB0 --to log          until Ctrl-C
  lubber record serial:/dev/ttyUSB0?baud=4800 udp:0.0.0.0:10110 --to log --keep 8GB
  lubber watch log                                    replay all of it
  lubber watch serial:/dev/ttyUSB0 --record log       keep watch and record

A line looks like \\s:ttyUSB0,c:1783993800007*hh\\$HCHDG,150.2,,,4.1,W*38 where c: is UTC in milliseconds since 1970.
Until a talker tells the date the system's clock is taken; a first date more than 2 s away corrects the open file.
After a cut of power all but about the last second is there; what the cut tore is left out at the next start.

Exit status: 0 the input ended; 2 could not do it, or lines were lost; 130 interrupted.";

/// What may wait between the threads that read and the loop; a full queue makes them wait.
const QUEUE: usize = 256;
/// How long an interrupt may go unseen.
const SLICE: Duration = Duration::from_millis(200);
/// A disk that is slow for so long is waited for; then lines are lost, and that is counted. Meanwhile the system holds
/// what comes in: a serial line brings some 8 kB in 2 s.
const PATIENCE: Duration = Duration::from_secs(2);
/// A UTC this far from the one in use replaces it; less is the jitter of the line.
const CLOCK_STEP_MS: u64 = 1_000;

/// Runs the verb.
///
/// # Errors
/// [`Failure`] says what could not be done and the remedy.
pub fn run(args: &Args) -> Result<Exit, Failure> {
    let setup = Setup::of(args)?;
    let inputs = input::open(&setup.inputs, &setup.options).map_err(|error| setup.explain(&error))?;
    let live = matches!(inputs, Inputs::Live(_));
    if live {
        args.reading.refuse_for_live()?;
    }
    let interrupt = Interrupt::by_signal()
        .map_err(|error| Failure::new(format!("the system does not let it be ended cleanly: {error}")))?;
    let times = if live { Times::Live } else { Times::Log };
    let settings = Settings { folder: args.to.clone(), limits: setup.limits, sources: setup.names.clone(), times };
    let recorder = Recorder::start(&settings).map_err(|error| Failure::new(error.to_string()))?;
    let mut keep = Keep { recorder, show: Show::new(args.format, &setup.names, &args.to), interrupt };
    let done = keep.show.begin(&setup).map_err(KeepError::Output).and_then(|()| match inputs {
        Inputs::Logs(logs) => keep.logs(logs),
        Inputs::Live(sources) => keep.live(sources, &setup),
    });
    let Keep { recorder, mut show, .. } = keep;
    let ended = recorder.end();
    let interrupted = match done {
        Ok(interrupted) => interrupted,
        // Nobody reads what it says; what it does is on disk all the same.
        Err(KeepError::Output(error)) if error.kind() == io::ErrorKind::BrokenPipe => {
            return ended.map(|_| Exit::Done).map_err(Failure::new);
        }
        Err(error) => return Err(Failure::new(error.to_string())),
    };
    let written = match ended {
        Ok(written) => written,
        Err(why) => {
            return Err(Failure::new(format!("{}: the last lines may not be recorded: {why}", args.to.display())));
        }
    };
    let shown = show.end(&written, interrupted);
    if let Err(error) = shown.filter_broken_pipe() {
        return Err(Failure::new(format!("cannot write the output: {error}")));
    }
    Ok(match () {
        () if interrupted => Exit::Interrupted,
        () if written.lost_lines + written.lost_bytes > 0 => Exit::Failed,
        () => Exit::Done,
    })
}

trait FilterBrokenPipe {
    /// Whoever reads may have seen enough.
    fn filter_broken_pipe(self) -> io::Result<()>;
}

impl FilterBrokenPipe for io::Result<()> {
    fn filter_broken_pipe(self) -> io::Result<()> {
        match self {
            Err(error) if error.kind() == io::ErrorKind::BrokenPipe => Ok(()),
            other => other,
        }
    }
}

/// Why recording could not go on.
#[derive(Debug, thiserror::Error)]
enum KeepError {
    /// A log cannot be read any more.
    #[error(transparent)]
    Input(#[from] InputError),
    /// The output cannot be written.
    #[error("cannot write the output: {0}")]
    Output(#[from] io::Error),
    /// A log that does not know its date.
    #[error(
        "the log does not tell its date; give --start with the time of its first line, such as --start 2026-07-14T02:00:00Z"
    )]
    NoDate,
}

struct Keep {
    recorder: Recorder,
    show: Show,
    interrupt: Interrupt,
}

impl Keep {
    /// Keeps logs to their end, stamped by their own time; whether it was interrupted.
    fn logs(&mut self, mut logs: Replay) -> Result<bool, KeepError> {
        let clock = Clock::start();
        let mut begun = false;
        loop {
            if self.interrupt.is_set() {
                return Ok(true);
            }
            logs.look_ahead()?;
            for note in logs.take_notes() {
                self.show.say(note.utc_ms, Some(note.source), &note.kind.to_string())?;
            }
            let Some(piece) = logs.next()? else { return Ok(false) };
            if !begun && piece.utc_ms.is_none() {
                return Err(KeepError::NoDate);
            }
            begun = true;
            let utc_ms = piece.utc_ms;
            self.recorder.take_waiting(piece.at, utc_ms, piece.source, piece.bytes, Duration::MAX);
            self.look(clock.now(), utc_ms)?;
        }
    }

    /// Keeps live lines until they end; whether it was interrupted.
    fn live(&mut self, sources: Vec<LiveSource>, setup: &Setup) -> Result<bool, KeepError> {
        let clock = Clock::start();
        let stop = Stop::new();
        let (to, from) = sync_channel(QUEUE);
        for (source, number) in sources.into_iter().zip(0..) {
            source.spawn(SourceId(number), to.clone(), clock, stop.clone());
        }
        // From here on only the threads of the sources hold it: when all have ended, so has the queue.
        drop(to);
        let mut date = Date { survey: Survey::new(&setup.policies, HeadingSettings::default()), at_start: None };
        let interrupted = loop {
            if self.interrupt.is_set() {
                break true;
            }
            match from.recv_timeout(SLICE) {
                Ok(Live::Bytes { source, at, bytes }) => {
                    // Before it is known what they say: what comes after a date is dated by it.
                    self.recorder.take_waiting(at, date.utc(at), source, &bytes, PATIENCE);
                    date.hear(at, source, &bytes);
                }
                Ok(Live::Works { works: true, .. }) | Err(RecvTimeoutError::Timeout) => {}
                Ok(Live::Works { source, at, works: false, why }) => {
                    self.show.say(date.utc(at), Some(source), &format!("does not work: {why}"))?;
                }
                Ok(Live::BaudFound { source, baud }) => {
                    self.show.say(date.utc(clock.now()), Some(source), &format!("talks at {baud} baud"))?;
                }
                Ok(Live::Ended { source }) => self.show.say(date.utc(clock.now()), Some(source), "has ended")?,
                Err(RecvTimeoutError::Disconnected) => break false,
            }
            let now = clock.now();
            self.look(now, date.utc(now))?;
        };
        stop.stop();
        Ok(interrupted)
    }

    fn look(&mut self, now: Instant, utc_ms: Option<i64>) -> io::Result<()> {
        while let Some(report) = self.recorder.report() {
            self.show.report(utc_ms, &report)?;
        }
        self.show.note_time(utc_ms);
        if self.show.due() <= now {
            self.show.progress(now, utc_ms, &self.recorder.written())?;
        }
        Ok(())
    }
}

/// What the talkers say of the date.
struct Date {
    survey: Survey,
    /// UTC when the clock stood at zero, Unix milliseconds.
    at_start: Option<i64>,
}

impl Date {
    fn utc(&self, now: Instant) -> Option<i64> {
        self.at_start.map(|start| start.saturating_add(i64::try_from(now.as_ms()).unwrap_or(i64::MAX)))
    }

    fn hear(&mut self, at: Instant, source: SourceId, bytes: &[u8]) {
        self.survey.bytes(At { now: at, utc_ms: self.utc(at) }, source, bytes);
        let Some((utc_ms, said_at)) = self.survey.utc() else { return };
        // A receiver that does not know its date, or has wrapped its week number, must not date the log.
        let Some((utc_ms, _)) = mend_live_date(utc_ms) else { return };
        let start = utc_ms.saturating_sub(i64::try_from(said_at.as_ms()).unwrap_or(0));
        if self.at_start.is_none_or(|in_use| in_use.abs_diff(start) > CLOCK_STEP_MS) {
            self.at_start = Some(start);
        }
    }
}
