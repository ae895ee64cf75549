//! The track over the ground and through the water, the current, and the facts beside them.

use super::LEFT;
use super::RIGHT;
use super::Sheet;
use super::Track;
use super::pen::Pen;
use super::words;

/// Draws both below `top`; returns where the next thing begins.
pub(crate) fn track_and_facts(pen: &mut Pen, sheet: &Sheet, top: f64, height: f64) -> f64 {
    let mut x = LEFT;
    if let Some(track) = &sheet.track {
        draw(pen, track, top, height);
        x = 112.0;
    }
    facts(pen, sheet, x, top, height);
    top + height + 5.0
}

fn facts(pen: &mut Pen, sheet: &Sheet, left: f64, top: f64, height: f64) {
    let columns = if left > LEFT { 1 } else { 2 };
    let width = (RIGHT - left) / f64::from(columns);
    let rows = (sheet.facts.len() as f64 / f64::from(columns)).ceil().max(1.0) as usize;
    let step = ((height - 1.0) / rows as f64).min(4.6);
    pen.text(left, top + 1.0, 3.3, "start", "strong", "What was found");
    for (at, (name, value)) in sheet.facts.iter().enumerate() {
        let x = left + (at / rows) as f64 * width;
        let y = top + 6.5 + (at % rows) as f64 * step;
        let room = ((width - 24.0) / 1.62) as usize;
        pen.text(x, y, 2.9, "start", "faint", name);
        pen.text(x + 22.0, y, 2.9, "start", "", &words::short(value, room));
    }
}

fn draw(pen: &mut Pen, track: &Track, top: f64, height: f64) {
    let (left, width) = (LEFT, 90.0);
    pen.text(left, top + 1.0, 3.3, "start", "strong", "Track, north up");
    pen.line(left + 38.0, top, left + 44.0, top, "ground");
    pen.text(left + 45.0, top + 1.0, 2.8, "start", "", "over ground");
    pen.line(left + 66.0, top, left + 72.0, top, "water");
    pen.text(left + 73.0, top + 1.0, 2.8, "start", "", "in water");
    let (top, height) = (top + 3.0, height - 3.0);
    pen.rect(left, top, width, height, "frame");
    // Pieces side by side, each as large as the widest of them allows.
    let pieces: Vec<_> = track.ground.iter().zip(&track.water).filter(|(ground, _)| ground.len() > 1).take(6).collect();
    let columns = match pieces.len() {
        0 => return,
        1 => 1,
        2..=4 => 2,
        _ => 3,
    };
    let rows = pieces.len().div_ceil(columns);
    let (cell_w, cell_h) = (width / columns as f64, (height - 6.0) / rows as f64);
    let spans: Vec<_> = pieces.iter().map(|(ground, water)| Span::of(ground.iter().chain(water.iter()))).collect();
    let per_mm = spans
        .iter()
        .map(|span| (span.width() / (cell_w - 6.0)).max(span.height() / (cell_h - 4.0)))
        .fold(0.1, f64::max);
    for (at, ((ground, water), span)) in pieces.iter().zip(&spans).enumerate() {
        let x = left + cell_w * ((at % columns) as f64 + 0.5);
        let y = top + cell_h * ((at / columns) as f64 + 0.5) + 0.5;
        let place = |[north, east]: [f64; 2]| {
            (x + (east - span.middle_east()) / per_mm, y - (north - span.middle_north()) / per_mm)
        };
        let line = |points: &[[f64; 2]]| -> Vec<(f64, f64)> {
            points.iter().step_by(points.len() / 600 + 1).copied().map(place).collect()
        };
        pen.path(&line(water), false, "water");
        pen.path(&line(ground), false, "ground");
        if let Some(&first) = ground.first() {
            let (x, y) = place(first);
            pen.circle(x, y, 0.9, "written");
        }
    }
    ruler(pen, left + 3.0, top + height - 2.0, per_mm);
    if let Some((set, drift)) = track.current {
        current(pen, left + width - 3.0, top + height - 2.0, set, drift);
    }
}

/// How long a round length is on the paper.
fn ruler(pen: &mut Pen, x: f64, y: f64, per_mm: f64) {
    const LENGTHS: [f64; 9] = [10.0, 20.0, 50.0, 100.0, 200.0, 500.0, 1000.0, 2000.0, 5000.0];
    let metres = LENGTHS.into_iter().rev().find(|metres| metres / per_mm <= 24.0).unwrap_or(10.0);
    let end = x + metres / per_mm;
    pen.line(x, y, end, y, "rule");
    pen.line(x, y - 1.0, x, y + 0.6, "rule");
    pen.line(end, y - 1.0, end, y + 0.6, "rule");
    pen.text(end + 1.5, y + 0.6, 2.6, "start", "", &format!("{metres:.0} m; o start"));
}

/// An arrow that flows where the current flows, 1 knot 12 mm long, its words to the left of it.
fn current(pen: &mut Pen, right: f64, bottom: f64, set: f64, drift: f64) {
    let (sin, cos) = set.to_radians().sin_cos();
    let length = (12.0 * drift).clamp(4.0, 14.0);
    let (x, y) = (right - 6.0, bottom - 7.0);
    let (dx, dy) = (sin * length / 2.0, -cos * length / 2.0);
    pen.line(x - dx, y - dy, x + dx * 0.7, y + dy * 0.7, "arrow");
    let side = |sign: f64| (x + dx * 0.5 - sign * cos * 1.3, y + dy * 0.5 - sign * sin * 1.3);
    pen.path(&[(x + dx, y + dy), side(1.0), side(-1.0)], true, "tip");
    pen.text(right, bottom + 0.6, 2.6, "end", "", &format!("current {drift:.1} kn to {set:03.0} T"));
}

/// How far points reach, metres.
struct Span {
    north: (f64, f64),
    east: (f64, f64),
}

impl Span {
    fn of<'a>(points: impl Iterator<Item = &'a [f64; 2]>) -> Self {
        let none = (f64::INFINITY, f64::NEG_INFINITY);
        let wider = |span: (f64, f64), value: f64| (span.0.min(value), span.1.max(value));
        points.fold(Self { north: none, east: none }, |span, [north, east]| Self {
            north: wider(span.north, *north),
            east: wider(span.east, *east),
        })
    }

    fn width(&self) -> f64 {
        self.east.1 - self.east.0
    }

    fn height(&self) -> f64 {
        self.north.1 - self.north.0
    }

    fn middle_east(&self) -> f64 {
        (self.east.0 + self.east.1) / 2.0
    }

    fn middle_north(&self) -> f64 {
        (self.north.0 + self.north.1) / 2.0
    }
}
