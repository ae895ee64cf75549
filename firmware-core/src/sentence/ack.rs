//! ACK, an alarm is acknowledged: `$VRACK,001*50`.

use crate::bounds::ALERT_NUMBER;
use crate::sentence::field::Field;
use crate::sentence::field::Fields;
use crate::sentence::field::Malformed;

/// The acknowledgement of one alarm.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Ack {
    /// Field 1: which alarm.
    pub alarm: Field<u32>,
}

impl Ack {
    /// Reads the fields.
    ///
    /// # Errors
    /// [`Malformed`] where field 1 holds something that is not an alarm number.
    #[inline]
    pub fn parse(fields: &mut Fields<'_>) -> Result<Self, Malformed> {
        Ok(Self { alarm: fields.number(&ALERT_NUMBER).principal(1, "an alarm number")? })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sentence::field::Defect;
    use crate::sentence::sample::read;

    #[test]
    fn the_published_sentence_and_what_is_none() {
        assert_eq!(read("001", Ack::parse), Ok((Ack { alarm: Field::Known(1) }, 0)));
        assert_eq!(read("", Ack::parse), Ok((Ack { alarm: Field::Absent }, 0)));
        assert_eq!(read("all", Ack::parse).map_err(|m| m.defect), Err(Defect::NotANumber));
        assert_eq!(read("99999999", Ack::parse).map_err(|m| m.defect), Err(Defect::OutOfRange));
    }
}
