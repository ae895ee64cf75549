//! How the watch answers who speaks to it through the control socket.

use std::path::PathBuf;
use std::time::Duration;

use lubber_core::alert::Said;
use lubber_core::arbiter::AlertChange;
use lubber_core::picture::Command;
use lubber_core::time::Instant;

use super::Args;
use super::chronicle::Chronicle;
use super::desk::ANSWERED;
use super::desk::stamp;
use super::sounding::NOTHING_SOUNDS;
use crate::command::order;
use crate::command::speak;
use crate::control::ControlError;
use crate::control::Reply;
use crate::control::Request;
use crate::control::Server;
use crate::exit::Failure;
use crate::session::Answer;
use crate::session::Speaker;
use crate::session::Word;
use crate::sound::Sounder;
use crate::view::Sources;
use crate::view::alert;
use crate::view::doubt::doubt;
use crate::view::history;
use crate::view::notice::steering_words;
use crate::view::report;
use crate::view::status;
use crate::view::text::Row;

/// The columns of a report: who reads it may have no terminal to ask.
const WIDTH: usize = 80;

/// The control socket of a watch, or why there is none.
pub(super) struct Control {
    /// Serves until it is dropped.
    server: Option<Server>,
    /// Why the usual place did not do.
    pub(super) finding: Option<String>,
}

impl Control {
    /// Opens it where the owner wants it, or at the usual place for a watch that somebody can speak to.
    ///
    /// A usual place that cannot be used is no reason to keep no watch: that is told. Another watch
    /// there is one, and so is a place of the owner's own that does not do.
    pub(super) fn open(args: &Args, prompt: bool, desk: FrontDesk) -> Result<Self, Failure> {
        if args.no_control || (!prompt && args.control.is_none()) {
            return Ok(Self { server: None, finding: None });
        }
        let answering = move |request| answer(request, &desk);
        match Server::open(&speak::place(args.control.as_ref()), answering) {
            Ok(server) => Ok(Self { server: Some(server), finding: None }),
            Err(error) if args.control.is_none() && !matches!(error, ControlError::Running(_)) => {
                Ok(Self { server: None, finding: Some(format!("this watch cannot be spoken to: {error}")) })
            }
            Err(error) => Err(Failure::new(error.to_string())),
        }
    }

    /// Where it lies.
    pub(super) fn path(&self) -> Option<PathBuf> {
        self.server.as_ref().map(|server| server.path().to_owned())
    }
}

/// All that whoever answers needs to know.
#[derive(Clone)]
pub(super) struct FrontDesk {
    pub(super) speaker: Speaker,
    pub(super) sources: Sources,
    pub(super) chronicle: Chronicle,
    /// The owner's hooks, and whether a terminal's bell is rung.
    pub(super) sounder: Option<Sounder>,
    pub(super) bell: bool,
}

/// A test of every hook is over by then; the client waits a little longer.
const TESTED_WITHIN: Duration = Duration::from_secs(5);

/// Puts one request to the watch and its answer in words.
pub(super) fn answer(request: Request, desk: &FrontDesk) -> Reply {
    let FrontDesk { speaker, sources, .. } = desk;
    let word = match &request {
        Request::Steer(text) => match order::read(text) {
            Some(command) => Word::Order(command),
            None => return Reply::refused(format!("{}; or cancel. Example: steer 150C", order::refused(text))),
        },
        Request::Acknowledge => Word::Acknowledge,
        Request::Silence => Word::Silence,
        Request::Status => Word::Status,
        Request::History => return happened(desk),
        Request::SoundTest => return sound_test(desk),
    };
    let answer = match speaker.ask(word) {
        Ok(answer) => answer,
        Err(why) => return Reply::refused(why.to_string()),
    };
    match word {
        Word::Order(command) if answer.obeyed => Reply::done(ordered(command, &answer)),
        Word::Order(_) => Reply::refused(no_heading(&answer)),
        Word::Acknowledge => Reply::done(changed("acknowledged", "nothing waits to be acknowledged", &answer, sources)),
        Word::Silence => Reply::done(changed("silenced for 30 s", "nothing sounds", &answer, sources)),
        Word::Answer => Reply::done(ANSWERED),
        Word::Status | Word::SoundTest => report(&answer, desk.chronicle.ordered_at(), sources),
    }
}

