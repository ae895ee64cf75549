//! HDT, true heading: `$GPHDT,274.07,T*03`.

use crate::heading::True;
use crate::sentence::field::Field;
use crate::sentence::field::Fields;
use crate::sentence::field::Malformed;

/// A heading from true north.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Hdt {
    /// Fields 1 and 2: heading, followed by its `T`.
    pub heading: Field<True>,
    /// Digits after the point of field 1.
    pub decimals: u8,
}

impl Hdt {
    /// Reads the fields.
    ///
    /// # Errors
    /// [`Malformed`] where field 1 holds something that is not a direction, or its letter is not `T`.
    #[inline]
    pub fn parse(fields: &mut Fields<'_>) -> Result<Self, Malformed> {
        let (heading, decimals) = fields.bearing_with_and_decimals(b'T');
        let heading = heading.principal(1, "a heading of 0 to 360 degrees and T")?;
        Ok(Self { heading: heading.map(True), decimals })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::angle::Bearing;
    use crate::sentence::field::Defect;
    use crate::sentence::sample::read;

    #[test]
    fn the_published_sentence() {
        let (hdt, unusable) = read("274.07,T", Hdt::parse).unwrap();
        assert_eq!(hdt.heading, Field::Known(True(Bearing::from_mdeg(274_070))));
        assert_eq!((hdt.decimals, unusable), (2, 0));
    }

    #[test]
    fn absent_is_heard_and_anything_else_refuses() {
        assert_eq!(read(",T", Hdt::parse), Ok((Hdt::default(), 0)));
        let defect = |body| read(body, Hdt::parse).map_err(|m| (m.field, m.defect)).err();
        assert_eq!(defect("33.3"), Some((1, Defect::HalfPresent)));
        assert_eq!(defect("33.3,M"), Some((1, Defect::UnknownLetter)));
        assert_eq!(defect("400.0,T"), Some((1, Defect::OutOfRange)));
        assert_eq!(defect("1e3,T"), Some((1, Defect::NotANumber)));
    }

    #[test]
    fn three_hundred_and_sixty_is_north() {
        let heading = |body| read(body, Hdt::parse).unwrap().0.heading;
        assert_eq!(heading("360.0,T"), heading("0.0,T"));
        assert_eq!(heading("0.0,T"), Field::Known(True(Bearing::NORTH)));
    }
}
