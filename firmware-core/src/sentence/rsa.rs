//! RSA, rudder angle: `$IIRSA,10.5,A,0.4,A*70`; with one rudder `$IIRSA,-0.9,A,,V*5D`.

use crate::angle::Turn;
use crate::bounds::RUDDER;
use crate::sentence::field::Field;
use crate::sentence::field::Fields;
use crate::sentence::field::Malformed;

/// Rudder angles.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Rsa {
    /// Fields 1 and 2: the starboard or the only rudder, starboard plus; usable with status `A` only.
    pub starboard: Field<Turn>,
    /// Fields 3 and 4: the port rudder, starboard plus; usable with status `A` only.
    pub port: Field<Turn>,
}

impl Rsa {
    /// Reads the fields. A status is in every edition, so an angle without one is half-present.
    ///
    /// # Errors
    /// [`Malformed`] where field 1 holds something that is not a rudder angle. The second rudder
    /// is optional: a bad one is unusable and the first stands.
    #[inline]
    pub fn parse(fields: &mut Fields<'_>) -> Result<Self, Malformed> {
        let starboard = fields.number(&RUDDER).map(Turn::from_mdeg);
        let starboard = starboard.principal(1, "a rudder angle of -90 to 90 degrees")?;
        let status = fields.status();
        let starboard = fields.under_status(starboard, status);
        let port = fields.number(&RUDDER).map(Turn::from_mdeg);
        let status = fields.status();
        Ok(Self { starboard, port: fields.under_status(port, status) })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sentence::field::Defect;
    use crate::sentence::sample::read;

    #[test]
    fn one_rudder_and_two() {
        let known = |mdeg| Field::Known(Turn::from_mdeg(mdeg));
        for (body, starboard, port, counted) in [
            ("10.5,A,0.4,A", known(10_500), known(400), 0),
            ("10.5,A,-9.5,A", known(10_500), known(-9_500), 0),
            ("10.5,V,-9.5,A", Field::Unusable(Defect::MarkedInvalid), known(-9_500), 0),
            ("-0.9,A,,V", known(-900), Field::Absent, 0),
            ("10.5,A", known(10_500), Field::Absent, 0),
            (",V,,V", Field::Absent, Field::Absent, 0),
            ("0,A,91,A", known(0), Field::Unusable(Defect::OutOfRange), 1),
            ("10.5,,,", Field::Unusable(Defect::HalfPresent), Field::Absent, 1),
            ("10.5,X,,", Field::Unusable(Defect::UnknownLetter), Field::Absent, 1),
        ] {
            let (rsa, unusable) = read(body, Rsa::parse).unwrap();
            assert_eq!((rsa.starboard, rsa.port, unusable), (starboard, port, counted), "{body}");
        }
    }

    #[test]
    fn an_angle_that_is_none_refuses_the_sentence() {
        assert_eq!(read("95,A,,V", Rsa::parse).map_err(|m| m.defect), Err(Defect::OutOfRange));
        assert_eq!(read("--,A,,V", Rsa::parse).map_err(|m| m.defect), Err(Defect::NotANumber));
    }
}
