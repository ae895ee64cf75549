//! The two tables: what to steer to make good a course, and what she heads by the compass.

use super::LEFT;
use super::RIGHT;
use super::Sheet;
use super::pen::Pen;

/// Columns of each table.
const COLUMNS: usize = 4;

/// One table.
struct Table<'a> {
    left: f64,
    right: f64,
    /// From line to line.
    step: f64,
    title: &'a str,
    /// Above its columns.
    columns: [&'a str; 2],
    rows: &'a [(String, String)],
}

/// Draws both below `top`, where there are any; returns where the next thing begins.
pub(crate) fn tables(pen: &mut Pen, sheet: &Sheet, top: f64, step: f64) -> f64 {
    if sheet.steer.is_empty() && sheet.heads.is_empty() {
        return top;
    }
    let middle = (LEFT + RIGHT) / 2.0;
    let to_steer = Table {
        left: LEFT,
        right: middle - 3.0,
        step,
        title: "To make good, magnetic: steer",
        columns: ["M", "C"],
        rows: &sheet.steer,
    };
    let to_plot = Table {
        left: middle + 3.0,
        right: RIGHT,
        step,
        title: "By compass: she heads, magnetic",
        columns: ["C", "M"],
        rows: &sheet.heads,
    };
    to_steer.draw(pen, top).max(to_plot.draw(pen, top))
}

impl Table<'_> {
    fn draw(&self, pen: &mut Pen, top: f64) -> f64 {
        let Self { left, right, step, .. } = *self;
        pen.text(left, top + 1.0, 3.3, "start", "strong", self.title);
        let lines = self.rows.len().div_ceil(COLUMNS);
        let width = (right - left) / COLUMNS as f64;
        let top = top + 3.0;
        for line in (0..lines).filter(|line| line % 2 == 1) {
            pen.rect(left, top + 4.6 + line as f64 * step, right - left, step, "shade");
        }
        let size = (step * 0.72).min(4.2);
        for (at, (one, other)) in self.rows.iter().enumerate() {
            let x = left + (at / lines) as f64 * width;
            let y = top + 4.6 + ((at % lines) as f64 + 0.76) * step;
            pen.text(x + 9.5, y, size, "end", "mono", one);
            pen.text(x + width - 2.6, y, size, "end", "mono strong", other);
            if at % lines == 0 {
                pen.text(x + 9.5, top + 3.4, 2.3, "end", "faint", self.columns[0]);
                pen.text(x + width - 2.6, top + 3.4, 2.3, "end", "faint", self.columns[1]);
                if at > 0 {
                    pen.line(x, top, x, top + 5.2 + lines as f64 * step, "grid");
                }
            }
        }
        let bottom = top + 5.2 + lines as f64 * step;
        pen.rect(left, top, right - left, bottom - top, "frame");
        bottom + 1.5
    }
}
