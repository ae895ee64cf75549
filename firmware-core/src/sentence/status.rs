//! Statuses and modes: whether a talker stands behind its value, and how it came by it.
//!
//! A status is a closed yes or no: `A` is the only yes that any edition knows, so a value under an
//! unknown letter, or under none where every edition has one, is unusable. Modes have grown with
//! the editions, and what grew were kinds of fix (`F`, `P`, `R`); so a value under an unknown mode
//! letter stands and the letter is counted. Neither ever refuses a sentence.

use crate::sentence::field::Defect;
use crate::sentence::field::Field;
use crate::sentence::field::Fields;

/// How a position, course or speed came about: the mode letter of 2.3 and later editions.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Mode {
    /// `A`: satellites alone.
    Autonomous,
    /// `D`: with differential corrections.
    Differential,
    /// `E`: estimated, dead reckoning.
    Estimated,
    /// `F`: carrier phase, ambiguities not yet whole numbers.
    FloatRtk,
    /// `M`: typed in.
    Manual,
    /// `N`: no fix.
    NotValid,
    /// `P`: precise.
    Precise,
    /// `R`: carrier phase, fixed.
    Rtk,
    /// `S`: a simulator runs.
    Simulator,
}

impl Mode {
    /// The mode that a letter means. Source of the letters: E. S. Raymond, NMEA Revealed v2.24.
    #[inline]
    pub const fn from_letter(letter: u8) -> Option<Self> {
        Some(match letter {
            b'A' => Self::Autonomous,
            b'D' => Self::Differential,
            b'E' => Self::Estimated,
            b'F' => Self::FloatRtk,
            b'M' => Self::Manual,
            b'N' => Self::NotValid,
            b'P' => Self::Precise,
            b'R' => Self::Rtk,
            b'S' => Self::Simulator,
            _ => return None,
        })
    }

    /// Whether the value was measured now, by satellites.
    ///
    /// Estimated, typed-in and simulated values are not: they move on smoothly whatever the boat
    /// does, so a watch that took them for a fix would be silent about a fault. The editions agree:
    /// status `A` goes with `A` and `D` (and their later refinements) only (NMEA Revealed).
    #[inline]
    pub const fn is_measured(self) -> bool {
        matches!(self, Self::Autonomous | Self::Differential | Self::FloatRtk | Self::Precise | Self::Rtk)
    }
}

impl<T> Field<T> {
    /// The value as the mode beside it lets it stand: marked invalid where it was not measured.
    #[inline]
    #[must_use]
    pub(crate) fn under_mode(self, mode: Field<Mode>) -> Self {
        match mode {
            Field::Known(mode) if !mode.is_measured() => self.marked_invalid(),
            _ => self,
        }
    }
}

impl Fields<'_> {
    /// A status: `A` is true, `V` is false.
    #[inline]
    pub fn status(&mut self) -> Field<bool> {
        self.either(b'A', b'V')
    }

    /// A mode letter. An unknown one is counted and unusable.
    #[inline]
    pub fn mode(&mut self) -> Field<Mode> {
        let letter = self.letter();
        match letter {
            Field::Known(letter) => match Mode::from_letter(letter) {
                Some(mode) => Field::Known(mode),
                None => self.defect(Defect::UnknownLetter),
            },
            Field::Unusable(defect) => Field::Unusable(defect),
            Field::Absent => Field::Absent,
        }
    }

    /// The value as the status that belongs to it lets it stand: as it is under yes, marked
    /// invalid under no, half-present where the status is missing.
    #[inline]
    pub fn under_status<T>(&mut self, value: Field<T>, status: Field<bool>) -> Field<T> {
        match status {
            Field::Known(true) => value,
            Field::Known(false) => value.marked_invalid(),
            Field::Unusable(defect) => value.spoilt(defect),
            Field::Absent => match value {
                Field::Known(_) => self.defect(Defect::HalfPresent),
                other => other,
            },
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_value_under_each_status() {
        let under = |letter: &str| {
            let mut fields = Fields::new(Some(letter.as_bytes()));
            let status = fields.status();
            (fields.under_status(Field::Known(7), status), fields.unusable())
        };
        assert_eq!(under("A"), (Field::Known(7), 0));
        assert_eq!(under("V"), (Field::Unusable(Defect::MarkedInvalid), 0));
        assert_eq!(under("Q"), (Field::Unusable(Defect::UnknownLetter), 1));
        assert_eq!(under(""), (Field::Unusable(Defect::HalfPresent), 1));
        let mut fields = Fields::new(None);
        assert_eq!(fields.under_status::<u8>(Field::Absent, Field::Absent), Field::Absent);
    }

    #[test]
    fn a_value_under_each_mode() {
        for letter in b'A'..=b'Z' {
            let body = [letter];
            let mut fields = Fields::new(Some(&body));
            let mode = fields.mode();
            let value = Field::Known(7).under_mode(mode);
            match letter {
                b'E' | b'M' | b'N' | b'S' => assert_eq!(value, Field::Unusable(Defect::MarkedInvalid)),
                _ => assert_eq!(value, Field::Known(7)),
            }
            let known = b"ADEFMNPRS".contains(&letter);
            assert_eq!((mode.known().is_some(), fields.unusable()), (known, u8::from(!known)));
        }
        assert_eq!(Field::Known(7).under_mode(Field::Absent), Field::Known(7));
    }
}
