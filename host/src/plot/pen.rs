//! The pen: the few shapes of SVG that a card needs, and text that cannot break out of them.

use std::fmt::Write as _;

/// A page being drawn.
pub(crate) struct Pen {
    out: String,
}

/// Look: dark on white; each thing differs by line or shape before it differs by colour.
const STYLE: &str = "\
text{font-family:'DejaVu Sans',Helvetica,Arial,sans-serif;fill:#1c2126}
.title{font-weight:bold}.strong{font-weight:bold}.faint{fill:#5b646d}.mono{font-family:'DejaVu Sans Mono',monospace}
.rule{stroke:#1c2126;stroke-width:.25;fill:none}.frame{stroke:#1c2126;stroke-width:.3;fill:none}
.grid{stroke:#c3c9cf;stroke-width:.15;fill:none}.zero{stroke:#1c2126;stroke-width:.25;fill:none}
.band{fill:#cfe0ee;stroke:#6f8ba5;stroke-width:.18;stroke-dasharray:.9 .7}
.curve{stroke:#0b3c6d;stroke-width:.75;fill:none;stroke-linejoin:round}
.port{stroke:#a61c2a;stroke-width:.22;fill:none}.starboard{stroke:#146b3a;stroke-width:.22;fill:none}
.steady{stroke:#1c2126;stroke-width:.25;fill:#fff}.written{stroke:#0b3c6d;stroke-width:.4;fill:#fff}
.ground{stroke:#1c2126;stroke-width:.35;fill:none;stroke-linejoin:round}
.water{stroke:#2b6ea6;stroke-width:.3;fill:none;stroke-dasharray:1.4 .9;stroke-linejoin:round}
.arrow{stroke:#9a4b00;stroke-width:.7;fill:none}.tip{fill:#9a4b00}
.shade{fill:#f0f3f6}.verdict{stroke-width:.6;fill:#fff}
.order{stroke:#9a4b00;stroke-width:.55;fill:none;stroke-dasharray:2 1.1}
.course{stroke:#146b3a;stroke-width:.45;fill:none;stroke-dasharray:.5 .8;stroke-linejoin:round}
.rudder{stroke:#1c2126;stroke-width:.35;fill:none;stroke-linejoin:round}
.speed{stroke:#2b6ea6;stroke-width:.35;fill:none;stroke-dasharray:1.4 .9;stroke-linejoin:round}
.alarm{fill:#a61c2a}.warning{fill:#e0a100;stroke:#7a5600;stroke-width:.2}
.caution{fill:#fff;stroke:#5b646d;stroke-width:.3;stroke-dasharray:1 .6}
.alarm-shade{fill:#a61c2a;opacity:.13}.warning-shade{fill:#e0a100;opacity:.13}
.raised{stroke:#a61c2a;stroke-width:.2;fill:none}.onward{stroke:#fff;stroke-width:.4;fill:none}
.answer-edge{stroke:#fff;stroke-width:1.1;fill:none}.answer{stroke:#146b3a;stroke-width:.55;fill:none}
.well{fill:#dfe5ea}.silent{fill:#1c2126}.refused{fill:#b8860b}
.good{stroke:#146b3a}.usable{stroke:#9a6a00;stroke-dasharray:2 1}.bad{stroke:#a61c2a;stroke-width:1.2}
";

impl Pen {
    /// An empty A4 page, upright, in millimetres.
    pub(crate) fn page() -> Self {
        Self::sheet(210, 297)
    }

    /// The same lying.
    pub(crate) fn lying() -> Self {
        Self::sheet(297, 210)
    }

    fn sheet(wide: u32, high: u32) -> Self {
        let out = format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{wide}mm\" height=\"{high}mm\" \
             viewBox=\"0 0 {wide} {high}\">\n<style>\n{STYLE}</style>\n<rect width=\"{wide}\" height=\"{high}\" \
             fill=\"#fff\"/>\n"
        );
        Self { out }
    }

    /// The finished page.
    pub(crate) fn end(mut self) -> String {
        self.out.push_str("</svg>\n");
        self.out
    }

    /// Words. `anchor` is `start`, `middle` or `end`.
    pub(crate) fn text(&mut self, x: f64, y: f64, size: f64, anchor: &str, class: &str, words: &str) {
        self.put(format_args!(
            "<text x=\"{x:.2}\" y=\"{y:.2}\" font-size=\"{size}\" text-anchor=\"{anchor}\" class=\"{class}\" \
             xml:space=\"preserve\">{}</text>",
            escaped(words)
        ));
    }

    /// A straight line.
    pub(crate) fn line(&mut self, x1: f64, y1: f64, x2: f64, y2: f64, class: &str) {
        self.put(format_args!("<line x1=\"{x1:.2}\" y1=\"{y1:.2}\" x2=\"{x2:.2}\" y2=\"{y2:.2}\" class=\"{class}\"/>"));
    }

    /// A rectangle.
    pub(crate) fn rect(&mut self, x: f64, y: f64, width: f64, height: f64, class: &str) {
        self.put(format_args!(
            "<rect x=\"{x:.2}\" y=\"{y:.2}\" width=\"{width:.2}\" height=\"{height:.2}\" class=\"{class}\"/>"
        ));
    }

    /// A circle.
    pub(crate) fn circle(&mut self, x: f64, y: f64, radius: f64, class: &str) {
        self.put(format_args!("<circle cx=\"{x:.2}\" cy=\"{y:.2}\" r=\"{radius}\" class=\"{class}\"/>"));
    }

    /// A line through points, or round them where `closed`. A point that is no number is left out.
    pub(crate) fn path(&mut self, points: &[(f64, f64)], closed: bool, class: &str) {
        let mut way = String::new();
        for (x, y) in points.iter().filter(|(x, y)| x.is_finite() && y.is_finite()) {
            let letter = if way.is_empty() { 'M' } else { 'L' };
            // Writing to a String cannot fail.
            let _ = write!(way, "{letter}{x:.2} {y:.2}");
        }
        if !way.is_empty() {
            let end = if closed { "Z" } else { "" };
            self.put(format_args!("<path d=\"{way}{end}\" class=\"{class}\"/>"));
        }
    }

    fn put(&mut self, element: std::fmt::Arguments<'_>) {
        let _ = writeln!(self.out, "{element}");
    }
}

/// Words that mean themselves in XML; control characters become blanks.
pub(crate) fn escaped(words: &str) -> String {
    let mut out = String::with_capacity(words.len());
    for c in words.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            // Neither controls nor the two code points that XML forbids.
            c if c.is_control() || c == '\u{fffe}' || c == '\u{ffff}' => out.push(' '),
            c => out.push(c),
        }
    }
    out
}
