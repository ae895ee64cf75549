//! HDG, heading of a magnetic sensor: `$HCHDG,98.3,0.1,E,12.6,W*56`.

use crate::angle::Turn;
use crate::bounds::DEVIATION;
use crate::bounds::VARIATION;
use crate::heading::Compass;
use crate::heading::Variation;
use crate::sentence::field::Field;
use crate::sentence::field::Fields;
use crate::sentence::field::Malformed;

/// Heading, deviation and variation of a magnetic sensor.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Hdg {
    /// Field 1: the sensor's own heading, before any deviation: a COMPASS heading.
    pub heading: Field<Compass>,
    /// Fields 2 and 3: deviation, east plus.
    pub deviation: Field<Turn>,
    /// Fields 4 and 5: variation, east plus.
    pub variation: Field<Variation>,
    /// Digits after the point of field 1.
    pub decimals: u8,
}

impl Hdg {
    /// Reads the fields.
    ///
    /// # Errors
    /// [`Malformed`] where field 1 holds something that is not a direction.
    #[inline]
    pub fn parse(fields: &mut Fields<'_>) -> Result<Self, Malformed> {
        let (heading, decimals) = fields.bearing_and_decimals();
        let heading = heading.principal(1, "a heading of 0 to 360 degrees")?;
        Ok(Self {
            heading: heading.map(Compass),
            decimals,
            deviation: fields.east_west(&DEVIATION),
            variation: fields.east_west(&VARIATION).map(Variation),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::angle::Bearing;
    use crate::sentence::field::Defect;
    use crate::sentence::sample::read;

    fn parse(body: &str) -> Result<(Hdg, u8), Malformed> {
        read(body, Hdg::parse)
    }

    #[test]
    fn the_published_sentence() {
        let (hdg, unusable) = parse("98.3,0.1,E,12.6,W").unwrap();
        assert_eq!(hdg.heading, Field::Known(Compass(Bearing::from_mdeg(98_300))));
        assert_eq!(hdg.deviation, Field::Known(Turn::from_mdeg(100)));
        assert_eq!(hdg.variation, Field::Known(Variation(Turn::from_mdeg(-12_600))));
        assert_eq!((hdg.decimals, unusable), (1, 0));
    }

    #[test]
    fn absent_half_present_out_of_range_and_zero_differ() {
        assert_eq!(parse(",,,,").unwrap().0, Hdg::default());
        let deviation = |body| parse(body).map(|(hdg, unusable)| (hdg.deviation, unusable));
        assert_eq!(deviation("98.3,,E,12.6,W"), Ok((Field::Absent, 0)));
        assert_eq!(deviation("98.3,1.0,,12.6,W"), Ok((Field::Unusable(Defect::HalfPresent), 1)));
        assert_eq!(deviation("98.3,181,E,12.6,W"), Ok((Field::Unusable(Defect::OutOfRange), 1)));
        assert_eq!(deviation("98.3,0.0,E,12.6,W"), Ok((Field::Known(Turn::ZERO), 0)));
        assert_eq!(deviation("98.3,1.0,N,12.6,W"), Ok((Field::Unusable(Defect::UnknownLetter), 1)));
    }

    #[test]
    fn a_heading_that_is_none_refuses_the_sentence() {
        assert_eq!(parse("400.0,,,,").map_err(|m| (m.field, m.defect)), Err((1, Defect::OutOfRange)));
        assert_eq!(parse("-1,,,,").map_err(|m| m.defect), Err(Defect::OutOfRange));
        assert_eq!(parse("abc,,,,").map_err(|m| m.defect), Err(Defect::NotANumber));
    }
}
