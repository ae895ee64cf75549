//! For tests beside the code: reads a body and gives what was read and how much was unusable.

use crate::sentence::field::Fields;
use crate::sentence::field::Malformed;

pub(crate) fn read<'a, T>(
    body: &'a str,
    parse: impl FnOnce(&mut Fields<'a>) -> Result<T, Malformed>,
) -> Result<(T, u8), Malformed> {
    let mut fields = Fields::new(Some(body.as_bytes()));
    parse(&mut fields).map(|sentence| (sentence, fields.unusable()))
}
