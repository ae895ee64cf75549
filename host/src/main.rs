//! The `lubber` program: parse, run, map to an exit status.

use std::process::ExitCode;

use clap::Parser;
use lubber::command;
use lubber::exit::Exit;

fn main() -> ExitCode {
    match command::run(command::Cli::parse()) {
        Ok(exit) => exit.into(),
        Err(failure) => {
            anstream::eprintln!("lubber: {failure}");
            Exit::Failed.into()
        }
    }
}
