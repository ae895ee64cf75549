//! The framer: a byte stream chopped anywhere in, lines and refusals out.

use heapless::Vec;

use crate::frame::Checksum;
use crate::frame::Counts;
use crate::frame::Line;
use crate::frame::Refusal;
use crate::frame::Refused;
use crate::frame::Tag;
use crate::frame::scan;

/// What a source's checksums must be.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub enum ChecksumPolicy {
    /// There and right. The default.
    #[default]
    Required,
    /// Right where there; a missing one passes.
    Optional,
    /// Not looked at: a wrong one and a missing one pass, and so do damaged lines.
    Ignored,
}

/// One thing the framer found.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Framed<'a> {
    /// A line that may be read.
    Line(Line<'a>),
    /// Bytes that began as a line and are none.
    Refused(Refused<'a>),
}

/// Finds lines in a byte stream; one for each source.
#[derive(Clone, Debug)]
pub struct Framer {
    policy: ChecksumPolicy,
    counts: Counts,
    state: State,
    /// The open line or TAG block from its start character on; in `AfterTag`, the closed TAG block.
    held: Vec<u8, { Framer::CAPACITY }>,
}

/// Where in a line the stream stands; drawn in the module's documentation.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum State {
    /// No line is open: nothing but a start character is looked at.
    Idle,
    /// In a sentence; `star` is where in it the `*` stands, if it has come.
    Inside { tags: Tags, star: Option<usize> },
    /// In a TAG block.
    InTag { tags: Tags },
    /// Right behind a sound TAG block.
    AfterTag { tags: Tags },
}

/// The sound TAG blocks that stand before a line, taken together.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Tags {
    tag: Tag,
    bytes: u64,
}

/// A checksum as it stands in a line: where its `*` is, and whether the digits agree.
#[derive(Clone, Copy)]
struct Sum {
    star: usize,
    right: bool,
}

impl Framer {
    /// The longest line or TAG block that is held, in bytes.
    pub const CAPACITY: usize = 256;

    /// A framer at rest, waiting for a start character.
    pub const fn new(policy: ChecksumPolicy) -> Self {
        Self { policy, counts: Counts::NONE, state: State::Idle, held: Vec::new() }
    }

