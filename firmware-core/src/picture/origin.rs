//! Where a value comes from: which source, which talker, which formatter.

use core::fmt;

use crate::frame::Formatter;
use crate::frame::Talker;

/// One input of the watch, numbered in the order of the boat file or the command line.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct SourceId(pub u8);

impl SourceId {
    /// Most sources one monitor listens to.
    pub const MAX: usize = 4;

    /// Its place in a table of sources; a number past the last counts as the last.
    #[inline]
    pub const fn index(self) -> usize {
        let index = self.0 as usize;
        if index < Self::MAX { index } else { Self::MAX - 1 }
    }
}

/// Which north a heading or an order is counted from.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Reference {
    /// The sensor's own, deviation still in it.
    Compass,
    /// Magnetic north.
    Magnetic,
    /// True north.
    True,
}

impl Reference {
    /// The letter it is written with.
    pub const fn letter(self) -> char {
        match self {
            Self::Compass => 'C',
            Self::Magnetic => 'M',
            Self::True => 'T',
        }
    }

    /// The word it is written with in JSON.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Compass => "compass",
            Self::Magnetic => "magnetic",
            Self::True => "true",
        }
    }
}

/// A talker and formatter on one source: `HCHDG` of source 0.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Origin {
    /// The source it comes in on.
    pub source: SourceId,
    /// The talker.
    pub talker: Talker,
    /// The formatter.
    pub formatter: Formatter,
}

/// A talker and formatter as the boat file names them, on whichever source: `HCHDG`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Name {
    /// The talker.
    pub talker: Talker,
    /// The formatter.
    pub formatter: Formatter,
}

impl Name {
    /// The name written `text`, five characters such as `HCHDG`.
    pub fn parse(text: &str) -> Option<Self> {
        match *text.as_bytes() {
            [a, b, c, d, e] if text.bytes().all(|x| x.is_ascii_uppercase() || x.is_ascii_digit()) => {
                Some(Self { talker: Talker([a, b]), formatter: Formatter([c, d, e]) })
            }
            _ => None,
        }
    }

    /// Whether `origin` bears this name.
    #[inline]
    pub fn is(self, origin: Origin) -> bool {
        self.talker == origin.talker && self.formatter == origin.formatter
    }
}

impl fmt::Display for Origin {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}{}", self.talker, self.formatter)
    }
}

impl fmt::Display for Name {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}{}", self.talker, self.formatter)
    }
}
