//! ALC, the list of active alerts: `$FBALC,02,01,03,01,FEB,01,02,03*0A`.

use crate::bounds::SMALL_NUMBER;
use crate::sentence::alert_name::AlertName;
use crate::sentence::field::Field;
use crate::sentence::field::Fields;
use crate::sentence::field::Malformed;

/// The list of active alerts, entries read when they are asked for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Alc<'a> {
    /// Field 1: how many sentences the list takes.
    pub total: Field<u8>,
    /// Field 2: which of them this is.
    pub number: Field<u8>,
    /// Field 3: 0 to 99, the same in all of them.
    pub sequence: Field<u8>,
    /// Field 4: how many entries this one says it holds.
    pub count: Field<u8>,
    fields: Fields<'a>,
}

/// One entry: four fields of ALC.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct AlcEntry<'a> {
    /// Which alert.
    pub name: AlertName<'a>,
    /// 1 to 99, one more with each change.
    pub revision: Field<u8>,
}

impl<'a> Alc<'a> {
    /// Reads the fields once, to count those that are unusable.
    ///
    /// # Errors
    /// None: each entry stands without the others.
    #[inline]
    pub fn parse(fields: &mut Fields<'a>) -> Result<Self, Malformed> {
        let alc = Self {
            total: fields.number(&SMALL_NUMBER),
            number: fields.number(&SMALL_NUMBER),
            sequence: fields.number(&SMALL_NUMBER),
            count: fields.number(&SMALL_NUMBER),
            fields: *fields,
        };
        while entry(fields).is_some() {}
        Ok(alc)
    }

    /// The entries that are really there, in order, whatever [`count`](Self::count) says.
    pub fn entries(&self) -> impl Iterator<Item = AlcEntry<'a>> + use<'a> {
        let mut fields = self.fields;
        core::iter::from_fn(move || entry(&mut fields))
    }
}

fn entry<'a>(fields: &mut Fields<'a>) -> Option<AlcEntry<'a>> {
    if fields.has_more() {
        Some(AlcEntry { name: fields.alert_name(), revision: fields.number(&SMALL_NUMBER) })
    } else {
        None
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sentence::sample::read;
    use std::vec::Vec;

    #[test]
    fn the_published_sentence() {
        let (alc, unusable) = read("02,01,03,01,FEB,01,02,03", Alc::parse).unwrap();
        assert_eq!((alc.total, alc.number), (Field::Known(2), Field::Known(1)));
        assert_eq!((alc.sequence, alc.count, unusable), (Field::Known(3), Field::Known(1), 0));
        let entries: Vec<_> = alc.entries().collect();
        let name = AlertName { manufacturer: b"FEB", alert: Field::Known(1), instance: Field::Known(2) };
        assert_eq!(entries, [AlcEntry { name, revision: Field::Known(3) }]);
    }

    #[test]
    fn entries_are_those_that_are_there() {
        let (alc, unusable) = read("01,01,00,3,,3062,1,1,,x,2,5", Alc::parse).unwrap();
        assert_eq!((alc.entries().count(), unusable), (2, 1));
        assert_eq!(read("01,01,00,0", Alc::parse).unwrap().0.entries().count(), 0);
    }
}
