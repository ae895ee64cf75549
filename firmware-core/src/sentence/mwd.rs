//! MWD, wind direction and speed: `$WIMWD,220.0,T,210.0,M,10.0,N,5.1,M*6C`.

use crate::heading::Magnetic;
use crate::heading::True;
use crate::sentence::field::Field;
use crate::sentence::field::Fields;
use crate::sentence::field::Malformed;
use crate::unit::Speed;

/// Wind against north.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Mwd {
    /// Fields 1 and 2: where it blows from, from true north.
    pub truth: Field<True>,
    /// Fields 3 and 4: where it blows from, from magnetic north.
    pub magnetic: Field<Magnetic>,
    /// Fields 5 to 8: speed, by the knots, or by the m/s where knots are absent.
    pub speed: Field<Speed>,
}

impl Mwd {
    /// Reads the fields.
    ///
    /// # Errors
    /// [`Malformed`] where field 1 holds something that is not a direction, or its letter is not `T`.
    #[inline]
    pub fn parse(fields: &mut Fields<'_>) -> Result<Self, Malformed> {
        let truth = fields.bearing_with(b'T').principal(1, "a direction of 0 to 360 degrees and T")?;
        let magnetic = fields.bearing_with(b'M');
        let speed = match fields.wind_speed() {
            Field::Absent => fields.wind_speed(),
            knots => knots,
        };
        Ok(Self { truth: truth.map(True), magnetic: magnetic.map(Magnetic), speed })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::angle::Bearing;
    use crate::sentence::field::Defect;
    use crate::sentence::sample::read;

    #[test]
    fn knots_first_and_metres_where_they_are_absent() {
        let (mwd, unusable) = read("220.0,T,210.0,M,3.6,N,9.9,M", Mwd::parse).unwrap();
        assert_eq!(mwd.truth, Field::Known(True(Bearing::from_deg(220))));
        assert_eq!(mwd.magnetic, Field::Known(Magnetic(Bearing::from_deg(210))));
        assert_eq!((mwd.speed.map(Speed::as_mm_s), unusable), (Field::Known(1852), 0));
        let (mwd, _) = read("220.0,T,,M,,N,3.6,M", Mwd::parse).unwrap();
        assert_eq!((mwd.magnetic, mwd.speed), (Field::Absent, Field::Known(Speed::from_mm_s(3600))));
        assert_eq!(read(",T,,M,,N,,M", Mwd::parse), Ok((Mwd::default(), 0)));
    }

    #[test]
    fn a_direction_that_is_none_refuses_the_sentence() {
        assert_eq!(read("220.0,M,,,,,,", Mwd::parse).map_err(|m| m.defect), Err(Defect::UnknownLetter));
        let (mwd, unusable) = read("220.0,T,400,M,1,Q,,", Mwd::parse).unwrap();
        assert_eq!((mwd.magnetic, unusable), (Field::Unusable(Defect::OutOfRange), 2));
    }
}
