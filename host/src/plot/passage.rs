//! The drawing of a passage: one A4 page, lying, in SVG.
//!
//! ```text
//! +--------------------------------------------------+
//! | whose passage, when, how far                     |
//! | heading against order, with the band of the yaw, |
//! |   the course over the ground,                    |
//! |   and every alert as a shade behind it           |
//! | rudder and speed                                 |
//! | one row an alert: when it stood, when answered   |
//! | one row a source: silent, refused                |
//! +--------------------------------------------------+
//! ```
//! Time runs to the right over the whole page, so that what belongs together stands above each other.

mod curves;
mod rows;

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
    /// The same of the course over the ground, brought to the north that the heading is drawn against.
    pub course: Vec<Vec<(f64, f64)>>,
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
    let rows = rows::of_alerts(chart);
    let shown = rows.len().min(ALERT_ROWS);
    let strips = chart.strips.len().min(SOURCE_ROWS);
    // What the rows below do not need, the curve has.
    let below = 8.0 + 5.0 * shown.max(1) as f64 + 8.0 + 5.0 * strips.max(1) as f64;
    let heading = Frame { top: 31.0, height: 190.0 - 31.0 - below - 44.0, low: 0.0, high: 1.0 };
    let bottom = curves::draw_heading(&mut pen, chart, &time, heading);
    let bottom = curves::draw_rudder(&mut pen, chart, &time, bottom + 8.0);
    clock(&mut pen, &time, chart.utc, bottom);
    let bottom = rows::draw_alerts(&mut pen, &rows, &time, bottom + 11.0);
    rows::draw_sources(&mut pen, chart, &time, bottom + 7.0);
    pen.text(14.0, 203.0, 2.4, "start", "faint", &words::short(&chart.source, 150));
    let safety = "An aid, not certified equipment. It does not replace a look-out.";
    pen.text(RIGHT, 203.0, 2.4, "end", "faint", safety);
    pen.end()
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

#[cfg(test)]
mod tests {
    use super::*;

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
