//! RMB, the least that a navigator says of its waypoint:
//! `$GPRMB,A,0.66,L,003,004,4917.24,N,12309.57,W,001.3,052.5,000.5,V*20`.

use crate::bounds::CLOSING_SPEED;
use crate::bounds::RANGE;
use crate::heading::True;
use crate::sentence::field::Field;
use crate::sentence::field::Fields;
use crate::sentence::field::Malformed;
use crate::sentence::status::Mode;

/// The way to a waypoint. Never the order.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Rmb<'a> {
    /// Field 1: whether the navigator stands behind it.
    pub valid: Field<bool>,
    /// Fields 2 and 3: cross-track error, thousandths of a nautical mile, plus where the course is
    /// to be changed to starboard (`R`). Usable with status `A` and a measuring mode only.
    pub cross_track: Field<i32>,
    /// Field 4: origin.
    pub origin: &'a [u8],
    /// Field 5: destination.
    pub destination: &'a [u8],
    /// Field 10: range to the destination, thousandths of a nautical mile.
    pub range: Field<u32>,
    /// Field 11: bearing to the destination, from true north.
    pub bearing: Field<True>,
    /// Field 12: speed towards the destination, thousandths of a knot; minus is away from it.
    pub closing: Field<i32>,
    /// Field 13: whether the arrival circle is entered or the perpendicular passed.
    pub arrived: Field<bool>,
    /// Field 14: how the position behind it came about. Absent before 2.3.
    pub mode: Field<Mode>,
}

impl<'a> Rmb<'a> {
    /// Reads the fields. The waypoint's position, fields 6 to 9, is passed over.
    ///
    /// # Errors
    /// [`Malformed`] where fields 2 and 3 hold something that is not a cross-track error.
    #[inline]
    pub fn parse(fields: &mut Fields<'a>) -> Result<Self, Malformed> {
        let valid = fields.status();
        let cross_track = fields.cross_track().principal(2, "a cross-track error in nautical miles, L or R")?;
        let cross_track = fields.under_status(cross_track, valid);
        let origin = fields.text();
        let destination = fields.text();
        fields.skip(4);
        let range = fields.number(&RANGE);
        let bearing = fields.bearing().map(True);
        let closing = fields.number(&CLOSING_SPEED);
        let arrived = fields.status();
        let mode = fields.mode();
        Ok(Self {
            valid,
            cross_track: cross_track.under_mode(mode),
            origin,
            destination,
            range,
            bearing,
            closing,
            arrived,
            mode,
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
        let body = "A,0.66,L,003,004,4917.24,N,12309.57,W,001.3,052.5,000.5,V";
        let (rmb, unusable) = read(body, Rmb::parse).unwrap();
        let want = Rmb {
            valid: Field::Known(true),
            cross_track: Field::Known(-660),
            origin: b"003",
            destination: b"004",
            range: Field::Known(1300),
            bearing: Field::Known(True(Bearing::from_mdeg(52_500))),
            closing: Field::Known(500),
            arrived: Field::Known(false),
            mode: Field::Absent,
        };
        assert_eq!((rmb, unusable), (want, 0));
    }

    #[test]
    fn opening_the_range_is_a_minus() {
        let (rmb, unusable) = read("A,0.1,R,,HOME,,,,,9.9,181,-5.1,V,A", Rmb::parse).unwrap();
        assert_eq!((rmb.closing, rmb.cross_track, unusable), (Field::Known(-5100), Field::Known(100), 0));
        assert_eq!((rmb.origin, rmb.destination), (&b""[..], &b"HOME"[..]));
        assert_eq!(read("A,0.1,X", Rmb::parse).map_err(|m| (m.field, m.defect)), Err((2, Defect::UnknownLetter)));
    }
}
