//! The curves of the passage: heading, course and order above, rudder and speed below.

use super::Chart;
use super::Frame;
use super::LEFT;
use super::RIGHT;
use super::Time;
use super::uprights;
use crate::plot::pen::Pen;

/// Most points of a line: more would be finer than the print.
const POINTS: usize = 2_000;

/// Unwinds headings, so that a line does not jump over the page at north.
fn unwound(pieces: &[Vec<(f64, f64)>], near: &mut Option<f64>) -> Vec<Vec<(f64, f64)>> {
    let mut piece_of = |piece: &Vec<(f64, f64)>| {
        let unwound = piece.iter().map(|&(at, degrees)| {
            let last = near.unwrap_or(degrees);
            let here = last + (degrees - last + 180.0).rem_euclid(360.0) - 180.0;
            *near = Some(here);
            (at, here)
        });
        unwound.collect::<Vec<_>>()
    };
    pieces.iter().map(&mut piece_of).collect()
}

fn nearest(degrees: f64, to: f64) -> f64 {
    to + (degrees - to + 180.0).rem_euclid(360.0) - 180.0
}

pub(super) fn draw_heading(pen: &mut Pen, chart: &Chart, time: &Time, mut frame: Frame) -> f64 {
    let mut near = None;
    let heading = unwound(&chart.heading, &mut near);
    let by_time: Vec<(f64, f64)> = heading.iter().flatten().copied().collect();
    // The order is drawn on the side of the circle where the heading is.
    let beside = |at: f64, degrees: f64| {
        let place = by_time.partition_point(|(t, _)| *t < at).min(by_time.len().saturating_sub(1));
        by_time.get(place).map_or(degrees, |(_, heading)| nearest(degrees, *heading))
    };
    let order: Vec<Vec<(f64, f64)>> =
        chart.order.iter().map(|piece| piece.iter().map(|&(at, deg)| (at, beside(at, deg))).collect()).collect();
    let course: Vec<Vec<(f64, f64)>> =
        chart.course.iter().map(|piece| piece.iter().map(|&(at, deg)| (at, beside(at, deg))).collect()).collect();
    let edges =
        chart.yaw.iter().flat_map(|(at, degrees, yaw)| [beside(*at, *degrees) - yaw, beside(*at, *degrees) + yaw]);
    let values = heading.iter().chain(&order).chain(&course).flatten().map(|(_, degrees)| *degrees).chain(edges);
    let (low, high) = values.fold((f64::MAX, f64::MIN), |(low, high), value| (low.min(value), high.max(value)));
    let (low, high) = if low <= high { (low, high) } else { (0.0, 90.0) };
    let middle = f64::midpoint(low, high);
    let span = ((high - low) * 1.12).max(30.0);
    (frame.low, frame.high) = (middle - span / 2.0, middle + span / 2.0);
    shades(pen, chart, time, &frame);
    band(pen, chart, time, &frame, &beside);
    let step = [5.0, 10.0, 15.0, 30.0, 45.0, 90.0, 180.0].into_iter().find(|step| span / step <= 9.0).unwrap_or(360.0);
    let mut at = (frame.low / step).ceil() * step;
    while at <= frame.high {
        let y = frame.y(at);
        pen.line(LEFT, y, RIGHT, y, "grid");
        pen.text(LEFT - 1.5, y + 1.0, 2.8, "end", "", &format!("{:03.0}", at.rem_euclid(360.0)));
        at += step;
    }
    uprights(pen, time, &frame);
    for piece in &course {
        let line: Vec<(f64, f64)> = thinned(piece).map(|(at, deg)| (time.x(at), frame.y(deg))).collect();
        pen.path(&line, false, "course");
    }
    for piece in &order {
        let line: Vec<(f64, f64)> = thinned(piece).map(|(at, deg)| (time.x(at), frame.y(deg))).collect();
        pen.path(&stepped(&line), false, "order");
    }
    for piece in &heading {
        let line: Vec<(f64, f64)> = thinned(piece).map(|(at, deg)| (time.x(at), frame.y(deg))).collect();
        pen.path(&line, false, "curve");
    }
    pen.rect(LEFT, frame.top, RIGHT - LEFT, frame.height, "frame");
    let reference = match chart.references.as_slice() {
        [letter] => match letter.as_str() {
            "C" => "compass",
            "M" => "magnetic",
            _ => "true",
        },
        [] => "none heard",
        _ => "each in the reference of its order",
    };
    let y = frame.top - 2.2;
    pen.text(LEFT, y, 3.3, "start", "strong", &format!("Heading and order, degrees {reference}"));
    let mut x = RIGHT - 137.0;
    pen.line(x, y - 1.0, x + 7.0, y - 1.0, "curve");
    pen.text(x + 8.5, y, 2.8, "start", "", "heading");
    x += 25.0;
    pen.line(x, y - 1.0, x + 7.0, y - 1.0, "course");
    pen.text(x + 8.5, y, 2.8, "start", "", "course over the ground");
    x += 45.0;
    pen.line(x, y - 1.0, x + 7.0, y - 1.0, "order");
    pen.text(x + 8.5, y, 2.8, "start", "", "order");
    x += 22.0;
    pen.rect(x, y - 2.4, 7.0, 2.8, "band");
    pen.text(x + 8.5, y, 2.8, "start", "", "heading \u{b1} yaw (rms)");
    if by_time.is_empty() {
        pen.text(f64::midpoint(LEFT, RIGHT), frame.top + frame.height / 2.0, 3.6, "middle", "", "no heading was heard");
    }
    frame.top + frame.height
}

