//! What a bad line does to sentences.

use super::chance::Chance;

/// A sentence after a noisy line: some bits flipped, a byte lost, or its end cut off.
///
/// The eighth bit stays 0, as NMEA 0183 has it on the wire, so the log stays plain text.
pub(crate) fn noise(line: &[u8], chance: &mut Chance) -> Vec<u8> {
    let mut damaged = line.to_vec();
    let body = damaged.len().saturating_sub(2).max(1) as u64;
    match chance.below(4) {
        0 => {
            damaged.remove(chance.below(body) as usize);
        }
        1 => {
            let keep = chance.below(body) as usize;
            damaged.truncate(keep);
            damaged.extend_from_slice(b"\r\n");
        }
        _ => {
            for _ in 0..=chance.below(3) {
                let at = chance.below(body) as usize;
                damaged[at] ^= 1 << chance.below(7);
            }
        }
    }
    damaged
}

/// A burst of any bytes at all, as a talker at another speed makes them.
pub(crate) fn garbage(chance: &mut Chance) -> Vec<u8> {
    let length = 20 + chance.below(60) as usize;
    let mut burst: Vec<u8> = (0..length).map(|_| chance.below(256) as u8).collect();
    burst.extend_from_slice(b"\r\n");
    burst
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn noise_changes_the_line_and_keeps_it_seven_bits_wide() {
        let line = b"$HCHDG,98.3,0.1,E,12.6,W*56\r\n";
        let mut chance = Chance::new(1, 1);
        let (mut same, mut shorter) = (0, 0);
        for _ in 0..1000 {
            let damaged = noise(line, &mut chance);
            assert!(damaged.is_ascii() && damaged.ends_with(b"\r\n"));
            same += u32::from(damaged == line);
            shorter += u32::from(damaged.len() < line.len());
        }
        // The same bit flipped twice mends itself: once in about 800 lines.
        assert!(same <= 10, "{same}");
        assert!((400..=600).contains(&shorter), "{shorter}");
    }
}
