//! The byte classes of a line, and the loops over many bytes at once.
//!
//! A word of eight bytes is looked at together, in plain integers: as quick on any machine, small on
//! a microcontroller, and the reason that a clean line costs a fraction of what one step of the
//! state machine for each byte would.

/// Whether a line or a TAG block begins at this byte, wherever it stands.
#[inline]
pub(super) const fn is_start(byte: u8) -> bool {
    matches!(byte, b'$' | b'!' | b'\\')
}

/// Whether a byte may stand in a line.
#[inline]
pub(super) const fn is_printable(byte: u8) -> bool {
    matches!(byte, 0x20..=0x7e)
}

/// What two hex digits say, in either case; `None` where one is no digit.
#[inline]
pub(super) fn hex(high: u8, low: u8) -> Option<u8> {
    Some(digit(high)? << 4 | digit(low)?)
}

/// Whether the two hex digits of a checksum say `sum`; `None` where one is no digit.
///
/// Nearly all checksums are right and in capitals. They are compared as they should look, for which
/// of its digits are letters is chance, and a branch on that is guessed wrong at every other line.
#[inline]
pub(super) fn agrees(high: u8, low: u8, sum: u8) -> Option<bool> {
    const DIGITS: [u8; 16] = *b"0123456789ABCDEF";
    let expected = (DIGITS[usize::from(sum >> 4)], DIGITS[usize::from(sum & 15)]);
    if expected == (high, low) {
        return Some(true);
    }
    hex(high, low).map(|told| told == sum)
}

#[inline]
fn digit(byte: u8) -> Option<u8> {
    match byte {
        b'0'..=b'9' => Some(byte - b'0'),
        b'A'..=b'F' => Some(byte - b'A' + 10),
        b'a'..=b'f' => Some(byte - b'a' + 10),
        _ => None,
    }
}

/// The exclusive or of all bytes.
pub(super) fn exclusive_or(bytes: &[u8]) -> u8 {
    bytes.iter().fold(0, |sum, byte| sum ^ byte)
}

/// How many bytes stand before the next start character (all, if there is none).
#[inline]
pub(super) fn gap(bytes: &[u8]) -> usize {
    // Between two lines there are two bytes as a rule.
    match bytes {
        [] => 0,
        [a, ..] if is_start(*a) => 0,
        [_, b, ..] if is_start(*b) => 1,
        [_, _] => 2,
        [_, _, c, ..] if is_start(*c) => 2,
        _ => long_gap(bytes),
    }
}

#[inline(never)]
fn long_gap(bytes: &[u8]) -> usize {
    let mut length = 0;
    let mut rest = bytes;
    while let Some((word, after)) = rest.split_first_chunk::<8>() {
        let starts = starts(u64::from_le_bytes(*word));
        if starts != 0 {
            return length + (starts.trailing_zeros() / 8) as usize;
        }
        length += 8;
        rest = after;
    }
    length + rest.iter().position(|&byte| is_start(byte)).unwrap_or(rest.len())
}

/// How many plain characters `bytes` begins with, and their exclusive or; looks no further than
/// `most` bytes and a word.
///
/// Plain is what neither ends a line nor begins one: printable, and none of `$`, `!`, `\`, `*`.
#[inline]
pub(super) fn plain(bytes: &[u8], most: usize) -> (usize, u8) {
    let mut sum = 0;
    let mut length = 0;
    let mut rest = bytes;
    while length < most {
        let word = match rest.split_first_chunk::<8>() {
            Some((word, after)) => {
                rest = after;
                u64::from_le_bytes(*word)
            }
            None => last_word(rest),
        };
        // What few sentences hold before their `*` is looked at closely only where it may be.
        let special = if may_be_special(word) { special(word) } else { 0 };
        if special == 0 {
            sum ^= word;
            length += 8;
            continue;
        }
        // All bits of the bytes before the first special one: those up to its mark, less a byte.
        let before = (special ^ special.wrapping_sub(1)) >> 8;
        sum ^= word & before;
        length += (special.trailing_zeros() / 8) as usize;
        break;
    }
    let sum = sum ^ sum >> 32;
    let sum = sum ^ sum >> 16;
    (length, (sum ^ sum >> 8) as u8)
}

