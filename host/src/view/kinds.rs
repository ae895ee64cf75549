//! How many of each talker and formatter came: a bounded table that a stranger on the wire cannot grow.

use lubber_core::frame::Formatter;
use lubber_core::frame::Talker;

/// The counts of one talker and formatter.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Kind {
    /// Who.
    pub talker: Talker,
    /// What.
    pub formatter: Formatter,
    /// Sentences that could be read.
    pub read: u64,
    /// Sentences whose principal value could not be used.
    pub malformed: u64,
    /// Fields that were there but could not be used, in sentences that could be read.
    pub unusable: u64,
}

/// The counts of every kind heard, at most [`Kinds::MOST`]; what comes after goes into one remainder.
#[derive(Debug)]
pub struct Kinds {
    slots: Box<[Option<Kind>; SLOTS]>,
    used: usize,
    rest: Kind,
}

const SLOTS: usize = 256;

impl Kinds {
    /// Most kinds that are told apart.
    pub const MOST: usize = 128;

    /// None heard yet.
    pub fn new() -> Self {
        Self { slots: Box::new([None; SLOTS]), used: 0, rest: Kind::none(Talker(*b"  "), Formatter(*b"   ")) }
    }

    /// The counts of one kind, to be added to.
    #[inline]
    pub fn of(&mut self, talker: Talker, formatter: Formatter) -> &mut Kind {
        let mut slot = hash(talker, formatter);
        // The table is never more than half full, so a free slot ends every search.
        loop {
            match &self.slots[slot] {
                Some(kind) if kind.talker == talker && kind.formatter == formatter => break,
                Some(_) => slot = (slot + 1) % SLOTS,
                None if self.used < Self::MOST => {
                    self.used += 1;
                    self.slots[slot] = Some(Kind::none(talker, formatter));
                    break;
                }
                None => return &mut self.rest,
            }
        }
        self.slots[slot].as_mut().unwrap_or(&mut self.rest)
    }

    /// Every kind, by formatter and talker.
    pub fn sorted(&self) -> Vec<Kind> {
        let mut kinds: Vec<Kind> = self.slots.iter().flatten().copied().collect();
        kinds.sort_by_key(|kind| (kind.formatter, kind.talker));
        kinds
    }

    /// What came once the table was full.
    pub fn rest(&self) -> &Kind {
        &self.rest
    }

    /// All kinds together.
    pub fn total(&self) -> Kind {
        self.slots.iter().flatten().fold(self.rest, |sum, kind| Kind {
            read: sum.read + kind.read,
            malformed: sum.malformed + kind.malformed,
            unusable: sum.unusable + kind.unusable,
            ..sum
        })
    }
}

impl Default for Kinds {
    fn default() -> Self {
        Self::new()
    }
}

impl Kind {
    const fn none(talker: Talker, formatter: Formatter) -> Self {
        Self { talker, formatter, read: 0, malformed: 0, unusable: 0 }
    }

    /// The name: `HCHDG`; of a maker's own sentence `P` and the maker's letters.
    pub fn name(&self) -> String {
        format!("{}{}", self.talker, self.formatter)
    }
}

/// Spreads the five letters over the table: one multiplication by 2^64 over the golden ratio, of
/// which the upper bits are used (Knuth, The Art of Computer Programming 3, 6.4; the constant from
/// memory: any odd number without a pattern would do).
#[inline]
fn hash(talker: Talker, formatter: Formatter) -> usize {
    let ([a, b], [c, d, e]) = (talker.0, formatter.0);
    let letters = u64::from_le_bytes([a, b, c, d, e, 0, 0, 0]);
    (letters.wrapping_mul(0x9E37_79B9_7F4A_7C15) >> 56) as usize % SLOTS
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn counts_by_kind_agree_with_a_map_and_stay_bounded() {
        let mut kinds = Kinds::new();
        let mut oracle = std::collections::BTreeMap::new();
        for n in 0..5_000_u32 {
            let letter = |place: u32| b'A' + (n / place % 7) as u8;
            let (talker, formatter) = (Talker([letter(1), b'X']), Formatter([letter(7), letter(49), b'Y']));
            kinds.of(talker, formatter).read += 1;
            *oracle.entry((formatter, talker)).or_insert(0_u64) += 1;
        }
        // 343 kinds came: 128 are told apart, each with its own count, and no sentence is lost.
        let sorted = kinds.sorted();
        assert_eq!(sorted.len(), Kinds::MOST);
        for kind in &sorted {
            assert_eq!(oracle.get(&(kind.formatter, kind.talker)), Some(&kind.read), "{}", kind.name());
        }
        assert_eq!(kinds.total().read, 5_000);
        assert!(kinds.rest().read > 0);
    }
}
