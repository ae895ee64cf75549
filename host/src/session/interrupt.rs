//! The keyboard and the system may end a watch: it then ends cleanly and says so.

use std::io;
use std::sync::Arc;
use std::sync::atomic::AtomicBool;
use std::sync::atomic::Ordering;

use signal_hook::consts::SIGHUP;
use signal_hook::consts::SIGINT;
use signal_hook::consts::SIGTERM;

/// Whether somebody wants the watch to end; clones share it.
#[derive(Clone, Debug, Default)]
pub struct Interrupt(Arc<AtomicBool>);

/// The exit status of a program that is interrupted a second time.
const INTERRUPTED: i32 = 130;

impl Interrupt {
    /// Set by SIGINT, SIGTERM and SIGHUP; a second one ends the program at once.
    ///
    /// # Errors
    /// The system does not let a handler be set.
    pub fn by_signal() -> io::Result<Self> {
        let interrupt = Self::default();
        for signal in [SIGINT, SIGTERM, SIGHUP] {
            // In this order: the first signal finds the flag clear, and sets it.
            signal_hook::flag::register_conditional_shutdown(signal, INTERRUPTED, Arc::clone(&interrupt.0))?;
            signal_hook::flag::register(signal, Arc::clone(&interrupt.0))?;
        }
        Ok(interrupt)
    }

    /// Ends the watch.
    pub fn set(&self) {
        self.0.store(true, Ordering::Relaxed);
    }

    /// Whether the watch is to end.
    #[inline]
    pub fn is_set(&self) -> bool {
        self.0.load(Ordering::Relaxed)
    }
}
