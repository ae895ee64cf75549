//! The fields of a sentence: a cursor that reads each once, in order, with its unit letter.
//!
//! Absent, half-present, out of range and zero are four different things, and each has its own
//! representation here. What the fields mean as quantities is read in `quantity.rs`.

use nom::IResult;
use nom::Parser;
use nom::bytes::complete::take_till;

use crate::bounds::Bounds;
use crate::decimal::Number;
use crate::decimal::commas;

/// One value of a sentence.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Field<T> {
    /// The talker left it empty, or an older edition does not have it.
    #[default]
    Absent,
    /// There, but not usable, and why.
    Unusable(Defect),
    /// There and in range. Zero is a value like any other.
    Known(T),
}

/// Why a field that is there cannot be used.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Defect {
    /// Not a number where a number must be.
    NotANumber,
    /// Outside its legal range.
    OutOfRange,
    /// A value without its letter, or a letter without its value where only both mean something.
    HalfPresent,
    /// A letter that this field does not know.
    UnknownLetter,
    /// The talker itself marks it invalid.
    MarkedInvalid,
}

/// A sentence whose principal value cannot be what the talker meant: the talker's fault.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Malformed {
    /// Which field, counted from 1 after the address; 0 where the sentence as a whole is meant.
    pub field: u8,
    /// What was expected there.
    pub expected: &'static str,
    /// What was wrong.
    pub defect: Defect,
}

impl<T> Field<T> {
    /// The value, if there is a usable one.
    #[inline]
    pub fn known(self) -> Option<T> {
        match self {
            Self::Known(value) => Some(value),
            _ => None,
        }
    }

    /// The same field with its value carried over by `f`.
    #[inline]
    pub fn map<U>(self, f: impl FnOnce(T) -> U) -> Field<U> {
        match self {
            Self::Known(value) => Field::Known(f(value)),
            Self::Unusable(defect) => Field::Unusable(defect),
            Self::Absent => Field::Absent,
        }
    }

    /// A known value becomes unusable because the talker marks it invalid; the rest stands.
    ///
    /// It is not counted as a fault: a talker that says "do not use this" does its job.
    #[inline]
    #[must_use]
    pub fn marked_invalid(self) -> Self {
        self.spoilt(Defect::MarkedInvalid)
    }

    /// A known value becomes unusable for the reason given; absent and unusable stay as they are.
    #[inline]
    #[must_use]
    pub(crate) fn spoilt(self, defect: Defect) -> Self {
        match self {
            Self::Known(_) => Self::Unusable(defect),
            other => other,
        }
    }

    /// The principal value of a sentence: unusable refuses the sentence, absent does not.
    ///
    /// # Errors
    /// [`Malformed`] with `number` and `expected` where the value is unusable.
    #[inline]
    pub(crate) fn principal(self, number: u8, expected: &'static str) -> Result<Self, Malformed> {
        match self {
            Self::Unusable(defect) => Err(Malformed { field: number, expected, defect }),
            other => Ok(other),
        }
    }
}

impl Field<i64> {
    /// A checked number in the type its bounds fit. A row of bounds too wide for that type would
    /// show as out of range, never as another number.
    #[inline]
    pub(crate) fn narrow<T: TryFrom<i64>>(self) -> Field<T> {
        match self {
            Self::Known(value) => match T::try_from(value) {
                Ok(value) => Field::Known(value),
                Err(_) => Field::Unusable(Defect::OutOfRange),
            },
            Self::Unusable(defect) => Field::Unusable(defect),
            Self::Absent => Field::Absent,
        }
    }
}

/// A cursor over the fields of one sentence.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Fields<'a> {
    body: &'a [u8],
    /// Where the next field begins; beyond the body after the last one.
    at: usize,
    /// Which of the first 64 bytes are commas that are still ahead: bit 0 is the first byte.
    commas: u64,
    unusable: u8,
}

impl<'a> Fields<'a> {
    /// A cursor before the first field of `body`.
    #[inline]
    pub fn new(body: Option<&'a [u8]>) -> Self {
        match body {
            Some(body) => Self { body, at: 0, commas: commas(body), unusable: 0 },
            None => Self { body: b"", at: 1, commas: 0, unusable: 0 },
        }
    }

