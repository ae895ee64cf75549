//! From the bytes of one source to whole lines, and a line with its stamp.

use std::ops::Range;

use memchr::memchr;
use memchr::memchr2;
use memchr::memchr3;

/// A line is cut here, so that noise without line ends stays bounded.
pub(super) const LONGEST: usize = 1024;

/// The longest source of a TAG block: NMEA 0183, 15 characters, from memory.
const LONGEST_SOURCE: usize = 15;

/// What a zero byte is written as: no sentence holds either.
const FOR_ZERO: u8 = 0x7F;

/// The line of one source that is not complete yet.
#[derive(Debug, Default)]
pub(super) struct Lines(Vec<u8>);

impl Lines {
    /// Takes bytes, and hands out every line that is complete by them, its end included.
    pub(super) fn feed(&mut self, mut bytes: &[u8], line: &mut dyn FnMut(&[u8])) {
        while let [first, ..] = bytes {
            // A CR ends a line too where no LF follows.
            if self.0.last() == Some(&b'\r') && *first != b'\n' {
                self.emit(line);
            }
            let look = bytes.len().min(LONGEST.saturating_sub(self.0.len()).max(1));
            let end = memchr2(b'\r', b'\n', &bytes[..look]).map_or(look, |at| at + 1);
            self.0.extend_from_slice(&bytes[..end]);
            bytes = &bytes[end..];
            if self.0.last() == Some(&b'\n') || (self.0.len() >= LONGEST && self.0.last() != Some(&b'\r')) {
                self.emit(line);
            }
        }
    }

    /// Time has passed: a line that a CR ended has no LF coming.
    pub(super) fn settle(&mut self, line: &mut dyn FnMut(&[u8])) {
        if self.0.last() == Some(&b'\r') {
            self.emit(line);
        }
    }

    /// Nothing follows, or something is missing here: what there is of the line is all.
    pub(super) fn finish(&mut self, line: &mut dyn FnMut(&[u8])) {
        self.emit(line);
    }

    fn emit(&mut self, line: &mut dyn FnMut(&[u8])) {
        if self.0.iter().any(|byte| !matches!(byte, b'\r' | b'\n')) {
            if self.0.last() != Some(&b'\n') {
                self.0.push(b'\n');
            }
            self.0.iter_mut().filter(|byte| **byte == 0).for_each(|byte| *byte = FOR_ZERO);
            line(&self.0);
        }
        self.0.clear();
    }
}

/// Names of sources as a TAG block may hold them, each once: letters, digits, `-`, `_` and `.`.
pub(super) fn tag_names(names: &[String]) -> Vec<String> {
    let mut all: Vec<String> = Vec::new();
    for name in names {
        let fit = |c: char| if c.is_ascii_alphanumeric() || matches!(c, '-' | '_' | '.') { c } else { '-' };
        let mut tag: String = name.chars().map(fit).take(LONGEST_SOURCE).collect();
        for nth in 2.. {
            if !all.contains(&tag) && !tag.is_empty() {
                break;
            }
            tag.truncate(LONGEST_SOURCE - 3);
            tag = format!("{}-{nth}", tag.trim_end_matches(|c: char| c.is_ascii_digit()).trim_end_matches('-'));
        }
        all.push(tag);
    }
    all
}

/// Appends `line` to `out`, with its TAG block before the first start character. Bytes without one get no stamp: a
/// TAG block before noise would be one more bad line when the recording is read.
pub(super) fn stamped(out: &mut Vec<u8>, source: &str, ms: i64, line: &[u8]) {
    let Some(start) = memchr3(b'$', b'!', b'\\', line) else {
        out.extend_from_slice(line);
        return;
    };
    out.extend_from_slice(&line[..start]);
    tag(out, source.as_bytes(), ms);
    out.extend_from_slice(&line[start..]);
}

fn tag(out: &mut Vec<u8>, source: &[u8], ms: i64) {
    let begin = out.len() + 1;
    out.extend_from_slice(b"\\s:");
    out.extend_from_slice(source);
    out.extend_from_slice(format!(",c:{ms}").as_bytes());
    let sum = out[begin..].iter().fold(0, |sum, byte| sum ^ byte);
    out.extend_from_slice(format!("*{sum:02X}\\").as_bytes());
}

/// A TAG block of ours in a recorded line.
#[derive(Debug, PartialEq, Eq)]
struct Mark {
    /// Where it lies, both backslashes included.
    block: Range<usize>,
    source: Range<usize>,
    ms: i64,
}

fn mark(line: &[u8]) -> Option<Mark> {
    let start = memchr3(b'$', b'!', b'\\', line)?;
    let inside = line[start..].strip_prefix(b"\\s:")?;
    let close = memchr(b'\\', inside)?;
    let comma = memchr(b',', &inside[..close])?;
    let digits = inside[comma..close].strip_prefix(b",c:")?;
    let (digits, _) = digits.split_at_checked(memchr(b'*', digits)?)?;
    let ms = std::str::from_utf8(digits).ok()?.parse().ok()?;
    let source = start + 3..start + 3 + comma;
    let mark = Mark { block: start..start + 3 + close + 1, source, ms };
    // Nothing else than what is written here: then its checksum is right too.
    let mut again = Vec::new();
    tag(&mut again, &line[mark.source.clone()], ms);
    (again == line[mark.block.clone()]).then_some(mark)
}

/// The stamp of a recorded line, Unix milliseconds; `None` for one that has none of ours.
pub(super) fn stamp_of(line: &[u8]) -> Option<i64> {
    mark(line).map(|mark| mark.ms)
}

