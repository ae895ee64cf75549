//! The curve with its band and what was seen, and the residuals by heading.

use super::Kind;
use super::LEFT;
use super::Mark;
use super::RIGHT;
use super::Sheet;
use super::pen::Pen;

/// A frame with headings along it and degrees up it.
struct Frame {
    top: f64,
    height: f64,
    /// Degrees at its upper edge; minus as many at its lower.
    scale: f64,
}

/// Where the frames begin, right of their numbers.
const INSIDE: f64 = LEFT + 11.0;

impl Frame {
    fn x(compass_deg: f64) -> f64 {
        INSIDE + (RIGHT - INSIDE) * compass_deg / 360.0
    }

    /// Held inside the frame.
    fn y(&self, degrees: f64) -> f64 {
        let part = (degrees / self.scale).clamp(-1.0, 1.0);
        self.top + self.height * (0.5 - 0.5 * part)
    }

    fn draw(&self, pen: &mut Pen, step: f64) {
        for at in 0..=12 {
            let x = Self::x(30.0 * f64::from(at));
            pen.line(x, self.top, x, self.top + self.height, if at % 3 == 0 { "rule grid" } else { "grid" });
        }
        let lines = (self.scale / step).floor() as i32;
        for at in -lines..=lines {
            let degrees = f64::from(at) * step;
            let y = self.y(degrees);
            pen.line(INSIDE, y, RIGHT, y, if at == 0 { "zero" } else { "grid" });
            let side = if at > 0 {
                " E"
            } else if at < 0 {
                " W"
            } else {
                ""
            };
            let digits =
                if step < 1.0 { format!("{:.1}{side}", degrees.abs()) } else { format!("{:.0}{side}", degrees.abs()) };
            // The lowest would stand in the headings.
            let y = (y + 1.0).min(self.top + self.height);
            pen.text(INSIDE - 1.2, y, 2.8, "end", "", &digits);
        }
        pen.rect(INSIDE, self.top, RIGHT - INSIDE, self.height, "frame");
    }
}

/// A scale that holds `most`, and the step of its lines.
fn scale(most: f64) -> (f64, f64) {
    const SCALES: [(f64, f64); 10] = [
        (1.0, 0.5),
        (2.0, 1.0),
        (3.0, 1.0),
        (5.0, 1.0),
        (8.0, 2.0),
        (10.0, 2.0),
        (15.0, 5.0),
        (20.0, 5.0),
        (30.0, 10.0),
        (60.0, 20.0),
    ];
    SCALES.into_iter().find(|(scale, _)| *scale >= most).unwrap_or((90.0, 30.0))
}

/// The value that all but a twentieth of the sizes stay below: a few spikes do not flatten the picture.
fn usual(sizes: impl Iterator<Item = f64>) -> f64 {
    let mut sizes: Vec<f64> = sizes.filter(|size| size.is_finite()).collect();
    sizes.sort_by(f64::total_cmp);
    sizes.get(sizes.len() * 19 / 20).or(sizes.last()).copied().unwrap_or(0.0)
}

/// Draws the curve below `top`; returns where the next thing begins.
pub(crate) fn curve(pen: &mut Pen, sheet: &Sheet, top: f64, height: f64) -> f64 {
    let band = sheet.curve.iter().map(|node| node.deviation_deg.abs() + 2.0 * node.sigma_deg.unwrap_or(0.0));
    let most = band.fold(0.0, f64::max).max(usual(sheet.marks.iter().map(|mark| mark.deviation_deg.abs())));
    let (scale, step) = scale(most * 1.04);
    let frame = Frame { top: top + 5.0, height, scale };
    caption(pen, sheet, top + 2.2);
    let edge = |sign: f64| {
        sheet.curve.iter().filter_map(move |node| {
            Some((Frame::x(node.compass_deg), node.deviation_deg + sign * 2.0 * node.sigma_deg?))
        })
    };
    let mut around: Vec<(f64, f64)> = edge(1.0).map(|(x, deg)| (x, frame.y(deg))).collect();
    let mut lower: Vec<(f64, f64)> = edge(-1.0).map(|(x, deg)| (x, frame.y(deg))).collect();
    lower.reverse();
    around.append(&mut lower);
    pen.path(&around, true, "band");
    frame.draw(pen, step);
    for mark in thinned(&sheet.marks) {
        shape(pen, Frame::x(mark.compass_deg), frame.y(mark.deviation_deg), mark.kind);
    }
    let line: Vec<(f64, f64)> =
        sheet.curve.iter().map(|node| (Frame::x(node.compass_deg), frame.y(node.deviation_deg))).collect();
    pen.path(&line, false, "curve");
    headings(pen, frame.top + height);
    frame.top + height + 8.0
}

