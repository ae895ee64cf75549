//! What makes alerts heard, and what shows an outside buzzer that the watch lives.
//!
//! ```text
//! hook       one program of the owner's, run without a shell, killed when it hangs, always reaped
//! sounder    which hook sounds now: what stands, a test, the end of the watch
//! heartbeat  a hook that the loop itself has run: a loop that hangs falls silent
//! ```
//! Each has a thread of its own. What is to sound now is one slot and no queue, so that nothing waits
//! for it and nothing is ever too late. A leaf.
//!
//! # What a hook is given
//! Its arguments as they stand in the boat file, no input, and of the environment only what a program
//! needs to find a sound card (`PATH`, `HOME`, `USER`, `LOGNAME`, `LANG`, `TZ`, `XDG_RUNTIME_DIR`,
//! `DBUS_SESSION_BUS_ADDRESS` and what begins with `LC_`, `ALSA_`, `PULSE_` or `PIPEWIRE_`), and
//! - `LUBBER_ALERT`: the alert's name, else `sound-test`, `end-of-watch` or `heartbeat`;
//! - `LUBBER_PRIORITY`: `alarm`, `warning` or `caution`; empty for a heartbeat;
//! - `LUBBER_TEXT`: what is wrong, on one line.
//!
//! It must stay for as long as its sound: one that goes to the background cannot be silenced. What it
//! writes is dropped, but for the last line on its standard error, which is told when it fails.

mod heartbeat;
mod hook;
mod player;
mod sounder;

#[cfg(test)]
mod tests;

pub use heartbeat::Heartbeat;
pub use hook::Hook;
pub use sounder::{Cue, Hooks, Settings, Sounder, Tested};

/// What there is to tell, once for each change.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Report {
    /// Every hook that was run works again.
    Works,
    /// One does not, and why, with the remedy.
    Fails(String),
}
