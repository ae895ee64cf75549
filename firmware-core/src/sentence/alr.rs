//! ALR, the state of one alarm: `$RAALR,220516,001,A,A,*53`.

use crate::bounds::ALERT_NUMBER;
use crate::sentence::field::Field;
use crate::sentence::field::Fields;
use crate::sentence::field::Malformed;
use crate::unit::TimeOfDay;

/// The state of one alarm.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Alr<'a> {
    /// Field 1: UTC of the last change.
    pub time: Field<TimeOfDay>,
    /// Field 2: which alarm.
    pub alarm: Field<u32>,
    /// Field 3: whether its threshold is exceeded.
    pub exceeded: Field<bool>,
    /// Field 4: whether it is acknowledged.
    pub acknowledged: Field<bool>,
    /// Field 5 and all after it: its text, as it came.
    pub text: &'a [u8],
}

impl<'a> Alr<'a> {
    /// Reads the fields.
    ///
    /// # Errors
    /// [`Malformed`] where field 2 holds something that is not an alarm number.
    #[inline]
    pub fn parse(fields: &mut Fields<'a>) -> Result<Self, Malformed> {
        let time = fields.time();
        let alarm = fields.number(&ALERT_NUMBER).principal(2, "an alarm number")?;
        Ok(Self { time, alarm, exceeded: fields.status(), acknowledged: fields.status(), text: fields.remainder() })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sentence::field::Defect;
    use crate::sentence::sample::read;

    #[test]
    fn the_published_sentence() {
        let (alr, unusable) = read("220516,001,A,A,", Alr::parse).unwrap();
        assert_eq!((alr.time.map(TimeOfDay::as_ms), alr.alarm), (Field::Known(79_516_000), Field::Known(1)));
        assert_eq!((alr.exceeded, alr.acknowledged), (Field::Known(true), Field::Known(true)));
        assert_eq!((alr.text, unusable), (&b""[..], 0));
    }

    #[test]
    fn bad_fields() {
        let (alr, unusable) = read("2205,001,Q,V,off course, port", Alr::parse).unwrap();
        assert_eq!(alr.time, Field::Unusable(Defect::NotANumber));
        assert_eq!(alr.exceeded, Field::Unusable(Defect::UnknownLetter));
        assert_eq!((alr.acknowledged, alr.text, unusable), (Field::Known(false), &b"off course, port"[..], 2));
        assert_eq!(read(",x,A,V,", Alr::parse).map_err(|m| m.field), Err(2));
    }
}
