//! What keeps a watch company from the start, once it is known that the watch may run.

use super::Args;
use super::announcing::Herald;
use super::beating::Beating;
use super::causes::Causes;
use super::company::Companion;
use super::control::FrontDesk;
use super::diary::Diary;
use super::life::Life;
use super::page;
use super::page::Cockpit;
use super::recording::Recording;
use super::setup::Setup;
use crate::announce;
use crate::exit::Failure;

/// All of them. What may still be refused comes before what leaves a track: the journal is the last, for a
/// watch that is begun in it and not ended reads as one that was cut off.
pub(super) fn all(
    args: &Args,
    setup: &mut Setup,
    live: bool,
    page: Option<&page::Wanted>,
    front: &FrontDesk,
) -> Result<Vec<Box<dyn Companion>>, Failure> {
    let mut companions: Vec<Box<dyn Companion>> = vec![Box::new(Causes(setup.sources.clone()))];
    if let Some(sink) = &args.announce {
        let announce = announce::Announce::open(sink).map_err(|error| Failure::new(error.to_string()))?;
        companions.push(Box::new(Herald::new(announce, args.announce_alr, args.heartbeat)));
    }
    if let Some(folder) = &args.record {
        companions.push(Box::new(Recording::start(folder, setup)?));
    }
    if let Some(beating) = Beating::start(&setup.sounder)?.filter(|_| live) {
        companions.push(Box::new(beating));
    }
    if let Some(life) = live.then(Life::asked_for).flatten() {
        companions.push(Box::new(life));
    }
    if let Some(wanted) = page {
        let cockpit = Cockpit::open(wanted, setup, front)?;
        setup.page = Some(cockpit.place(wanted));
        companions.push(Box::new(cockpit));
    }
    if let Some(path) = &setup.journal {
        companions.push(Box::new(Diary::begin(path, setup, live, live || args.pace.is_some())?));
    }
    Ok(companions)
}

/// The page that is wanted. The boat file wants it for every watch that somebody can look at; for one
/// that is over before anybody does, only whoever typed it is told so.
pub(super) fn page_wanted(args: &Args, setup: &Setup, prompt: bool) -> Result<Option<page::Wanted>, Failure> {
    if args.page.is_some() && !prompt {
        return Err(Failure::new(
            "--page: a log is over before anybody has looked; replay it at a pace, for example: --pace 1",
        ));
    }
    let at = args.page.or(setup.page_wanted).filter(|_| prompt);
    if at.is_none() && (args.page_new_key || args.page_key.is_some()) {
        return Err(Failure::new("there is no page to make a key for; say where: --page ADDRESS:PORT"));
    }
    let wanted = |at| page::Wanted { at, key: args.page_key.clone(), new_key: args.page_new_key, pace: args.pace };
    Ok(at.map(wanted))
}
