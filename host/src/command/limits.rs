//! The limits of a recording, whichever verb makes it.

use crate::boat::recording;
use crate::boat::recording::Sizes;
use crate::exit::Failure;
use crate::record::Limits;

/// A file smaller than this is not worth its name.
const SMALLEST: u64 = 4_000;

/// A size as it is typed.
pub(super) fn size(text: &str) -> Result<u64, String> {
    recording::size(text).ok_or_else(|| recording::EXPECTED.into())
}

/// The limits by `sizes`, else the defaults; they must leave room for a recording.
pub(super) fn limits(sizes: Sizes) -> Result<Limits, Failure> {
    let usual = Limits::default();
    let limits = Limits {
        size: sizes.size.unwrap_or(usual.size),
        keep: sizes.keep.unwrap_or(usual.keep),
        floor: sizes.floor.unwrap_or(usual.floor),
    };
    if limits.size < SMALLEST {
        return Err(Failure::new(format!(
            "--size, or size under [record] in the boat file: a file of less than {SMALLEST} B is none; give more, such \
             as 64MB"
        )));
    }
    if limits.keep / 2 < limits.size {
        return Err(Failure::new(
            "--keep must have room for two files of --size (keep and size under [record] in the boat file), the one \
             being written and the one being compressed; give a larger keep or a smaller size",
        ));
    }
    Ok(limits)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_said_counts_and_the_rest_is_the_default() {
        let usual = Limits::default();
        let of = |sizes| limits(sizes).map(|limits| (limits.size, limits.keep, limits.floor));
        let typed = Sizes { keep: Some(8_000_000_000), ..Sizes::default() };
        let file = Sizes { keep: Some(1), floor: Some(0), size: None };
        assert_eq!(of(typed.or(file)).unwrap(), (usual.size, 8_000_000_000, 0));
        for (size, keep, must) in [(Some(3_999), None, "4000 B"), (None, Some(100_000_000), "room for two files")] {
            let refused = of(Sizes { size, keep, floor: None }).unwrap_err();
            assert!(refused.to_string().contains(must), "{refused}");
        }
    }
}
