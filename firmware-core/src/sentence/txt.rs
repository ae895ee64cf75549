//! TXT, a text: `$GNTXT,01,01,02,ANTENNA OK*28`.

use crate::bounds::SMALL_NUMBER;
use crate::sentence::field::Field;
use crate::sentence::field::Fields;
use crate::sentence::field::Malformed;

/// A text for people.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Txt<'a> {
    /// Field 1: how many sentences the text takes.
    pub total: Field<u8>,
    /// Field 2: which of them this is.
    pub number: Field<u8>,
    /// Field 3: what the text is about, as the talker numbers it.
    pub identifier: Field<u8>,
    /// Field 4 and all after it: the text as it came; `^` and two hex digits stand for a character.
    pub text: &'a [u8],
}

impl<'a> Txt<'a> {
    /// Reads the fields.
    ///
    /// # Errors
    /// None: any bytes are a text.
    #[inline]
    pub fn parse(fields: &mut Fields<'a>) -> Result<Self, Malformed> {
        Ok(Self {
            total: fields.number(&SMALL_NUMBER),
            number: fields.number(&SMALL_NUMBER),
            identifier: fields.number(&SMALL_NUMBER),
            text: fields.remainder(),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sentence::sample::read;

    #[test]
    fn a_text_and_a_text_with_a_comma() {
        let (txt, unusable) = read("02,01,07,low battery, house bank", Txt::parse).unwrap();
        let want = Txt {
            total: Field::Known(2),
            number: Field::Known(1),
            identifier: Field::Known(7),
            text: b"low battery, house bank",
        };
        assert_eq!((txt, unusable), (want, 0));
        assert_eq!(read("", Txt::parse), Ok((Txt::default(), 0)));
        assert_eq!(read("x,1,1,a", Txt::parse).unwrap().1, 1);
    }
}
