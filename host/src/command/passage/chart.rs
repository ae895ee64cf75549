//! From the passage to what is drawn.

use super::account::Episode;
use super::gather::Passage;
use super::gather::Watch;
use super::text::lasting;
use crate::journal::Minute;
use crate::plot::Bar;
use crate::plot::Chart;
use crate::plot::Stand;
use crate::plot::Strip;
use crate::view::Stamp;

/// What is drawn of a source in one minute.
const FULL_MINUTE_MS: i64 = 60_000;

/// The drawing of all that is told of: the watches one after the other, each in its own time.
pub(super) fn chart(passage: &Passage) -> Chart {
    // All have UTC, or each follows the one before.
    let utc = passage.watches.iter().all(|watch| watch.row.began_utc_ms.is_some());
    let mut chart = Chart { utc, ..Chart::default() };
    let mut next = 0.0;
    for watch in &passage.watches {
        let origin = match watch.row.began_utc_ms {
            Some(began) if utc => began as f64 / 1000.0,
            _ => next,
        };
        let place = |since_start_ms: u64| origin + since_start_ms as f64 / 1000.0;
        add(&mut chart, watch, &place);
        next = place(watch.span.1);
        chart.watches.push((place(watch.span.0), next));
    }
    let boats: Vec<&str> = passage.watches.iter().filter_map(|watch| watch.row.boat.as_deref()).collect();
    chart.title = boats.last().map_or("Passage".into(), |boat| format!("Passage of {boat}"));
    chart.about = about(passage);
    chart.source = format!("Drawn from {} by lubber {}.", file_name(passage), env!("CARGO_PKG_VERSION"));
    chart
}

fn file_name(passage: &Passage) -> String {
    passage.journal.file_name().map_or("a journal".into(), |name| name.to_string_lossy().into_owned())
}

fn about(passage: &Passage) -> String {
    let mut parts = Vec::new();
    let (first, last) = (passage.watches.first(), passage.watches.last());
    if let (Some(first), Some(last)) = (first, last) {
        let ends = (first.stamp(first.span.0).iso(), last.stamp(last.span.1).iso());
        if let (Some(from), Some(to)) = ends {
            let minute = |iso: &str| iso.get(..16).unwrap_or(iso).replace('T', " ");
            parts.push(format!("{} to {} UTC", minute(&from), minute(&to)));
        }
    }
    let lasted: u64 = passage.watches.iter().map(|watch| watch.span.1 - watch.span.0).sum();
    parts.push(match passage.watches.len() {
        1 => format!("one watch, {}", lasting(lasted)),
        several => format!("{several} watches, {} in all", lasting(lasted)),
    });
    let miles: f64 = passage.watches.iter().filter_map(|watch| watch.keeping().0.distance_nm()).sum();
    if miles > 0.0 {
        parts.push(format!("{miles:.1} nautical miles over the ground"));
    }
    parts.join("  \u{b7}  ")
}

/// Below this the course over the ground means nothing: DESIGN.md, 1.5 kn.
const COURSE_FROM_MKN: i64 = 1_500;

/// The heading that is drawn, thousandths of a degree: in the reference of the order where there is one, for
/// only there are the two to be compared.
fn drawn(minute: &Minute) -> Option<i64> {
    match (minute.order_mdeg, minute.off_mdeg) {
        (Some(order), Some(off)) => Some(order + off),
        _ => minute.heading_mdeg,
    }
}

/// What leads from true to the reference that is drawn, degrees.
fn to_drawn_of(minute: &Minute) -> Option<f64> {
    Some((drawn(minute)? - minute.true_mdeg?) as f64 / 1000.0)
}

fn add(chart: &mut Chart, watch: &Watch, place: &impl Fn(u64) -> f64) {
    let middle = |at: Stamp, samples: i64| place(at.since_start_ms) + samples as f64 / 2.0;
    let mut last: Option<f64> = None;
    // Variation and deviation between true and what is drawn, as they were last known: the course over the
    // ground is brought to the same north, also while there is no heading.
    let mut to_drawn = watch.minutes.iter().find_map(to_drawn_of).unwrap_or(0.0);
    for minute in &watch.minutes {
        let at = middle(minute.at, minute.samples);
        // A line is not drawn over a gap.
        if last.is_none_or(|last| at - last > 150.0) {
            chart.heading.push(Vec::new());
            chart.order.push(Vec::new());
            chart.course.push(Vec::new());
            chart.rudder.push(Vec::new());
            chart.speed.push(Vec::new());
        }
        last = Some(at);
        let degrees = |mdeg: i64| mdeg as f64 / 1000.0;
        let heading = drawn(minute).map(degrees);
        to_drawn = to_drawn_of(minute).unwrap_or(to_drawn);
        let moves = minute.speed_mkn.is_some_and(|speed| speed >= COURSE_FROM_MKN);
        let course = minute.course_mdeg.filter(|_| moves).map(|course| (degrees(course) + to_drawn).rem_euclid(360.0));
        let letter = minute.order_ref.as_ref().filter(|_| minute.off_mdeg.is_some()).or(minute.heading_ref.as_ref());
        if let Some(letter) = letter
            && !chart.references.contains(letter)
        {
            chart.references.push(letter.clone());
        }
        let points = [
            (&mut chart.heading, heading),
            (&mut chart.order, minute.order_mdeg.map(degrees)),
            (&mut chart.course, course),
            (&mut chart.rudder, minute.rudder_mdeg.map(degrees)),
            (&mut chart.speed, minute.speed_mkn.map(|mkn| mkn as f64 / 1000.0)),
        ];
        for (line, value) in points {
            match value {
                Some(value) => {
                    if let Some(piece) = line.last_mut() {
                        piece.push((at, value));
                    }
                }
                None => line.push(Vec::new()),
            }
        }
        if let (Some(heading), Some(yaw)) = (heading, minute.yaw_mdeg) {
            chart.yaw.push((at, heading, degrees(yaw)));
        }
    }
    for Episode { alert, instance, priority, raised, over, answered, .. } in watch.episodes() {
        chart.stands.push(Stand {
            alert,
            instance,
            priority,
            from: place(raised.since_start_ms.max(watch.span.0)),
            to: place(over.map_or(watch.span.1, |over| over.since_start_ms.min(watch.span.1))),
            stands: over.is_none(),
            answered: answered.map(|answered| place(answered.since_start_ms.min(watch.span.1))),
        });
    }
    for health in &watch.health {
        let known = chart.strips.iter().position(|strip| strip.source == health.source);
        let known = known.unwrap_or_else(|| {
            chart.strips.push(Strip { source: health.source.clone(), bars: Vec::new() });
            chart.strips.len() - 1
        });
        let from = place(health.at.since_start_ms);
        let silent = (health.silent_ms.min(FULL_MINUTE_MS) as f64 / FULL_MINUTE_MS as f64).max(0.0);
        let lines = health.sentences + health.refused;
        chart.strips[known].bars.push(Bar {
            from,
            to: from + 60.0,
            silent: if health.gaps > 0 || health.sentences == 0 { silent } else { 0.0 },
            refused: if lines > 0 { health.refused as f64 / lines as f64 } else { 0.0 },
        });
    }
}