fn caption(pen: &mut Pen, sheet: &Sheet, y: f64) {
    pen.text(LEFT, y, 3.3, "start", "strong", "Deviation by compass heading, degrees");
    let mut x = LEFT + 82.0;
    if sheet.curve.iter().any(|node| node.sigma_deg.is_some()) {
        pen.rect(x, y - 2.4, 6.0, 2.8, "band");
        pen.text(x + 7.0, y, 2.8, "start", "", "two sigma");
        x += 25.0;
    }
    for (kind, words) in [
        (Kind::Port, "turning to port"),
        (Kind::Starboard, "to starboard"),
        (Kind::Steady, "steady"),
        (Kind::Written, "as written"),
    ] {
        if sheet.marks.iter().any(|mark| mark.kind == kind) {
            shape(pen, x + 1.0, y - 1.0, kind);
            pen.text(x + 3.2, y, 2.8, "start", "", words);
            x += 6.0 + 1.75 * words.len() as f64;
        }
    }
}

/// The headings below a frame.
fn headings(pen: &mut Pen, bottom: f64) {
    for at in 0..=12 {
        let heading = 30 * at;
        let name = ["N", "E", "S", "W", "N"];
        let words =
            if heading % 90 == 0 { format!("{:03} {}", heading, name[heading / 90]) } else { format!("{heading:03}") };
        let anchor = if at == 12 { "end" } else { "middle" };
        let nudge = if at == 12 { 1.5 } else { 0.0 };
        pen.text(
            Frame::x(heading as f64) + nudge,
            bottom + 3.8,
            2.8,
            anchor,
            if heading % 90 == 0 { "strong" } else { "" },
            &words,
        );
    }
}

/// At most some hundreds of marks: more of them are a smear, and a page of megabytes.
fn thinned(marks: &[Mark]) -> impl Iterator<Item = &Mark> {
    marks.iter().step_by(marks.len() / 500 + 1)
}

fn shape(pen: &mut Pen, x: f64, y: f64, kind: Kind) {
    match kind {
        Kind::Port => pen.circle(x, y, 0.65, "port"),
        Kind::Starboard => {
            pen.line(x - 0.65, y - 0.65, x + 0.65, y + 0.65, "starboard");
            pen.line(x - 0.65, y + 0.65, x + 0.65, y - 0.65, "starboard");
        }
        Kind::Steady => pen.rect(x - 0.6, y - 0.6, 1.2, 1.2, "steady"),
        Kind::Written => pen.circle(x, y, 0.9, "written"),
    }
}

/// Draws the residuals below `top`; returns where the next thing begins.
pub(crate) fn residuals(pen: &mut Pen, sheet: &Sheet, top: f64, height: f64) -> f64 {
    let (scale, step) = scale(usual(sheet.marks.iter().map(|mark| mark.residual_deg.abs())).max(0.5));
    let frame = Frame { top: top + 3.0, height, scale };
    pen.text(LEFT, top + 1.0, 3.3, "start", "strong", "Residuals: seen less curve, degrees");
    frame.draw(pen, if scale / step > 2.0 { scale } else { step });
    for mark in thinned(&sheet.marks) {
        if mark.kind != Kind::Written && mark.residual_deg.abs() <= scale {
            shape(pen, Frame::x(mark.compass_deg), frame.y(mark.residual_deg), mark.kind);
        }
    }
    frame.top + height + 5.0
}
