//! MWV, wind speed and angle: `$WIMWV,045.0,R,12.5,N,A*14`.

use crate::angle::Bearing;
use crate::sentence::field::Field;
use crate::sentence::field::Fields;
use crate::sentence::field::Malformed;
use crate::unit::Speed;

/// Wind against the bow.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Mwv {
    /// Fields 1 and 2: where it blows from, clockwise from the bow. An angle that does not say
    /// which wind it is of is half-present.
    pub angle: Field<Bearing>,
    /// Field 2: `R`, the wind felt on board, is true; `T`, the wind over the water, is false.
    pub relative: Field<bool>,
    /// Fields 3 and 4: speed, sent in knots, km/h or m/s.
    pub speed: Field<Speed>,
}

impl Mwv {
    /// Reads the fields. Angle and speed are marked invalid unless the status, field 5, is `A`;
    /// where it is missing, which every edition has, they are half-present.
    ///
    /// # Errors
    /// [`Malformed`] where field 1 holds something that is not a direction.
    #[inline]
    pub fn parse(fields: &mut Fields<'_>) -> Result<Self, Malformed> {
        let angle = fields.bearing().principal(1, "an angle of 0 to 360 degrees")?;
        let relative = fields.either(b'R', b'T');
        let angle = fields.under_status(angle, relative.map(|_| true));
        let speed = fields.wind_speed();
        let status = fields.status();
        Ok(Self { angle: fields.under_status(angle, status), relative, speed: fields.under_status(speed, status) })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sentence::field::Defect;
    use crate::sentence::sample::read;

    #[test]
    fn both_winds_in_each_unit() {
        for (body, relative, mm_s) in [
            ("045.0,R,3.6,N,A", true, 1852),
            ("045.0,T,3.6,K,A", false, 1000),
            ("045.0,R,3.6,M,A", true, 3600),
            ("45,T,0,N,A", false, 0),
        ] {
            let (mwv, unusable) = read(body, Mwv::parse).unwrap();
            assert_eq!(mwv.angle, Field::Known(Bearing::from_deg(45)), "{body}");
            assert_eq!((mwv.relative, mwv.speed.map(Speed::as_mm_s)), (Field::Known(relative), Field::Known(mm_s)));
            assert_eq!(unusable, 0);
        }
    }

    #[test]
    fn letters_that_are_missing_or_unknown() {
        let values = |body| read(body, Mwv::parse).map(|(mwv, n)| (mwv.angle.map(|_| ()), mwv.speed.map(|_| ()), n));
        let (known, bad) = (Field::Known(()), Field::Unusable);
        assert_eq!(values("45,R,3.6,N,V"), Ok((bad(Defect::MarkedInvalid), bad(Defect::MarkedInvalid), 0)));
        assert_eq!(values("45,,3.6,N,A"), Ok((bad(Defect::HalfPresent), known, 1)));
        assert_eq!(values("45,Q,3.6,N,A"), Ok((bad(Defect::UnknownLetter), known, 1)));
        assert_eq!(values("45,R,3.6,,A"), Ok((known, bad(Defect::HalfPresent), 1)));
        assert_eq!(values("45,R,3.6,Q,A"), Ok((known, bad(Defect::UnknownLetter), 1)));
        assert_eq!(values("45,R,3.6,N"), Ok((bad(Defect::HalfPresent), bad(Defect::HalfPresent), 2)));
        assert_eq!(values(",R,,N,A"), Ok((Field::Absent, Field::Absent, 0)));
        assert_eq!(read("361,R,1,N,A", Mwv::parse).map_err(|m| m.defect), Err(Defect::OutOfRange));
    }
}