    /// The next field as bytes; empty where it is empty or there are no more.
    #[inline]
    pub fn text(&mut self) -> &'a [u8] {
        if self.commas == 0 {
            return self.beyond();
        }
        let (begin, end) = (self.at, self.commas.trailing_zeros() as usize);
        self.commas &= self.commas.wrapping_sub(1);
        self.at = end + 1;
        self.body.get(begin..end).unwrap_or(b"")
    }

    /// The next field where no comma is known to end it: the last one, or one past the first 64
    /// bytes, which few sentences have.
    #[inline(never)]
    fn beyond(&mut self) -> &'a [u8] {
        let Some(rest) = self.body.get(self.at..) else { return b"" };
        let text = match field(rest) {
            Ok((_, text)) => text,
            Err(_) => rest,
        };
        self.at += text.len() + 1;
        text
    }

    /// The next field as a number.
    #[inline]
    pub(crate) fn digits(&mut self) -> Number<'a> {
        let rest = self.body.get(self.at..).unwrap_or(b"");
        Number::new(rest, self.text().len())
    }

    /// Everything that is left, commas and all: a text that closes a sentence.
    ///
    /// A comma in a text should be written `^2C`, yet talkers send it as it is; a text cut short
    /// at it would say less than was sent.
    #[inline]
    pub fn remainder(&mut self) -> &'a [u8] {
        let rest = self.body.get(self.at..).unwrap_or(b"");
        self.at = self.body.len() + 1;
        self.commas = 0;
        rest
    }

    /// Passes over `count` fields.
    #[inline]
    pub fn skip(&mut self, count: u8) {
        for _ in 0..count {
            self.text();
        }
    }

    /// Whether another field follows, empty or not: how editions of a sentence are told apart.
    #[inline]
    pub const fn has_more(&self) -> bool {
        self.at <= self.body.len()
    }

    /// How many fields were there but unusable so far.
    #[inline]
    pub const fn unusable(&self) -> u8 {
        self.unusable
    }

    /// Counts a field that is there but cannot be used.
    #[inline]
    pub fn defect<T>(&mut self, defect: Defect) -> Field<T> {
        self.unusable = self.unusable.saturating_add(1);
        Field::Unusable(defect)
    }

    /// A single character. More than one is no letter.
    #[inline]
    pub fn letter(&mut self) -> Field<u8> {
        match *self.text() {
            [] => Field::Absent,
            [letter] => Field::Known(letter),
            _ => self.defect(Defect::UnknownLetter),
        }
    }

    /// One of two letters: `yes` is true, `no` is false, another is counted and unusable.
    #[inline]
    pub fn either(&mut self, yes: u8, no: u8) -> Field<bool> {
        match *self.text() {
            [] => Field::Absent,
            [letter] if letter == yes => Field::Known(true),
            [letter] if letter == no => Field::Known(false),
            _ => self.defect(Defect::UnknownLetter),
        }
    }

    /// A number without a letter, scaled and checked by `bounds`.
    #[inline]
    pub fn scaled(&mut self, bounds: &Bounds) -> Field<i64> {
        let number = self.digits();
        self.within(number, bounds).0
    }

    /// A number without a letter, in the type its bounds fit.
    #[inline]
    pub fn number<T: TryFrom<i64>>(&mut self, bounds: &Bounds) -> Field<T> {
        self.scaled(bounds).narrow()
    }

    /// A number followed by the field with its fixed unit letter (`T`, `M`, `N`).
    ///
    /// An empty number is absent whatever the letter says: talkers send `,,T`.
    #[inline]
    pub fn with_unit(&mut self, bounds: &Bounds, unit: u8) -> Field<i64> {
        self.with_unit_and_decimals(bounds, unit).0
    }

    /// A number followed by its fixed unit letter, and how many digits it has after the point.
    #[inline]
    pub(crate) fn with_unit_and_decimals(&mut self, bounds: &Bounds, unit: u8) -> (Field<i64>, u8) {
        let number = self.digits();
        let letter = self.text();
        if number.is_empty() {
            return (Field::Absent, 0);
        }
        match *letter {
            [found] if found == unit => self.within(number, bounds),
            [] => (self.defect(Defect::HalfPresent), 0),
            _ => (self.defect(Defect::UnknownLetter), 0),
        }
    }

    /// A number without a letter, and how many digits it has after the point.
    #[inline]
    pub(crate) fn scaled_and_decimals(&mut self, bounds: &Bounds) -> (Field<i64>, u8) {
        let number = self.digits();
        self.within(number, bounds)
    }

    /// A number followed by a letter that gives its sign: `plus` (N, E, R) or `minus` (S, W, L).
    ///
    /// A letter alone is absent (talkers send `,,E`); a number alone is half-present, never zero.
    #[inline]
    pub fn signed(&mut self, bounds: &Bounds, plus: u8, minus: u8) -> Field<i64> {
        let number = self.digits();
        let letter = self.text();
        if number.is_empty() {
            return Field::Absent;
        }
        match *letter {
            [found] if found == plus => self.within(number, bounds).0,
            [found] if found == minus => self.within(number, bounds).0.map(|v| -v),
            [] => self.defect(Defect::HalfPresent),
            _ => self.defect(Defect::UnknownLetter),
        }
    }

    /// A number that is already cut out, scaled and checked by `bounds`.
    #[inline]
    pub(crate) fn check(&mut self, text: &[u8], bounds: &Bounds) -> Field<i64> {
        self.within(Number::new(text, text.len()), bounds).0
    }

    /// A number and its unit letter that are already cut out.
    #[inline]
    pub(crate) fn check_unit(&mut self, text: &[u8], letter: &[u8], bounds: &Bounds, unit: u8) -> Field<i64> {
        match *letter {
            _ if text.is_empty() => Field::Absent,
            [found] if found == unit => self.check(text, bounds),
            [] => self.defect(Defect::HalfPresent),
            _ => self.defect(Defect::UnknownLetter),
        }
    }

    /// A number against its bounds, and its digits after the point.
    #[inline]
    fn within(&mut self, number: Number<'_>, bounds: &Bounds) -> (Field<i64>, u8) {
        if number.is_empty() {
            return (Field::Absent, 0);
        }
        match number.scaled(bounds.places) {
            Ok((value, decimals)) if bounds.holds(value) => (Field::Known(value), decimals),
            Ok(_) => (self.defect(Defect::OutOfRange), 0),
            Err(_) => (self.defect(Defect::NotANumber), 0),
        }
    }
}

