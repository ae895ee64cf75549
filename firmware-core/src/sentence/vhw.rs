//! VHW, heading and speed through the water: `$VWVHW,45.0,T,43.0,M,3.5,N,6.4,K*56`.

use crate::heading::Magnetic;
use crate::heading::True;
use crate::sentence::field::Field;
use crate::sentence::field::Fields;
use crate::sentence::field::Malformed;
use crate::unit::Speed;

/// Heading and speed through the water.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Vhw {
    /// Fields 1 and 2: heading from true north.
    pub truth: Field<True>,
    /// Fields 3 and 4: heading from magnetic north.
    pub magnetic: Field<Magnetic>,
    /// Fields 5 to 8: speed through the water, by the knots, or by the km/h where knots are absent.
    pub speed: Field<Speed>,
    /// Digits after the point of the heading: the finer of the two.
    pub decimals: u8,
}

impl Vhw {
    /// Reads the fields.
    ///
    /// # Errors
    /// None: heading and speed come from two sensors and neither is principal, so each stands
    /// without the other.
    #[inline]
    pub fn parse(fields: &mut Fields<'_>) -> Result<Self, Malformed> {
        let (truth, fine) = fields.bearing_with_and_decimals(b'T');
        let (magnetic, finer) = fields.bearing_with_and_decimals(b'M');
        Ok(Self {
            truth: truth.map(True),
            magnetic: magnetic.map(Magnetic),
            speed: fields.knots_or_kmh(),
            decimals: fine.max(finer),
        })
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
        let (vhw, unusable) = read("45.0,T,43.0,M,3.5,N,6.4,K", Vhw::parse).unwrap();
        assert_eq!(vhw.truth, Field::Known(True(Bearing::from_deg(45))));
        assert_eq!(vhw.magnetic, Field::Known(Magnetic(Bearing::from_deg(43))));
        assert_eq!(vhw.speed, Field::Known(Speed::from_milliknots(3500)));
        assert_eq!((vhw.decimals, unusable), (1, 0));
    }

    #[test]
    fn empty_fields_with_their_letters_or_without() {
        assert_eq!(read(",T,,M,,N,,K", Vhw::parse), Ok((Vhw::default(), 0)));
        assert_eq!(read(",,,,,,,", Vhw::parse), Ok((Vhw::default(), 0)));
        let (vhw, unusable) = read(",,212,M,0.00,N,,", Vhw::parse).unwrap();
        assert_eq!((vhw.truth, vhw.speed, unusable), (Field::Absent, Field::Known(Speed::ZERO), 0));
        assert_eq!((vhw.magnetic, vhw.decimals), (Field::Known(Magnetic(Bearing::from_deg(212))), 0));
    }

    #[test]
    fn each_value_stands_without_the_others() {
        let (vhw, unusable) = read("400,T,43.0,M,x,N,6.4,K", Vhw::parse).unwrap();
        assert_eq!(vhw.truth, Field::Unusable(Defect::OutOfRange));
        assert_eq!(vhw.magnetic, Field::Known(Magnetic(Bearing::from_deg(43))));
        assert_eq!((vhw.speed, unusable), (Field::Unusable(Defect::NotANumber), 2));
    }
}
