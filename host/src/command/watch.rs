//! `lubber watch`.

mod announcing;
mod beating;
mod causes;
mod chronicle;
mod companions;
mod company;
mod control;
mod desk;
mod diary;
mod inheriting;
mod jsonl;
mod keys;
mod life;
mod page;
mod recording;
mod remembering;
mod setup;
mod sounding;
mod standing;
mod text;
mod view;

use std::io;
use std::io::IsTerminal;
use std::net::SocketAddr;
use std::path::Path;
use std::path::PathBuf;

use lubber_core::alert::WatchkeeperSettings;
use lubber_core::frame::ChecksumPolicy;
use lubber_core::picture::Command;
use lubber_core::picture::Name;
use lubber_core::time::Span;

use super::sources::Reading;
use super::words;
use crate::analysis::variation;
use crate::announce;
use crate::boat::file::BoatFile;
use crate::exit::Exit;
use crate::exit::Failure;
use crate::input::Inputs;
use crate::input::Source;
use crate::session;
use crate::session::Ending;
use crate::session::Interrupt;
use crate::session::Legacy;
use crate::session::Orders;
use crate::session::Pace;
use crate::session::SessionError;
use crate::session::Sink;
use crate::session::Words;
use chronicle::Chronicle;
use company::Companion;
use company::Company;
use control::Control;
use control::FrontDesk;
use desk::Desk;
use remembering::Remembering;
use setup::Setup;
use sounding::Sounding;

/// Keep watch, live or on a recorded log.
///
/// Tells what is wrong with the heading: off the ordered course, sensors that contradict each other or
/// the track over the ground, a heading that is lost or frozen, a position or an input that is lost.
/// What cannot be watched for just now is said too.
#[derive(Debug, clap::Args)]
#[command(after_long_help = EXAMPLES, after_help = SAFETY)]
pub struct Args {
    /// What to listen to: FILE, - (standard input), serial:DEVICE, tcp:HOST:PORT or udp:ADDRESS:PORT;
    /// up to 4. None: the sources of the boat file.
    #[arg(value_name = "SOURCE")]
    sources: Vec<Source>,
    /// The boat file; else boat.toml in the working folder, if there is one.
    #[arg(long, value_name = "FILE")]
    boat: Option<PathBuf>,
    /// The deviation card of the heading that the watch is kept by.
    #[arg(long, value_name = "FILE")]
    card: Option<PathBuf>,
    /// How the boat is steered: 135C, 135M, 139T (compass, magnetic, true), here, wind or hand.
    #[arg(long, value_name = "ORDER", value_parser = order, allow_hyphen_values = true)]
    steer: Option<Command>,
    /// The heading the watch is kept by, talker and formatter, such as HCHDG.
    #[arg(long, value_name = "NAME", value_parser = heading)]
    heading: Option<Name>,
    /// How the output is written.
    #[arg(long, value_enum, default_value_t)]
    format: Format,
    /// Take the whole screen: the trace of the last ten minutes, the facts, the alerts. Where the output is
    /// no terminal, lines as without it.
    #[arg(long, conflicts_with = "every")]
    view: bool,
    /// With jsonl: the whole status this often, such as 10s or 1min.
    #[arg(long, value_name = "TIME", value_parser = words::duration)]
    every: Option<Span>,
    /// Replay a log at so many times real time; else as fast as it goes.
    #[arg(long, value_name = "N")]
    pace: Option<Pace>,
    #[command(flatten)]
    reading: Reading,
    /// A live source that cannot be opened at the start is an alert and tried again, and no reason not to
    /// keep watch: for a watch that starts with the boat.
    #[arg(long)]
    keep_trying: bool,
    /// What checksums must be; "ignored" lets damaged lines pass. Overrides the boat file.
    #[arg(long, value_enum, value_name = "RULE")]
    checksum: Option<Checksum>,
    /// Where `steer`, `acknowledge`, `silence` and `status` reach this watch: a socket for you alone. Else
    /// $XDG_RUNTIME_DIR/lubber.sock or /tmp/lubber-UID/lubber.sock; for a log only with this or --pace.
    #[arg(long, value_name = "PATH", conflicts_with = "no_control")]
    control: Option<PathBuf>,
    /// Nobody speaks to this watch.
    #[arg(long)]
    no_control: bool,
    /// Announce alerts (ALF, ALC, HBT, and ARC where a command is refused) at udp:HOST:PORT or
    /// serial:DEVICE[?baud=N]. Nothing that steers is ever sent. A log only with --pace.
    #[arg(long, value_name = "SINK")]
    announce: Option<announce::Sink>,
    /// Announce by ALR too, for listeners that know no ALF.
    #[arg(long, requires = "announce")]
    announce_alr: bool,
    /// How often the watch announces that it is alive, such as 30s or 1min.
    #[arg(long, value_name = "TIME", value_parser = words::duration, default_value = "60s", requires = "announce")]
    heartbeat: Span,
    /// Keep every line on disk too, as `lubber record` does: within the sizes under [record] in the boat file, else
    /// its usual ones. Live inputs only.
    #[arg(long, value_name = "FOLDER")]
    record: Option<PathBuf>,
    /// Show the watch to browsers, at ADDRESS:PORT of this machine; without one on this machine alone,
    /// at 127.0.0.1:10350. The link, with its key, is shown when the key is made. A log only with --pace.
    #[arg(long, value_name = "ADDRESS:PORT", num_args = 0..=1, default_missing_value = USUAL_PAGE, value_parser = address)]
    page: Option<SocketAddr>,
    /// Make a new key for the page; the old one and its links are refused from then on.
    #[arg(long)]
    page_new_key: bool,
    /// Where the hash of the page's key is kept; else page.key in $STATE_DIRECTORY, $XDG_STATE_HOME/lubber
    /// or ~/.local/state/lubber.
    #[arg(long, value_name = "FILE")]
    page_key: Option<PathBuf>,
    /// Ask the person on watch, after so long without an answer (3 to 12 min, such as 10min): any key,
    /// `acknowledge`, `silence` or `steer` answers. Overrides the boat file; for a log only with this.
    #[arg(long, value_name = "TIME", value_parser = watchkeeper)]
    watchkeeper: Option<WatchkeeperSettings>,
    /// Keep a journal in this file, for `lubber passage`; else the boat file's, which a log that is replayed
    /// leaves alone.
    #[arg(long, value_name = "FILE")]
    journal: Option<PathBuf>,
    /// Where the alerts that stand and the owner's order are kept, so that a restart presents them again.
    /// Else state under [sounder] in the boat file, else standing.json in $STATE_DIRECTORY,
    /// $XDG_STATE_HOME/lubber or ~/.local/state/lubber; for a log only with this.
    #[arg(long, value_name = "FILE", conflicts_with = "no_state")]
    state: Option<PathBuf>,
    /// Nothing is kept for the next watch, and nothing of the last one is presented again.
    #[arg(long)]
    no_state: bool,
    /// Exit with 1 if an alarm or a warning was raised.
    #[arg(long)]
    check: bool,
}