fn happened(desk: &FrontDesk) -> Reply {
    let entries = desk.chronicle.entries();
    let rows = history::rows(entries.iter(), &desk.sources, WIDTH);
    let text = rows.iter().map(Row::words).collect::<Vec<String>>().join("\n");
    let text = if text.is_empty() { "nothing has happened since the watch began".to_owned() } else { text };
    Reply { history: Some(history::json(entries.iter(), &desk.sources)), ..Reply::done(text) }
}

fn sound_test(desk: &FrontDesk) -> Reply {
    if desk.sounder.is_none() && !desk.bell {
        return Reply::refused(NOTHING_SOUNDS);
    }
    if let Err(why) = desk.speaker.ask(Word::SoundTest) {
        return Reply::refused(why.to_string());
    }
    let bell = if desk.bell { "the bell of the terminal rang" } else { "no terminal, no bell" };
    let Some(sounder) = &desk.sounder else { return Reply::done(bell) };
    let tested = match sounder.tested(TESTED_WITHIN) {
        Some(tested) => tested,
        None => return Reply::refused("the sounder does not answer: it is busy or has failed; see lubber status"),
    };
    let one = |(name, outcome): &(&str, Result<(), String>)| match outcome {
        Ok(()) => format!("the hook for {name} works"),
        Err(why) => format!("the hook for {name} DOES NOT WORK: {why}"),
    };
    let words: Vec<String> = tested.iter().map(one).chain([bell.to_owned()]).collect();
    match tested.iter().all(|(_, outcome)| outcome.is_ok()) {
        true if tested.is_empty() => Reply::done("an alert sounds just now, which is test enough"),
        true => Reply::done(words.join("\n")),
        false => Reply::refused(words.join("\n")),
    }
}

fn ordered(command: Command, answer: &Answer) -> String {
    let status = &answer.status;
    let what = match command {
        Command::Steer(order) => format!("steering {order}"),
        Command::SteerHere | Command::SteerWind | Command::SteerHand => match status.steering {
            lubber_core::picture::Steering::Heading { order, .. } => {
                let doubted = if doubt(status).is_some() { "; that heading is DOUBTED" } else { "" };
                format!("steering {order}, the heading she has now{doubted}")
            }
            other => return steering_words(other),
        },
        Command::Cancel => return format!("the order is cancelled: {}", steering_words(status.steering)),
    };
    match status.off {
        Some(_) => what,
        None => format!("{what}; NOT WATCHED just now: there is no heading that it can be compared with"),
    }
}

fn no_heading(answer: &Answer) -> String {
    match answer.status.heading {
        None => "not steering here: no heading has been heard yet; give the heading itself, such as 150C".into(),
        Some(heading) => format!(
            "not steering here: the heading is not there just now, the last one of {} came {} ago; give the heading \
             itself, such as 150C",
            heading.origin,
            Said(heading.age)
        ),
    }
}

fn changed(done: &str, nothing: &str, answer: &Answer, sources: &Sources) -> String {
    let name = |change: &AlertChange| format!("{} {}", change.kind, alert::instance(change.instance, sources));
    let mut names: Vec<String> = answer.changes.iter().map(name).collect();
    // One that is answered and thereby over has changed twice.
    names.dedup();
    match names.as_slice() {
        [] if answer.status.watchkeeper.is_some() => ANSWERED.into(),
        [] => nothing.into(),
        names => format!("{done}: {}", names.join(", ")),
    }
}

fn report(answer: &Answer, ordered: Option<Instant>, sources: &Sources) -> Reply {
    let at = stamp(answer.moment);
    let rows = report::rows(at, &answer.status, ordered, sources, WIDTH);
    let text = rows.iter().map(Row::words).collect::<Vec<String>>().join("\n");
    let mut json = String::new();
    let none = lubber_core::frame::Counts::default();
    status::json(&mut json, at, &answer.status, sources, |id| answer.counts.get(id.index()).unwrap_or(&none));
    Reply { status: Some(json), ..Reply::done(text) }
}
