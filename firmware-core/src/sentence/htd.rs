//! HTD, heading and track control data: `$APHTD,V,3.0,R,H,N,30.0,15.0,,,090.0,,,T,A,A,,088.5*15`.

use crate::sentence::field::Fields;
use crate::sentence::field::Malformed;
use crate::sentence::heading_control::HeadingControl;

/// What a heading or track control system says it is doing.
pub type Htd = HeadingControl;

/// Reads the fields. The vessel heading has the reference of field 13 and, like the heading to
/// steer, is half-present without it.
///
/// # Errors
/// [`Malformed`] where field 10 holds something that is not a direction.
#[inline]
pub(super) fn parse(fields: &mut Fields<'_>) -> Result<Htd, Malformed> {
    let mut htd = HeadingControl::parse(fields)?;
    htd.rudder_within_limit = fields.status();
    htd.heading_within_limit = fields.status();
    htd.track_within_limit = fields.status();
    let vessel_heading = fields.bearing();
    htd.vessel_heading = fields.under_status(vessel_heading, htd.reference.map(|_| true));
    Ok(htd)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::angle::Bearing;
    use crate::angle::Turn;
    use crate::sentence::HeadingReference;
    use crate::sentence::field::Defect;
    use crate::sentence::field::Field;
    use crate::sentence::sample::read;

    #[test]
    fn every_field_in_its_place() {
        let (htd, unusable) = read("A,3.0,R,H,N,30.0,15.0,,,090.0,,,T,A,V,,088.5", parse).unwrap();
        let want = Htd {
            override_in_use: Field::Known(true),
            rudder: Field::Known(Turn::from_deg(3)),
            steering_mode: Field::Known(b'H'),
            off_heading_limit: Field::Known(Turn::from_deg(15)),
            heading_to_steer: Field::Known(Bearing::from_deg(90)),
            reference: Field::Known(HeadingReference::True),
            status: Field::Absent,
            rudder_within_limit: Field::Known(true),
            heading_within_limit: Field::Known(false),
            track_within_limit: Field::Absent,
            vessel_heading: Field::Known(Bearing::from_mdeg(88_500)),
        };
        assert_eq!((htd, unusable), (want, 0));
    }

    #[test]
    fn bad_optional_fields_are_counted_and_the_order_stands() {
        let (htd, unusable) = read("Q,95,R,H,N,,181,,,090.0,,,T,A,A,,400", parse).unwrap();
        assert_eq!(htd.heading_to_steer, Field::Known(Bearing::from_deg(90)));
        assert_eq!(htd.rudder, Field::Unusable(Defect::OutOfRange));
        assert_eq!((htd.vessel_heading, unusable), (Field::Unusable(Defect::OutOfRange), 4));
        // A rudder without a side is never taken for starboard, nor for amidships.
        assert_eq!(read("V,3.0,,H", parse).unwrap().0.rudder, Field::Unusable(Defect::HalfPresent));
    }
}