/// Where `--page` alone is.
const USUAL_PAGE: &str = "127.0.0.1:10350";

impl Args {
    /// Whether there is anything to listen to, with `boat` as its boat file.
    pub(super) fn listens(&self, boat: &BoatFile) -> bool {
        !self.sources.is_empty() || !boat.sources.is_empty()
    }

    /// The folders that it writes to, with `boat` as its boat file; not those that are the program's own.
    pub(super) fn writes(&self, boat: &BoatFile) -> Vec<PathBuf> {
        let journal = self.journal.as_ref().or(boat.journal.as_ref());
        let files = journal.into_iter().chain(&self.state).chain(&self.page_key);
        let folders = files.map(|file| file.parent().unwrap_or(Path::new("")).to_owned());
        self.record.iter().cloned().chain(folders).collect()
    }
}

/// The words that go with every watch.
const SAFETY: &str = "An aid, not certified equipment. It does not replace a look-out (COLREG Rule 5), a second compass \
or the manual of the gear.";

const EXAMPLES: &str = "\
Examples:
  lubber watch night-passage.nmea                    replay a log, as fast as it goes
  lubber watch night-passage.nmea --pace 60          an hour in a minute
  lubber watch serial:/dev/ttyUSB0 --steer 135C      live, ordered 135 by the pilot's compass
  lubber watch tcp:192.168.4.1:10110 --card card.toml
  lubber watch udp:0.0.0.0:10110 --format jsonl --every 10s
  lubber watch pilot.nmea gps.nmea --check           two logs, merged by their times

Exit status: 0 done; 1 with --check, an alarm or a warning was raised; 2 could not do it; 130 interrupted.

An aid, not certified equipment. It does not replace a look-out (COLREG Rule 5), a second compass
or the manual of the gear. It listens only and steers nothing. A stopped program cannot warn.";

/// How the output is written.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, clap::ValueEnum)]
enum Format {
    /// For people.
    #[default]
    Text,
    /// One JSON object a line, for programs.
    Jsonl,
}

/// What checksums must be.
#[derive(Clone, Copy, Debug, PartialEq, Eq, clap::ValueEnum)]
pub(super) enum Checksum {
    /// There and right.
    Required,
    /// Right where there.
    Optional,
    /// Not looked at: damaged lines pass.
    Ignored,
}

impl From<Checksum> for ChecksumPolicy {
    fn from(checksum: Checksum) -> Self {
        match checksum {
            Checksum::Required => Self::Required,
            Checksum::Optional => Self::Optional,
            Checksum::Ignored => Self::Ignored,
        }
    }
}

