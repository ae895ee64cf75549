//! Bytes from the wire as they may be shown: they are never trusted with a terminal.

use std::fmt::Write;

/// `bytes` as text: printable ASCII as it is, a backslash doubled, every other byte as `\x1b`.
pub fn escaped(bytes: &[u8]) -> String {
    let mut text = String::with_capacity(bytes.len());
    for &byte in bytes {
        match byte {
            b'\\' => text.push_str("\\\\"),
            b' '..=b'~' => text.push(char::from(byte)),
            // Writing to a String cannot fail.
            _ => {
                let _ = write!(text, "\\x{byte:02x}");
            }
        }
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_steers_the_terminal_and_nothing_is_ambiguous() {
        assert_eq!(escaped(b"$HCHDG,1\x1b[2J\xff\\"), r"$HCHDG,1\x1b[2J\xff\\");
        let all: Vec<u8> = (0..=255).collect();
        assert!(escaped(&all).bytes().all(|b| (b' '..=b'~').contains(&b)));
    }
}
