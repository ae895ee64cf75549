//! Byte soups: noise rich in what a framer stumbles over, and good sentences among it.

use lubber_core::frame::ChecksumPolicy;
use proptest::collection::vec;
use proptest::prelude::*;
use proptest::sample::select;

pub(crate) fn policy() -> impl Strategy<Value = ChecksumPolicy> {
    select(vec![ChecksumPolicy::Required, ChecksumPolicy::Optional, ChecksumPolicy::Ignored])
}

/// Piece lengths, many of them short.
pub(crate) fn cuts() -> impl Strategy<Value = Vec<usize>> {
    vec(prop_oneof![1usize..5, 1usize..40, 1usize..300], 0..40)
}

/// A stream of pieces.
pub(crate) fn stream() -> impl Strategy<Value = Vec<u8>> {
    vec(piece(), 0..24).prop_map(|pieces| pieces.concat())
}

fn piece() -> impl Strategy<Value = Vec<u8>> {
    prop_oneof![
        6 => good_sentence(),
        4 => select(vec![&b"\r\n"[..], b"\n", b"\r", b"", b" 12:00 "]).prop_map(<[u8]>::to_vec),
        3 => good_sentence().prop_flat_map(|s| { let n = s.len(); (Just(s), 0..n, any::<u8>()) }).prop_map(damaged),
        2 => good_sentence().prop_flat_map(|s| { let n = s.len(); (Just(s), 0..n) }).prop_map(|(s, n)| s[..n].to_vec()),
        2 => good_sentence().prop_map(|s| [&s[..s.len() - 3], b"\n"].concat()),
        3 => pairs().prop_map(|pairs| tag_block(&pairs).into_bytes()),
        1 => pairs().prop_map(|pairs| format!("\\{pairs}*00\\").into_bytes()),
        1 => pairs().prop_map(|pairs| format!("\\{pairs}").into_bytes()),
        3 => vec(select(b"$!\\*,:c0aF\r\nP\x00\x1f\x7f\x80~ ".to_vec()), 1..12),
        1 => vec(any::<u8>(), 1..40),
        1 => ("[$!]", "[A-Z0-9]{1,6}", "[ -#%-)+-\\[\\]-~]{0,280}", "(\\*[0-9a-fA-F]{2})?")
            .prop_map(|(start, address, body, sum)| format!("{start}{address},{body}{sum}").into_bytes()),
        1 => (0usize..270).prop_map(|n| format!("\\s:{}", "x".repeat(n)).into_bytes()),
        1 => (230usize..270).prop_map(|n| tag_block(&format!("c:7,s:{}", "x".repeat(n))).into_bytes()),
        1 => (230usize..260).prop_map(|n| sealed('$', &format!("HCXDR,{}", "1".repeat(n)))),
    ]
}

/// A whole sentence with its right checksum and no line end.
pub(crate) fn good_sentence() -> impl Strategy<Value = Vec<u8>> {
    let address = prop_oneof!["[A-Z][A-Z0-9]HDG", "[A-Z0-9]{5}", "P[A-Z]{3,5}"];
    (select(vec!['$', '!']), address, "(,[ -#%-)+-\\[\\]-~]{0,90})?", any::<bool>()).prop_map(
        |(start, address, body, upper)| {
            let text = format!("{address}{}", body.replace('!', "."));
            let line = sealed(start, &text);
            // Lower-case hex is as good; the digits are the last two bytes.
            let (text, sum) = line.split_at(line.len() - 2);
            let sum = if upper { sum.to_ascii_uppercase() } else { sum.to_ascii_lowercase() };
            [text, &sum].concat()
        },
    )
}

fn sealed(start: char, text: &str) -> Vec<u8> {
    format!("{start}{text}*{:02X}", xor(text)).into_bytes()
}

/// A TAG block with its right checksum.
pub(crate) fn tag_block(pairs: &str) -> String {
    format!("\\{pairs}*{:02x}\\", xor(pairs))
}

fn pairs() -> impl Strategy<Value = String> {
    let pair = prop_oneof![
        4 => "c:[1-9][0-9]{0,12}",
        2 => "s:[a-zA-Z0-9_]{1,15}",
        1 => "[a-z]{1,2}:[a-z0-9]{0,6}",
        1 => select(vec!["".to_string(), "c:".into(), "c:x".into(), "c1".into(), ":5".into(), "c:-3".into()]),
    ];
    vec(pair, 1..4).prop_map(|pairs| pairs.join(","))
}

fn damaged((mut sentence, at, byte): (Vec<u8>, usize, u8)) -> Vec<u8> {
    sentence[at] = byte;
    sentence
}

fn xor(text: &str) -> u8 {
    text.bytes().fold(0, |sum, byte| sum ^ byte)
}
