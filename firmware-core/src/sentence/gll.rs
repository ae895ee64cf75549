//! GLL, position: `$GNGLL,4404.14012,N,12118.85993,W,001037.00,A,A*67`.

use crate::sentence::field::Field;
use crate::sentence::field::Fields;
use crate::sentence::field::Malformed;
use crate::sentence::status::Mode;
use crate::unit::Position;
use crate::unit::TimeOfDay;

/// Position.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Gll {
    /// Fields 1 to 4: position, usable with status `A` and a measuring mode only.
    pub position: Field<Position>,
    /// Field 5: UTC. It stands without a fix.
    pub time: Field<TimeOfDay>,
    /// Field 6: whether the receiver stands behind the position.
    pub valid: Field<bool>,
    /// Field 7: how the position came about. Absent before 2.3.
    pub mode: Field<Mode>,
}

impl Gll {
    /// Reads the fields.
    ///
    /// # Errors
    /// [`Malformed`] where fields 1 to 4 hold something that is not a position.
    #[inline]
    pub fn parse(fields: &mut Fields<'_>) -> Result<Self, Malformed> {
        let position = fields.position().principal(1, "a position: ddmm.mmm, N or S, dddmm.mmm, E or W")?;
        let time = fields.time();
        let valid = fields.status();
        let mode = fields.mode();
        Ok(Self { position: fields.under_status(position, valid).under_mode(mode), time, valid, mode })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sentence::field::Defect;
    use crate::sentence::sample::read;

    #[test]
    fn the_published_sentence() {
        let (gll, unusable) = read("4404.14012,N,12118.85993,W,001037.00,A,A", Gll::parse).unwrap();
        // 44 + 4.14012/60 and 121 + 18.85993/60, computed by hand.
        assert_eq!(gll.position, Field::Known(Position { lat_e7: 440_690_020, lon_e7: -1_213_143_322 }));
        assert_eq!(gll.time.map(TimeOfDay::as_ms), Field::Known(637_000));
        assert_eq!((gll.valid, gll.mode, unusable), (Field::Known(true), Field::Known(Mode::Autonomous), 0));
    }

    #[test]
    fn a_position_needs_its_status() {
        let position = |tail: &str| {
            let body = std::format!("4404.1,N,12118.8,W,001037,{tail}");
            read(&body, Gll::parse).map(|(gll, unusable)| (gll.position.known().is_some(), unusable)).unwrap()
        };
        assert_eq!(position("A"), (true, 0));
        assert_eq!(position("V"), (false, 0));
        assert_eq!(position("A,N"), (false, 0));
        assert_eq!(position("A,X"), (true, 1));
        assert_eq!(position(""), (false, 1));
        assert_eq!(read(",,,,,V,N", Gll::parse).unwrap().0.position, Field::Absent);
    }

    #[test]
    fn a_bad_time_is_counted_and_a_bad_position_refuses() {
        let (gll, unusable) = read("4404.1,N,12118.8,W,256199,A,A", Gll::parse).unwrap();
        assert_eq!((gll.time, unusable), (Field::Unusable(Defect::OutOfRange), 1));
        assert!(gll.position.known().is_some());
        assert_eq!(read("4404.1,N", Gll::parse).map_err(|m| m.defect), Err(Defect::HalfPresent));
    }
}
