//! HSC, heading steering command: `$FTHSC,40.12,T,39.11,M*5E`.

use crate::heading::Magnetic;
use crate::heading::True;
use crate::sentence::field::Field;
use crate::sentence::field::Fields;
use crate::sentence::field::Malformed;

/// The heading that is ordered.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Hsc {
    /// Fields 1 and 2: from true north.
    pub truth: Field<True>,
    /// Fields 3 and 4: from magnetic north, in the pilot's own compass.
    pub magnetic: Field<Magnetic>,
    /// Field 5: what kind of sentence it is, as newer editions say; kept as it came.
    pub status: Field<u8>,
}

impl Hsc {
    /// Reads the fields.
    ///
    /// # Errors
    /// [`Malformed`] where either heading is there and is none, or has a wrong letter: the two are
    /// one order, and an order that is damaged in part is none.
    #[inline]
    pub fn parse(fields: &mut Fields<'_>) -> Result<Self, Malformed> {
        let truth = fields.bearing_with(b'T').principal(1, "a heading of 0 to 360 degrees and T")?;
        let magnetic = fields.bearing_with(b'M').principal(3, "a heading of 0 to 360 degrees and M")?;
        Ok(Self { truth: truth.map(True), magnetic: magnetic.map(Magnetic), status: fields.letter() })
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
        let (hsc, unusable) = read("40.12,T,39.11,M", Hsc::parse).unwrap();
        assert_eq!(hsc.truth, Field::Known(True(Bearing::from_mdeg(40_120))));
        assert_eq!(hsc.magnetic, Field::Known(Magnetic(Bearing::from_mdeg(39_110))));
        assert_eq!((hsc.status, unusable), (Field::Absent, 0));
        assert_eq!(read(",T,39.11,M,R", Hsc::parse).unwrap().0.status, Field::Known(b'R'));
        assert_eq!(read(",,,", Hsc::parse), Ok((Hsc::default(), 0)));
    }

    #[test]
    fn half_an_order_is_none() {
        let refused = |body| read(body, Hsc::parse).map_err(|m| (m.field, m.defect)).err();
        assert_eq!(refused("40.12,M,39.11,M"), Some((1, Defect::UnknownLetter)));
        assert_eq!(refused("40.12,T,39.11,"), Some((3, Defect::HalfPresent)));
        assert_eq!(refused("40.12,T,400,M"), Some((3, Defect::OutOfRange)));
    }
}
