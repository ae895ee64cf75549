//! One program of the owner's, run without a shell, killed when it hangs, always reaped.

use std::ffi::OsString;
use std::fs;
use std::io;
use std::io::Read;
use std::os::unix::fs::PermissionsExt;
use std::os::unix::process::CommandExt;
use std::os::unix::process::ExitStatusExt;
use std::path::Path;
use std::process::Child;
use std::process::ChildStderr;
use std::process::Command;
use std::process::ExitStatus;
use std::process::Stdio;

use rustix::fs::OFlags;
use rustix::process::Pid;
use rustix::process::Signal;

/// A program and its arguments.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Hook {
    program: String,
    arguments: Vec<String>,
}

/// What a hook is told.
#[derive(Clone, Copy, Debug)]
pub(super) struct Told<'a> {
    pub(super) alert: &'a str,
    pub(super) priority: &'a str,
    pub(super) text: &'a str,
}

/// What of the environment a program needs to find a sound card and its own files.
const KEPT: [&str; 8] =
    ["PATH", "HOME", "USER", "LOGNAME", "LANG", "TZ", "XDG_RUNTIME_DIR", "DBUS_SESSION_BUS_ADDRESS"];
const KEPT_FAMILIES: [&str; 4] = ["LC_", "ALSA_", "PULSE_", "PIPEWIRE_"];

/// So much of what it complains is kept.
const TAIL: usize = 400;
/// Pieces that are read at once: one that complains without end must not hold up the thread.
const PIECES: usize = 16;

impl Hook {
    /// The program and its arguments; none where there is no program.
    pub fn new(words: Vec<String>) -> Option<Self> {
        let mut words = words.into_iter();
        let program = words.next().filter(|program| !program.is_empty())?;
        Some(Self { program, arguments: words.collect() })
    }

    /// The program as it was named.
    pub fn program(&self) -> &str {
        &self.program
    }

    /// Whether the program is there and may be run, without running it.
    ///
    /// # Errors
    /// Why not, with the remedy.
    pub fn find(&self) -> Result<(), String> {
        let runs =
            |path: &Path| fs::metadata(path).is_ok_and(|data| data.is_file() && data.permissions().mode() & 0o111 != 0);
        let found = if self.program.contains('/') {
            runs(Path::new(&self.program))
        } else {
            let path = std::env::var_os("PATH").unwrap_or_default();
            std::env::split_paths(&path).any(|folder| runs(&folder.join(&self.program)))
        };
        if found { Ok(()) } else { Err(self.not_there()) }
    }

    fn not_there(&self) -> String {
        format!(
            "there is no program `{}` that this watch may run; install it, or write its whole path under [sounder] in \
             the boat file",
            self.program
        )
    }
}

/// A hook that runs. Dropped, it is killed; what it put in the background is left, unless it was killed first.
#[derive(Debug)]
pub(super) struct Run {
    program: String,
    child: Child,
    errors: Option<ChildStderr>,
    tail: Vec<u8>,
    reaped: bool,
}

impl Run {
    /// Runs `hook`.
    pub(super) fn start(hook: &Hook, told: Told<'_>) -> Result<Self, String> {
        let kept = |name: &OsString| {
            let name = name.to_string_lossy();
            KEPT.contains(&&*name) || KEPT_FAMILIES.iter().any(|family| name.starts_with(family))
        };
        // A variable cannot hold a zero byte, and a second line would be one that nobody expects.
        let one_line: String = told.text.chars().map(|c| if c.is_control() { ' ' } else { c }).collect();
        let mut command = Command::new(&hook.program);
        command
            .args(&hook.arguments)
            .env_clear()
            .envs(std::env::vars_os().filter(|(name, _)| kept(name)))
            .env("LUBBER_ALERT", told.alert)
            .env("LUBBER_PRIORITY", told.priority)
            .env("LUBBER_TEXT", one_line)
            .stdin(Stdio::null())
            .stdout(Stdio::null())
            .stderr(Stdio::piped())
            // A group of its own: Ctrl-C ends the watch and not the sound of its end, and what the
            // program starts in turn is ended with it.
            .process_group(0);
        let mut child = command.spawn().map_err(|error| match error.kind() {
            io::ErrorKind::NotFound | io::ErrorKind::PermissionDenied => hook.not_there(),
            _ => format!("`{}` cannot be run: {error}", hook.program),
        })?;
        // Only read when there is something: a program that says nothing must not be waited for.
        let errors = child.stderr.take().filter(|pipe| rustix::fs::fcntl_setfl(pipe, OFlags::NONBLOCK).is_ok());
        Ok(Self { program: hook.program.clone(), child, errors, tail: Vec::new(), reaped: false })
    }

