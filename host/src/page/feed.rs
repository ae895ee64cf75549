//! What the watch says: the latest snapshot and ten minutes of trace.
//!
//! Saying it never waits for a browser: the latest snapshot takes the place of the one before, and
//! the trace is short and bounded. Each snapshot carries all alerts, so that whoever skips some has
//! skipped no alert.

use std::collections::VecDeque;
use std::fmt::Write;
use std::sync::Arc;
use std::sync::Mutex;
use std::sync::MutexGuard;
use std::sync::PoisonError;
use std::sync::atomic::AtomicUsize;
use std::sync::atomic::Ordering;

use axum::body::Bytes;
use lubber_core::monitor::Status;
use lubber_core::picture::Reference;
use lubber_core::picture::Steering;
use lubber_core::time::Instant;
use tokio::sync::watch;

use crate::clock::Clock;
use crate::view::Stamp;
use crate::view::number::Tenths;
use crate::view::number::degrees;
use crate::view::number::signed;

/// Points of trace that are kept: ten minutes, one a second.
pub const POINTS: usize = 600;

/// Changes that are kept beside the trace.
const MARKS: usize = 64;

/// One second of the trace, angles in tenths of a degree.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Point {
    since_start_ms: u64,
    /// In the reference of the order, else as the sensor sends it; none while it is stale.
    heading: Option<Tenths>,
    /// From the order to the heading, starboard plus.
    off: Option<Tenths>,
    /// From the heading to the course over the ground, starboard plus.
    crab: Option<Tenths>,
    order: Option<Tenths>,
}

/// The watch's end of the feed.
#[derive(Clone)]
pub struct Feed(pub(super) Arc<Shared>);

/// What the watch and the server share.
pub(super) struct Shared {
    /// Which watch it is: another one begins another trace.
    pub(super) run: String,
    pub(super) clock: Clock,
    pub(super) latest: watch::Sender<Arc<Latest>>,
    trace: Mutex<Trace>,
    /// How many read the stream.
    pub(super) readers: AtomicUsize,
}

/// The latest snapshot.
#[derive(Default)]
pub(super) struct Latest {
    /// Counts from 1; 0 is none yet.
    pub(super) number: u64,
    /// Counts the snapshots that somebody should see at once.
    pub(super) urgent: u64,
    /// By the server's clock.
    pub(super) made: Instant,
    /// Its JSON, and the end of the line that a reader begins.
    pub(super) json: Bytes,
}

/// The last ten minutes.
#[derive(Default)]
struct Trace {
    points: Ring<Point, POINTS>,
    marks: Ring<Box<str>, MARKS>,
}

/// The last `N` of things that are counted from the beginning.
struct Ring<T, const N: usize> {
    kept: VecDeque<T>,
    /// How many came before those that are kept.
    gone: u64,
}

/// How much of the trace a reader has.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Read {
    points: u64,
    marks: u64,
}

impl Point {
    /// The trace at `status`.
    pub fn of(stamp: Stamp, status: &Status) -> Self {
        let heading = status.heading.filter(|heading| !heading.stale);
        let sent = heading.and_then(|h| h.compass.map(|c| c.0).or(h.magnetic.map(|m| m.0)).or(h.truth.map(|t| t.0)));
        let (order, shown) = match status.steering {
            Steering::Heading { order, .. } => {
                let same = heading.and_then(|h| match order.reference {
                    Reference::Compass => h.compass.map(|h| h.0),
                    Reference::Magnetic => h.magnetic.map(|h| h.0),
                    Reference::True => h.truth.map(|h| h.0),
                });
                (Some(degrees(order.bearing)), same.or(sent))
            }
            _ => (None, sent),
        };
        let truth = heading.and_then(|heading| heading.truth);
        let course = status.ground.and_then(|(course, ..)| course);
        let crab = truth.zip(course).map(|(truth, course)| signed(truth.0.turn_to(course.0)));
        let off = status.off.map(signed);
        Self { since_start_ms: stamp.since_start_ms, heading: shown.map(degrees), off, crab, order }
    }

    fn write(self, out: &mut String) {
        // Writing to a String cannot fail.
        let _ = write!(out, "[{}", self.since_start_ms);
        for number in [self.heading, self.off, self.crab, self.order] {
            let _ = match number {
                Some(tenths) => write!(out, ",{tenths}"),
                None => write!(out, ",null"),
            };
        }
        out.push(']');
    }
}

impl<T, const N: usize> Default for Ring<T, N> {
    fn default() -> Self {
        Self { kept: VecDeque::new(), gone: 0 }
    }
}

impl<T, const N: usize> Ring<T, N> {
    fn push(&mut self, item: T) {
        if self.kept.len() == N {
            self.kept.pop_front();
            self.gone += 1;
        }
        self.kept.push_back(item);
    }

