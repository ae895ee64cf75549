//! A TAG block: what a `\k:v,k:v*hh\` prefix says about the line after it.

use crate::decimal;
use crate::frame::Refusal;
use crate::frame::scan;

/// What is kept of a TAG block; unknown keys are skipped.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Tag {
    /// `c:`, milliseconds since 1970-01-01T00:00:00Z. Senders write seconds or milliseconds; a
    /// number of 100 000 000 000 or more is milliseconds (as seconds it would be the year 5138).
    pub unix_ms: Option<i64>,
}

impl Tag {
    /// No TAG block.
    pub(super) const NONE: Self = Self { unix_ms: None };

    /// The longest number that `c:` is read from: microseconds of milliseconds, and no overflow.
    const MOST_DIGITS: usize = 17;

    /// The length of a block that holds a time of thirteen digits and nothing else, both backslashes
    /// counted.
    pub(super) const STAMP_LENGTH: usize = 20;

    /// The time of a sound block that holds it alone, in milliseconds, which `line` begins with:
    /// the form nearly every recorder writes, `\c:1783993800007*68\`. `None` of any other form.
    #[inline]
    pub fn stamp(line: &[u8]) -> Option<i64> {
        let &[b'\\', b'c', b':', a, b, c, d, e, f, g, h, i, j, k, l, m, b'*', high, low, b'\\'] =
            line.first_chunk::<{ Self::STAMP_LENGTH }>()?
        else {
            return None;
        };
        let (first, last) = ([b'\\', b'c', b':', a, b, c, d, e], [f, g, h, i, j, k, l, m]);
        let sum = u64::from_le_bytes(first) ^ u64::from(b'\\') ^ u64::from_le_bytes(last);
        let sum = sum ^ sum >> 32;
        let sum = sum ^ sum >> 16;
        let [sum, ..] = (sum ^ sum >> 8).to_le_bytes();
        let time = decimal::thirteen(first, last)?;
        (scan::agrees(high, low, sum) == Some(true) && time >= Self::MILLISECONDS).then_some(time)
    }

    /// Reads what stands between the two backslashes, checksum and all.
    pub(super) fn sealed(content: &[u8]) -> Result<Self, Refusal> {
        let star = content.iter().position(|&byte| byte == b'*').ok_or(Refusal::TagChecksum)?;
        let (pairs, sum) = content.split_at_checked(star).ok_or(Refusal::TagChecksum)?;
        match *sum {
            [_, high, low] if scan::hex(high, low) == Some(scan::exclusive_or(pairs)) => Self::pairs(pairs),
            _ => Err(Refusal::TagChecksum),
        }
    }

    /// Reads `k:v,k:v`, the checksum being known to be right.
    pub(super) fn pairs(pairs: &[u8]) -> Result<Self, Refusal> {
        let mut tag = Self::NONE;
        for pair in pairs.split(|&byte| byte == b',') {
            match pair {
                [b'c', b':', number @ ..] => tag = tag.or(Self { unix_ms: Some(Self::time(number)?) }),
                [] | [b':', ..] => return Err(Refusal::TagMalformed),
                _ if pair.contains(&b':') => {}
                _ => return Err(Refusal::TagMalformed),
            }
        }
        Ok(tag)
    }

    /// This block, filled up by a later one of the same group.
    pub(super) fn or(self, later: Self) -> Self {
        Self { unix_ms: self.unix_ms.or(later.unix_ms) }
    }

    /// A number from here on counts milliseconds.
    const MILLISECONDS: i64 = 100_000_000_000;

    fn time(number: &[u8]) -> Result<i64, Refusal> {
        let unsigned = number.first().is_some_and(u8::is_ascii_digit) && number.len() <= Self::MOST_DIGITS;
        let thousandths = unsigned.then(|| decimal::scaled(number, 3).ok()).flatten().ok_or(Refusal::TagMalformed)?;
        Ok(if thousandths >= Self::MILLISECONDS * 1000 { thousandths / 1000 } else { thousandths })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn time(pairs: &str) -> Result<Option<i64>, Refusal> {
        Tag::pairs(pairs.as_bytes()).map(|tag| tag.unix_ms)
    }

    #[test]
    fn seconds_and_milliseconds_part_at_the_hundred_thousand_million() {
        assert_eq!(time("c:99999999999"), Ok(Some(99_999_999_999_000)));
        assert_eq!(time("c:100000000000"), Ok(Some(100_000_000_000)));
        assert_eq!(time("c:1564827317.25"), Ok(Some(1_564_827_317_250)));
        assert_eq!(time("c:0"), Ok(Some(0)));
    }

    #[test]
    fn the_usual_stamp_reads_as_the_slow_way_does() {
        let slow = |block: &[u8]| {
            let content = block.strip_prefix(b"\\")?.split(|&b| b == b'\\').next()?;
            Tag::sealed(content).ok()?.unix_ms
        };
        let good = b"\\c:1783993800007*68\\";
        assert_eq!((Tag::stamp(good), slow(good)), (Some(1_783_993_800_007), Some(1_783_993_800_007)));
        // Whatever one byte is changed to, it is never read otherwise.
        for place in 0..good.len() {
            for byte in 0..=u8::MAX {
                let mut block = *good;
                block[place] = byte;
                if let Some(time) = Tag::stamp(&block) {
                    assert_eq!(slow(&block), Some(time), "{byte:02x} at {place}");
                }
            }
        }
        // As seconds it would be read by another rule.
        assert_eq!((Tag::stamp(b"\\c:0783993800007*69\\"), slow(b"\\c:0783993800007*69\\")), (Some(783_993_800_007), Some(783_993_800_007)));
        assert_eq!((Tag::stamp(b"\\c:0083993800007*6E\\"), slow(b"\\c:0083993800007*6E\\")), (None, Some(83_993_800_007_000)));
        assert_eq!(Tag::stamp(b"\\c:1783993800007*68"), None);
    }

    #[test]
    fn a_time_that_is_no_number_refuses_the_block() {
        for bad in ["c:", "c:gjadslkg", "c:-5", "c:+5", "c:1e9", "c:1.2.3", "c:.5", "c:123456789012345678"] {
            assert_eq!(time(bad), Err(Refusal::TagMalformed), "{bad}");
        }
        assert_eq!(time("c:99999999999999999"), Err(Refusal::TagMalformed), "times 1000 it leaves an i64");
    }

    #[test]
    fn pairs_have_a_key_and_a_colon() {
        for bad in ["", ",", "s", "s:a,", ",s:a", "s:a,,c:1", ":a", "c1"] {
            assert_eq!(time(bad), Err(Refusal::TagMalformed), "{bad}");
        }
        assert_eq!(time("s:,x:a:b,cc:7"), Ok(None));
    }

    #[test]
    fn the_first_time_holds() {
        assert_eq!(time("c:1,c:2"), Ok(Some(1000)));
        assert_eq!(Tag { unix_ms: None }.or(Tag { unix_ms: Some(1) }).unix_ms, Some(1));
    }
}
