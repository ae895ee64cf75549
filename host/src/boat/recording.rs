//! The sizes that a recording keeps to, `[record]`: one grammar for the boat file and for what is typed.

use crate::boat::read::Section;
use crate::boat::read::Want;
use crate::exit::Failure;

/// The sizes that are said, in bytes; the recorder has a default for each.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Sizes {
    /// A file is closed before it is longer.
    pub size: Option<u64>,
    /// All files together are no larger; the oldest are dropped.
    pub keep: Option<u64>,
    /// So much of the disk stays free; the oldest are dropped for it.
    pub floor: Option<u64>,
}

/// What a size is, for whoever wrote something else.
pub const EXPECTED: &str = "a size in kB, MB or GB was expected. Example: 64MB";

/// A number of bytes, such as 64MB: powers of ten, as disks are sold.
pub fn size(text: &str) -> Option<u64> {
    let units = [("GB", 1_000_000_000), ("MB", 1_000_000), ("kB", 1_000), ("B", 1)];
    let read = |(unit, bytes): (&str, u64)| {
        let number = text.strip_suffix(unit)?.trim().parse::<u64>().ok()?;
        number.checked_mul(bytes)
    };
    units.into_iter().find_map(read)
}

impl Sizes {
    /// Reads `[record]`.
    pub(super) fn read(record: &Section<'_>) -> Result<Self, Failure> {
        let of = |key, want| {
            let read =
                |value: crate::boat::read::Value<'_>| value.string().and_then(size).ok_or_else(|| value.refuse(want));
            record.get(key).map(read).transpose()
        };
        let what = "a size in kB, MB or GB, in quotes";
        Ok(Self {
            size: of("size", Want { what, example: "size = \"64MB\"" })?,
            keep: of("keep", Want { what, example: "keep = \"2GB\"" })?,
            floor: of("floor", Want { what, example: "floor = \"200MB\"" })?,
        })
    }

    /// What is said here, else what is said there.
    #[must_use]
    pub fn or(self, other: Self) -> Self {
        Self { size: self.size.or(other.size), keep: self.keep.or(other.keep), floor: self.floor.or(other.floor) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_a_size() {
        for (text, bytes) in [("64MB", 64_000_000), ("2GB", 2_000_000_000), ("500 kB", 500_000), ("0B", 0)] {
            assert_eq!(size(text), Some(bytes));
        }
        for wrong in ["64", "64M", "-1MB", "MB", "", "99999999999999999999GB", "20000000000GB"] {
            assert_eq!(size(wrong), None, "{wrong}");
        }
    }
}