    /// Those after the first `seen`, as far as they are kept; `seen` is all of them then.
    fn after(&self, seen: &mut u64) -> impl Iterator<Item = &T> {
        let skip = usize::try_from(seen.saturating_sub(self.gone)).unwrap_or(N);
        *seen = self.gone + u64::try_from(self.kept.len()).unwrap_or(0);
        self.kept.iter().skip(skip)
    }
}

impl Feed {
    pub(super) fn new(run: String) -> Self {
        let latest = watch::Sender::new(Arc::default());
        let (trace, readers) = (Mutex::default(), AtomicUsize::new(0));
        Self(Arc::new(Shared { run, clock: Clock::start(), latest, trace, readers }))
    }

    /// Whether anybody reads: nobody needs to make a snapshot where nobody does.
    pub fn is_read(&self) -> bool {
        self.0.readers.load(Ordering::Relaxed) > 0
    }

    /// One more second of trace.
    pub fn point(&self, point: Point) {
        self.0.trace().points.push(point);
    }

    /// A change to be seen beside the trace: a JSON object.
    pub fn mark(&self, json: &str) {
        self.0.trace().marks.push(json.into());
    }

    /// The snapshot, a JSON object. An urgent one is sent without waiting for its turn.
    pub fn publish(&self, mut json: String, urgent: bool) {
        json.push_str("}\n");
        let made = self.0.clock.now();
        let json = Bytes::from(json);
        self.0.latest.send_modify(|latest| {
            let (number, urgent) = (latest.number + 1, latest.urgent + u64::from(urgent));
            *latest = Arc::new(Latest { number, urgent, made, json });
        });
    }
}

impl Shared {
    fn trace(&self) -> MutexGuard<'_, Trace> {
        // Nothing panics with the lock held.
        self.trace.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// The line of `latest` up to its snapshot, for a reader that has `read`.
    pub(super) fn line(&self, latest: &Latest, read: &mut Read) -> Bytes {
        let now = self.clock.now();
        let age = now.since(latest.made);
        let whole = read.points == 0 && read.marks == 0;
        let mut out = String::with_capacity(if whole { 24 << 10 } else { 256 });
        // Writing to a String cannot fail.
        let _ = write!(
            out,
            r#"{{"run":"{}","sent_ms":{},"age_ms":{},"whole":{whole},"points":["#,
            self.run,
            now.as_ms(),
            age.as_ms()
        );
        let trace = self.trace();
        for (place, point) in trace.points.after(&mut read.points).enumerate() {
            out.push_str(if place > 0 { "," } else { "" });
            point.write(&mut out);
        }
        out.push_str(r#"],"marks":["#);
        for (place, mark) in trace.marks.after(&mut read.marks).enumerate() {
            out.push_str(if place > 0 { "," } else { "" });
            out.push_str(mark);
        }
        out.push_str(r#"],"now":"#);
        Bytes::from(out)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(s: u64) -> Point {
        let heading = Some(Tenths(1521));
        Point { since_start_ms: s * 1000, heading, off: Some(Tenths(-4)), crab: None, order: None }
    }

    fn line(feed: &Feed, read: &mut Read) -> serde_json::Value {
        let latest = Arc::clone(&feed.0.latest.borrow());
        let whole = [feed.0.line(&latest, read), latest.json.clone()].concat();
        assert_eq!(whole.iter().filter(|byte| **byte == b'\n').count(), 1);
        serde_json::from_slice(&whole).expect("it is JSON")
    }

    #[test]
    fn a_reader_gets_each_second_once_and_never_more_than_ten_minutes() {
        let feed = Feed::new("a".into());
        let mut read = Read::default();
        feed.point(at(0));
        feed.point(at(1));
        feed.mark(r#"{"alert":"off-heading"}"#);
        feed.publish("{}".into(), false);
        let first = line(&feed, &mut read);
        assert_eq!(first["points"], serde_json::json!([[0, 152.1, -0.4, null, null], [1000, 152.1, -0.4, null, null]]));
        assert_eq!((&first["whole"], &first["marks"][0]["alert"]), (&true.into(), &"off-heading".into()));
        let second = line(&feed, &mut read);
        assert_eq!((second["points"].as_array().unwrap().len(), &second["whole"]), (0, &false.into()));
        // Whoever slept for an hour gets the last ten minutes, and whoever comes new as well.
        (2..3600).for_each(|s| feed.point(at(s)));
        for mut read in [read, Read::default()] {
            let points = line(&feed, &mut read)["points"].clone();
            assert_eq!((points.as_array().unwrap().len(), &points[0][0]), (POINTS, &3_000_000.into()));
            assert_eq!(line(&feed, &mut read)["points"], serde_json::json!([]));
        }
    }

    #[test]
    fn only_what_is_urgent_is_counted_as_urgent() {
        let feed = Feed::new("a".into());
        assert_eq!(feed.0.latest.borrow().number, 0);
        feed.publish("{}".into(), false);
        feed.publish("{}".into(), true);
        let latest = feed.0.latest.borrow().clone();
        assert_eq!((latest.number, latest.urgent), (2, 1));
    }
}
