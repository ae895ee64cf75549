//! HBT, heartbeat: `$HCHBT,1.5,A,1*23`.

use crate::bounds::HEARTBEAT;
use crate::bounds::SMALL_NUMBER;
use crate::sentence::field::Field;
use crate::sentence::field::Fields;
use crate::sentence::field::Malformed;

/// A talker says that it is alive.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Hbt {
    /// Field 1: how often it will say so, milliseconds (sent in seconds).
    pub interval_ms: Field<u32>,
    /// Field 2: whether it is in working order.
    pub healthy: Field<bool>,
    /// Field 3: 0 to 9, one more each time.
    pub sequence: Field<u8>,
}

impl Hbt {
    /// Reads the fields.
    ///
    /// # Errors
    /// None: a heartbeat is heard whatever is in it, and says the more the less of it is damaged.
    #[inline]
    pub fn parse(fields: &mut Fields<'_>) -> Result<Self, Malformed> {
        Ok(Self {
            interval_ms: fields.number(&HEARTBEAT),
            healthy: fields.status(),
            sequence: fields.number(&SMALL_NUMBER),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sentence::field::Defect;
    use crate::sentence::sample::read;

    #[test]
    fn the_published_sentence_and_a_damaged_one() {
        let (hbt, unusable) = read("1.5,A,1", Hbt::parse).unwrap();
        assert_eq!((hbt.interval_ms, hbt.healthy), (Field::Known(1500), Field::Known(true)));
        assert_eq!((hbt.sequence, unusable), (Field::Known(1), 0));
        let (hbt, unusable) = read("-1,V,x", Hbt::parse).unwrap();
        assert_eq!((hbt.interval_ms, hbt.healthy), (Field::Unusable(Defect::OutOfRange), Field::Known(false)));
        assert_eq!((hbt.sequence, unusable), (Field::Unusable(Defect::NotANumber), 2));
    }
}
