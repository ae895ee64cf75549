//! Single keys from the terminal, without Enter and unseen; the terminal is left as it was found.
//!
//! Only the terminal's line mode and echo are switched off: Ctrl-C, Ctrl-Z and the rest keep their
//! meaning. What the mode was is put back when [`Keys`] is dropped (at the end, also by a panic) and as
//! soon as the program is told to end, so that a second signal finds it put back. A program that is
//! killed outright cannot; then the command `reset` does.

use std::io;
use std::io::IsTerminal;
use std::os::fd::AsFd;
use std::sync::Arc;
use std::sync::Mutex;
use std::sync::PoisonError;
use std::thread;

use rustix::event::PollFd;
use rustix::event::PollFlags;
use rustix::event::Timespec;
use rustix::io::Errno;
use rustix::termios::LocalModes;
use rustix::termios::OptionalActions;
use rustix::termios::SpecialCodeIndex;
use rustix::termios::Termios;

/// How long it may take until a program that was sent to the background and back is listened to again.
const LOOK_AGAIN: Timespec = Timespec { tv_sec: 0, tv_nsec: 100_000_000 };

/// Keys are being listened to; the terminal is put back when this is dropped.
#[derive(Debug)]
pub struct Keys(Arc<Mutex<Mode>>);

/// How the terminal was found, and whether we have left it again.
#[derive(Debug)]
struct Mode {
    found: Termios,
    left: bool,
}

impl Keys {
    /// Listens on a thread of its own, if standard input is a terminal: `pressed` gets each byte, and the
    /// terminal is put back once `ended` says that the program is about to end.
    pub fn listen(
        mut pressed: impl FnMut(u8) + Send + 'static,
        ended: impl Fn() -> bool + Send + 'static,
    ) -> Option<Self> {
        if !io::stdin().is_terminal() {
            return None;
        }
        let found = rustix::termios::tcgetattr(io::stdin()).ok()?;
        let mode = Arc::new(Mutex::new(Mode { found, left: false }));
        let shared = Arc::clone(&mode);
        let listen = move || {
            loop {
                if ended() {
                    put_back(&shared);
                }
                if !enter(&shared) {
                    return;
                }
                if !in_foreground() || !readable() {
                    continue;
                }
                let mut keys = [0; 16];
                match rustix::io::read(io::stdin().as_fd(), &mut keys) {
                    // The terminal is gone; its SIGHUP ends the watch, or nothing does.
                    Ok(0) | Err(Errno::IO) => return,
                    Ok(count) => keys[..count].iter().copied().for_each(&mut pressed),
                    Err(_) => {}
                }
            }
        };
        // Made before the thread: the terminal is put back even if that panics.
        let keys = Self(mode);
        thread::Builder::new().name("keys".into()).stack_size(256 << 10).spawn(listen).ok()?;
        Some(keys)
    }
}

impl Drop for Keys {
    fn drop(&mut self) {
        put_back(&self.0);
    }
}

/// Takes the terminal's keys one by one, if that is not so already; false once it was put back.
fn enter(mode: &Mutex<Mode>) -> bool {
    let mode = mode.lock().unwrap_or_else(PoisonError::into_inner);
    if mode.left {
        return false;
    }
    // A shell gives a program that comes back from Ctrl-Z a fresh mode, so it is looked at each time.
    if in_foreground()
        && let Ok(mut now) = rustix::termios::tcgetattr(io::stdin())
        && now.local_modes.intersects(LocalModes::ICANON | LocalModes::ECHO)
    {
        now.local_modes.remove(LocalModes::ICANON | LocalModes::ECHO);
        now.special_codes[SpecialCodeIndex::VMIN] = 1;
        now.special_codes[SpecialCodeIndex::VTIME] = 0;
        let _ = rustix::termios::tcsetattr(io::stdin(), OptionalActions::Now, &now);
    }
    true
}

fn put_back(mode: &Mutex<Mode>) {
    let mut mode = mode.lock().unwrap_or_else(PoisonError::into_inner);
    if !mode.left && in_foreground() {
        let _ = rustix::termios::tcsetattr(io::stdin(), OptionalActions::Now, &mode.found);
    }
    mode.left = true;
}

/// Whether the terminal is ours just now: a program in the background that reads it, or changes its
/// mode, is stopped by the system, and a stopped watch is none.
fn in_foreground() -> bool {
    match rustix::termios::tcgetpgrp(io::stdin()) {
        Ok(group) => group == rustix::process::getpgrp(),
        // Not our controlling terminal: there is no background then.
        Err(error) => error == Errno::NOTTY,
    }
}

/// Waits a little for a key.
fn readable() -> bool {
    let stdin = io::stdin();
    let mut fds = [PollFd::new(&stdin, PollFlags::IN)];
    matches!(rustix::event::poll(&mut fds, Some(&LOOK_AGAIN)), Ok(1..))
}
