//! ROT, rate of turn: `$HEROT,-11.23,A*07`.

use crate::angle::TurnRate;
use crate::bounds::RATE_OF_TURN;
use crate::sentence::field::Field;
use crate::sentence::field::Fields;
use crate::sentence::field::Malformed;

/// Rate of turn.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Rot {
    /// Fields 1 and 2: rate, starboard plus. Marked invalid unless the status is `A`; half-present
    /// where the status is missing, which every edition has.
    pub rate: Field<TurnRate>,
}

impl Rot {
    /// Reads the fields.
    ///
    /// # Errors
    /// [`Malformed`] where field 1 holds something that is not a rate of turn.
    #[inline]
    pub fn parse(fields: &mut Fields<'_>) -> Result<Self, Malformed> {
        let rate = fields.number(&RATE_OF_TURN).map(TurnRate::from_centideg_per_min);
        let rate = rate.principal(1, "a rate of turn in degrees a minute")?;
        let status = fields.status();
        Ok(Self { rate: fields.under_status(rate, status) })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sentence::field::Defect;
    use crate::sentence::sample::read;

    #[test]
    fn the_published_sentences() {
        let rate = |body| read(body, Rot::parse).map(|(rot, unusable)| (rot.rate, unusable));
        assert_eq!(rate("-11.23,A"), Ok((Field::Known(TurnRate::from_centideg_per_min(-1123)), 0)));
        assert_eq!(rate("0.0,A"), Ok((Field::Known(TurnRate::from_centideg_per_min(0)), 0)));
    }

    #[test]
    fn a_rate_needs_its_status() {
        let rate = |body| read(body, Rot::parse).map(|(rot, unusable)| (rot.rate, unusable));
        assert_eq!(rate("35.6,V"), Ok((Field::Unusable(Defect::MarkedInvalid), 0)));
        assert_eq!(rate(",V"), Ok((Field::Absent, 0)));
        assert_eq!(rate("35.6"), Ok((Field::Unusable(Defect::HalfPresent), 1)));
        assert_eq!(rate("35.6,X"), Ok((Field::Unusable(Defect::UnknownLetter), 1)));
        assert_eq!(rate("20000,A").map_err(|m| m.defect), Err(Defect::OutOfRange));
        assert_eq!(rate("fast,A").map_err(|m| m.defect), Err(Defect::NotANumber));
    }
}
