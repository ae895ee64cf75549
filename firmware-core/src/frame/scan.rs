//! The byte classes of a line, and the loops over many bytes at once.
//!
//! The loops go over blocks of fixed size without a branch inside, which a compiler turns into
//! vector instructions where the machine has them. They are the reason that a clean line costs a
//! fraction of what one step of the state machine for each byte would.

/// Bytes looked at together; most heading sentences end within one.
const BLOCK: usize = 32;
const BLOCK_U8: u8 = BLOCK as u8;

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
        [a, ..] if is_start(*a) => 0,
        [_, b, ..] if is_start(*b) => 1,
        [_, _, c, ..] if is_start(*c) => 2,
        _ => long_gap(bytes),
    }
}

#[inline(never)]
fn long_gap(bytes: &[u8]) -> usize {
    let clear = bytes.chunks_exact(BLOCK).take_while(|block| !block.iter().fold(false, |any, &b| any | is_start(b)));
    let clear = clear.count() * BLOCK;
    let rest = bytes.get(clear..).unwrap_or_default();
    clear + rest.iter().position(|&byte| is_start(byte)).unwrap_or(rest.len())
}

/// How many plain characters `bytes` begins with, and their exclusive or; looks no further than
/// `most` bytes and a block.
///
/// Plain is what neither ends a line nor begins one: printable, and none of `$`, `!`, `\`, `*`.
#[inline]
pub(super) fn plain(bytes: &[u8], most: usize) -> (usize, u8) {
    let mut sums = [0; BLOCK];
    let mut length = 0;
    let mut rest = bytes;
    while length < most {
        let end = match rest.split_first_chunk::<BLOCK>() {
            Some((block, after)) => {
                rest = after;
                add_plain(block, &mut sums)
            }
            None => {
                // The zeros behind the last bytes are not plain.
                let mut block = [0; BLOCK];
                block.iter_mut().zip(rest).for_each(|(to, from)| *to = *from);
                add_plain(&block, &mut sums)
            }
        };
        length += usize::from(end);
        if end < BLOCK_U8 {
            break;
        }
    }
    (length, exclusive_or(&sums))
}

/// Adds the plain characters at the front of one block to `sums`; how many they are.
#[inline]
fn add_plain(block: &[u8; BLOCK], sums: &mut [u8; BLOCK]) -> u8 {
    let mut end = BLOCK_U8;
    for (at, &byte) in (0..).zip(block) {
        let plain = is_printable(byte) & !is_start(byte) & (byte != b'*');
        end = end.min(if plain { BLOCK_U8 } else { at });
    }
    for ((at, &byte), sum) in (0..).zip(block).zip(sums) {
        *sum ^= if at < end { byte } else { 0 };
    }
    end
}
