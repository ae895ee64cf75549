//! The verbs: from what was typed to what is done.

pub mod acknowledge;
pub mod card;
pub mod install_service;
mod limits;
pub mod listen;
mod order;
mod page;
pub mod passage;
pub mod ports;
pub mod record;
pub mod silence;
pub mod simulate;
pub mod sound_test;
mod sources;
mod speak;
pub mod status;
pub mod steer;
pub mod swing;
pub mod watch;
mod words;

use clap::Parser;
use clap::Subcommand;

use crate::exit::Exit;
use crate::exit::Failure;

/// Keeps watch on a small boat's heading.
///
/// Reads NMEA 0183 from a serial adapter, TCP, UDP, standard input or a recorded log, and listens
/// only: it sends nothing that steers.
#[derive(Debug, Parser)]
#[command(name = "lubber", version, after_help = EXIT_STATUS)]
pub struct Cli {
    #[command(subcommand)]
    verb: Verb,
}

const EXIT_STATUS: &str = "\
Exit status: 0 done; 1 the answer is no (only with --check); 2 could not do it; 130 interrupted.

An aid, not certified equipment. It does not replace a look-out (COLREG Rule 5), a second compass
or the manual of the gear.";

#[derive(Debug, Subcommand)]
enum Verb {
    Watch(Box<watch::Args>),
    Steer(steer::Args),
    Acknowledge(acknowledge::Args),
    Silence(silence::Args),
    Status(status::Args),
    SoundTest(sound_test::Args),
    Listen(listen::Args),
    Ports(ports::Args),
    Record(record::Args),
    Passage(passage::Args),
    Swing(Box<swing::Args>),
    Card(card::Args),
    Simulate(simulate::Args),
    InstallService(install_service::Args),
}

/// How an answer is written.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, clap::ValueEnum)]
enum Format {
    /// For people.
    #[default]
    Text,
    /// One JSON object, for programs.
    Json,
}

/// Does what `cli` asks for.
///
/// # Errors
/// [`Failure`] says what could not be done and the remedy.
pub fn run(cli: Cli) -> Result<Exit, Failure> {
    match cli.verb {
        Verb::Watch(args) => watch::run(*args),
        Verb::Steer(args) => steer::run(&args),
        Verb::Acknowledge(args) => acknowledge::run(&args),
        Verb::Silence(args) => silence::run(&args),
        Verb::Status(args) => status::run(&args),
        Verb::SoundTest(args) => sound_test::run(&args),
        Verb::Listen(args) => listen::run(args),
        Verb::Ports(args) => ports::run(args),
        Verb::Record(args) => record::run(&args),
        Verb::Passage(args) => passage::run(&args),
        Verb::Swing(args) => swing::run(&args),
        Verb::Card(args) => card::run(args),
        Verb::Simulate(args) => simulate::run(args),
        Verb::InstallService(args) => install_service::run(&args),
    }
}
