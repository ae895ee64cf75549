//! A framed line: a view that judges nothing beyond start, address, body and checksum.

use core::fmt;

use crate::frame::Tag;

/// What a line starts with.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Start {
    /// `$`: a parametric sentence.
    Parametric,
    /// `!`: an encapsulated sentence, such as AIS. Framed only.
    Encapsulated,
}

/// How the checksum of an accepted line stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Checksum {
    /// There and right.
    Right,
    /// Not there, and the source's policy lets that pass.
    Missing,
    /// There and wrong, and the source's policy lets that pass.
    Wrong,
}

/// The two letters that name a talker (`HC`, `GP`), or `P` and a space for a proprietary sentence.
///
/// Any talker is kept; an unknown one never costs a sentence.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Talker(pub [u8; 2]);

/// The three characters that name a sentence (`HDG`, `RMC`).
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Formatter(pub [u8; 3]);

/// One framed line.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Line<'a> {
    /// The TAG block that stood before it, or an empty one.
    pub tag: Tag,
    /// Parametric or encapsulated.
    pub start: Start,
    /// Everything from the start character to the last checksum digit, printable ASCII only.
    pub raw: &'a [u8],
    /// The address: the characters up to the first comma.
    pub address: &'a [u8],
    /// The fields: what follows the first comma, up to the `*` or the end; commas still in.
    /// `None` where the sentence ends without a comma.
    pub body: Option<&'a [u8]>,
    /// How its checksum stands.
    pub checksum: Checksum,
}

impl<'a> Line<'a> {
    /// Cuts `raw`, which runs to the end of the line or to its last checksum digit, at the first
    /// comma and at `star`. `None` where its address could not name a talker and a formatter.
    // In the framer itself the line is built where it is delivered from, and not copied there.
    #[inline(always)]
    pub(super) fn cut(tag: Tag, raw: &'a [u8], star: usize, checksum: Checksum) -> Option<Self> {
        let (&first, text) = raw.get(..star)?.split_first()?;
        let start = if first == b'!' { Start::Encapsulated } else { Start::Parametric };
        let (address, body) = match text {
            // What nearly every sentence is: no search for the comma.
            [a, b, c, d, e, b',', body @ ..] if all_name([*a, *b, *c, *d, *e]) => (text.get(..5)?, Some(body)),
            _ => {
                let mut halves = text.splitn(2, |&byte| byte == b',');
                (halves.next()?, halves.next())
            }
        };
        is_address(address).then_some(Self { tag, start, raw, address, body, checksum })
    }

    /// Most characters the standard allows, start character and CR LF counted.
    ///
    /// IEC 61162-1: 79 characters between the start character and CR LF.
    pub const STANDARD_LENGTH: usize = 82;

    /// The talker. For a proprietary sentence (`$P...`) it is `P` and a space.
    #[inline]
    pub fn talker(&self) -> Talker {
        match *self.address {
            [b'P', ..] => Talker([b'P', b' ']),
            [a, b, ..] => Talker([a, b]),
            _ => Talker([b' ', b' ']),
        }
    }

    /// The sentence formatter. For a proprietary sentence it is the maker's three letters.
    #[inline]
    pub fn formatter(&self) -> Formatter {
        match *self.address {
            [b'P', a, b, c, ..] => Formatter([a, b, c]),
            [_, _, a, b, c] => Formatter([a, b, c]),
            _ => Formatter(*b"   "),
        }
    }

    /// Whether it is a maker's own sentence.
    #[inline]
    pub fn is_proprietary(&self) -> bool {
        self.address.first() == Some(&b'P')
    }

    /// Whether it is longer than the standard allows, CR LF counted.
    #[inline]
    pub fn is_overlong(&self) -> bool {
        self.raw.len() + 2 > Self::STANDARD_LENGTH
    }
}

/// Whether `address` can name a talker and a formatter: two and three of `A-Z0-9`, or `P` and a
/// maker's three, after which the maker may write what he likes.
#[inline]
fn is_address(address: &[u8]) -> bool {
    match *address {
        [a, b, c, d, e] if all_name([a, b, c, d, e]) => true,
        [b'P', a, b, c, ..] => all_name([a, b, c]),
        _ => false,
    }
}

#[inline]
fn all_name<const N: usize>(bytes: [u8; N]) -> bool {
    // Without a branch for each byte: nearly all are good.
    bytes.iter().fold(true, |all, byte| all & (byte.is_ascii_uppercase() | byte.is_ascii_digit()))
}

impl Talker {
    /// The letters as text; anything but printable ASCII cannot be in a framed line.
    pub fn as_str(&self) -> &str {
        core::str::from_utf8(&self.0).unwrap_or("??").trim_end()
    }
}

impl Formatter {
    /// The characters as text.
    pub fn as_str(&self) -> &str {
        core::str::from_utf8(&self.0).unwrap_or("???")
    }
}

impl fmt::Display for Talker {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.as_str())
    }
}

impl fmt::Debug for Talker {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.as_str())
    }
}

impl fmt::Display for Formatter {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.as_str())
    }
}

impl fmt::Debug for Formatter {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.as_str())
    }
}
