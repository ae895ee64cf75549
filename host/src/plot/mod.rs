//! What is printed: one A4 page of SVG each, drawn from plain numbers and words.
//!
//! The card; the passage has its own picture in its file.
//!
//! ```text
//! +---------------------------------------------+
//! | whose card, when, where        verdict      |
//! | curve with its band, what was seen          |
//! | residuals by heading                        |
//! | track and current   | coefficients, facts   |
//! | to make good, steer | she heads             |
//! | notes, safety words, source                 |
//! +---------------------------------------------+
//! ```
//! Lengths are millimetres. Every mark has a shape of its own, so that it reads in black and white;
//! colour only helps. A leaf: names nothing but the standard library.

mod curve;
mod passage;
mod pen;
mod tables;
mod track;
mod words;

pub use passage::{Bar, Chart, Stand, Strip, passage};

use pen::Pen;

/// What is printed.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Sheet {
    /// The boat.
    pub boat: Option<String>,
    /// The line under the title: sensor, date, place.
    pub about: Vec<String>,
    /// The verdict: `good`, `usable`, `not usable`.
    pub verdict: Option<String>,
    /// The curve by rising compass heading, 0 to 360 with both ends.
    pub curve: Vec<Node>,
    /// What was seen.
    pub marks: Vec<Mark>,
    /// The track and the current, where there is one.
    pub track: Option<Track>,
    /// Short lines beside the track: a name and its value.
    pub facts: Vec<(String, String)>,
    /// The table to steer by: magnetic course to make good and compass course to steer, degrees.
    pub steer: Vec<(String, String)>,
    /// The table of what she heads: compass heading and magnetic heading.
    pub heads: Vec<(String, String)>,
    /// The reasons of the verdict, and what to do.
    pub notes: Vec<String>,
    /// The safety words.
    pub safety: Vec<String>,
    /// What it was made from and by.
    pub source: String,
}

/// A point of the curve.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Node {
    /// COMPASS heading, degrees.
    pub compass_deg: f64,
    /// Deviation, degrees, east plus.
    pub deviation_deg: f64,
    /// One standard deviation, degrees, where known.
    pub sigma_deg: Option<f64>,
}

/// How a mark came about; each has its own shape.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// In a turn to port: an open circle.
    Port,
    /// In a turn to starboard: a cross.
    Starboard,
    /// On a steady heading, or a sight: a square.
    Steady,
    /// A point of the card as it was written.
    Written,
}

/// One deviation seen.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Mark {
    /// COMPASS heading, degrees.
    pub compass_deg: f64,
    /// Deviation seen there, degrees.
    pub deviation_deg: f64,
    /// Seen less curve, degrees.
    pub residual_deg: f64,
    /// How it came about.
    pub kind: Kind,
}

/// A track over the ground, and the same through the water.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Track {
    /// Pieces over the ground: metres north and east of the start of each.
    pub ground: Vec<Vec<[f64; 2]>>,
    /// The same with the current taken out.
    pub water: Vec<Vec<[f64; 2]>>,
    /// Set in degrees true and drift in knots.
    pub current: Option<(f64, f64)>,
}

/// Left and right edge of what is printed.
const LEFT: f64 = 14.0;
const RIGHT: f64 = 196.0;

/// The page.
pub fn svg(sheet: &Sheet) -> String {
    let mut pen = Pen::page();
    let mut y = head(&mut pen, sheet);
    let has_residuals = sheet.marks.iter().any(|mark| mark.kind != Kind::Written);
    // With less to show, what there is grows.
    let full = sheet.track.is_some();
    y = curve::curve(&mut pen, sheet, y, if full { 62.0 } else { 84.0 });
    if has_residuals {
        y = curve::residuals(&mut pen, sheet, y, if full { 18.0 } else { 26.0 });
    }
    y = track::track_and_facts(&mut pen, sheet, y, if full { 60.0 } else { 30.0 });
    let step = match (full, has_residuals) {
        (false, false) => 6.6,
        _ => 4.5,
    };
    y = tables::tables(&mut pen, sheet, y, step);
    foot(&mut pen, sheet, y);
    pen.end()
}

/// Whose card it is; returns where the next thing begins.
fn head(pen: &mut Pen, sheet: &Sheet) -> f64 {
    let title = match &sheet.boat {
        Some(boat) => format!("Deviation card of {boat}"),
        None => "Deviation card".to_owned(),
    };
    let room = if sheet.verdict.is_some() { 34 } else { 48 };
    pen.text(LEFT, 19.0, 6.6, "start", "title", &words::short(&title, room));
    let mut y = 25.2;
    for line in words::joined(&sheet.about, if sheet.verdict.is_some() { 84 } else { 105 }) {
        pen.text(LEFT, y, 3.3, "start", "", &line);
        y += 4.4;
    }
    if let Some(verdict) = &sheet.verdict {
        let (class, mark) = match verdict.as_str() {
            "good" => ("good", "\u{2713} "),
            "usable" => ("usable", "~ "),
            _ => ("bad", "\u{2717} "),
        };
        pen.rect(RIGHT - 44.0, 11.5, 44.0, 12.0, &format!("verdict {class}"));
        pen.text(RIGHT - 22.0, 19.4, 5.0, "middle", "title", &format!("{mark}{verdict}"));
    }
    y + 1.0
}

/// Notes as far as there is room, then what must always stand there.
fn foot(pen: &mut Pen, sheet: &Sheet, top: f64) {
    const STEP: f64 = 3.7;
    let safety = words::filled(&sheet.safety, 110);
    let source = words::wrap(&sheet.source, 140);
    let end = 289.0;
    let safety_top = end - STEP * (safety.len() + source.len()) as f64 - 1.0;
    let mut y = top + 3.5;
    let room = ((safety_top - 2.0 - y) / STEP).floor().max(0.0) as usize;
    let mut notes: Vec<String> = Vec::new();
    for (at, note) in sheet.notes.iter().enumerate() {
        let lines = words::wrap(note, 120);
        if notes.len() + lines.len() > room {
            notes.truncate(room.saturating_sub(1));
            notes.push(format!("\u{2022} {} more; see what lubber prints on the terminal", sheet.notes.len() - at));
            break;
        }
        let marked = lines.into_iter().enumerate();
        notes.extend(marked.map(|(n, line)| format!("{} {line}", if n == 0 { "\u{2022}" } else { " " })));
    }
    for line in notes {
        pen.text(LEFT, y, 2.8, "start", "", &line);
        y += STEP;
    }
    y = safety_top;
    pen.line(LEFT, y - 2.6, RIGHT, y - 2.6, "rule");
    y += 0.8;
    for line in safety {
        pen.text(LEFT, y, 2.8, "start", "strong", &line);
        y += STEP;
    }
    for line in source {
        pen.text(LEFT, y, 2.4, "start", "faint", &line);
        y += STEP;
    }
}

#[cfg(test)]
mod tests;