fn order(text: &str) -> Result<Command, String> {
    // At the start there is nothing to cancel.
    let order = super::order::read(text).filter(|order| *order != Command::Cancel);
    order.ok_or_else(|| format!("{}. Example: --steer 135C", super::order::refused(text)))
}

fn address(text: &str) -> Result<SocketAddr, String> {
    let expected = "an address of this machine and a port were expected. Example: --page 192.168.4.1:10350";
    text.parse().map_err(|_| expected.to_owned())
}

fn heading(text: &str) -> Result<Name, String> {
    let headings = [*b"HDG", *b"HDM", *b"HDT", *b"THS", *b"VHW"];
    Name::parse(text).filter(|name| headings.contains(&name.formatter.0)).ok_or_else(|| {
        "a heading is named by talker and formatter: HDG, HDM, HDT, THS or VHW after two characters. \
         Example: --heading HCHDG"
            .into()
    })
}

fn watchkeeper(text: &str) -> Result<WatchkeeperSettings, String> {
    let [third, _] = WatchkeeperSettings::THIRD;
    let settings = words::duration(text).ok().and_then(|after| WatchkeeperSettings::new(after, third));
    settings.ok_or_else(|| "a time from 3 to 12 min (MSC.128(75)) was expected. Example: --watchkeeper 10min".into())
}

/// Runs the verb.
///
/// # Errors
/// [`Failure`] says what could not be done and the remedy.
pub fn run(args: Args) -> Result<Exit, Failure> {
    let mut setup = Setup::of(&args)?;
    let inputs = crate::input::open(&setup.inputs, &setup.options).map_err(|error| setup.explain(&error))?;
    let live = matches!(inputs, Inputs::Live(_));
    if live {
        setup::refuse_for_live(&args)?;
    }
    if args.announce.is_some() && !live && args.pace.is_none() {
        return Err(Failure::new(
            "--announce: the alerts of a log come faster than any line takes them; replay it at a pace, for example: \
             --pace 1",
        ));
    }
    if args.record.is_some() && !live {
        return Err(Failure::new(
            "--record: a log is recorded already; to keep it in a folder: lubber record FILE --to FOLDER",
        ));
    }
    if !live {
        setup.journal.clone_from(&args.journal);
    }
    let prompt = live || args.pace.is_some();
    let page = companions::page_wanted(&args, &setup, prompt)?;
    let interrupt = Interrupt::by_signal()
        .map_err(|error| Failure::new(format!("the system does not let a watch be ended cleanly: {error}")))?;
    if !prompt && args.watchkeeper.is_none() {
        // Nobody is there to answer a log that is read as fast as it goes.
        setup.settings.watchkeeper = None;
    }
    let bell = setup.sounder.bell && args.format == Format::Text && io::stdout().is_terminal();
    if live || (prompt && setup.sounder.alarm.is_some()) {
        setup.sounder_words = Some(sounding::words(&setup.sounder, bell));
    }
    let (speaker, words) = session::words();
    let on_keys = on_keys(&args, &setup, prompt);
    let press = |view| on_keys.then(|| keys::listen(speaker.clone(), &interrupt, view)).flatten();
    let full = args.view && args.format == Format::Text && prompt && io::stdout().is_terminal();
    let keys = if full { None } else { press(None) };
    setup.keys = keys.is_some();
    let sounder = if prompt { sounding::start(&setup.sounder)? } else { None };
    let chronicle = Chronicle::default();
    let front = FrontDesk {
        speaker: speaker.clone(),
        sources: setup.sources.clone(),
        chronicle: chronicle.clone(),
        sounder: sounder.clone(),
        bell,
    };
    // Nothing of the owner's is touched before it is known that this watch may run at all: one that is
    // refused because another runs leaves the other's key, journal, record and memory as they were.
    let control = Control::open(&args, prompt, front.clone())?;
    setup.findings.extend(control.finding.clone());
    setup.control = control.path();
    let remembered =
        remembering::Wanted { file: args.state.clone(), none: args.no_state, ordered: args.steer.is_some(), live };
    let (remembering, legacy) = Remembering::wanted(remembered, &mut setup)?;
    let mut companions = companions::all(&args, &mut setup, live, page.as_ref(), &front)?;
    companions.push(Box::new(chronicle));
    companions.extend(remembering.map(|remembering| Box::new(remembering) as Box<dyn Companion>));
    // The last one: what is refused above is no watch, and the end of none is heard.
    if prompt {
        let sounding = Sounding::new(sounder, setup.sounder.timeout, setup.sources.clone(), live);
        companions.push(Box::new(sounding));
    }
    let desk = Desk::new(setup.sources.clone(), prompt);
    let (ended, alarmed) = match args.format {
        Format::Text if full => {
            let text = text::TextSink::new(desk, live, args.pace, &setup.sounder);
            let pace = args.pace.map(Pace::log_ms_a_second);
            let help = if on_keys { &keys::KEYS[..] } else { &[("Ctrl-C end", 0)] };
            let failed = |error| Failure::new(format!("the terminal cannot be painted: {error}; leave out --view"));
            let view = view::ViewSink::new(text, &setup, help, pace);
            let mut sink = view.map_err(failed)?;
            let _keys = press(Some(sink.keys()));
            let company = Company { sink: &mut sink, companions };
            (keep(inputs, &setup, &args, &interrupt, (words, legacy), company), sink.alarmed())
        }
        Format::Text => {
            let mut sink = text::TextSink::new(desk, live, args.pace, &setup.sounder);
            let ended = sink.begin(&setup).map_err(SessionError::Output);
            let ended = ended.and_then(|()| {
                keep(inputs, &setup, &args, &interrupt, (words, legacy), Company { sink: &mut sink, companions })
            });
            (ended, sink.alarmed())
        }
        Format::Jsonl => {
            let mut sink = jsonl::JsonSink::new(desk, io::stdout(), args.every, live);
            let ended = sink.begin(&setup).map_err(SessionError::Output);
            let ended = ended.and_then(|()| {
                keep(inputs, &setup, &args, &interrupt, (words, legacy), Company { sink: &mut sink, companions })
            });
            (ended, sink.alarmed())
        }
    };
    match ended {
        // A watch that nobody hears any more is no watch, and does not end as if all were well.
        Err(SessionError::Output(error)) if error.kind() == io::ErrorKind::BrokenPipe && live => {
            Err(Failure::new("END OF THE WATCH: nobody reads its output any more"))
        }
        // Whoever reads a replay has seen enough.
        Err(SessionError::Output(error)) if error.kind() == io::ErrorKind::BrokenPipe && args.check && alarmed => {
            Ok(Exit::No)
        }
        Err(SessionError::Output(error)) if error.kind() == io::ErrorKind::BrokenPipe => Ok(Exit::Done),
        Err(error) if live => Err(Failure::new(format!("END OF THE WATCH, nobody keeps watch now: {error}"))),
        Err(error) => Err(Failure::new(error.to_string())),
        Ok(Ending::Interrupted) => Ok(Exit::Interrupted),
        Ok(Ending::InputsEnded) if args.check && alarmed => Ok(Exit::No),
        Ok(Ending::InputsEnded) => Ok(Exit::Done),
    }
}

