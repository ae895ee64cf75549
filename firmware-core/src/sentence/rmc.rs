//! RMC, the least that a navigation receiver says:
//! `$GPRMC,195959.00,A,1541.312,N,05130.512,W,0.26,147.44,140120,16.9,W,D*06`.
//!
//! 11 fields before 2.3, 12 from there with the mode, 13 from 4.1 with the navigational status.

use crate::bounds::VARIATION;
use crate::heading::True;
use crate::heading::Variation;
use crate::sentence::field::Field;
use crate::sentence::field::Fields;
use crate::sentence::field::Malformed;
use crate::sentence::status::Mode;
use crate::unit::Date;
use crate::unit::Position;
use crate::unit::Speed;
use crate::unit::TimeOfDay;

/// Time, position, course, speed and variation.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Rmc {
    /// Field 1: UTC. It stands without a fix: receivers keep time by their own clock.
    pub time: Field<TimeOfDay>,
    /// Field 2: whether the receiver stands behind position, speed and course.
    pub valid: Field<bool>,
    /// Fields 3 to 6: position, usable with status `A` and a measuring mode only.
    pub position: Field<Position>,
    /// Field 7: speed over ground, under the same conditions.
    pub speed: Field<Speed>,
    /// Field 8: course over ground, under the same conditions.
    pub course: Field<True>,
    /// Field 9: UTC date; it stands without a fix. Years 70 to 99 are 19.., 00 to 69 are 20...
    pub date: Field<Date>,
    /// Fields 10 and 11: variation, east plus.
    pub variation: Field<Variation>,
    /// Field 12: how the position came about. Absent before 2.3.
    pub mode: Field<Mode>,
    /// Field 13: navigational status: `S` safe, `C` caution, `U` unsafe, `V` not stated. It is kept
    /// as it came and judges nothing here: most receivers can only say `V`.
    pub nav_status: Field<u8>,
}

impl Rmc {
    /// Reads the fields.
    ///
    /// # Errors
    /// [`Malformed`] where fields 3 to 6 hold something that is not a position.
    #[inline]
    pub fn parse(fields: &mut Fields<'_>) -> Result<Self, Malformed> {
        let time = fields.time();
        let valid = fields.status();
        let position = fields.position().principal(3, "a position: ddmm.mmm, N or S, dddmm.mmm, E or W")?;
        let position = fields.under_status(position, valid);
        let speed = fields.knots();
        let speed = fields.under_status(speed, valid);
        let course = fields.bearing().map(True);
        let course = fields.under_status(course, valid);
        let date = fields.date();
        let variation = fields.east_west(&VARIATION).map(Variation);
        let mode = fields.mode();
        Ok(Self {
            time,
            valid,
            position: position.under_mode(mode),
            speed: speed.under_mode(mode),
            course: course.under_mode(mode),
            date,
            variation,
            mode,
            nav_status: fields.letter(),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::angle::Bearing;
    use crate::angle::Turn;
    use crate::sentence::field::Defect;
    use crate::sentence::sample::read;

    const FIRST: &str = "4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W";

    #[test]
    fn every_edition_reads_the_same() {
        for (tail, mode, nav) in [
            ("", Field::Absent, Field::Absent),
            (",A", Field::Known(Mode::Autonomous), Field::Absent),
            (",A,S", Field::Known(Mode::Autonomous), Field::Known(b'S')),
            (",A,U", Field::Known(Mode::Autonomous), Field::Known(b'U')),
            (",D,V,new,fields", Field::Known(Mode::Differential), Field::Known(b'V')),
        ] {
            let body = std::format!("123519,A,{FIRST}{tail}");
            let (rmc, unusable) = read(&body, Rmc::parse).unwrap();
            let want = Rmc {
                time: Field::Known(TimeOfDay::from_ms(45_319_000).unwrap()),
                valid: Field::Known(true),
                position: Field::Known(Position { lat_e7: 481_173_000, lon_e7: 115_166_667 }),
                speed: Field::Known(Speed::from_milliknots(22_400)),
                course: Field::Known(True(Bearing::from_mdeg(84_400))),
                date: Field::Known(Date::new(1994, 3, 23).unwrap()),
                variation: Field::Known(Variation(Turn::from_mdeg(-3100))),
                mode,
                nav_status: nav,
            };
            assert_eq!((rmc, unusable), (want, 0), "{body}");
        }
    }

    #[test]
    fn without_a_fix_time_and_date_stand() {
        let invalid = Defect::MarkedInvalid;
        for (status, tail, defect, counted) in
            [("V", ",N", invalid, 0), ("A", ",E", invalid, 0), ("V", "", invalid, 0), ("", "", Defect::HalfPresent, 3)]
        {
            let body = std::format!("123519,{status},{FIRST}{tail}");
            let (rmc, unusable) = read(&body, Rmc::parse).unwrap();
            assert_eq!(rmc.position, Field::Unusable(defect), "{body}");
            assert_eq!((rmc.speed, rmc.course), (Field::Unusable(defect), Field::Unusable(defect)));
            assert!(rmc.time.known().is_some() && rmc.date.known().is_some() && rmc.variation.known().is_some());
            assert_eq!(unusable, counted);
        }
        let (rmc, unusable) = read(",V,,,,,,,,,,N", Rmc::parse).unwrap();
        assert_eq!((rmc.position, rmc.valid, unusable), (Field::Absent, Field::Known(false), 0));
    }

    #[test]
    fn bad_optional_fields_are_counted_and_the_position_stands() {
        let body = "1235,A,4807.038,N,01131.000,E,-1,400,320394,181,W,X";
        let (rmc, unusable) = read(body, Rmc::parse).unwrap();
        assert!(rmc.position.known().is_some());
        assert_eq!(rmc.time, Field::Unusable(Defect::NotANumber));
        assert_eq!(
            (rmc.speed, rmc.mode),
            (Field::Unusable(Defect::OutOfRange), Field::Unusable(Defect::UnknownLetter))
        );
        assert_eq!(unusable, 6);
        assert_eq!(read("123519,A,9961.0,N,01131.0,E", Rmc::parse).map_err(|m| m.field), Err(3));
    }
}
