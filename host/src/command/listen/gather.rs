//! Listening: a log to its end, or a live line for as long as it is wanted.

use std::io;
use std::sync::mpsc::RecvTimeoutError;
use std::sync::mpsc::sync_channel;
use std::time::Duration;

use lubber_core::picture::SourceId;
use lubber_core::time::Instant;
use lubber_core::time::Span;

use super::Heard;
use super::setup::HowTimed;
use super::setup::Opened;
use super::setup::Setup;
use super::text;
use crate::analysis::listen::At;
use crate::analysis::listen::Survey;
use crate::clock::Clock;
use crate::input::InputError;
use crate::input::Inputs;
use crate::input::Live;
use crate::input::LiveSource;
use crate::input::LogNote;
use crate::input::NoteKind;
use crate::input::Replay;
use crate::input::Source;
use crate::input::Stop;
use crate::input::mend_live_date;
use crate::session::Interrupt;
use crate::terminal::Board;
use crate::terminal::Progress;

/// What was gathered.
pub(super) struct Gathered {
    pub(super) survey: Survey,
    /// What the inputs had to say, a line each.
    pub(super) remarks: Vec<String>,
    pub(super) interrupted: bool,
    /// Whether the input has no time of its own.
    pub(super) untimed: bool,
    pub(super) live: bool,
}

/// Why listening could not go on.
#[derive(Debug, thiserror::Error)]
pub(super) enum GatherError {
    /// A log cannot be read any more.
    #[error(transparent)]
    Input(#[from] InputError),
    /// The output cannot be written.
    #[error(transparent)]
    Output(#[from] io::Error),
}

/// Most remarks that are kept.
const REMARKS: usize = 24;
/// After so many pieces of a log the progress is told.
const PIECES: u32 = 4096;
/// What may wait between the threads that read and the loop; a full queue makes them wait.
const QUEUE: usize = 256;
/// How long an interrupt may go unseen.
const SLICE: Duration = Duration::from_millis(200);
/// On a terminal the table is drawn so often.
const REDRAW: Span = Span::from_s(1);
/// A UTC this far from the one in use replaces it; less is the jitter of the line.
const CLOCK_STEP_MS: u64 = 1_000;

pub(super) fn gather(
    opened: Opened,
    setup: &Setup,
    length: Option<Span>,
    interrupt: &Interrupt,
    on_terminal: bool,
) -> Result<Gathered, GatherError> {
    let survey = Survey::new(&setup.policies, setup.headings.clone());
    match opened.inputs {
        Inputs::Logs(logs) => read(logs, survey, setup, opened.timed, interrupt),
        Inputs::Live(sources) => hear(sources, survey, setup, length, interrupt, on_terminal),
    }
}

/// Remarks that do not grow without bound.
#[derive(Default)]
struct Remarks {
    /// Each with its moment, where it has one: the UTC of that may become known only later.
    lines: Vec<(Option<At>, String)>,
    more: u64,
}

impl Remarks {
    fn add(&mut self, at: Option<At>, line: String) {
        if self.lines.len() < REMARKS {
            self.lines.push((at, line));
        } else {
            self.more += 1;
        }
    }

    fn done(mut self, survey: &Survey) -> Vec<String> {
        if self.more > 0 {
            self.lines.push((None, format!("{} more remarks like these", self.more)));
        }
        let line = |(at, line): (Option<At>, String)| match at {
            Some(at) => format!("{} {line}", survey.clock(at)),
            None => line,
        };
        self.lines.into_iter().map(line).collect()
    }
}

fn read(
    mut logs: Replay,
    mut survey: Survey,
    setup: &Setup,
    HowTimed { made_up_rate, times_unchecked }: HowTimed,
    interrupt: &Interrupt,
) -> Result<Gathered, GatherError> {
    let mut remarks = Remarks::default();
    if times_unchecked {
        remarks
            .add(None, "no time with a right checksum: times are taken from sentences whose checksum is wrong".into());
    }
    let mut timed = 0;
    let mut note = |note: &LogNote, survey: &mut Survey| {
        match note.kind {
            NoteKind::RateNotUsed if made_up_rate => {
                timed += 1;
                return;
            }
            NoteKind::Gap { .. } | NoteKind::StepBack { .. } => survey.break_in(note.at, note.source),
            _ => {}
        }
        let at = At { now: note.at, utc_ms: note.utc_ms };
        let from = if setup.names.len() > 1 { format!("{}: ", name(setup, note.source)) } else { String::new() };
        remarks.add(Some(at), format!("{from}{}", note.kind));
    };
    let bar = Progress::new(logs.progress().total);
    let mut pieces = 0_u32;
    let mut interrupted = false;
    loop {
        logs.look_ahead()?;
        logs.take_notes().iter().for_each(|it| note(it, &mut survey));
        pieces = pieces.wrapping_add(1);
        if pieces.is_multiple_of(PIECES) {
            bar.at(logs.progress().read);
        }
        interrupted = interrupted || interrupt.is_set();
        if interrupted {
            break;
        }
        let Some(piece) = logs.next()? else { break };
        survey.bytes(At { now: piece.at, utc_ms: piece.utc_ms }, piece.source, piece.bytes);
    }
    logs.take_notes().iter().for_each(|it| note(it, &mut survey));
    bar.done();
    if !interrupted {
        finish(&mut survey, setup);
    }
    let untimed = made_up_rate && timed < setup.inputs.len();
    let remarks = remarks.done(&survey);
    Ok(Gathered { survey, remarks, interrupted, untimed, live: false })
}

fn finish(survey: &mut Survey, setup: &Setup) {
    for (_, number) in setup.inputs.iter().zip(0..) {
        survey.finish(SourceId(number));
    }
}

fn name(setup: &Setup, source: SourceId) -> &str {
    setup.names.get(usize::from(source.0)).map_or("?", String::as_str)
}

fn hear(
    sources: Vec<LiveSource>,
    survey: Survey,
    setup: &Setup,
    length: Option<Span>,
    interrupt: &Interrupt,
    on_terminal: bool,
) -> Result<Gathered, GatherError> {
    let clock = Clock::start();
    let stop = Stop::new();
    let (to, from) = sync_channel(QUEUE);
    for (source, number) in sources.into_iter().zip(0..) {
        source.spawn(SourceId(number), to.clone(), clock, stop.clone());
    }
    // From here on only the threads of the sources hold it: when all have ended, so has the queue.
    drop(to);
    let end = length.map(|length| clock.now() + length);
    let mut ear = Ear { survey, remarks: Remarks::default(), utc_at_start: None, setup };
    let mut board = on_terminal.then(Board::stdout);
    let mut redraw = clock.now();
    let interrupted = loop {
        let now = clock.now();
        if interrupt.is_set() {
            break true;
        }
        if end.is_some_and(|end| now >= end) {
            break false;
        }
        if let Some(board) = board.as_mut().filter(|_| now >= redraw) {
            redraw = now + REDRAW;
            ear.survey.tick(ear.at(now));
            draw(board, &ear)?;
        }
        let until = end.map_or(SLICE, |end| Duration::from_millis(end.since(now).as_ms()).min(SLICE));
        match from.recv_timeout(until) {
            Ok(live) => ear.take(live),
            Err(RecvTimeoutError::Timeout) => {}
            Err(RecvTimeoutError::Disconnected) => break false,
        }
    };
    stop.stop();
    if let Some(mut board) = board {
        board.wipe()?;
    }
    let now = ear.at(clock.now());
    ear.survey.tick(now);
    let remarks = ear.remarks.done(&ear.survey);
    Ok(Gathered { survey: ear.survey, remarks, interrupted, untimed: false, live: true })
}

/// Listens to live sources.
struct Ear<'a> {
    survey: Survey,
    remarks: Remarks,
    /// UTC when the clock stood at zero, Unix milliseconds.
    utc_at_start: Option<i64>,
    setup: &'a Setup,
}

impl Ear<'_> {
    fn at(&self, now: Instant) -> At {
        let since = i64::try_from(now.as_ms()).unwrap_or(i64::MAX);
        At { now, utc_ms: self.utc_at_start.map(|start| start.saturating_add(since)) }
    }