    /// Whether it has ended, and how; it is reaped then.
    pub(super) fn ended(&mut self) -> Option<Result<(), String>> {
        let status = match self.child.try_wait() {
            Ok(None) => {
                self.listen();
                return None;
            }
            Ok(Some(status)) => status,
            Err(error) => return Some(Err(format!("`{}` cannot be waited for: {error}", self.program))),
        };
        self.listen();
        self.reaped = true;
        Some(self.judge(status))
    }

    /// Kills it and whatever it started, in the background too; [`Self::ended`] reaps it.
    pub(super) fn kill(&mut self) {
        // While it is not reaped its number is no other's, nor while anything is left of its group.
        if (!self.reaped || self.lingers())
            && let Some(group) = self.group()
        {
            let _ = rustix::process::kill_process_group(group, Signal::KILL);
        }
        if !self.reaped {
            let _ = self.child.kill();
        }
    }

    /// Whether it has ended, and something that it put in the background has not.
    pub(super) fn lingers(&self) -> bool {
        self.reaped && self.group().is_some_and(|group| rustix::process::test_kill_process_group(group).is_ok())
    }

    /// Its group of processes, which has its own number.
    fn group(&self) -> Option<Pid> {
        i32::try_from(self.child.id()).ok().and_then(Pid::from_raw)
    }

    /// Its failure to end in time.
    pub(super) fn too_long(&self, seconds: u64) -> String {
        format!(
            "`{}` did not end within {seconds} s and was killed; let it end sooner, or raise timeout under [sounder] in \
             the boat file",
            self.program
        )
    }

    fn judge(&self, status: ExitStatus) -> Result<(), String> {
        let how = match (status.code(), status.signal()) {
            (Some(0), _) => return Ok(()),
            (Some(code), _) => format!("ended with exit status {code}"),
            (None, signal) => format!("was ended by signal {}", signal.unwrap_or_default()),
        };
        let said = String::from_utf8_lossy(&self.tail);
        let said = said.lines().rev().map(str::trim).find(|line| !line.is_empty()).unwrap_or_default();
        let said: String = said.chars().map(|c| if c.is_control() { ' ' } else { c }).take(160).collect();
        let said = if said.is_empty() { said } else { format!(", saying \"{said}\"") };
        Err(format!("`{}` {how}{said}; run it by hand to see why", self.program))
    }

    fn listen(&mut self) {
        let Some(errors) = &mut self.errors else { return };
        let mut piece = [0; 512];
        for _ in 0..PIECES {
            match errors.read(&mut piece) {
                Ok(count @ 1..) => {
                    self.tail.extend_from_slice(&piece[..count]);
                    let over = self.tail.len().saturating_sub(TAIL);
                    self.tail.drain(..over);
                }
                Ok(0) | Err(_) => return,
            }
        }
    }
}

impl Drop for Run {
    fn drop(&mut self) {
        if !self.reaped {
            self.kill();
            // Not waited for: one that hangs in a driver cannot be killed, and must not hold us up. Who
            // drops it outside the end of the program has seen it end.
            let _ = self.child.try_wait();
        }
    }
}
