//! XDR, measurements of any kind: `$HCXDR,A,171,D,PITCH,A,-37,D,ROLL*00`.

use crate::bounds::MEASUREMENT;
use crate::sentence::field::Defect;
use crate::sentence::field::Field;
use crate::sentence::field::Fields;
use crate::sentence::field::Malformed;

/// Any number of measurements, read when they are asked for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Xdr<'a> {
    fields: Fields<'a>,
}

/// One measurement: four fields of XDR.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Measurement<'a> {
    /// First field: what is measured (`U` voltage, `A` angle, `C` temperature, `P` pressure...);
    /// 0 where there is no single letter.
    pub kind: u8,
    /// Second field: thousandths of the unit.
    pub value: Field<i64>,
    /// Third field: the unit (`V`, `D`, `C`, `B`...); 0 where there is no single letter, which
    /// plain counts send as well.
    pub unit: u8,
    /// Fourth field: the name that the talker gives it.
    pub name: &'a [u8],
}

impl<'a> Xdr<'a> {
    /// Reads the fields once, to count those that are unusable.
    ///
    /// # Errors
    /// None: no measurement is principal, so each stands without the others.
    #[inline]
    pub fn parse(fields: &mut Fields<'a>) -> Result<Self, Malformed> {
        let xdr = Self { fields: *fields };
        while measurement(fields).is_some() {}
        Ok(xdr)
    }

    /// The measurements, in order.
    pub fn measurements(&self) -> impl Iterator<Item = Measurement<'a>> + use<'a> {
        let mut fields = self.fields;
        core::iter::from_fn(move || measurement(&mut fields))
    }
}

/// The next four fields. A value in a group that ends before its name is half-present.
fn measurement<'a>(fields: &mut Fields<'a>) -> Option<Measurement<'a>> {
    if !fields.has_more() {
        return None;
    }
    let kind = single(fields.text());
    let value = fields.scaled(&MEASUREMENT);
    let unit = single(fields.text());
    let whole = fields.has_more();
    let name = fields.text();
    let value = match value {
        Field::Known(_) if !whole => fields.defect(Defect::HalfPresent),
        value => value,
    };
    Some(Measurement { kind, value, unit, name })
}

fn single(text: &[u8]) -> u8 {
    match *text {
        [letter] => letter,
        _ => 0,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sentence::sample::read;
    use std::vec::Vec;

    #[test]
    fn the_published_sentence() {
        let body = "A,171,D,PITCH,A,-37,D,ROLL,G,367,,MAGX,G,2420,,MAGY,G,-8984,,MAGZ";
        let (xdr, unusable) = read(body, Xdr::parse).unwrap();
        let got: Vec<_> = xdr.measurements().map(|m| (m.kind, m.value, m.unit, m.name)).collect();
        let want: [(u8, Field<i64>, u8, &[u8]); 5] = [
            (b'A', Field::Known(171_000), b'D', b"PITCH"),
            (b'A', Field::Known(-37_000), b'D', b"ROLL"),
            (b'G', Field::Known(367_000), 0, b"MAGX"),
            (b'G', Field::Known(2_420_000), 0, b"MAGY"),
            (b'G', Field::Known(-8_984_000), 0, b"MAGZ"),
        ];
        assert_eq!(got, want);
        assert_eq!(unusable, 0);
    }

    #[test]
    fn bad_values_are_counted_and_the_others_stand() {
        let (xdr, unusable) = read("U,12.6,V,HOUSE,U,x,V,START,U,,V,BOW,U,11", Xdr::parse).unwrap();
        let got: Vec<_> = xdr.measurements().map(|m| m.value).collect();
        let bad = |defect| Field::Unusable(defect);
        let want = [Field::Known(12_600), bad(Defect::NotANumber), Field::Absent, bad(Defect::HalfPresent)];
        assert_eq!((&got[..], unusable), (&want[..], 2));
        let empty = Xdr::parse(&mut Fields::new(None)).unwrap();
        assert_eq!(empty.measurements().count(), 0);
    }
}
