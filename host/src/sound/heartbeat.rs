//! The sign of life for an outside buzzer or a hardware watchdog: a hook that the loop itself has run.

use std::io;
use std::sync::mpsc::Receiver;
use std::sync::mpsc::Sender;
use std::sync::mpsc::SyncSender;
use std::sync::mpsc::channel;
use std::sync::mpsc::sync_channel;
use std::thread;
use std::time::Duration;

use lubber_core::time::Span;

use crate::clock::Clock;
use crate::sound::Hook;
use crate::sound::Report;
use crate::sound::hook::Run;
use crate::sound::hook::Told;

/// A heartbeat. The thread beats only when it is told to, so that a loop that hangs is missed.
#[derive(Debug)]
pub struct Heartbeat {
    beat: SyncSender<()>,
    reports: Receiver<Report>,
}

/// How often a hook that runs is looked at.
const POLL: Duration = Duration::from_millis(20);

impl Heartbeat {
    /// A heartbeat by `hook`, which may run for `at_most` so long.
    ///
    /// # Errors
    /// The system gives no thread.
    pub fn start(hook: Hook, at_most: Span) -> io::Result<Self> {
        let (beat, beats) = sync_channel(1);
        let (tell, reports) = channel();
        thread::Builder::new()
            .name("heartbeat".into())
            .stack_size(256 << 10)
            .spawn(move || run(&hook, at_most, &beats, &tell))?;
        Ok(Self { beat, reports })
    }

    /// The loop lives. Where the last beat still runs this one is left out.
    pub fn beat(&self) {
        let _ = self.beat.try_send(());
    }

    /// The next thing to tell.
    pub fn report(&self) -> Option<Report> {
        self.reports.try_recv().ok()
    }
}

fn run(hook: &Hook, at_most: Span, beats: &Receiver<()>, tell: &Sender<Report>) {
    let clock = Clock::start();
    let mut works = true;
    while beats.recv().is_ok() {
        let told = Told { alert: "heartbeat", priority: "", text: "the watch lives" };
        let outcome = Run::start(hook, told).and_then(|mut run| {
            let until = clock.now() + at_most;
            loop {
                if let Some(outcome) = run.ended() {
                    return outcome;
                }
                if clock.now() >= until {
                    let why = run.too_long(at_most.as_s());
                    run.kill();
                    reap(run);
                    return Err(why);
                }
                // Beats that come meanwhile wait in their queue of one.
                thread::park_timeout(POLL);
            }
        });
        let report = match outcome {
            Ok(()) if works => continue,
            Ok(()) => Report::Works,
            Err(_) if !works => continue,
            Err(why) => Report::Fails(why),
        };
        works = report == Report::Works;
        if tell.send(report).is_err() {
            return;
        }
    }
}

/// Waits a second for one that was killed; one that hangs in a driver for longer is given up.
fn reap(mut run: Run) {
    for _ in 0..50 {
        if run.ended().is_some() {
            return;
        }
        thread::park_timeout(POLL);
    }
}