/// Appends a recorded line to `out`, its stamp moved by `by` milliseconds.
pub(super) fn moved(out: &mut Vec<u8>, line: &[u8], by: i64) {
    let Some(mark) = mark(line).filter(|_| by != 0) else {
        out.extend_from_slice(line);
        return;
    };
    out.extend_from_slice(&line[..mark.block.start]);
    tag(out, &line[mark.source.clone()], mark.ms.saturating_add(by));
    out.extend_from_slice(&line[mark.block.end..]);
}

#[cfg(test)]
mod tests {
    use super::*;

    /// What is cut anywhere in two comes out the same.
    fn lines(bytes: &[u8]) -> Vec<String> {
        let cut = |at: usize| {
            let (mut lines, mut all) = (Lines::default(), Vec::new());
            let mut keep = |line: &[u8]| all.push(String::from_utf8_lossy(line).into_owned());
            lines.feed(&bytes[..at], &mut keep);
            lines.feed(&bytes[at..], &mut keep);
            lines.finish(&mut keep);
            all
        };
        let whole = cut(0);
        for at in 1..bytes.len() {
            assert_eq!(cut(at), whole, "cut at {at}");
        }
        whole
    }

    #[test]
    fn lines_come_out_as_they_came_in() {
        assert_eq!(lines(b"$A,1\r\n$B,2\r\n"), ["$A,1\r\n", "$B,2\r\n"]);
        assert_eq!(lines(b"$A,1\n\r\n\n$B"), ["$A,1\n", "$B\n"]);
        assert_eq!(lines(b"$A\r$B\r\n"), ["$A\r\n", "$B\r\n"]);
        assert_eq!(lines(b"x\0\0y\n"), ["x\x7f\x7fy\n"]);
        assert!(lines(b"\r\n\r\r\n").is_empty());
    }

    #[test]
    fn noise_stays_bounded_and_no_byte_of_it_is_lost() {
        let noise = vec![b'U'; 5 * LONGEST + 7];
        let parts = lines(&noise[..LONGEST + 9]);
        assert_eq!(parts.iter().map(String::len).collect::<Vec<_>>(), [LONGEST + 1, 10]);
        let (mut count, mut lines) = (0, Lines::default());
        lines.feed(&noise, &mut |line| count += line.len() - 1);
        lines.finish(&mut |line| count += line.len() - 1);
        assert_eq!(count, noise.len());
    }

    #[test]
    fn a_lone_cr_ends_a_line_when_nothing_follows() {
        let (mut all, mut lines) = (0, Lines::default());
        lines.feed(b"$A\r", &mut |_| all += 1);
        lines.settle(&mut |line| {
            assert_eq!(line, b"$A\r\n");
            all += 1;
        });
        lines.settle(&mut |_| all += 1);
        lines.feed(b"$B", &mut |_| all += 1);
        lines.settle(&mut |_| all += 1);
        assert_eq!(all, 1);
    }

    #[test]
    fn the_stamp_stands_before_the_first_start_character() {
        let stamped = |line: &[u8]| {
            let mut out = Vec::new();
            stamped(&mut out, "mast", 1_783_993_800_007, line);
            String::from_utf8(out).unwrap()
        };
        // The checksum is the exclusive or of what stands between the backslash and the star, computed apart:
        // python3 -c 'from functools import reduce; print("%02X" % reduce(lambda a,b:a^b, b"s:mast,c:1783993800007"))'
        let block = "\\s:mast,c:1783993800007*06\\";
        assert_eq!(stamped(b"$HCHDG,1*00\r\n"), format!("{block}$HCHDG,1*00\r\n"));
        assert_eq!(stamped(b"xx!AIVDM,\r\n"), format!("xx{block}!AIVDM,\r\n"));
        assert_eq!(stamped(b"\\g:1-2-3*hh\\$A\n"), format!("{block}\\g:1-2-3*hh\\$A\n"));
        assert_eq!(stamped(b"noise\n"), "noise\n");
    }

    #[test]
    fn a_stamp_is_moved_and_nothing_else() {
        let mut out = Vec::new();
        for line in [&b"$A\r\n"[..], b"n$A\r\n", b"noise\n", b"\\c:7*00\\$B\n"] {
            let (mut now, mut later) = (Vec::new(), Vec::new());
            stamped(&mut now, "a", 5_000, line);
            stamped(&mut later, "a", 7_500, line);
            out.clear();
            moved(&mut out, &now, 2_500);
            assert_eq!(out, later);
            assert_eq!(stamp_of(&now), (line != b"noise\n").then_some(5_000));
        }
        // What is not of ours is not touched.
        for other in [&b"\\s:a,c:5000*00\\$A\n"[..], b"\\c:5000*00\\$A\n", b"$A\n", b"\\s:", b"\\s:a,c:\\"] {
            out.clear();
            moved(&mut out, other, 1);
            assert_eq!(out, other);
        }
    }

    #[test]
    fn sources_are_named_each_once() {
        let names = |names: &[&str]| tag_names(&names.iter().map(|name| (*name).to_owned()).collect::<Vec<_>>());
        assert_eq!(names(&["mast", "gps 1"]), ["mast", "gps-1"]);
        assert_eq!(names(&["udp:0.0.0.0:10110"]), ["udp-0.0.0.0-101"]);
        let alike = names(&["tcp:192.168.4.1:10110", "tcp:192.168.4.1:10111", "a,b*\\", "a;b??", ""]);
        assert_eq!(alike[0], "tcp-192.168.4.1");
        for (at, name) in alike.iter().enumerate() {
            assert!(!name.is_empty() && name.len() <= LONGEST_SOURCE && !alike[..at].contains(name), "{alike:?}");
        }
    }
}
