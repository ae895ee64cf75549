//! Every talker and formatter heard: a bounded table that a stranger on the wire cannot grow.

use lubber_core::frame::Formatter;
use lubber_core::frame::Talker;
use lubber_core::picture::SourceId;

use super::tally::Tally;

/// Every talker and formatter heard, at most [`Table::MOST`]; of those after only the number is kept.
#[derive(Clone, Debug)]
pub struct Table {
    tallies: Vec<Tally>,
    /// Places in `tallies` plus one, by hash; zero is free.
    slots: Box<[u16; SLOTS]>,
    /// Lines whose name found no place.
    pub unlisted: u64,
}

const SLOTS: usize = 1024;

impl Table {
    /// Most names that are told apart.
    pub const MOST: usize = 200;
    /// A line that was refused may open a row only up to here, so that damage leaves room for what is sound.
    const FOR_REFUSED: usize = 80;

    pub(super) fn new() -> Self {
        Self { tallies: Vec::new(), slots: Box::new([0; SLOTS]), unlisted: 0 }
    }

    /// The place of a name; `None` where the table is full.
    #[inline]
    pub(super) fn place(
        &mut self,
        source: SourceId,
        talker: Talker,
        formatter: Formatter,
        refused: bool,
    ) -> Option<usize> {
        let mut slot = hash(source, talker, formatter);
        loop {
            let place = usize::from(self.slots[slot]);
            if place == 0 {
                break;
            }
            let tally = &self.tallies[place - 1];
            if tally.talker == talker && tally.formatter == formatter && tally.source == source {
                return Some(place - 1);
            }
            // The table is never more than a quarter full, so a free slot ends every search.
            slot = (slot + 1) % SLOTS;
        }
        let most = if refused { Self::FOR_REFUSED } else { Self::MOST };
        if self.tallies.len() >= most {
            self.unlisted += 1;
            return None;
        }
        self.tallies.push(Tally::new(source, talker, formatter));
        self.slots[slot] = u16::try_from(self.tallies.len()).unwrap_or(0);
        Some(self.tallies.len() - 1)
    }

    #[inline]
    pub(super) fn at(&mut self, place: usize) -> &mut Tally {
        &mut self.tallies[place]
    }

    /// All, in the order in which they were first heard.
    pub fn all(&self) -> &[Tally] {
        &self.tallies
    }

    /// All, by source and then by use: headings, turning, rudder, orders, receiver, the rest.
    pub fn sorted(&self) -> Vec<&Tally> {
        let mut all: Vec<&Tally> = self.tallies.iter().collect();
        all.sort_by_key(|tally| (tally.source, rank(tally), tally.formatter, tally.talker));
        all
    }
}

/// Formatters in the order in which somebody who looks after a heading wants to see them.
const ORDER: [&[u8; 3]; 18] = [
    b"HDG", b"HDM", b"HDT", b"THS", b"ROT", b"RSA", b"VHW", b"HTD", b"HTC", b"HSC", b"RMC", b"VTG", b"GGA", b"GLL",
    b"GNS", b"ZDA", b"MWV", b"MWD",
];

fn rank(tally: &Tally) -> usize {
    let known = ORDER.iter().position(|formatter| **formatter == tally.formatter.0);
    let last = ORDER.len() + usize::from(tally.is_proprietary());
    known.filter(|_| !tally.is_proprietary()).unwrap_or(last)
}

/// Spreads the names over the slots. The multiplier is the golden ratio times 2^64, odd (Knuth's
/// multiplicative hashing, from memory); any odd multiplier would do.
#[inline]
fn hash(source: SourceId, talker: Talker, formatter: Formatter) -> usize {
    let [a, b] = talker.0;
    let [c, d, e] = formatter.0;
    let mixed = u64::from_le_bytes([a, b, c, d, e, source.0, 0, 0]).wrapping_mul(0x9E37_79B9_7F4A_7C15);
    (mixed >> 54) as usize
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_keep_their_place_and_the_table_stays_bounded() {
        let mut table = Table::new();
        let name = |n: u16| {
            let letter = |place: u16| b'A' + u8::try_from(n / place % 7).unwrap();
            (SourceId(0), Talker([letter(1), b'X']), Formatter([letter(7), letter(49), b'Y']))
        };
        for round in 0..2 {
            for n in 0..343 {
                let (source, talker, formatter) = name(n);
                let place = table.place(source, talker, formatter, false);
                assert_eq!(place, Some(usize::from(n)).filter(|n| *n < Table::MOST), "{round} {n}");
            }
        }
        assert_eq!(table.unlisted, 2 * (343 - Table::MOST as u64));
    }

    #[test]
    fn a_name_of_a_refused_line_does_not_fill_the_table() {
        let mut table = Table::new();
        for n in 0..120_u8 {
            let refused = n < 100;
            let place =
                table.place(SourceId(0), Talker(*b"HC"), Formatter([b'A' + n % 26, b'A' + n / 26, b'Z']), refused);
            assert_eq!(place.is_some(), !(80..100).contains(&n), "{n}");
        }
    }
}
