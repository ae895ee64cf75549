//! APB, what a navigator tells a pilot: `$GPAPB,A,A,0.10,R,N,V,V,011,M,DEST,011,M,011,M*3C`.

use crate::sentence::field::Field;
use crate::sentence::field::Fields;
use crate::sentence::field::Malformed;
use crate::sentence::quantity::Direction;
use crate::sentence::quantity::GuardedCrossTrack;
use crate::sentence::status::Mode;

/// Cross-track error and bearings for a pilot that follows a navigator. Never the order itself.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Apb<'a> {
    /// Field 1: whether the navigator stands behind it.
    pub valid: Field<bool>,
    /// Field 2: cycle lock; means something to Loran-C alone and is sent as `A` elsewhere.
    pub cycle_lock: Field<bool>,
    /// Fields 3 to 5: thousandths of a nautical mile, plus where the course is to be changed to
    /// starboard (`R`). Usable with status `A` and a measuring mode only.
    pub cross_track: Field<i32>,
    /// Field 6: whether the arrival circle is entered.
    pub arrived: Field<bool>,
    /// Field 7: whether the perpendicular at the waypoint is passed.
    pub passed: Field<bool>,
    /// Fields 8 and 9: bearing from origin to destination.
    pub track: Field<Direction>,
    /// Field 10: destination.
    pub destination: &'a [u8],
    /// Fields 11 and 12: bearing from here to the destination.
    pub bearing: Field<Direction>,
    /// Fields 13 and 14: heading to steer.
    pub heading_to_steer: Field<Direction>,
    /// Field 15: how the position behind it came about. Absent before 2.3.
    pub mode: Field<Mode>,
}

impl<'a> Apb<'a> {
    /// Reads the fields.
    ///
    /// # Errors
    /// [`Malformed`] where fields 3 to 5 hold something that is not a cross-track error.
    #[inline]
    pub fn parse(fields: &mut Fields<'a>) -> Result<Self, Malformed> {
        let GuardedCrossTrack { valid, cycle_lock, error } = fields.guarded_cross_track()?;
        let arrived = fields.status();
        let passed = fields.status();
        let track = fields.direction();
        let destination = fields.text();
        let bearing = fields.direction();
        let heading_to_steer = fields.direction();
        let mode = fields.mode();
        Ok(Self {
            valid,
            cycle_lock,
            cross_track: error.under_mode(mode),
            arrived,
            passed,
            track,
            destination,
            bearing,
            heading_to_steer,
            mode,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::angle::Bearing;
    use crate::heading::Magnetic;
    use crate::heading::True;
    use crate::sentence::field::Defect;
    use crate::sentence::sample::read;

    #[test]
    fn the_published_sentence() {
        let (apb, unusable) = read("A,A,0.10,R,N,V,V,011,M,DEST,011,M,011,M", Apb::parse).unwrap();
        let eleven = Field::Known(Direction::Magnetic(Magnetic(Bearing::from_deg(11))));
        let want = Apb {
            valid: Field::Known(true),
            cycle_lock: Field::Known(true),
            cross_track: Field::Known(100),
            arrived: Field::Known(false),
            passed: Field::Known(false),
            track: eleven,
            destination: b"DEST",
            bearing: eleven,
            heading_to_steer: eleven,
            mode: Field::Absent,
        };
        assert_eq!((apb, unusable), (want, 0));
    }

    #[test]
    fn references_are_kept_and_bad_fields_counted() {
        let (apb, unusable) = read("A,A,0.10,L,N,Q,A,,M,DEST,400,M,271.5,T,D", Apb::parse).unwrap();
        assert_eq!((apb.cross_track, apb.track), (Field::Known(-100), Field::Absent));
        assert_eq!(apb.bearing, Field::Unusable(Defect::OutOfRange));
        assert_eq!(apb.heading_to_steer, Field::Known(Direction::True(True(Bearing::from_mdeg(271_500)))));
        assert_eq!((apb.mode, unusable), (Field::Known(Mode::Differential), 2));
        assert_eq!(read("A,A,x,L,N", Apb::parse).map_err(|m| m.field), Err(3));
    }
}
