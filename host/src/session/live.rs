//! The clock drives time.

use std::io;
use std::sync::mpsc::RecvTimeoutError;
use std::sync::mpsc::sync_channel;
use std::time::Duration;

use lubber_core::picture::SourceId;
use lubber_core::time::Instant;
use lubber_core::time::Span;

use crate::clock::Clock;
use crate::input::Live;
use crate::input::LiveSource;
use crate::input::Stop;
use crate::input::mend_live_date;
use crate::session::Ending;
use crate::session::Orders;
use crate::session::Remark;
use crate::session::SessionError;
use crate::session::Sink;
use crate::session::watch::Watch;

/// What may wait between the threads that read and the loop; a full queue makes them wait.
const QUEUE: usize = 256;

/// How long an interrupt or a word may go unseen.
const SLICE: Duration = Duration::from_millis(100);

/// A UTC this far from the one in use replaces it; less is the jitter of the line.
const CLOCK_STEP_MS: u64 = 1_000;

/// Watches `sources` until every one has come to its end, or the keyboard ends it.
///
/// # Errors
/// [`SessionError::Output`]: the output cannot be written.
pub fn live<'a, S: Sink>(
    sources: Vec<LiveSource>,
    orders: Orders<'a>,
    sink: &'a mut S,
) -> Result<Ending, SessionError> {
    let clock = Clock::start();
    let stop = Stop::new();
    let (to, from) = sync_channel(QUEUE);
    for (source, number) in sources.into_iter().zip(0..) {
        source.spawn(SourceId(number), to.clone(), clock, stop.clone());
    }
    // From here on only the threads of the sources hold it: when all have ended, so has the queue.
    drop(to);
    let mut watch = Watch::new(orders, sink);
    let mut unheard = [false; SourceId::MAX];
    watch.begin()?;
    let ending = loop {
        if watch.interrupted() {
            break Ending::Interrupted;
        }
        watch.hear()?;
        let wait = Duration::from_millis(watch.due().since(clock.now()).as_ms());
        match from.recv_timeout(wait.min(SLICE)) {
            // What was received before a deadline counts before it, however late it is looked at:
            // a slow terminal must not make a value stale.
            Ok(live) => take(&mut watch, &mut unheard, live)?,
            Err(RecvTimeoutError::Timeout) => watch.wake_until(clock.now() + Span::from_ms(1))?,
            Err(RecvTimeoutError::Disconnected) => break Ending::InputsEnded,
        }
    };
    stop.stop();
    Ok(watch.end(ending)?)
}

/// `unheard`: the sources that are open, and from which no byte has come since.
fn take<S: Sink>(
    watch: &mut Watch<'_, S>,
    unheard: &mut [bool; SourceId::MAX],
    live: Live,
) -> Result<(), SessionError> {
    match live {
        Live::Bytes { source, at, bytes } => {
            reach(watch, at)?;
            if std::mem::take(&mut unheard[source.index()]) {
                watch.remark(Remark::Works { source, works: true, heard: true, why: "" })?;
            }
            watch.bytes(source, &bytes)?;
            set_utc(watch)?;
        }
        Live::Works { source, at, works, why } => {
            reach(watch, at)?;
            unheard[source.index()] = works;
            watch.remark(Remark::Works { source, works, heard: false, why: &why })?;
            watch.tell(|monitor, now, out| monitor.input_works(now, source, works, out))?;
        }
        Live::BaudFound { source, baud } => watch.remark(Remark::BaudFound { source, baud })?,
        Live::Ended { source } => {
            watch.tell(|monitor, now, out| monitor.finish(now, source, out))?;
            watch.remark(Remark::Ended { source })?;
        }
    }
    Ok(())
}

fn reach<S: Sink>(watch: &mut Watch<'_, S>, at: Instant) -> Result<(), SessionError> {
    watch.wake_until(at)?;
    watch.at(at);
    Ok(())
}

/// GPS time corrects the stamps, never the deadlines.
fn set_utc<S: Sink>(watch: &mut Watch<'_, S>) -> io::Result<()> {
    let Some((utc_ms, at)) = watch.monitor.utc() else { return Ok(()) };
    // A receiver that does not know its date, or has wrapped its week number, must not date the watch.
    let Some((utc_ms, weeks)) = mend_live_date(utc_ms) else { return Ok(()) };
    let now_ms = utc_ms + i64::try_from(watch.now.since(at).as_ms()).unwrap_or(0);
    if watch.moment().utc_ms.is_none_or(|in_use| in_use.abs_diff(now_ms) > CLOCK_STEP_MS) {
        watch.utc(now_ms);
        if weeks > 0 {
            watch.remark(Remark::RolloverMended { weeks })?;
        }
    }
    Ok(())
}