/// A step at each change: an order holds until the next.
fn stepped(line: &[(f64, f64)]) -> Vec<(f64, f64)> {
    let mut steps: Vec<(f64, f64)> = Vec::with_capacity(line.len() * 2);
    for &(x, y) in line {
        if let Some(&(_, before)) = steps.last()
            && (before - y).abs() > 0.01
        {
            steps.push((x, before));
        }
        steps.push((x, y));
    }
    steps
}

/// Behind the curve: when an alarm or a warning stood.
fn shades(pen: &mut Pen, chart: &Chart, time: &Time, frame: &Frame) {
    for stand in chart.stands.iter().filter(|stand| stand.priority != "caution") {
        let (from, to) = (time.x(stand.from), time.x(stand.to));
        let class = if stand.priority == "alarm" { "alarm-shade" } else { "warning-shade" };
        pen.rect(from, frame.top, (to - from).max(0.3), frame.height, class);
        pen.line(from, frame.top, from, frame.top + frame.height, "raised");
    }
}

fn band(pen: &mut Pen, chart: &Chart, time: &Time, frame: &Frame, beside: &impl Fn(f64, f64) -> f64) {
    let step = chart.yaw.len() / POINTS + 1;
    let points: Vec<&(f64, f64, f64)> = chart.yaw.iter().step_by(step).collect();
    let far = 150.0 * step as f64;
    for piece in points.chunk_by(|a, b| b.0 - a.0 <= far) {
        let edge = |sign: f64| {
            piece.iter().map(move |(at, degrees, yaw)| (time.x(*at), frame.y(beside(*at, *degrees) + sign * yaw)))
        };
        let mut around: Vec<(f64, f64)> = edge(1.0).collect();
        let mut lower: Vec<(f64, f64)> = edge(-1.0).collect();
        lower.reverse();
        around.append(&mut lower);
        pen.path(&around, true, "band");
    }
}

fn thinned(piece: &[(f64, f64)]) -> impl Iterator<Item = (f64, f64)> {
    piece.iter().step_by(piece.len() / POINTS + 1).copied()
}

pub(super) fn draw_rudder(pen: &mut Pen, chart: &Chart, time: &Time, top: f64) -> f64 {
    let size = chart.rudder.iter().flatten().map(|(_, rudder)| rudder.abs()).fold(0.0, f64::max);
    let side = [5.0, 10.0, 20.0, 40.0].into_iter().find(|side| *side >= size).unwrap_or(90.0);
    let frame = Frame { top: top + 1.0, height: 24.0, low: -side, high: side };
    let fastest = chart.speed.iter().flatten().map(|(_, speed)| *speed).fold(0.0, f64::max);
    let knots = [2.0, 5.0, 10.0, 20.0].into_iter().find(|knots| *knots >= fastest).unwrap_or(50.0);
    let speeds = Frame { low: 0.0, high: knots, ..frame };
    for (value, word) in [(side, " stbd"), (0.0, ""), (-side, " port")] {
        let y = frame.y(value);
        pen.line(LEFT, y, RIGHT, y, if value == 0.0 { "zero" } else { "grid" });
        // The lowest would stand in the times.
        pen.text(
            LEFT - 1.5,
            (y + 1.0).min(frame.top + frame.height - 0.4),
            2.6,
            "end",
            "",
            &format!("{:.0}{word}", value.abs()),
        );
    }
    for knot in [0.0, knots] {
        let y = if knot == 0.0 { frame.top + frame.height } else { frame.top + 1.9 };
        pen.text(RIGHT + 1.0, y, 2.6, "start", "", &format!("{knot:.0} kn"));
    }
    uprights(pen, time, &frame);
    for piece in &chart.speed {
        let line: Vec<(f64, f64)> = thinned(piece).map(|(at, speed)| (time.x(at), speeds.y(speed))).collect();
        pen.path(&line, false, "speed");
    }
    for piece in &chart.rudder {
        let line: Vec<(f64, f64)> = thinned(piece).map(|(at, rudder)| (time.x(at), frame.y(rudder))).collect();
        pen.path(&line, false, "rudder");
    }
    pen.rect(LEFT, frame.top, RIGHT - LEFT, frame.height, "frame");
    let y = frame.top - 1.8;
    pen.text(LEFT, y, 3.3, "start", "strong", "Rudder, degrees, and speed over the ground");
    let x = RIGHT - 92.0;
    pen.line(x, y - 1.0, x + 7.0, y - 1.0, "rudder");
    pen.text(x + 8.5, y, 2.8, "start", "", "rudder, mean of a minute");
    pen.line(x + 47.0, y - 1.0, x + 54.0, y - 1.0, "speed");
    pen.text(x + 55.5, y, 2.8, "start", "", "speed");
    frame.top + frame.height
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_heading_across_north_is_drawn_without_a_jump() {
        let mut near = None;
        let line = unwound(&[vec![(0.0, 358.0), (1.0, 2.0)], vec![(9.0, 355.0)]], &mut near);
        assert_eq!(line, [vec![(0.0, 358.0), (1.0, 362.0)], vec![(9.0, 355.0)]]);
    }
}