/// One field; what is left begins with its comma, or is empty.
fn field(input: &[u8]) -> IResult<&[u8], &[u8]> {
    take_till(|byte| byte == b',').parse(input)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bounds::BEARING;
    use crate::bounds::VARIATION;

    fn fields(body: &str) -> Fields<'_> {
        Fields::new(Some(body.as_bytes()))
    }

    #[test]
    fn every_field_is_read_once_and_the_end_is_empty_for_ever() {
        let mut f = fields("1,,33");
        assert_eq!((f.text(), f.has_more()), (&b"1"[..], true));
        assert_eq!((f.text(), f.has_more()), (&b""[..], true));
        assert_eq!((f.text(), f.has_more()), (&b"33"[..], false));
        assert_eq!((f.text(), f.text()), (&b""[..], &b""[..]));
        assert_eq!(Fields::new(None).text(), b"");
        // Fields on both sides of every boundary of the search.
        for length in 0..200 {
            let long = "x".repeat(length);
            let body = std::format!("{long},1,{long},,{long}");
            let mut f = fields(&body);
            for want in [long.as_bytes(), b"1", long.as_bytes(), b"", long.as_bytes()] {
                assert!(f.has_more());
                assert_eq!(f.text(), want);
            }
            assert!(!f.has_more());
        }
        // A comma at the end opens one more field; an empty body is one empty field.
        let mut f = fields("1,");
        f.skip(1);
        assert!(f.has_more());
        assert!(fields("").has_more());
    }

    #[test]
    fn a_closing_text_keeps_its_commas() {
        let mut f = fields("1,fire, forward");
        f.skip(1);
        assert_eq!(f.remainder(), b"fire, forward");
        assert_eq!((f.remainder(), f.has_more()), (&b""[..], false));
    }

    #[test]
    fn unit_and_sign_letters() {
        for (body, want, counted) in [
            ("33.3,T", Field::Known(33_300), 0),
            (",T", Field::Absent, 0),
            ("33.3,", Field::Unusable(Defect::HalfPresent), 1),
            ("33.3", Field::Unusable(Defect::HalfPresent), 1),
            ("33.3,M", Field::Unusable(Defect::UnknownLetter), 1),
            ("33.3,TT", Field::Unusable(Defect::UnknownLetter), 1),
            ("361,T", Field::Unusable(Defect::OutOfRange), 1),
            ("x,T", Field::Unusable(Defect::NotANumber), 1),
        ] {
            let mut f = fields(body);
            assert_eq!((f.with_unit(&BEARING, b'T'), f.unusable()), (want, counted), "{body}");
        }
        assert_eq!(fields("3,W").signed(&VARIATION, b'E', b'W'), Field::Known(-3000));
        // The letter gives the sign; a minus of its own says it twice and is out of range.
        assert_eq!(fields("-3,W").signed(&VARIATION, b'E', b'W'), Field::Unusable(Defect::OutOfRange));
    }

    #[test]
    fn letters() {
        assert_eq!(fields("A").either(b'A', b'V'), Field::Known(true));
        assert_eq!(fields("V").either(b'A', b'V'), Field::Known(false));
        assert_eq!(fields("").either(b'A', b'V'), Field::Absent);
        assert_eq!(fields("Q").either(b'A', b'V'), Field::Unusable(Defect::UnknownLetter));
        assert_eq!(fields("Q").letter(), Field::Known(b'Q'));
        assert_eq!(fields("QQ").letter(), Field::Unusable(Defect::UnknownLetter));
    }

    #[test]
    fn a_number_too_wide_for_its_type_is_out_of_range() {
        assert_eq!(Field::Known(256i64).narrow::<u8>(), Field::Unusable(Defect::OutOfRange));
        assert_eq!(Field::Known(255i64).narrow::<u8>(), Field::Known(255));
        assert_eq!(Field::Known(-1i64).narrow::<u8>(), Field::Unusable(Defect::OutOfRange));
    }
}