/// Whether somebody sees the output as it comes and may press keys: not where what is typed is the input.
fn on_keys(args: &Args, setup: &Setup, prompt: bool) -> bool {
    prompt && args.format == Format::Text && io::stdout().is_terminal() && !setup.inputs.contains(&Source::Stdin)
}

fn keep<S: Sink>(
    inputs: Inputs,
    setup: &Setup,
    args: &Args,
    interrupt: &Interrupt,
    (words, legacy): (Words, Legacy),
    mut sink: Company<'_, S>,
) -> Result<Ending, SessionError> {
    let mut model = |position, utc_ms| variation::model(position, utc_ms).map_err(|why| why.to_string());
    let orders =
        Orders { settings: setup.settings.clone(), steer: args.steer, legacy, model: &mut model, interrupt, words };
    match inputs {
        Inputs::Logs(logs) => session::replay(logs, orders, args.pace, &mut sink),
        Inputs::Live(sources) => session::live(sources, orders, &mut sink),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_an_order() {
        assert_eq!(order("here"), Ok(Command::SteerHere));
        assert!(matches!(order("135C"), Ok(Command::Steer(_))));
        for wrong in ["135", "361C", "north", "cancel", ""] {
            assert!(order(wrong).is_err_and(|text| text.contains("--steer 135C")), "{wrong}");
        }
    }

    #[test]
    fn what_is_a_watchkeepers_time() {
        // The dormant period is 3 to 12 min: MSC.128(75) 4.1.2.1.
        assert_eq!(watchkeeper("3min").map(WatchkeeperSettings::after), Ok(Span::from_min(3)));
        assert_eq!(watchkeeper("720s").map(WatchkeeperSettings::after), Ok(Span::from_min(12)));
        for wrong in ["2min", "179s", "13min", "soon"] {
            assert!(watchkeeper(wrong).is_err_and(|text| text.contains("--watchkeeper 10min")), "{wrong}");
        }
    }

    #[test]
    fn what_is_a_heading() {
        assert!(heading("HCHDG").is_ok());
        for wrong in ["GPRMC", "hchdg", "HDG", ""] {
            assert!(heading(wrong).is_err(), "{wrong}");
        }
    }
}
