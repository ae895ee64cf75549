//! Lines to typed sentences, one file per formatter. A sentence in hand is meaningful.

pub mod field;
mod hdg;

pub use field::{Defect, Field, Fields, Malformed};
pub use hdg::Hdg;

use crate::frame::Formatter;
use crate::frame::Line;
use crate::frame::Start;
use crate::frame::Talker;

/// A decoded sentence and how many of its fields were there but unusable.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Decoded<'a> {
    /// The sentence.
    pub sentence: Sentence<'a>,
    /// Fields that were there but could not be used; the rest of the sentence stands.
    pub unusable: u8,
}

/// One sentence, by what it says.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Sentence<'a> {
    /// Heading of a magnetic sensor.
    Hdg(Hdg),
    /// Framed and counted, but nothing lubber reads: AIS, makers' own sentences, depth.
    Other {
        /// Who sent it.
        talker: Talker,
        /// What it is.
        formatter: Formatter,
        /// Its fields as they came.
        body: &'a [u8],
    },
}

/// Reads the fields of `line`.
///
/// # Errors
/// [`Malformed`] where the principal value of a known sentence is not usable. A formatter that is
/// not known is no error.
pub fn decode<'a>(line: &Line<'a>) -> Result<Decoded<'a>, Malformed> {
    let formatter = line.formatter();
    let mut fields = Fields::new(line.body);
    let other = Sentence::Other { talker: line.talker(), formatter, body: line.body.unwrap_or(b"") };
    if line.start == Start::Encapsulated || line.is_proprietary() {
        return Ok(Decoded { sentence: other, unusable: 0 });
    }
    let sentence = match &formatter.0 {
        b"HDG" => Sentence::Hdg(Hdg::parse(&mut fields)?),
        _ => other,
    };
    Ok(Decoded { sentence, unusable: fields.unusable() })
}
