//! The obvious slow framer: the whole stream at hand, positions instead of states, one rule after another.

use lubber_core::frame::Checksum;
use lubber_core::frame::ChecksumPolicy;
use lubber_core::frame::Counts;
use lubber_core::frame::Refusal;
use lubber_core::frame::Start;
use lubber_core::frame::Tag;

use super::event::Event;

const MOST: usize = 256;

pub(crate) struct Framing {
    pub(crate) events: Vec<Event>,
    pub(crate) counts: Counts,
}

/// How what begins at a start character ends: where, and as what.
enum End {
    /// A sentence up to `end`, its `*` at `star`.
    Sentence { end: usize, star: Option<usize> },
    /// A sound TAG block up to `end`.
    Block { end: usize, tag: Tag },
    /// Nothing good up to `end`.
    Fault { end: usize, reason: Refusal },
}

pub(crate) fn frame(stream: &[u8], policy: ChecksumPolicy) -> Framing {
    let mut framing = Framing { events: Vec::new(), counts: Counts::default() };
    framing.counts.bytes_in = stream.len() as u64;
    let mut at = 0;
    // Where the group of TAG blocks begins that reaches up to `at`, its last block, and what it says.
    let mut group: Option<(usize, usize, Tag)> = None;
    while at < stream.len() {
        let begin = group.map_or(at, |(begin, ..)| begin);
        let tag = group.map_or(Tag::default(), |(.., tag)| tag);
        if !is_start(stream[at]) {
            match group.take() {
                Some((_, last, _)) => framing.refuse(Refusal::TagAlone, &stream[last..at], at - begin),
                None => {
                    framing.counts.between += 1;
                    at += 1;
                }
            }
            continue;
        }
        let end = if stream[at] == b'\\' { block(stream, at) } else { sentence(stream, at) };
        match end {
            End::Block { end, tag: more } => {
                let merged = Tag { unix_ms: tag.unix_ms.or(more.unix_ms) };
                group = Some((begin, at, merged));
                at = end;
                continue;
            }
            End::Sentence { end, star } => {
                framing.sentence(&stream[at..end], star.map(|star| star - at), tag, end - begin, policy);
                at = end;
            }
            // One backslash by itself is not worth a refusal.
            End::Fault { end, .. } if group.is_none() && is_lone_backslash(stream, at) => {
                framing.counts.between += 1;
                assert!(end <= at + 2);
                at += 1;
            }
            End::Fault { end, reason } => {
                framing.refuse(reason, &stream[at..end], end - begin);
                at = end;
            }
        }
        group = None;
    }
    if let Some((begin, last, _)) = group {
        framing.refuse(Refusal::Unfinished, &stream[last..], stream.len() - begin);
    }
    framing
}

fn sentence(stream: &[u8], at: usize) -> End {
    let mut star = None;
    for here in at + 1.. {
        let Some(&byte) = stream.get(here) else { return End::Fault { end: here, reason: Refusal::Unfinished } };
        if is_start(byte) {
            return End::Fault { end: here, reason: Refusal::Interrupted };
        }
        if byte == b'\r' || byte == b'\n' {
            return match star {
                Some(_) => End::Fault { end: here, reason: Refusal::ChecksumMalformed },
                None => End::Sentence { end: here, star },
            };
        }
        if here - at == MOST {
            return End::Fault { end: here, reason: Refusal::TooLong };
        }
        match star {
            Some(_) if char::from(byte).to_digit(16).is_none() => {
                return End::Fault { end: here + 1, reason: Refusal::ChecksumMalformed };
            }
            Some(star) if here == star + 2 => return End::Sentence { end: here + 1, star: Some(star) },
            Some(_) => {}
            None if byte == b'*' => star = Some(here),
            None if !(b' '..=b'~').contains(&byte) => {
                return End::Fault { end: here + 1, reason: Refusal::Unprintable };
            }
            None => {}
        }
    }
    unreachable!("a line has an end")
}

fn block(stream: &[u8], at: usize) -> End {
    for here in at + 1.. {
        let Some(&byte) = stream.get(here) else { return End::Fault { end: here, reason: Refusal::Unfinished } };
        if byte == b'\\' && here - at < MOST {
            return match content(&stream[at + 1..here]) {
                Ok(tag) => End::Block { end: here + 1, tag },
                Err(reason) => End::Fault { end: here, reason },
            };
        }
        if byte == b'$' || byte == b'!' {
            return End::Fault { end: here, reason: Refusal::Interrupted };
        }
        if byte == b'\r' || byte == b'\n' {
            return End::Fault { end: here, reason: Refusal::TagMalformed };
        }
        if here - at == MOST {
            return End::Fault { end: here, reason: Refusal::TooLong };
        }
        if !(b' '..=b'~').contains(&byte) {
            return End::Fault { end: here + 1, reason: Refusal::Unprintable };
        }
    }
    unreachable!("a block has an end")
}

