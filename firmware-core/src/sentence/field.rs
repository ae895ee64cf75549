//! The fields of a sentence: a cursor that reads each once, in order, with its unit letter.
//!
//! Absent, half-present, out of range and zero are four different things, and each has its own
//! representation here.

use nom::IResult;
use nom::Parser;
use nom::bytes::complete::take_till;
use nom::character::complete::char;
use nom::combinator::opt;

use crate::angle::Bearing;
use crate::angle::Turn;
use crate::bounds::BEARING;
use crate::bounds::Bounds;
use crate::decimal::decimals;
use crate::decimal::scaled;

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
    #[inline]
    #[must_use]
    pub fn marked_invalid(self) -> Self {
        match self {
            Self::Known(_) => Self::Unusable(Defect::MarkedInvalid),
            other => other,
        }
    }
}

/// A cursor over the fields of one sentence.
#[derive(Clone, Copy, Debug)]
pub struct Fields<'a> {
    rest: Option<&'a [u8]>,
    number: u8,
    unusable: u8,
}

impl<'a> Fields<'a> {
    /// A cursor before the first field of `body`.
    #[inline]
    pub const fn new(body: Option<&'a [u8]>) -> Self {
        Self { rest: body, number: 0, unusable: 0 }
    }

    /// The next field as bytes; empty where it is empty or there are no more.
    #[inline]
    pub fn text(&mut self) -> &'a [u8] {
        self.number = self.number.saturating_add(1);
        let Some(rest) = self.rest else { return b"" };
        match field(rest) {
            Ok((after, (text, more))) => {
                self.rest = more.map(|_| after);
                text
            }
            Err(_) => {
                self.rest = None;
                b""
            }
        }
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
        self.rest.is_some()
    }

    /// The number of the field read last, counted from 1.
    #[inline]
    pub const fn number(&self) -> u8 {
        self.number
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

    /// A single letter; `None` where the field is empty. More than one character is no letter.
    #[inline]
    pub fn letter(&mut self) -> Field<u8> {
        match *self.text() {
            [] => Field::Absent,
            [letter] => Field::Known(letter),
            _ => self.defect(Defect::UnknownLetter),
        }
    }

    /// A number without a letter, scaled and checked by `bounds`.
    #[inline]
    pub fn scaled(&mut self, bounds: &Bounds) -> Field<i64> {
        let text = self.text();
        self.check(text, bounds)
    }

    /// A number followed by the field with its fixed unit letter (`T`, `M`, `N`).
    ///
    /// An empty number is absent whatever the letter says: talkers send `,,T`.
    #[inline]
    pub fn with_unit(&mut self, bounds: &Bounds, unit: u8) -> Field<i64> {
        let text = self.text();
        let letter = self.text();
        if text.is_empty() {
            return Field::Absent;
        }
        match *letter {
            [] => self.defect(Defect::HalfPresent),
            [found] if found == unit => self.check(text, bounds),
            _ => self.defect(Defect::UnknownLetter),
        }
    }

    /// A number followed by a letter that gives its sign: `plus` (N, E, R) or `minus` (S, W, L).
    ///
    /// A letter alone is absent (talkers send `,,E`); a number alone is half-present, never zero.
    #[inline]
    pub fn signed(&mut self, bounds: &Bounds, plus: u8, minus: u8) -> Field<i64> {
        let text = self.text();
        let letter = self.text();
        if text.is_empty() {
            return Field::Absent;
        }
        let value = match *letter {
            [] => return self.defect(Defect::HalfPresent),
            [found] if found == plus => self.check(text, bounds),
            [found] if found == minus => self.check(text, bounds).map(|v| -v),
            _ => return self.defect(Defect::UnknownLetter),
        };
        value
    }

    /// A direction without a letter; 360 counts as 0.
    #[inline]
    pub fn bearing(&mut self) -> Field<Bearing> {
        self.scaled(&BEARING).map(Bearing::from_mdeg)
    }

    /// A direction without a letter, and how many digits it has after the point.
    #[inline]
    pub fn bearing_and_decimals(&mut self) -> (Field<Bearing>, u8) {
        let text = self.text();
        (self.check(text, &BEARING).map(Bearing::from_mdeg), decimals(text))
    }

    /// A direction followed by its fixed reference letter, `T` or `M`.
    #[inline]
    pub fn bearing_with(&mut self, reference: u8) -> Field<Bearing> {
        self.with_unit(&BEARING, reference).map(Bearing::from_mdeg)
    }

    /// A signed angle with `E` or `W`, east plus.
    #[inline]
    pub fn east_west(&mut self, bounds: &Bounds) -> Field<Turn> {
        #[expect(clippy::cast_possible_truncation, reason = "bounds hold it within 180 000")]
        self.signed(bounds, b'E', b'W').map(|v| Turn::from_mdeg(v as i32))
    }

    /// The principal value of a sentence: unusable refuses the sentence, absent does not.
    #[inline]
    pub fn principal<T>(&self, field: Field<T>, number: u8, expected: &'static str) -> Result<Field<T>, Malformed> {
        match field {
            Field::Unusable(defect) => Err(Malformed { field: number, expected, defect }),
            other => Ok(other),
        }
    }

    #[inline]
    fn check(&mut self, text: &[u8], bounds: &Bounds) -> Field<i64> {
        if text.is_empty() {
            return Field::Absent;
        }
        match scaled(text, bounds.places) {
            Ok(value) if bounds.holds(value) => Field::Known(value),
            Ok(_) => self.defect(Defect::OutOfRange),
            Err(_) => self.defect(Defect::NotANumber),
        }
    }
}

/// One field and whether a comma, and so another field, follows it.
#[inline]
fn field(input: &[u8]) -> IResult<&[u8], (&[u8], Option<char>)> {
    (take_till(|b| b == b','), opt(char(','))).parse(input)
}
