//! THS, true heading and its mode: `$INTHS,123.456,A*20`.

use crate::heading::True;
use crate::sentence::field::Defect;
use crate::sentence::field::Field;
use crate::sentence::field::Fields;
use crate::sentence::field::Malformed;

/// How a THS heading came about.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ThsMode {
    /// `A`: measured.
    Autonomous,
    /// `E`: carried on by dead reckoning.
    Estimated,
    /// `M`: typed in.
    Manual,
    /// `S`: a simulator runs.
    Simulator,
    /// `V`: not valid, standby included.
    Invalid,
}

/// A heading from true north and how it came about.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Ths {
    /// Field 1: heading. Marked invalid in the modes invalid, manual and simulator.
    pub heading: Field<True>,
    /// Field 2: mode. An unknown letter is counted and the heading stands.
    pub mode: Field<ThsMode>,
    /// Digits after the point of field 1.
    pub decimals: u8,
}

impl Ths {
    /// Reads the fields.
    ///
    /// A typed-in or simulated heading stands still or turns whatever the boat does: taken for a
    /// heading it would keep the watch silent about a real fault, so it is no more usable than an
    /// invalid one; the mode stays visible and says why. An estimated one is still carried on by
    /// the sensor's own gyros, follows the boat, and stands. A mode is in every edition of THS, so
    /// a heading without one is half-present.
    ///
    /// # Errors
    /// [`Malformed`] where field 1 holds something that is not a direction.
    #[inline]
    pub fn parse(fields: &mut Fields<'_>) -> Result<Self, Malformed> {
        let (heading, decimals) = fields.bearing_and_decimals();
        let heading = heading.principal(1, "a heading of 0 to 360 degrees")?.map(True);
        let mode = match *fields.text() {
            [] => Field::Absent,
            [b'A'] => Field::Known(ThsMode::Autonomous),
            [b'E'] => Field::Known(ThsMode::Estimated),
            [b'M'] => Field::Known(ThsMode::Manual),
            [b'S'] => Field::Known(ThsMode::Simulator),
            [b'V'] => Field::Known(ThsMode::Invalid),
            _ => fields.defect(Defect::UnknownLetter),
        };
        let heading = match (mode, heading) {
            (Field::Known(ThsMode::Manual | ThsMode::Simulator | ThsMode::Invalid), heading) => {
                heading.marked_invalid()
            }
            (Field::Absent, Field::Known(_)) => fields.defect(Defect::HalfPresent),
            (_, heading) => heading,
        };
        Ok(Self { heading, mode, decimals })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::angle::Bearing;
    use crate::sentence::sample::read;

    #[test]
    fn the_published_sentence() {
        let (ths, unusable) = read("123.456,A", Ths::parse).unwrap();
        assert_eq!(ths.heading, Field::Known(True(Bearing::from_mdeg(123_456))));
        assert_eq!((ths.mode, ths.decimals, unusable), (Field::Known(ThsMode::Autonomous), 3, 0));
    }

    #[test]
    fn each_mode() {
        let known = Field::Known(True(Bearing::from_mdeg(77_520)));
        let invalid = Field::Unusable(Defect::MarkedInvalid);
        for (body, heading, counted) in [
            ("77.52,A", known, 0),
            ("77.52,E", known, 0),
            ("77.52,M", invalid, 0),
            ("77.52,S", invalid, 0),
            ("77.52,V", invalid, 0),
            ("77.52,X", known, 1),
            ("77.52,", Field::Unusable(Defect::HalfPresent), 1),
            ("77.52", Field::Unusable(Defect::HalfPresent), 1),
            (",V", Field::Absent, 0),
        ] {
            let (ths, unusable) = read(body, Ths::parse).unwrap();
            assert_eq!((ths.heading, unusable), (heading, counted), "{body}");
        }
    }

    #[test]
    fn a_heading_that_is_none_refuses_the_sentence() {
        assert_eq!(read("361,A", Ths::parse).map_err(|m| m.defect), Err(Defect::OutOfRange));
    }
}
