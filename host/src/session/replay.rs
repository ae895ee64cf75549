//! A log drives time.

use lubber_core::time::Instant;
use lubber_core::time::Span;

use crate::input::Replay;
use crate::session::Ending;
use crate::session::Orders;
use crate::session::Pace;
use crate::session::Remark;
use crate::session::SessionError;
use crate::session::Sink;
use crate::session::pace::Pacer;
use crate::session::watch::Watch;

/// A gap is watched through for so long; the rest is jumped, so that a log left lying for a month
/// costs no more than a day.
const WATCHED_GAP: Span = Span::from_min(24 * 60);

/// After so many pieces the progress is told.
const PIECES: u64 = 1024;

/// Replays `logs` to their end, as fast as it goes or at `pace`.
///
/// # Errors
/// [`SessionError`]: a log cannot be read on, or the output cannot be written.
pub fn replay<'a, S: Sink>(
    mut logs: Replay,
    orders: Orders<'a>,
    pace: Option<Pace>,
    sink: &'a mut S,
) -> Result<Ending, SessionError> {
    let mut watch = Watch::new(orders, sink);
    let mut pacer = pace.map(Pacer::start);
    let mut pieces = 0_u64;
    let mut ending = Ending::InputsEnded;
    loop {
        if logs.has_notes() {
            for note in logs.take_notes() {
                watch.remark(Remark::Log(&note))?;
            }
        }
        if watch.interrupted() {
            ending = Ending::Interrupted;
            break;
        }
        let Some(piece) = logs.next()? else { break };
        wake_up_to(&mut watch, pacer.as_mut(), piece.at)?;
        if watch.interrupted() {
            ending = Ending::Interrupted;
            break;
        }
        watch.at(piece.at);
        if let Some(utc_ms) = piece.utc_ms {
            watch.utc(utc_ms);
        }
        if pieces == 0 {
            watch.begin()?;
        }
        watch.bytes(piece.source, piece.bytes)?;
        pieces += 1;
        if pieces.is_multiple_of(PIECES) || pace.is_some() {
            watch.hear()?;
            let progress = logs.progress();
            watch.sink.progress(progress.read, progress.total);
        }
    }
    if ending == Ending::InputsEnded {
        for note in logs.take_notes() {
            watch.remark(Remark::Log(&note))?;
        }
        for source in watch.sources() {
            watch.tell(|monitor, now, out| monitor.finish(now, source, out))?;
        }
        watch.tell(|monitor, now, out| monitor.tick(now, out))?;
    }
    Ok(watch.end(ending)?)
}

/// Everything due before `at` happens at its moment, but for the far end of a long gap.
#[inline]
fn wake_up_to<S: Sink>(watch: &mut Watch<'_, S>, pacer: Option<&mut Pacer>, at: Instant) -> Result<(), SessionError> {
    let gap = at.since(watch.now);
    let jumped = Span::from_ms(gap.as_ms().saturating_sub(WATCHED_GAP.as_ms()));
    let watched = at - jumped;
    match pacer {
        None => watch.wake_until(watched)?,
        Some(pacer) => {
            while watch.due() < watched && !watch.interrupted() {
                let due = watch.due();
                watch.wait(pacer, due)?;
                watch.wake(due)?;
            }
            pacer.jump(jumped);
            watch.wait(pacer, at)?;
        }
    }
    if jumped > Span::ZERO {
        watch.at(at);
        watch.remark(Remark::GapSkipped { ms: jumped.as_ms() })?;
        watch.wake(at)?;
    }
    Ok(())
}
