//! HDM, magnetic heading: `$HCHDM,093.8,M*2B`.

use crate::heading::Magnetic;
use crate::sentence::field::Field;
use crate::sentence::field::Fields;
use crate::sentence::field::Malformed;

/// A heading from magnetic north.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Hdm {
    /// Fields 1 and 2: heading, followed by its `M`.
    pub heading: Field<Magnetic>,
    /// Digits after the point of field 1.
    pub decimals: u8,
}

impl Hdm {
    /// Reads the fields.
    ///
    /// # Errors
    /// [`Malformed`] where field 1 holds something that is not a direction, or its letter is not `M`.
    #[inline]
    pub fn parse(fields: &mut Fields<'_>) -> Result<Self, Malformed> {
        let (heading, decimals) = fields.bearing_with_and_decimals(b'M');
        let heading = heading.principal(1, "a heading of 0 to 360 degrees and M")?;
        Ok(Self { heading: heading.map(Magnetic), decimals })
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
        let (hdm, unusable) = read("093.8,M", Hdm::parse).unwrap();
        assert_eq!(hdm.heading, Field::Known(Magnetic(Bearing::from_mdeg(93_800))));
        assert_eq!((hdm.decimals, unusable), (1, 0));
    }

    #[test]
    fn absent_is_heard_and_anything_else_refuses() {
        assert_eq!(read(",M", Hdm::parse), Ok((Hdm::default(), 0)));
        let defect = |body| read(body, Hdm::parse).map_err(|m| (m.field, m.defect)).err();
        assert_eq!(defect("33.3"), Some((1, Defect::HalfPresent)));
        assert_eq!(defect("33.3,T"), Some((1, Defect::UnknownLetter)));
        assert_eq!(defect("400.0,M"), Some((1, Defect::OutOfRange)));
        assert_eq!(defect("1e3,M"), Some((1, Defect::NotANumber)));
    }

    #[test]
    fn three_hundred_and_sixty_is_north() {
        let heading = |body| read(body, Hdm::parse).unwrap().0.heading;
        assert_eq!(heading("360.0,M"), heading("0.0,M"));
        assert_eq!(heading("0.0,M"), Field::Known(Magnetic(Bearing::NORTH)));
    }
}
