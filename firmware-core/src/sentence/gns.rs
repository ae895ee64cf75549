//! GNS, position by several satellite systems:
//! `$GNGNS,014035.00,4332.69262,S,17235.48549,E,RR,13,0.9,25.63,11.24,,*70`.

use crate::bounds::DILUTION;
use crate::bounds::SATELLITES;
use crate::sentence::field::Field;
use crate::sentence::field::Fields;
use crate::sentence::field::Malformed;
use crate::sentence::status::Mode;
use crate::unit::Position;
use crate::unit::TimeOfDay;

/// Position by several satellite systems.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Gns<'a> {
    /// Field 1: UTC. It stands without a fix.
    pub time: Field<TimeOfDay>,
    /// Fields 2 to 5: position, usable where at least one system measured it.
    pub position: Field<Position>,
    /// Field 6: one mode letter for each system, GPS first; the list has grown with the editions.
    pub modes: &'a [u8],
    /// Field 7: satellites in use.
    pub satellites: Field<u8>,
    /// Field 8: horizontal dilution of precision, hundredths.
    pub hdop: Field<u16>,
}

impl<'a> Gns<'a> {
    /// Reads the fields. Those after the eighth are passed over.
    ///
    /// Where every letter says that nothing was measured (`N`, `E`, `M`, `S`) the position is
    /// marked invalid; without any letter it is half-present.
    ///
    /// # Errors
    /// [`Malformed`] where fields 2 to 5 hold something that is not a position.
    #[inline]
    pub fn parse(fields: &mut Fields<'a>) -> Result<Self, Malformed> {
        let time = fields.time();
        let position = fields.position().principal(2, "a position: ddmm.mmm, N or S, dddmm.mmm, E or W")?;
        let modes = fields.text();
        // An unknown letter may be a new kind of fix, so it does not speak against the position.
        let measured = modes.iter().any(|&letter| Mode::from_letter(letter).is_none_or(Mode::is_measured));
        let status = if modes.is_empty() { Field::Absent } else { Field::Known(measured) };
        Ok(Self {
            time,
            position: fields.under_status(position, status),
            modes,
            satellites: fields.number(&SATELLITES),
            hdop: fields.number(&DILUTION),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sentence::field::Defect;
    use crate::sentence::sample::read;

    #[test]
    fn the_published_sentence() {
        let body = "014035.00,4332.69262,S,17235.48549,E,RR,13,0.9,25.63,11.24,,";
        let (gns, unusable) = read(body, Gns::parse).unwrap();
        // 43 + 32.69262/60 and 172 + 35.48549/60, computed by hand.
        assert_eq!(gns.position, Field::Known(Position { lat_e7: -435_448_770, lon_e7: 1_725_914_248 }));
        assert_eq!(gns.time.map(TimeOfDay::as_ms), Field::Known(6_035_000));
        assert_eq!((gns.modes, gns.satellites, gns.hdop), (&b"RR"[..], Field::Known(13), Field::Known(90)));
        assert_eq!(unusable, 0);
    }

    #[test]
    fn one_system_that_measures_is_enough() {
        let position = |modes: &str| {
            let body = std::format!("112257,3844.2,N,00908.4,W,{modes},08,1.0");
            read(&body, Gns::parse).map(|(gns, unusable)| (gns.position.map(|_| ()), unusable)).unwrap()
        };
        assert_eq!(position("ANNN"), (Field::Known(()), 0));
        assert_eq!(position("NA"), (Field::Known(()), 0));
        assert_eq!(position("NX"), (Field::Known(()), 0));
        assert_eq!(position("NNN"), (Field::Unusable(Defect::MarkedInvalid), 0));
        assert_eq!(position("NE"), (Field::Unusable(Defect::MarkedInvalid), 0));
        assert_eq!(position(""), (Field::Unusable(Defect::HalfPresent), 1));
        assert_eq!(read(",,,,,NNN,00,,,,,,V", Gns::parse).unwrap().0.position, Field::Absent);
    }
}
