//! The card file as it is written: what `card.rs` reads, and nothing else.

use std::fmt::Write as _;

use lubber_core::unit::Position;

use crate::analysis::harmonic::NAMES;
use crate::analysis::harmonic::TERMS;

/// A card to be written.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct CardText {
    /// Whose headings it corrects: talker and formatter.
    pub sensor: Option<String>,
    /// The boat.
    pub boat: Option<String>,
    /// Year, month, day.
    pub date: Option<(i32, u32, u32)>,
    /// Where.
    pub position: Option<Position>,
    /// How it came about, in a line.
    pub note: Option<String>,
    /// The digest of the log.
    pub log: Option<String>,
    /// The version of the program that writes.
    pub version: String,
    /// Compass heading, deviation, standard deviation, degrees.
    pub points: Vec<(f64, f64, f64)>,
    /// A to E and their standard deviations, degrees; `None` for one that was not determined.
    pub coefficients: [Option<(f64, f64)>; TERMS],
}

/// The file.
pub fn card_text(card: &CardText) -> String {
    let mut out = String::new();
    // Writing to a String cannot fail.
    let _ = write(&mut out, card);
    out
}

fn write(out: &mut String, card: &CardText) -> std::fmt::Result {
    writeln!(out, "# A deviation card: magnetic = compass + deviation, east plus. For the boat upright.")?;
    for (key, value) in [("sensor", &card.sensor), ("boat", &card.boat)] {
        if let Some(value) = value {
            writeln!(out, "{key} = {}", quoted(value))?;
        }
    }
    if let Some((year, month, day)) = card.date {
        writeln!(out, "date = {year:04}-{month:02}-{day:02}")?;
    }
    if let Some(position) = card.position {
        writeln!(out, "position = {}", quoted(&place(position)))?;
    }
    for (key, value) in [("note", &card.note), ("log", &card.log), ("version", &Some(card.version.clone()))] {
        if let Some(value) = value {
            writeln!(out, "{key} = {}", quoted(value))?;
        }
    }
    writeln!(out, "upright = true")?;
    let known = |which: fn((f64, f64)) -> f64| -> String {
        let terms = NAMES.iter().zip(card.coefficients);
        let terms = terms.filter_map(|(name, value)| Some(format!("{name} = {:.3}", which(value?))));
        terms.collect::<Vec<_>>().join(", ")
    };
    writeln!(out, "coefficients = {{ {} }}", known(|(value, _)| value))?;
    writeln!(out, "sigmas = {{ {} }}", known(|(_, sigma)| sigma))?;
    writeln!(out, "points = [")?;
    for (compass, deviation, sigma) in &card.points {
        writeln!(out, "    {{ compass = {compass:.0}, deviation = {deviation:.2}, sigma = {sigma:.2} }},")?;
    }
    writeln!(out, "]")
}

/// A TOML string of any words: what TOML does not allow bare is escaped.
fn quoted(words: &str) -> String {
    let mut out = String::from("\"");
    for c in words.chars() {
        match c {
            '"' => out.push_str("\\\""),
            '\\' => out.push_str("\\\\"),
            c if c.is_control() => {
                let _ = write!(out, "\\u{:04X}", u32::from(c));
            }
            c => out.push(c),
        }
    }
    out.push('"');
    out
}

/// `50 21.0 N, 004 09.0 W`.
fn place(position: Position) -> String {
    let part = |e7: i32, width: usize, plus: char, minus: char| {
        let tenths = (i64::from(e7.unsigned_abs()) * 600 + 5_000_000) / 10_000_000;
        let letter = if e7 < 0 { minus } else { plus };
        format!("{:0width$} {:02}.{} {letter}", tenths / 600, tenths % 600 / 10, tenths % 10)
    };
    format!("{}, {}", part(position.lat_e7, 2, 'N', 'S'), part(position.lon_e7, 3, 'E', 'W'))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::boat::card::CardFile;

    #[test]
    fn what_is_written_is_read_again() {
        let card = CardText {
            sensor: Some("HCHDG".to_owned()),
            boat: Some("Cur\"lew\\ \u{1b}[1m".to_owned()),
            date: Some((2026, 6, 14)),
            position: Some(Position { lat_e7: 470_000_000, lon_e7: -60_000_000 }),
            note: Some("good, by GPS".to_owned()),
            log: Some("sha256:00ff".to_owned()),
            version: "0.1.0".to_owned(),
            points: (0..36).map(|at| f64::from(at) * 10.0).map(|c| (c, 3.0 * c.to_radians().sin(), 0.25)).collect(),
            coefficients: [Some((0.0, 0.3)), Some((3.0, 0.1)), Some((0.0, 0.1)), None, Some((-0.004, 0.1))],
        };
        let read = CardFile::from_text("card.toml", &card_text(&card)).unwrap();
        assert_eq!((read.boat, read.log), (card.boat, card.log));
        assert_eq!(read.date.map(|d| (d.year(), d.month(), d.day())), Some((2026, 6, 14)));
        assert_eq!(read.position, card.position);
        assert_eq!(read.sigmas, vec![Some(0.25); 36]);
        assert_eq!(read.coefficients, [Some(0.0), Some(3.0), Some(0.0), None, Some(-0.004)]);
        assert_eq!(read.coefficient_sigmas, [Some(0.3), Some(0.1), Some(0.1), None, Some(0.1)]);
        assert_eq!(read.points[9].deviation.as_mdeg(), 3000);
        assert!(read.upright && read.findings.is_empty(), "{:?}", read.findings);
    }
}