    fn take(&mut self, live: Live) {
        match live {
            Live::Bytes { source, at, bytes } => {
                // Line by line, so that a date told in one is known in the next.
                for line in bytes.split_inclusive(|&byte| byte == b'\n') {
                    self.survey.bytes(self.at(at), source, line);
                    self.set_utc();
                }
            }
            Live::Works { works: true, .. } => {}
            Live::Works { source, at, works: false, why } => {
                let line = format!("{} does not work: {why}", name(self.setup, source));
                self.remarks.add(Some(self.at(at)), line);
            }
            Live::BaudFound { source, baud } => {
                self.remarks.add(None, format!("{} talks at {baud} baud", name(self.setup, source)));
            }
            Live::Ended { source } => {
                self.survey.finish(source);
                if self.setup.inputs.get(source.index()) == Some(&Source::Stdin) && !self.setup.stdin_said {
                    let line = "standard input carries no stamps and was taken as live: rates and gaps are those of \
                                the pipe. For a recorded log give its file, or --log";
                    self.remarks.add(None, line.into());
                }
            }
        }
    }

    /// GPS time dates what is told; a receiver that does not know its date must not.
    fn set_utc(&mut self) {
        let Some((utc_ms, at)) = self.survey.utc() else { return };
        let Some((utc_ms, _)) = mend_live_date(utc_ms) else { return };
        let start = utc_ms.saturating_sub(i64::try_from(at.as_ms()).unwrap_or(0));
        if self.utc_at_start.is_none_or(|in_use| in_use.abs_diff(start) > CLOCK_STEP_MS) {
            self.utc_at_start = Some(start);
        }
    }
}

fn draw<W: io::Write>(board: &mut Board<W>, ear: &Ear<'_>) -> io::Result<()> {
    let (width, height) = terminal_size::terminal_size().map_or((80, 24), |(w, h)| (w.0.into(), h.0.into()));
    let findings = ear.survey.findings(&ear.setup.around(false, true));
    let heard = Heard {
        setup: ear.setup,
        survey: &ear.survey,
        findings: &findings,
        // They are told at the end: here the table alone changes.
        remarks: &[],
        untimed: false,
        interrupted: false,
    };
    board.draw(&text::live_rows(&heard, width), width, height)
}
