//! Everything that is measured, each as one function from the bytes of a log to how many lines it read.

use std::hint::black_box;

use lubber_core::frame::ChecksumPolicy;
use lubber_core::frame::Framed;
use lubber_core::frame::Framer;
use lubber_core::sentence;

/// A way to read a log.
pub(crate) struct Reader {
    /// What it is called in the tables.
    pub(crate) name: &'static str,
    /// Reads it; returns how many lines were read, so that nobody wins by doing nothing.
    pub(crate) read: fn(&[u8]) -> usize,
}

/// The floor first; then ours; then the crates that are compared.
pub(crate) const READERS: [Reader; 6] = [
    Reader { name: "floor: split, XOR, compare", read: floor },
    Reader { name: "floor, split by memchr", read: floor_memchr },
    Reader { name: "lubber: framing", read: framing },
    Reader { name: "lubber: framing and decoding", read: decoding },
    Reader { name: "nmea-kit 0.8.9", read: nmea_kit },
    Reader { name: "nmea 0.8.0", read: nmea },
];

/// Where in [`READERS`] the bars are measured from.
pub(crate) const FLOOR: usize = 0;
/// The fastest crate that decodes all of the sentences.
pub(crate) const NMEA_KIT: usize = 4;

/// The least that anybody does who trusts no line: find it, add it up, compare.
fn floor(log: &[u8]) -> usize {
    log.split(|&byte| byte == b'\n').filter(|line| is_sound(line)).count()
}

fn floor_memchr(log: &[u8]) -> usize {
    let mut begin = 0;
    let mut sound = 0;
    for end in memchr::memchr_iter(b'\n', log) {
        sound += usize::from(is_sound(&log[begin..end]));
        begin = end + 1;
    }
    sound
}

fn is_sound(line: &[u8]) -> bool {
    match line {
        [b'$', text @ .., b'*', high, low, b'\r'] => {
            let sum = text.iter().fold(0, |sum, byte| sum ^ byte);
            hex(*high) << 4 | hex(*low) == sum
        }
        _ => false,
    }
}

fn hex(digit: u8) -> u8 {
    if digit <= b'9' { digit - b'0' } else { digit - b'A' + 10 }
}

fn framing(log: &[u8]) -> usize {
    let mut lines = 0;
    Framer::new(ChecksumPolicy::Required).feed(log, &mut |framed| {
        if let Framed::Line(line) = framed {
            black_box(&line);
            lines += 1;
        }
    });
    lines
}

fn decoding(log: &[u8]) -> usize {
    let mut lines = 0;
    Framer::new(ChecksumPolicy::Required).feed(log, &mut |framed| {
        if let Framed::Line(line) = framed {
            lines += usize::from(black_box(&sentence::decode(&line)).is_ok());
        }
    });
    lines
}

fn nmea_kit(log: &[u8]) -> usize {
    let text = std::str::from_utf8(log).unwrap();
    let read = |line: &&str| match nmea_kit::parse_frame(line) {
        Ok(frame) => {
            black_box(&nmea_kit::NmeaSentence::parse(&frame));
            true
        }
        Err(_) => false,
    };
    text.lines().filter(read).count()
}

/// It decodes no HDG, ROT and RSA; those lines it frames and checks only.
fn nmea(log: &[u8]) -> usize {
    let text = std::str::from_utf8(log).unwrap();
    let read = |line: &&str| match black_box(&nmea::parse_str(line)) {
        Ok(_) | Err(nmea::Error::Unsupported(_)) => true,
        Err(_) => false,
    };
    text.lines().filter(read).count()
}