/// Reads a TAG block as text, with the standard library's numbers; whole numbers only, which is
/// all the soups hold.
fn content(content: &[u8]) -> Result<Tag, Refusal> {
    let text = std::str::from_utf8(content).unwrap();
    let (pairs, sum) = text.split_once('*').ok_or(Refusal::TagChecksum)?;
    let digits = sum.len() == 2 && sum.chars().all(|c| c.is_ascii_hexdigit());
    if !digits || u8::from_str_radix(sum, 16).ok() != Some(xor(pairs.as_bytes())) {
        return Err(Refusal::TagChecksum);
    }
    let mut tag = Tag::default();
    for pair in pairs.split(',') {
        let (key, value) = pair.split_once(':').ok_or(Refusal::TagMalformed)?;
        if key.is_empty() {
            return Err(Refusal::TagMalformed);
        }
        if key == "c" {
            let number = i64::try_from(value.parse::<u64>().map_err(|_| Refusal::TagMalformed)?).unwrap();
            let ms = if number >= 100_000_000_000 { number } else { number * 1000 };
            tag.unix_ms = tag.unix_ms.or(Some(ms));
        }
    }
    Ok(tag)
}

impl Framing {
    fn sentence(&mut self, raw: &[u8], star: Option<usize>, tag: Tag, bytes: usize, policy: ChecksumPolicy) {
        let text = &raw[1..star.unwrap_or(raw.len())];
        let (address, body) = match text.iter().position(|&byte| byte == b',') {
            Some(comma) => (&text[..comma], Some(text[comma + 1..].to_vec())),
            None => (text, None),
        };
        let name = |bytes: &[u8]| bytes.iter().all(|b| b.is_ascii_digit() || b.is_ascii_uppercase());
        let maker = address.len() >= 4 && address[0] == b'P' && name(&address[1..4]);
        if !(maker || address.len() == 5 && name(address)) {
            return self.refuse(Refusal::NoAddress, raw, bytes);
        }
        let stated = star.map(|star| u8::from_str_radix(std::str::from_utf8(&raw[star + 1..]).unwrap(), 16).unwrap());
        let checksum = match stated {
            None => Checksum::Missing,
            Some(stated) if stated == xor(text) => Checksum::Right,
            Some(_) => Checksum::Wrong,
        };
        match (checksum, policy) {
            (Checksum::Missing, ChecksumPolicy::Required) => self.refuse(Refusal::ChecksumMissing, raw, bytes),
            (Checksum::Wrong, ChecksumPolicy::Required | ChecksumPolicy::Optional) => {
                self.refuse(Refusal::ChecksumWrong, raw, bytes);
            }
            _ => {
                let start = if raw[0] == b'$' { Start::Parametric } else { Start::Encapsulated };
                self.counts.sentences += 1;
                self.counts.sentence_bytes += bytes as u64;
                self.counts.overlong += u64::from(raw.len() > 80);
                let (raw, address) = (raw.to_vec(), address.to_vec());
                self.events.push(Event::Line { tag, start, raw, address, body, checksum });
            }
        }
    }

    fn refuse(&mut self, reason: Refusal, raw: &[u8], bytes: usize) {
        self.counts.refused_bytes += bytes as u64;
        self.counts.refused[Refusal::ALL.iter().position(|&r| r == reason).unwrap()] += 1;
        self.events.push(Event::Refused { reason, raw: raw.to_vec(), bytes: u32::try_from(bytes).unwrap() });
    }
}

fn is_start(byte: u8) -> bool {
    b"$!\\".contains(&byte)
}

fn is_lone_backslash(stream: &[u8], at: usize) -> bool {
    let printable = |&next: &u8| (b' '..=b'~').contains(&next) && !is_start(next);
    stream[at] == b'\\' && !stream.get(at + 1).is_some_and(printable)
}

fn xor(bytes: &[u8]) -> u8 {
    bytes.iter().fold(0, |sum, byte| sum ^ byte)
}