    /// Takes the next bytes of the stream and delivers what they complete, in order.
    ///
    /// However the stream is chopped into calls, the events and counts are the same. Memory and the
    /// time for each byte are bounded whatever the bytes are.
    pub fn feed(&mut self, input: &[u8], out: &mut impl FnMut(Framed<'_>)) {
        self.counts.bytes_in += input.len() as u64;
        let mut rest = input;
        loop {
            rest = match self.state {
                State::Idle => self.in_place(Tags::NONE, rest, out),
                State::AfterTag { tags } => self.in_place(tags, rest, out),
                State::Inside { .. } | State::InTag { .. } => rest,
            };
            let Some((&byte, after)) = rest.split_first() else { return };
            self.step(byte, out);
            rest = after;
        }
    }

    /// The stream has ended: what is still open is delivered as [`Refusal::Unfinished`], whatever
    /// the policy, for it may have been cut. A line without its line end is complete only by its
    /// checksum.
    pub fn finish(&mut self, out: &mut impl FnMut(Framed<'_>)) {
        match self.state {
            State::Idle => {}
            State::InTag { tags } if self.is_lone_backslash(tags) => self.pass_over(),
            _ => self.refuse(Refusal::Unfinished, out),
        }
    }

    /// The byte account so far.
    pub const fn counts(&self) -> &Counts {
        &self.counts
    }

    /// Bytes received that are neither delivered nor counted yet.
    pub fn pending(&self) -> u64 {
        match self.state {
            State::Idle => 0,
            State::Inside { tags, .. } | State::InTag { tags } => tags.bytes + self.held.len() as u64,
            State::AfterTag { tags } => tags.bytes,
        }
    }

    /// The checksum policy in force.
    pub const fn policy(&self) -> ChecksumPolicy {
        self.policy
    }

    /// Takes lines that lie complete in `rest` from where they lie, without copying or stepping.
    /// Returns where the state machine has to go on. For the events it makes no difference whether
    /// this takes a line or the state machine does.
    #[inline]
    fn in_place<'a>(&mut self, tags: Tags, rest: &'a [u8], out: &mut impl FnMut(Framed<'_>)) -> &'a [u8] {
        let (mut tags, mut rest) = (tags, rest);
        loop {
            if tags.bytes == 0 {
                let gap = scan::gap(rest);
                self.counts.between += gap as u64;
                rest = rest.get(gap..).unwrap_or_default();
            }
            match self.whole(tags, rest, out) {
                Some((more, after)) => (tags, rest) = (more, after),
                None => break,
            }
        }
        // With tags taken here a start character follows, and the state machine is about to see it.
        self.state = if tags.bytes == 0 { State::Idle } else { State::AfterTag { tags } };
        rest
    }

    /// Takes one line or TAG block that `input` begins with; `None` where it is not all there or
    /// is anything but clean.
    #[inline]
    fn whole<'a>(&mut self, tags: Tags, input: &'a [u8], out: &mut impl FnMut(Framed<'_>)) -> Option<(Tags, &'a [u8])> {
        let (&first, text) = input.split_first()?;
        if !scan::is_start(first) {
            return None;
        }
        if first == b'\\' {
            if let Some(taken) = stamp(tags, input) {
                return Some(taken);
            }
        }
        let (plain, xor) = scan::plain(text, Self::CAPACITY);
        let star = plain + 1;
        let (end, sum) = match input.get(star..)? {
            [b'*', high, low, ..] => (star + 3, Some(Sum { star, right: scan::agrees(*high, *low, xor)? })),
            [b'\r' | b'\n', ..] => (star, None),
            _ => return None,
        };
        if end > Self::CAPACITY {
            return None;
        }
        let (line, after) = input.split_at_checked(end)?;
        if first == b'\\' {
            // A sound block that a sentence or another block follows at once.
            let [b'\\', after @ ..] = after else { return None };
            let sound = sum.is_some_and(|sum| sum.right) && end < Self::CAPACITY;
            if !sound || !after.first().is_some_and(|&next| scan::is_start(next)) {
                return None;
            }
            let tag = Tag::pairs(text.get(..plain)?).ok()?;
            return Some((tags.and(tag, end + 1), after));
        }
        complete(self.policy, &mut self.counts, tags, line, sum, out);
        Some((Tags::NONE, after))
    }

    /// One byte through the state machine.
    fn step(&mut self, byte: u8, out: &mut impl FnMut(Framed<'_>)) {
        match self.state {
            State::Idle => self.begin(byte, Tags::NONE),
            State::AfterTag { tags } if scan::is_start(byte) => self.begin(byte, tags),
            State::AfterTag { .. } => {
                self.refuse(Refusal::TagAlone, out);
                self.begin(byte, Tags::NONE);
            }
            State::Inside { tags, star } => self.inside(byte, tags, star, out),
            State::InTag { tags } => self.in_tag(byte, tags, out),
        }
    }

    /// One byte while nothing is open but the TAG blocks in `tags`.
    fn begin(&mut self, byte: u8, tags: Tags) {
        self.state = match byte {
            b'$' | b'!' => State::Inside { tags, star: None },
            b'\\' => State::InTag { tags },
            _ => {
                self.counts.between += 1;
                State::Idle
            }
        };
        self.held.clear();
        if scan::is_start(byte) {
            self.hold(byte);
        }
    }

    /// One byte in a sentence.
    fn inside(&mut self, byte: u8, tags: Tags, star: Option<usize>, out: &mut impl FnMut(Framed<'_>)) {
        let length = self.held.len();
        match (byte, star) {
            (b'$' | b'!' | b'\\', _) => self.refuse_before(byte, Refusal::Interrupted, out),
            (b'\r' | b'\n', None) => {
                self.complete(tags, None, out);
                self.begin(byte, Tags::NONE);
            }
            (b'\r' | b'\n', Some(_)) => self.refuse_before(byte, Refusal::ChecksumMalformed, out),
            _ if self.held.is_full() => self.refuse_before(byte, Refusal::TooLong, out),
            (_, Some(_)) if !byte.is_ascii_hexdigit() => self.refuse_with(byte, Refusal::ChecksumMalformed, out),
            (_, Some(star)) => {
                self.hold(byte);
                if length == star + 2 {
                    self.complete(tags, Some(star), out);
                }
            }
            (_, None) if !scan::is_printable(byte) => self.refuse_with(byte, Refusal::Unprintable, out),
            (_, None) => {
                self.hold(byte);
                if byte == b'*' {
                    self.state = State::Inside { tags, star: Some(length) };
                }
            }
        }
    }

    /// One byte in a TAG block.
    fn in_tag(&mut self, byte: u8, tags: Tags, out: &mut impl FnMut(Framed<'_>)) {
        match byte {
            _ if self.is_lone_backslash(tags) && (scan::is_start(byte) || !scan::is_printable(byte)) => {
                self.pass_over();
                self.begin(byte, Tags::NONE);
            }
            b'\\' if !self.held.is_full() => match Tag::sealed(self.held.get(1..).unwrap_or_default()) {
                Ok(tag) => {
                    self.hold(byte);
                    self.state = State::AfterTag { tags: tags.and(tag, self.held.len()) };
                }
                Err(reason) => self.refuse_before(byte, reason, out),
            },
            b'$' | b'!' => self.refuse_before(byte, Refusal::Interrupted, out),
            b'\r' | b'\n' => self.refuse_before(byte, Refusal::TagMalformed, out),
            _ if self.held.is_full() => self.refuse_before(byte, Refusal::TooLong, out),
            _ if !scan::is_printable(byte) => self.refuse_with(byte, Refusal::Unprintable, out),
            _ => self.hold(byte),
        }
    }

    /// Whether all that is open is one backslash: what the closing one of a refused block leaves.
    fn is_lone_backslash(&self, tags: Tags) -> bool {
        tags.bytes == 0 && self.held.len() == 1
    }

    /// Counts what is held as between lines, without a refusal.
    fn pass_over(&mut self) {
        self.counts.between += self.held.len() as u64;
        self.held.clear();
        self.state = State::Idle;
    }

    /// Holds one more byte; every caller has made sure that there is room.
    fn hold(&mut self, byte: u8) {
        let pushed = self.held.push(byte);
        debug_assert!(pushed.is_ok(), "a line is refused before it outgrows what is held");
    }

    /// The held sentence is complete.
    fn complete(&mut self, tags: Tags, star: Option<usize>, out: &mut impl FnMut(Framed<'_>)) {
        let raw = self.held.as_slice();
        let sum = star.map(|star| {
            let text = raw.get(1..star).unwrap_or_default();
            let right = match raw.get(star..) {
                Some(&[_, high, low]) => scan::hex(high, low) == Some(scan::exclusive_or(text)),
                _ => false,
            };
            Sum { star, right }
        });
        complete(self.policy, &mut self.counts, tags, raw, sum, out);
        self.held.clear();
        self.state = State::Idle;
    }

    /// Refuses what is open; `byte` comes after it.
    fn refuse_before(&mut self, byte: u8, reason: Refusal, out: &mut impl FnMut(Framed<'_>)) {
        self.refuse(reason, out);
        self.begin(byte, Tags::NONE);
    }

    /// Refuses what is open; `byte` is the last of it.
    fn refuse_with(&mut self, byte: u8, reason: Refusal, out: &mut impl FnMut(Framed<'_>)) {
        self.hold(byte);
        self.refuse(reason, out);
    }

    fn refuse(&mut self, reason: Refusal, out: &mut impl FnMut(Framed<'_>)) {
        let bytes = self.pending();
        refuse(&mut self.counts, reason, &self.held, bytes, out);
        self.held.clear();
        self.state = State::Idle;
    }
}

/// The usual TAG block that `input` begins with, if a sentence or another block follows at once.
#[inline]
fn stamp(tags: Tags, input: &[u8]) -> Option<(Tags, &[u8])> {
    let unix_ms = Tag::stamp(input)?;
    let after = input.get(Tag::STAMP_LENGTH..)?;
    let follows = after.first().is_some_and(|&next| scan::is_start(next));
    follows.then(|| (tags.and(Tag { unix_ms: Some(unix_ms) }, Tag::STAMP_LENGTH), after))
}

/// A sentence is complete: checks it, counts it and delivers it.
#[inline]
fn complete(
    policy: ChecksumPolicy,
    counts: &mut Counts,
    tags: Tags,
    raw: &[u8],
    sum: Option<Sum>,
    out: &mut impl FnMut(Framed<'_>),
) {
    let bytes = tags.bytes + raw.len() as u64;
    let (checksum, refusal) = match sum {
        Some(Sum { right: true, .. }) => (Checksum::Right, None),
        Some(_) if policy == ChecksumPolicy::Ignored => (Checksum::Wrong, None),
        Some(_) => (Checksum::Wrong, Some(Refusal::ChecksumWrong)),
        None if policy == ChecksumPolicy::Required => (Checksum::Missing, Some(Refusal::ChecksumMissing)),
        None => (Checksum::Missing, None),
    };
    let star = sum.map_or(raw.len(), |sum| sum.star);
    let Some(line) = Line::cut(tags.tag, raw, star, checksum) else {
        return refuse(counts, Refusal::NoAddress, raw, bytes, out);
    };
    if let Some(reason) = refusal {
        return refuse(counts, reason, raw, bytes, out);
    }
    counts.sentences += 1;
    counts.sentence_bytes += bytes;
    counts.overlong += u64::from(line.is_overlong());
    out(Framed::Line(line));
}

#[cold]
fn refuse(counts: &mut Counts, reason: Refusal, raw: &[u8], bytes: u64, out: &mut impl FnMut(Framed<'_>)) {
    counts.refused_bytes += bytes;
    if let Some(count) = counts.refused.get_mut(reason as usize) {
        *count += 1;
    }
    out(Framed::Refused(Refused { reason, raw, bytes: u32::try_from(bytes).unwrap_or(u32::MAX) }));
}

impl Tags {
    const NONE: Self = Self { tag: Tag::NONE, bytes: 0 };

    /// These and one more block of `bytes` bytes.
    fn and(self, tag: Tag, bytes: usize) -> Self {
        Self { tag: self.tag.or(tag), bytes: self.bytes + bytes as u64 }
    }
}
