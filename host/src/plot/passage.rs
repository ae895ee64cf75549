//! The drawing of a passage: one A4 page, lying, in SVG.
//!
//! ```text
//! +--------------------------------------------------+
//! | whose passage, when, how far                     |
//! | heading against order, with the band of the yaw  |
//! |   and every alert as a shade behind it           |
//! | rudder and speed                                 |
//! | one row an alert: when it stood, when answered   |
//! | one row a source: silent, refused                |
//! +--------------------------------------------------+
//! ```
//! Time runs to the right over the whole page, so that what belongs together stands above each other.

use super::pen::Pen;
use super::words;

/// What is drawn; times in seconds since 1970, or since the start where no UTC is known.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Chart {
    /// Whose passage it is.
    pub title: String,
    /// When, how long, how far.
    pub about: String,
    /// What it was made from and by.
    pub source: String,
    /// Whether the times are UTC.
    pub utc: bool,
    /// From when to when each watch was kept.
    pub watches: Vec<(f64, f64)>,
    /// The letters of the references that headings are drawn in.
    pub references: Vec<String>,
    /// Pieces of (time, degrees).
    pub heading: Vec<Vec<(f64, f64)>>,
    /// The same of the order.
    pub order: Vec<Vec<(f64, f64)>>,
    /// The same of the rudder, starboard plus.
    pub rudder: Vec<Vec<(f64, f64)>>,
    /// Pieces of (time, knots).
    pub speed: Vec<Vec<(f64, f64)>>,
    /// Time, heading and its root mean square yaw.
    pub yaw: Vec<(f64, f64, f64)>,
    /// Each time an alert stood.
    pub stands: Vec<Stand>,
    /// Each source.
    pub strips: Vec<Strip>,
}

/// An alert that stood.
#[derive(Clone, Debug, PartialEq)]
pub struct Stand {
    /// Which.
    pub alert: String,
    /// Of what.
    pub instance: String,
    /// `alarm`, `warning` or `caution`.
    pub priority: String,
    /// When it was raised.
    pub from: f64,
    /// When it was over.
    pub to: f64,
    /// Whether it still stood then.
    pub stands: bool,
    /// When somebody answered.
    pub answered: Option<f64>,
}

/// One source over time.
#[derive(Clone, Debug, PartialEq)]
pub struct Strip {
    /// Its name.
    pub source: String,
    /// Minute by minute.
    pub bars: Vec<Bar>,
}

/// One source in one minute.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bar {
    /// Begin.
    pub from: f64,
    /// End.
    pub to: f64,
    /// The part of it that was one silence.
    pub silent: f64,
    /// The part of its lines that was refused.
    pub refused: f64,
}

const LEFT: f64 = 44.0;
const RIGHT: f64 = 284.0;
/// Most rows of alerts, and of sources.
const ALERT_ROWS: usize = 9;
const SOURCE_ROWS: usize = 4;
/// Most points of a line: more would be finer than the print.
const POINTS: usize = 2_000;

/// Time to the right.
struct Time {
    from: f64,
    to: f64,
}

impl Time {
    fn x(&self, at: f64) -> f64 {
        LEFT + (RIGHT - LEFT) * ((at - self.from) / (self.to - self.from)).clamp(0.0, 1.0)
    }
}

/// A frame with values up it.
struct Frame {
    top: f64,
    height: f64,
    low: f64,
    high: f64,
}

impl Frame {
    fn y(&self, value: f64) -> f64 {
        self.top + self.height * (1.0 - ((value - self.low) / (self.high - self.low)).clamp(0.0, 1.0))
    }
}

/// The page.
pub fn passage(chart: &Chart) -> String {
    let mut pen = Pen::lying();
    let ends = chart.watches.iter().fold((f64::MAX, f64::MIN), |(a, b), (from, to)| (a.min(*from), b.max(*to)));
    let time = if ends.0 < ends.1 { Time { from: ends.0, to: ends.1 } } else { Time { from: 0.0, to: 60.0 } };
    pen.text(14.0, 16.0, 6.2, "start", "title", &words::short(&chart.title, 60));
    pen.text(14.0, 22.0, 3.3, "start", "", &words::short(&chart.about, 120));
    let rows = alert_rows(chart);
    let shown = rows.len().min(ALERT_ROWS);
    let strips = chart.strips.len().min(SOURCE_ROWS);
    // What the rows below do not need, the curve has.
    let below = 8.0 + 5.0 * shown.max(1) as f64 + 8.0 + 5.0 * strips.max(1) as f64;
    let heading = Frame { top: 31.0, height: 190.0 - 31.0 - below - 44.0, low: 0.0, high: 1.0 };
    let bottom = draw_heading(&mut pen, chart, &time, heading);
    let bottom = draw_rudder(&mut pen, chart, &time, bottom + 8.0);
    clock(&mut pen, &time, chart.utc, bottom);
    let bottom = draw_alerts(&mut pen, &rows, &time, bottom + 11.0);
    draw_sources(&mut pen, chart, &time, bottom + 7.0);
    pen.text(14.0, 203.0, 2.4, "start", "faint", &words::short(&chart.source, 150));
    let safety = "An aid, not certified equipment. It does not replace a look-out.";
    pen.text(RIGHT, 203.0, 2.4, "end", "faint", safety);
    pen.end()
}

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