/// The last bytes of an input, fewer than eight; the zeros behind them are not plain.
#[inline]
fn last_word(rest: &[u8]) -> u64 {
    rest.iter().rev().fold(0, |word, &byte| word << 8 | u64::from(byte))
}

/// Marks with its top bit each byte of `word` at which a line or a TAG block begins.
#[inline]
const fn starts(word: u64) -> u64 {
    let low = word & !TOPS;
    let other = differs_from(low, b'$') & differs_from(low, b'!') & differs_from(low, b'\\');
    !(other | word) & TOPS
}

/// Whether a byte of `word` may not be plain: all below `+` are taken to be so, which spares the
/// looks for each of them.
#[inline]
const fn may_be_special(word: u64) -> bool {
    let low = word & !TOPS;
    let plain = (low + each(0x80 - b'+')) & differs_from(low, b'\\');
    // Adding 1 sets the top bit of 7F alone.
    (!plain | (low + each(1)) | word) & TOPS != 0
}

/// Marks with its top bit each byte of `word` that is not plain.
#[inline]
const fn special(word: u64) -> u64 {
    // With the top bits off, no sum of two bytes carries into the next byte, and adding 7F sets the
    // top bit of all bytes but zero.
    let low = word & !TOPS;
    let plain = differs_from(low, b'$')
        & differs_from(low, b'!')
        & differs_from(low, b'\\')
        & differs_from(low, b'*')
        & differs_from(low, 0x7f)
        & (low + each(0x80 - 0x20))
        & !word;
    !plain & TOPS
}

#[inline]
const fn differs_from(low: u64, byte: u8) -> u64 {
    (low ^ each(byte)) + each(0x7f)
}

/// Eight times the same byte.
#[inline]
const fn each(byte: u8) -> u64 {
    u64::from_le_bytes([byte; 8])
}

const TOPS: u64 = each(0x80);

#[cfg(test)]
mod tests {
    use super::*;

    /// Every byte at every place of a word, among plain ones and among marked ones.
    #[test]
    fn special_marks_exactly_what_is_not_plain() {
        for byte in 0..=u8::MAX {
            let plain = is_printable(byte) && !is_start(byte) && byte != b'*';
            for place in 0..8 {
                for around in [b'0', b' ', b'~', b'*', 0, 0xff] {
                    let mut word = [around; 8];
                    word[place] = byte;
                    let marks = special(u64::from_le_bytes(word)).to_le_bytes();
                    assert!(may_be_special(u64::from_le_bytes(word)) || marks == [0; 8], "{word:?}");
                    let usual = word.iter().all(|byte| (b'+'..=b'~').contains(byte) && *byte != b'\\');
                    assert_eq!(may_be_special(u64::from_le_bytes(word)), !usual, "{word:?}");
                    assert_eq!(marks[place], if plain { 0 } else { 0x80 }, "{byte:02x} at {place} among {around:02x}");
                }
            }
        }
    }

    #[test]
    fn plain_stops_at_the_first_special_byte() {
        let text = b"HCHDG,98.3,0.1,E,12.6,W*56\r\n$HCHDG,98.3,0.1,E,12.6,W*56\r\n";
        for skip in 0..30 {
            for end in skip..text.len() {
                let bytes = &text[skip..end];
                let length = bytes.iter().position(|b| b"*\r\n$".contains(b)).unwrap_or(bytes.len());
                assert_eq!(plain(bytes, 256), (length, exclusive_or(&bytes[..length])));
            }
        }
        assert_eq!(plain(&[b'x'; 400], 256).0, 256);
    }

    #[test]
    fn a_checksum_agrees_where_its_digits_say_the_sum() {
        for sum in 0..=u8::MAX {
            for told in 0..=u8::MAX {
                for text in [std::format!("{told:02X}"), std::format!("{told:02x}")] {
                    assert_eq!(agrees(text.as_bytes()[0], text.as_bytes()[1], sum), Some(told == sum), "{text}");
                }
            }
            assert_eq!((agrees(b'G', b'0', sum), agrees(b'0', b'/', sum)), (None, None));
        }
    }

    #[test]
    fn a_gap_ends_at_the_next_start() {
        for length in 0..100 {
            let mut bytes = std::vec![b'x'; length];
            assert_eq!(gap(&bytes), length);
            bytes.extend(b"!$");
            assert_eq!(gap(&bytes), length);
        }
    }
}
