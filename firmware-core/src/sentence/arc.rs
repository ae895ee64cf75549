//! ARC, alert command refused: `$RAARC,220516,TCK,002,1,A*73`.

use crate::sentence::alert_name::AlertName;
use crate::sentence::field::Field;
use crate::sentence::field::Fields;
use crate::sentence::field::Malformed;
use crate::unit::TimeOfDay;

/// The refusal of an alert command.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Arc<'a> {
    /// Field 1: UTC.
    pub time: Field<TimeOfDay>,
    /// Field 2: the maker's letters where the alert is the maker's own; empty for a standard one.
    pub manufacturer: &'a [u8],
    /// Field 3: which alert.
    pub alert: Field<u32>,
    /// Field 4: which of several of that kind.
    pub instance: Field<u32>,
    /// Field 5: the command that was refused: `A`, `Q`, `O` or `S`. Kept as it came.
    pub command: Field<u8>,
}

impl<'a> Arc<'a> {
    /// Reads the fields.
    ///
    /// # Errors
    /// [`Malformed`] where field 3 holds something that is not an alert number.
    #[inline]
    pub fn parse(fields: &mut Fields<'a>) -> Result<Self, Malformed> {
        let time = fields.time();
        let AlertName { manufacturer, alert, instance } = fields.alert_name();
        let alert = alert.principal(3, "an alert number")?;
        Ok(Self { time, manufacturer, alert, instance, command: fields.letter() })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sentence::field::Defect;
    use crate::sentence::sample::read;

    #[test]
    fn the_published_sentence() {
        let (arc, unusable) = read("220516,TCK,002,1,A", Arc::parse).unwrap();
        let want = Arc {
            time: Field::Known(TimeOfDay::from_ms(79_516_000).unwrap()),
            manufacturer: b"TCK",
            alert: Field::Known(2),
            instance: Field::Known(1),
            command: Field::Known(b'A'),
        };
        assert_eq!((arc, unusable), (want, 0));
    }

    #[test]
    fn an_unknown_command_is_kept_and_a_bad_number_refuses() {
        let (arc, unusable) = read(",,3062,,Z", Arc::parse).unwrap();
        assert_eq!((arc.command, arc.instance, unusable), (Field::Known(b'Z'), Field::Absent, 0));
        let (arc, unusable) = read("9,,3062,-1,A", Arc::parse).unwrap();
        assert_eq!((arc.instance, unusable), (Field::Unusable(Defect::OutOfRange), 2));
        assert_eq!(read(",,x,1,A", Arc::parse).map_err(|m| (m.field, m.defect)), Err((3, Defect::NotANumber)));
    }
}
