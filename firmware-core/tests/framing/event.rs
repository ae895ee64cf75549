//! What a framer delivers, owned, so that whole runs can be compared.

use lubber_core::frame::Checksum;
use lubber_core::frame::ChecksumPolicy;
use lubber_core::frame::Counts;
use lubber_core::frame::Framed;
use lubber_core::frame::Framer;
use lubber_core::frame::Refusal;
use lubber_core::frame::Start;
use lubber_core::frame::Tag;

#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) enum Event {
    Line { tag: Tag, start: Start, raw: Vec<u8>, address: Vec<u8>, body: Option<Vec<u8>>, checksum: Checksum },
    Refused { reason: Refusal, raw: Vec<u8>, bytes: u32 },
}

impl Event {
    pub(crate) fn refused(reason: Refusal, raw: &[u8]) -> Self {
        Self::Refused { reason, raw: raw.to_vec(), bytes: u32::try_from(raw.len()).unwrap() }
    }

    pub(crate) fn refused_bytes(&self) -> Option<u64> {
        match self {
            Self::Line { .. } => None,
            Self::Refused { bytes, .. } => Some(u64::from(*bytes)),
        }
    }

    pub(crate) fn reason(&self) -> Option<Refusal> {
        match self {
            Self::Line { .. } => None,
            Self::Refused { reason, .. } => Some(*reason),
        }
    }
}

impl From<Framed<'_>> for Event {
    fn from(framed: Framed<'_>) -> Self {
        match framed {
            Framed::Line(line) => Self::Line {
                tag: line.tag,
                start: line.start,
                raw: line.raw.to_vec(),
                address: line.address.to_vec(),
                body: line.body.map(<[u8]>::to_vec),
                checksum: line.checksum,
            },
            Framed::Refused(refused) => {
                Self::Refused { reason: refused.reason, raw: refused.raw.to_vec(), bytes: refused.bytes }
            }
        }
    }
}

/// Events, counts and pending bytes of a stream fed in one piece, its end included.
pub(crate) fn feed_whole(stream: &[u8], policy: ChecksumPolicy) -> (Vec<Event>, Counts, u64) {
    feed_chopped(stream, policy, std::iter::once(stream.len()))
}

/// The same of a stream fed in pieces of the given lengths, then the rest. The byte account is
/// checked after each piece.
pub(crate) fn feed_chopped(
    stream: &[u8],
    policy: ChecksumPolicy,
    lengths: impl Iterator<Item = usize>,
) -> (Vec<Event>, Counts, u64) {
    let mut framer = Framer::new(policy);
    let mut events = Vec::new();
    let mut rest = stream;
    let mut lengths = lengths;
    while !rest.is_empty() {
        let (piece, after) = rest.split_at(lengths.next().unwrap_or(rest.len()).min(rest.len()));
        framer.feed(piece, &mut |framed| events.push(Event::from(framed)));
        check_account(&framer, stream.len() - after.len());
        rest = after;
    }
    framer.finish(&mut |framed| events.push(Event::from(framed)));
    check_account(&framer, stream.len());
    (events, *framer.counts(), framer.pending())
}

fn check_account(framer: &Framer, fed: usize) {
    let counts = framer.counts();
    assert_eq!(counts.bytes_in, fed as u64);
    assert_eq!(
        counts.bytes_in,
        counts.sentence_bytes + counts.refused_bytes + counts.between + framer.pending(),
        "{counts:?}"
    );
}
