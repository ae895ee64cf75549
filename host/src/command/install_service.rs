//! `lubber install-service`.

use std::env;
use std::fs;
use std::path::Path;
use std::path::PathBuf;

use clap::Parser;

use super::sources;
use super::watch;
use crate::exit::Exit;
use crate::exit::Failure;
use crate::service;
use crate::service::Finding;
use crate::service::Plan;

/// Let the system start the watch with the boat.
///
/// Prints a unit for systemd that keeps the watch running: started at boot, started anew when it stops
/// or hangs, with no more rights than it needs. What stands in its way on this machine is said. Nothing
/// is changed without --write.
#[derive(Debug, clap::Args)]
#[command(after_long_help = EXAMPLES)]
pub struct Args {
    /// Write the unit to this place instead of printing it: FOLDER/lubber.service.
    #[arg(long, value_name = "FOLDER", num_args = 0..=1, default_missing_value = "/etc/systemd/system")]
    write: Option<PathBuf>,
    /// Write over a unit that is there.
    #[arg(long, requires = "write")]
    replace: bool,
    /// Whose service it is; else yours.
    #[arg(long, value_name = "NAME")]
    user: Option<String>,
    /// The boat file; else boat.toml in the working folder.
    #[arg(long, value_name = "FILE")]
    boat: Option<PathBuf>,
    /// A folder that the watch writes to beside those of its record and its journal; may be given several
    /// times.
    #[arg(long = "writes", value_name = "FOLDER")]
    writes: Vec<PathBuf>,
    /// Exit with 1 where something stands in its way.
    #[arg(long)]
    check: bool,
    /// What is given to `lubber watch` beside the boat file.
    #[arg(last = true, value_name = "WATCH ARGUMENTS")]
    arguments: Vec<String>,
}

const EXAMPLES: &str = "\
Examples:
  lubber install-service                                   print the unit, say what is missing
  sudo lubber install-service --write --user ada --boat /home/ada/boat.toml
  lubber install-service -- serial:/dev/ttyUSB0 --record /var/log/boat

Then: sudo systemctl daemon-reload && sudo systemctl enable --now lubber
And look: systemctl status lubber; journalctl -u lubber; lubber status --control /run/lubber/lubber.sock";

/// The name of the unit.
const UNIT: &str = "lubber.service";

/// The watch that would be started, read as it would be.
#[derive(Debug, Parser)]
#[command(name = "lubber watch", no_binary_name = true)]
struct Started {
    #[command(flatten)]
    watch: watch::Args,
}

/// Runs the verb.
///
/// # Errors
/// [`Failure`] says what could not be done and the remedy.
pub fn run(args: &Args) -> Result<Exit, Failure> {
    let here = env::current_dir().map_err(|error| Failure::new(format!("the working folder is gone: {error}")))?;
    let given = args.boat.as_ref().map(|file| here.join(file));
    let (file, boat) = sources::boat(given.as_deref())?;
    let file = file.map(|file| here.join(file));
    let mut arguments = Vec::new();
    if let Some(file) = &file {
        arguments.extend(["--boat".to_owned(), file.display().to_string()]);
    }
    arguments.extend(args.arguments.iter().cloned());
    // A service that is refused each time it starts would be tried for ever.
    let started = Started::try_parse_from(&arguments).map_err(|error| {
        let said = error.render().to_string();
        let said = said.trim_start_matches("error: ").lines().next().unwrap_or_default().to_owned();
        Failure::new(format!("`lubber watch` would refuse what comes after `--`: {said}"))
    })?;
    if !started.watch.listens(&boat) {
        return Err(Failure::new(
            "nothing says what to listen to: make a boat.toml with a [[source]], or give a source after `--`, for \
             example: lubber install-service -- serial:/dev/ttyUSB0",
        ));
    }
    let program = env::current_exe()
        .map_err(|error| Failure::new(format!("the system does not say where this program lies: {error}")))?;
    let folder = file.as_deref().and_then(Path::parent).unwrap_or(&here).to_owned();
    let user = args.user.clone().or_else(|| env::var("SUDO_USER").ok()).or_else(|| env::var("USER").ok());
    let plan = Plan {
        program,
        user: user.unwrap_or_else(|| "root".into()),
        writes: started.watch.writes(&boat).iter().chain(&args.writes).map(|to| folder.join(to)).collect(),
        folder,
        arguments,
    };
    for (what, text) in [("user", plan.user.as_str()), ("folder", &plan.folder.to_string_lossy())] {
        // A line end would begin another directive.
        if text.is_empty()
            || text.chars().any(char::is_control)
            || (what == "user" && text.contains(char::is_whitespace))
        {
            return Err(Failure::new(format!("the {what} \"{}\" cannot stand in a unit", text.escape_debug())));
        }
    }
    let text = service::unit(&plan);
    let findings = service::checks(&plan, Path::new("/"));
    match &args.write {
        Some(folder) => write(&folder.join(UNIT), &text, args.replace)?,
        None => anstream::print!("{text}"),
    }
    for Finding { good, text } in &findings {
        let word = if *good { "good   " } else { "MISSING" };
        let lines = crate::view::text::wrap(text, 80, 8);
        anstream::eprintln!("{word} {}", lines.join("\n").trim_start());
    }
    if let Some(folder) = &args.write {
        anstream::eprintln!("written {}", folder.join(UNIT).display());
        anstream::eprintln!("next    sudo systemctl daemon-reload && sudo systemctl enable --now lubber");
    }
    let missing = findings.iter().any(|finding| !finding.good);
    Ok(if args.check && missing { Exit::No } else { Exit::Done })
}

fn write(path: &Path, text: &str, replace: bool) -> Result<(), Failure> {
    if path.exists() && !replace {
        return Err(Failure::new(format!("{} is there already; write over it with --replace", path.display())));
    }
    fs::write(path, text).map_err(|error| {
        let remedy = match error.kind() {
            std::io::ErrorKind::PermissionDenied => ": run it with sudo",
            std::io::ErrorKind::NotFound => ": the folder is not there",
            _ => "",
        };
        Failure::new(format!("cannot write {} ({error}){remedy}", path.display()))
    })
}