fn draw_heading(pen: &mut Pen, chart: &Chart, time: &Time, mut frame: Frame) -> f64 {
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
    let edges =
        chart.yaw.iter().flat_map(|(at, degrees, yaw)| [beside(*at, *degrees) - yaw, beside(*at, *degrees) + yaw]);
    let values = heading.iter().chain(&order).flatten().map(|(_, degrees)| *degrees).chain(edges);
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
    let mut x = RIGHT - 92.0;
    pen.line(x, y - 1.0, x + 7.0, y - 1.0, "curve");
    pen.text(x + 8.5, y, 2.8, "start", "", "heading");
    x += 25.0;
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

fn draw_rudder(pen: &mut Pen, chart: &Chart, time: &Time, top: f64) -> f64 {
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

/// The step between the times that are written: so that about ten fit.
fn time_step(time: &Time) -> f64 {
    const STEPS: [f64; 13] = [
        60.0, 120.0, 300.0, 600.0, 900.0, 1_800.0, 3_600.0, 7_200.0, 14_400.0, 21_600.0, 43_200.0, 86_400.0, 604_800.0,
    ];
    STEPS.into_iter().find(|step| (time.to - time.from) / step <= 12.0).unwrap_or(2_592_000.0)
}

fn times(time: &Time) -> impl Iterator<Item = f64> {
    let step = time_step(time);
    let first = (time.from / step).ceil() * step;
    let to = time.to;
    (0..60).map(move |n| first + f64::from(n) * step).take_while(move |at| *at <= to)
}

fn uprights(pen: &mut Pen, time: &Time, frame: &Frame) {
    for at in times(time) {
        pen.line(time.x(at), frame.top, time.x(at), frame.top + frame.height, "grid");
    }
}

fn clock(pen: &mut Pen, time: &Time, utc: bool, bottom: f64) {
    let long = time_step(time) >= 86_400.0;
    for at in times(time) {
        #[expect(clippy::cast_possible_truncation, reason = "seconds of this era")]
        let s = at as i64;
        let words = match chrono::DateTime::from_timestamp(s, 0).filter(|_| utc) {
            Some(utc) if long => utc.format("%m-%d").to_string(),
            Some(utc) => utc.format("%H:%M").to_string(),
            None => format!("+{}:{:02}", s / 3600, s / 60 % 60),
        };
        let x = time.x(at);
        let anchor = if x > RIGHT - 3.0 { "end" } else { "middle" };
        pen.text(x, bottom + 4.0, 2.8, anchor, "", &words);
    }
    pen.text(LEFT - 1.5, bottom + 4.0, 2.8, "end", "faint", if utc { "UTC" } else { "since start" });
}

/// The rows of the alerts: most urgent first, then as they came.
fn alert_rows(chart: &Chart) -> Vec<(&Stand, Vec<&Stand>)> {
    let mut rows: Vec<(&Stand, Vec<&Stand>)> = Vec::new();
    for stand in &chart.stands {
        match rows.iter_mut().find(|(first, _)| first.alert == stand.alert && first.instance == stand.instance) {
            Some((_, all)) => all.push(stand),
            None => rows.push((stand, vec![stand])),
        }
    }
    let rank = |priority: &str| match priority {
        "alarm" => 0,
        "warning" => 1,
        _ => 2,
    };
    rows.sort_by_key(|(_, all)| all.iter().map(|stand| rank(&stand.priority)).min());
    rows
}

fn draw_alerts(pen: &mut Pen, rows: &[(&Stand, Vec<&Stand>)], time: &Time, top: f64) -> f64 {
    pen.text(LEFT, top, 3.3, "start", "strong", "Alerts");
    let legend = [("alarm", "alarm"), ("warning", "warning"), ("caution", "caution")];
    let mut x = RIGHT - 92.0;
    for (class, words) in legend {
        pen.rect(x, top - 2.4, 5.0, 2.6, class);
        pen.text(x + 6.3, top, 2.8, "start", "", words);
        x += 23.0;
    }
    answer(pen, x + 1.0, top - 1.1);
    pen.text(x + 3.5, top, 2.8, "start", "", "answered");
    let mut y = top + 3.0;
    if rows.is_empty() {
        pen.text(LEFT, y + 2.6, 2.8, "start", "", "none was raised");
        return y + 4.0;
    }
    let most = if rows.len() > ALERT_ROWS { ALERT_ROWS - 1 } else { ALERT_ROWS };
    for (first, all) in rows.iter().take(most) {
        pen.text(LEFT - 1.5, y + 1.5, 2.5, "end", "", &words::short(&first.alert, 24));
        pen.text(LEFT - 1.5, y + 3.7, 1.9, "end", "faint", &words::short(&first.instance, 32));
        pen.line(LEFT, y + 2.0, RIGHT, y + 2.0, "grid");
        for stand in all {
            let (from, to) = (time.x(stand.from), time.x(stand.to));
            pen.rect(from, y + 0.3, (to - from).max(0.7), 3.4, &stand.priority);
            if stand.stands {
                pen.path(&[(to - 1.6, y + 0.8), (to - 0.4, y + 2.0), (to - 1.6, y + 3.2)], false, "onward");
            }
            if let Some(answered) = stand.answered {
                answer(pen, time.x(answered), y + 2.0);
            }
        }
        y += 5.0;
    }
    if rows.len() > most {
        let words = format!("and {} more alerts: see lubber passage", rows.len() - most);
        pen.text(LEFT, y + 2.6, 2.6, "start", "", &words);
        y += 5.0;
    }
    y
}

fn answer(pen: &mut Pen, x: f64, y: f64) {
    pen.path(&[(x - 1.1, y), (x - 0.3, y + 0.9), (x + 1.2, y - 1.0)], false, "answer-edge");
    pen.path(&[(x - 1.1, y), (x - 0.3, y + 0.9), (x + 1.2, y - 1.0)], false, "answer");
}

fn draw_sources(pen: &mut Pen, chart: &Chart, time: &Time, top: f64) {
    pen.text(LEFT, top, 3.3, "start", "strong", "Sources");
    let x = RIGHT - 92.0;
    for (at, class, words) in [(0.0, "well", "came"), (23.0, "silent", "silent"), (46.0, "refused", "lines refused")] {
        pen.rect(x + at, top - 2.4, 5.0, 2.6, class);
        pen.text(x + at + 6.3, top, 2.8, "start", "", words);
    }
    let mut y = top + 3.0;
    for strip in chart.strips.iter().take(SOURCE_ROWS) {
        pen.text(LEFT - 1.5, y + 2.8, 2.5, "end", "", &tail(&strip.source, 22));
        for (from, to) in &chart.watches {
            pen.rect(time.x(*from), y + 0.3, time.x(*to) - time.x(*from), 3.4, "well");
        }
        // A minute that is narrower than the pen is joined with its neighbours, the worst of them shown.
        for group in bars(&strip.bars, time) {
            let (from, to) = (time.x(group.from), time.x(group.to));
            if group.refused > 0.0 {
                let height = 3.4 * group.refused.max(0.25);
                pen.rect(from, y + 3.7 - height, to - from, height, "refused");
            }
            if group.silent > 0.0 {
                pen.rect(from, y + 0.3, (to - from) * group.silent, 3.4, "silent");
            }
        }
        y += 5.0;
    }
    if chart.strips.is_empty() {
        pen.text(LEFT, y + 2.6, 2.8, "start", "", "no minute was kept");
    }
}

/// What is worth a mark, joined to at least half a millimetre.
fn bars(bars: &[Bar], time: &Time) -> Vec<Bar> {
    let least = 0.5 / (RIGHT - LEFT) * (time.to - time.from);
    let mut joined: Vec<Bar> = Vec::new();
    for bar in bars.iter().filter(|bar| bar.silent > 0.0 || bar.refused > 0.0) {
        match joined.last_mut().filter(|last| bar.to - last.from < least) {
            Some(last) => {
                last.to = bar.to;
                last.silent = last.silent.max(bar.silent);
                last.refused = last.refused.max(bar.refused);
            }
            None => joined.push(Bar { to: bar.to.max(bar.from + least), ..*bar }),
        }
    }
    joined
}

/// The last `most` characters: of a path its file.
fn tail(name: &str, most: usize) -> String {
    let count = name.chars().count();
    if count <= most {
        return name.to_owned();
    }
    format!("...{}", name.chars().skip(count - (most - 3)).collect::<String>())
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

    #[test]
    fn the_page_is_well_formed_whatever_is_missing() {
        let empty = passage(&Chart::default());
        assert!(empty.starts_with("<svg") && empty.ends_with("</svg>\n"), "{empty}");
        assert!(empty.contains("no heading was heard") && empty.contains("none was raised"), "{empty}");
        assert!(!empty.contains("NaN") && !empty.contains("inf"), "{empty}");
        let stand = Stand {
            alert: "off-heading<".into(),
            instance: "HCHDG".into(),
            priority: "alarm".into(),
            from: 10.0,
            to: 10.0,
            stands: true,
            answered: Some(11.0),
        };
        let chart = Chart {
            watches: vec![(0.0, 60.0)],
            heading: vec![vec![(30.0, 359.0)]],
            stands: vec![stand; 30],
            strips: vec![Strip {
                source: "a \"name\"".into(),
                bars: vec![Bar { from: 0.0, to: 60.0, silent: 0.5, refused: 0.5 }],
            }],
            ..Chart::default()
        };
        let page = passage(&chart);
        assert!(page.contains("off-heading&lt;") && page.contains("a &quot;name&quot;"), "{page}");
        assert_eq!(page.matches("class=\"alarm-shade\"").count(), 30);
    }
}
