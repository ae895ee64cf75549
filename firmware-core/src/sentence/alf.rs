//! ALF, the state of one alert: `$VDALF,1,0,1,220516,B,A,S,SAL,001,1,2,0,My alarm*2c`.

use crate::bounds::SMALL_NUMBER;
use crate::sentence::alert_name::AlertName;
use crate::sentence::field::Field;
use crate::sentence::field::Fields;
use crate::sentence::field::Malformed;
use crate::unit::TimeOfDay;

/// The state of one alert.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Alf<'a> {
    /// Field 1: how many sentences it takes, 1 or 2.
    pub total: Field<u8>,
    /// Field 2: which of them this is; talkers in the field send 0 as well.
    pub number: Field<u8>,
    /// Field 3: 0 to 9, the same in both sentences.
    pub sequence: Field<u8>,
    /// Field 4: UTC of the last change.
    pub time: Field<TimeOfDay>,
    /// Field 5: category `A`, `B` or `C`. Kept as it came.
    pub category: Field<u8>,
    /// Field 6: priority `E` emergency, `A` alarm, `W` warning, `C` caution. Kept as it came.
    pub priority: Field<u8>,
    /// Field 7: state `V` not acknowledged, `S` silenced, `A` acknowledged, `O` responsibility
    /// transferred, `U` rectified and not acknowledged, `N` normal. Kept as it came.
    pub state: Field<u8>,
    /// Field 8: the maker's letters where the alert is the maker's own; empty for a standard one.
    pub manufacturer: &'a [u8],
    /// Field 9: which alert.
    pub alert: Field<u32>,
    /// Field 10: which of several of that kind.
    pub instance: Field<u32>,
    /// Field 11: 1 to 99, one more with each change.
    pub revision: Field<u8>,
    /// Field 12: 0 to 9, how often it was escalated.
    pub escalation: Field<u8>,
    /// Field 13 and all after it: its text, as it came.
    pub text: &'a [u8],
}

impl<'a> Alf<'a> {
    /// Reads the fields.
    ///
    /// # Errors
    /// [`Malformed`] where field 9 holds something that is not an alert number.
    #[inline]
    pub fn parse(fields: &mut Fields<'a>) -> Result<Self, Malformed> {
        let total = fields.number(&SMALL_NUMBER);
        let number = fields.number(&SMALL_NUMBER);
        let sequence = fields.number(&SMALL_NUMBER);
        let time = fields.time();
        let category = fields.letter();
        let priority = fields.letter();
        let state = fields.letter();
        let AlertName { manufacturer, alert, instance } = fields.alert_name();
        Ok(Self {
            total,
            number,
            sequence,
            time,
            category,
            priority,
            state,
            manufacturer,
            alert: alert.principal(9, "an alert number")?,
            instance,
            revision: fields.number(&SMALL_NUMBER),
            escalation: fields.number(&SMALL_NUMBER),
            text: fields.remainder(),
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
        let (alf, unusable) = read("1,0,1,220516,B,A,S,SAL,001,1,2,0,My alarm", Alf::parse).unwrap();
        let want = Alf {
            total: Field::Known(1),
            number: Field::Known(0),
            sequence: Field::Known(1),
            time: Field::Known(TimeOfDay::from_ms(79_516_000).unwrap()),
            category: Field::Known(b'B'),
            priority: Field::Known(b'A'),
            state: Field::Known(b'S'),
            manufacturer: b"SAL",
            alert: Field::Known(1),
            instance: Field::Known(1),
            revision: Field::Known(2),
            escalation: Field::Known(0),
            text: b"My alarm",
        };
        assert_eq!((alf, unusable), (want, 0));
    }

    #[test]
    fn a_second_sentence_has_a_text_alone() {
        let (alf, unusable) = read("2,2,1,,,,,,3062,1,1,0,check, then steer", Alf::parse).unwrap();
        assert_eq!((alf.priority, alf.text), (Field::Absent, &b"check, then steer"[..]));
        assert_eq!((alf.alert, unusable), (Field::Known(3062), 0));
        assert_eq!(read("1,1,1,,,,,,,,,,", Alf::parse).unwrap().0.alert, Field::Absent);
        assert_eq!(read("1,1,1,,,,,,x", Alf::parse).map_err(|m| (m.field, m.defect)), Err((9, Defect::NotANumber)));
    }
}
