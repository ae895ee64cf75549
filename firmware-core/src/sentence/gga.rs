//! GGA, position and the quality of the fix:
//! `$GNGGA,001043.00,4404.14036,N,12118.85961,W,1,12,0.98,1113.0,M,-21.3,M,,*47`.

use crate::bounds::DILUTION;
use crate::bounds::FIX_QUALITY;
use crate::bounds::SATELLITES;
use crate::sentence::field::Field;
use crate::sentence::field::Fields;
use crate::sentence::field::Malformed;
use crate::unit::Position;
use crate::unit::TimeOfDay;

/// Position and the quality of the fix.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Gga {
    /// Field 1: UTC. It stands without a fix.
    pub time: Field<TimeOfDay>,
    /// Fields 2 to 5: position, usable where the quality says that it was measured.
    pub position: Field<Position>,
    /// Field 6: 0 no fix, 1 autonomous, 2 differential, 3 precise, 4 and 5 carrier phase,
    /// 6 estimated, 7 typed in, 8 simulator; 9 is a maker's own kind of fix.
    pub quality: Field<u8>,
    /// Field 7: satellites in use.
    pub satellites: Field<u8>,
    /// Field 8: horizontal dilution of precision, hundredths.
    pub hdop: Field<u16>,
}

impl Gga {
    /// Reads the fields. Those after the eighth are passed over: nothing here needs a height.
    ///
    /// With quality 0, 6, 7 or 8 the position is marked invalid: an estimated, typed-in or
    /// simulated one is no fix (the same rule as for [`Mode`](crate::sentence::Mode)), and the
    /// quality stays there to say why. Every edition has a quality, so without one the position is
    /// half-present.
    ///
    /// # Errors
    /// [`Malformed`] where fields 2 to 5 hold something that is not a position.
    #[inline]
    pub fn parse(fields: &mut Fields<'_>) -> Result<Self, Malformed> {
        let time = fields.time();
        let position = fields.position().principal(2, "a position: ddmm.mmm, N or S, dddmm.mmm, E or W")?;
        let quality = fields.number(&FIX_QUALITY);
        let position = fields.under_status(position, quality.map(|quality| !matches!(quality, 0 | 6 | 7 | 8)));
        Ok(Self { time, position, quality, satellites: fields.number(&SATELLITES), hdop: fields.number(&DILUTION) })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sentence::field::Defect;
    use crate::sentence::sample::read;

    #[test]
    fn the_published_sentence() {
        let body = "001043.00,4404.14036,N,12118.85961,W,1,12,0.98,1113.0,M,-21.3,M,,";
        let (gga, unusable) = read(body, Gga::parse).unwrap();
        let want = Gga {
            time: Field::Known(TimeOfDay::from_ms(643_000).unwrap()),
            // 44 + 4.14036/60 and 121 + 18.85961/60, computed by hand.
            position: Field::Known(Position { lat_e7: 440_690_060, lon_e7: -1_213_143_268 }),
            quality: Field::Known(1),
            satellites: Field::Known(12),
            hdop: Field::Known(98),
        };
        assert_eq!((gga, unusable), (want, 0));
    }

    #[test]
    fn each_quality() {
        for (quality, usable) in
            [(0, false), (1, true), (2, true), (5, true), (6, false), (7, false), (8, false), (9, true)]
        {
            let body = std::format!("001043,4404.1,N,12118.8,W,{quality},12,1.0");
            let (gga, unusable) = read(&body, Gga::parse).unwrap();
            assert_eq!((gga.quality, unusable), (Field::Known(quality), 0));
            assert_eq!(gga.position.known().is_some(), usable, "{quality}");
        }
        let position = |body| read(body, Gga::parse).map(|(gga, unusable)| (gga.position, unusable));
        assert_eq!(position("001043,4404.1,N,12118.8,W,,12"), Ok((Field::Unusable(Defect::HalfPresent), 1)));
        assert_eq!(position("001043,4404.1,N,12118.8,W,x,12"), Ok((Field::Unusable(Defect::NotANumber), 1)));
        assert_eq!(position(",,,,,0,,,,M,,M,,"), Ok((Field::Absent, 0)));
        assert_eq!(
            position("001043,4460.1,N,12118.8,W,1").map_err(|m| (m.field, m.defect)),
            Err((2, Defect::OutOfRange))
        );
    }
}
