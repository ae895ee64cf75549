//! VTG, course and speed over ground: `$GPVTG,147.44,T,164.31,M,0.26,N,0.49,K,D*2C`.
//!
//! The oldest form has four fields and no letters: `$GPVTG,147.4,164.3,0.3,0.5`.

use crate::angle::Bearing;
use crate::bounds::BEARING;
use crate::bounds::SPEED;
use crate::bounds::SPEED_KMH;
use crate::heading::Magnetic;
use crate::heading::True;
use crate::sentence::field::Field;
use crate::sentence::field::Fields;
use crate::sentence::field::Malformed;
use crate::sentence::status::Mode;
use crate::unit::Speed;

/// Course and speed over ground.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Vtg {
    /// Fields 1 and 2: course from true north.
    pub course: Field<True>,
    /// Fields 3 and 4: course from magnetic north.
    pub course_magnetic: Field<Magnetic>,
    /// Fields 5 to 8: speed over ground, by the knots, or by the km/h where knots are absent.
    pub speed: Field<Speed>,
    /// Field 9: how they came about. Absent before 2.3. Where it says that nothing was measured
    /// (`N`, `E`, `M`, `S`), courses and speed are marked invalid.
    pub mode: Field<Mode>,
}

impl Vtg {
    /// Reads the fields, of either form: the old one has exactly four and no `T` in the second.
    ///
    /// # Errors
    /// [`Malformed`] where field 1 holds something that is not a direction, or its letter is not `T`.
    #[inline]
    pub fn parse(fields: &mut Fields<'_>) -> Result<Self, Malformed> {
        let (first, second, third, fourth) = (fields.text(), fields.text(), fields.text(), fields.text());
        let old = second != b"T" && !fields.has_more();
        let course = if old { fields.check(first, &BEARING) } else { fields.check_unit(first, second, &BEARING, b'T') };
        let course = course.principal(1, "a course of 0 to 360 degrees and T")?;
        let course = course.map(Bearing::from_mdeg).map(True);
        if old {
            let knots = fields.check(third, &SPEED).map(Speed::from_milliknots);
            let kmh = if knots == Field::Absent { fields.check(fourth, &SPEED_KMH) } else { Field::Absent };
            return Ok(Self {
                course,
                course_magnetic: fields.check(second, &BEARING).map(Bearing::from_mdeg).map(Magnetic),
                speed: if knots == Field::Absent { kmh.map(Speed::from_metres_per_hour) } else { knots },
                mode: Field::Absent,
            });
        }
        let magnetic = fields.check_unit(third, fourth, &BEARING, b'M').map(Bearing::from_mdeg).map(Magnetic);
        let speed = fields.knots_or_kmh();
        let mode = fields.mode();
        Ok(Self {
            course: course.under_mode(mode),
            course_magnetic: magnetic.under_mode(mode),
            speed: speed.under_mode(mode),
            mode,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sentence::field::Defect;
    use crate::sentence::sample::read;

    fn course(mdeg: i64) -> Field<True> {
        Field::Known(True(Bearing::from_mdeg(mdeg)))
    }

    fn speed(milliknots: i64) -> Field<Speed> {
        Field::Known(Speed::from_milliknots(milliknots))
    }

    #[test]
    fn the_published_sentences() {
        let (vtg, unusable) = read("147.44,T,164.31,M,0.26,N,0.49,K,D", Vtg::parse).unwrap();
        assert_eq!((vtg.course, vtg.speed), (course(147_440), speed(260)));
        assert_eq!(vtg.course_magnetic, Field::Known(Magnetic(Bearing::from_mdeg(164_310))));
        assert_eq!((vtg.mode, unusable), (Field::Known(Mode::Differential), 0));
        let (vtg, _) = read("220.86,T,,M,2.550,N,4.724,K,A", Vtg::parse).unwrap();
        assert_eq!((vtg.course_magnetic, vtg.speed), (Field::Absent, speed(2550)));
    }

    #[test]
    fn editions() {
        let (vtg, _) = read("054.7,T,034.4,M,005.5,N,010.2,K", Vtg::parse).unwrap();
        assert_eq!((vtg.course, vtg.speed, vtg.mode), (course(54_700), speed(5500), Field::Absent));
        let (old, _) = read("054.7,034.4,005.5,010.2", Vtg::parse).unwrap();
        assert_eq!(old, vtg);
        // An empty second field does not make it the old form when more than four follow.
        assert_eq!(read(",,,,,,,,N", Vtg::parse).unwrap().0.course, Field::Absent);
        assert_eq!(read(",,,3.6", Vtg::parse).unwrap().0.speed, Field::Known(Speed::from_mm_s(1000)));
    }

    #[test]
    fn what_was_not_measured_is_marked_invalid() {
        for mode in ["N", "E", "M", "S"] {
            let body = std::format!("054.7,T,034.4,M,005.5,N,010.2,K,{mode}");
            let (vtg, unusable) = read(&body, Vtg::parse).unwrap();
            assert_eq!(vtg.course, Field::Unusable(Defect::MarkedInvalid));
            assert_eq!(vtg.speed, Field::Unusable(Defect::MarkedInvalid));
            assert_eq!(unusable, 0);
        }
    }

    #[test]
    fn a_course_that_is_none_refuses_the_sentence() {
        let defect = |body| read(body, Vtg::parse).map_err(|m| m.defect).err();
        assert_eq!(defect("361,T,,M,1,N,,K,A"), Some(Defect::OutOfRange));
        assert_eq!(defect("054.7,M,,M,1,N,,K,A"), Some(Defect::UnknownLetter));
        assert_eq!(defect("054.7,,,M,1,N,,K,A"), Some(Defect::HalfPresent));
        assert_eq!(defect("x,1,2,3"), Some(Defect::NotANumber));
    }
}
