//! HTC, heading and track control command: `$APHTC,V,10.1,L,R,N,12.5,15.0,,,172.5,,,M,C*75`.

use crate::sentence::field::Fields;
use crate::sentence::field::Malformed;
use crate::sentence::heading_control::HeadingControl;

/// What is ordered of a heading or track control system.
pub type Htc = HeadingControl;

/// Reads the fields.
///
/// # Errors
/// [`Malformed`] where field 10 holds something that is not a direction.
#[inline]
pub(super) fn parse(fields: &mut Fields<'_>) -> Result<Htc, Malformed> {
    let mut htc = HeadingControl::parse(fields)?;
    htc.status = fields.letter();
    Ok(htc)
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
        let (htc, unusable) = read("V,10.1,L,R,N,12.5,15.0,,,172.5,,,M,C", parse).unwrap();
        let want = Htc {
            override_in_use: Field::Known(false),
            rudder: Field::Known(Turn::from_mdeg(-10_100)),
            steering_mode: Field::Known(b'R'),
            off_heading_limit: Field::Known(Turn::from_deg(15)),
            heading_to_steer: Field::Known(Bearing::from_mdeg(172_500)),
            reference: Field::Known(HeadingReference::Magnetic),
            status: Field::Known(b'C'),
            ..Htc::default()
        };
        assert_eq!((htc, unusable), (want, 0));
        assert_eq!(read(",,,,,,,,,,,,", parse), Ok((Htc::default(), 0)));
    }

    #[test]
    fn a_heading_without_its_reference_is_half_present() {
        let heading = |body| read(body, parse).map(|(htc, unusable)| (htc.heading_to_steer, unusable));
        assert_eq!(heading(",,,,,,,,,172.5,,,"), Ok((Field::Unusable(Defect::HalfPresent), 1)));
        assert_eq!(heading(",,,,,,,,,172.5,,,C"), Ok((Field::Unusable(Defect::UnknownLetter), 1)));
        assert_eq!(heading(",,,,,,,,,372.5,,,T").map_err(|m| (m.field, m.defect)), Err((10, Defect::OutOfRange)));
    }
}
