//! XTE, cross-track error: `$GPXTE,A,A,0.67,L,N*6F`.

use crate::sentence::field::Field;
use crate::sentence::field::Fields;
use crate::sentence::field::Malformed;
use crate::sentence::quantity::GuardedCrossTrack;
use crate::sentence::status::Mode;

/// Cross-track error.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Xte {
    /// Field 1: whether the navigator stands behind it.
    pub valid: Field<bool>,
    /// Field 2: cycle lock; means something to Loran-C alone and is sent as `A` elsewhere.
    pub cycle_lock: Field<bool>,
    /// Fields 3 to 5: thousandths of a nautical mile, plus where the course is to be changed to
    /// starboard (`R`). Usable with status `A` and a measuring mode only.
    pub cross_track: Field<i32>,
    /// Field 6: how the position behind it came about. Absent before 2.3.
    pub mode: Field<Mode>,
}

impl Xte {
    /// Reads the fields.
    ///
    /// # Errors
    /// [`Malformed`] where fields 3 to 5 hold something that is not a cross-track error.
    #[inline]
    pub fn parse(fields: &mut Fields<'_>) -> Result<Self, Malformed> {
        let GuardedCrossTrack { valid, cycle_lock, error } = fields.guarded_cross_track()?;
        let mode = fields.mode();
        Ok(Self { valid, cycle_lock, cross_track: error.under_mode(mode), mode })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sentence::field::Defect;
    use crate::sentence::sample::read;

    #[test]
    fn the_published_sentence() {
        let (xte, unusable) = read("V,V,,,N,S", Xte::parse).unwrap();
        assert_eq!((xte.valid, xte.cross_track), (Field::Known(false), Field::Absent));
        assert_eq!((xte.mode, unusable), (Field::Known(Mode::Simulator), 0));
    }

    #[test]
    fn the_side_to_steer_to_is_the_sign() {
        let error = |body| read(body, Xte::parse).map(|(xte, unusable)| (xte.cross_track, unusable));
        assert_eq!(error("A,A,0.67,L,N"), Ok((Field::Known(-670), 0)));
        assert_eq!(error("A,A,0.67,R,N,D"), Ok((Field::Known(670), 0)));
        assert_eq!(error("A,A,0.67,R,N,N"), Ok((Field::Unusable(Defect::MarkedInvalid), 0)));
        assert_eq!(error("V,A,0.67,R,N"), Ok((Field::Unusable(Defect::MarkedInvalid), 0)));
        assert_eq!(error("A,V,0.67,R,N"), Ok((Field::Unusable(Defect::MarkedInvalid), 0)));
        assert_eq!(error(",A,0.67,R,N"), Ok((Field::Unusable(Defect::HalfPresent), 1)));
        assert_eq!(error("A,A,0.67,,N").map_err(|m| m.defect), Err(Defect::HalfPresent));
        assert_eq!(error("A,A,0.67,R,K").map_err(|m| m.defect), Err(Defect::UnknownLetter));
        assert_eq!(error("A,A,0.67,R").map_err(|m| m.defect), Err(Defect::HalfPresent));
        assert_eq!(error("A,A,x,R,N").map_err(|m| (m.field, m.defect)), Err((3, Defect::NotANumber)));
    }
}
