//! What may be sent: the five sentences about alerts, and by type nothing else.
//!
//! An [`Outgoing`] can be made only here, and only from an [`Announcement`]. There is no function that
//! formats a sentence from its name and fields, so that nothing in this program can steer. Field order as
//! in E. S. Raymond's *NMEA Revealed*, pynmeagps 1.1.8 and go-nmea; the paid standard was not seen.

use core::fmt;
use core::fmt::Write;

use heapless::Vec;

use crate::frame::Talker;
use crate::unit::TimeOfDay;

/// Most characters of a sentence, with `$` and CR LF.
const LONGEST: usize = 82;
/// `*hh` CR LF.
const TAIL: usize = 5;
/// Most characters of the text in a first ALF.
pub const TITLE: usize = 16;
/// Most entries in one ALC.
pub const ENTRIES: usize = 3;

/// One sentence that may be sent, complete with checksum and line end.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Outgoing(Vec<u8, LONGEST>);

impl Outgoing {
    /// Its bytes.
    pub fn as_bytes(&self) -> &[u8] {
        &self.0
    }
}

/// What can be announced.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Announcement<'a> {
    /// ALF: the state of one alert; two sentences where there is a text beside the title.
    Alert(AlertReport<'a>),
    /// ALC: a part of the list of alerts that are not normal.
    List(AlertList<'a>),
    /// ARC: an alert command is refused.
    Refusal(Refusal<'a>),
    /// ALR: the state of one alarm, for older listeners.
    Alarm(AlarmReport<'a>),
    /// HBT: the watch is alive.
    Heartbeat(Heartbeat),
}

/// What names an alert.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct AlertId<'a> {
    /// The maker's three letters; empty without a registered code.
    pub manufacturer: &'a str,
    /// Which alert.
    pub alert: u32,
    /// Which of several, from 1.
    pub instance: u32,
}

/// The priority letter of ALF.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum PriorityLetter {
    /// `A`.
    Alarm,
    /// `W`.
    Warning,
    /// `C`.
    Caution,
}

/// The state letter of ALF.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum StateLetter {
    /// `V`.
    Unacknowledged,
    /// `S`.
    Silenced,
    /// `A`; also a caution that stands (from memory).
    Acknowledged,
    /// `U`.
    RectifiedUnacknowledged,
    /// `N`.
    Normal,
}

/// The state of one alert.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct AlertReport<'a> {
    /// 0 to 9, the same in both sentences.
    pub sequence: u8,
    /// UTC of the last change, where it is known.
    pub time: Option<TimeOfDay>,
    /// How urgent.
    pub priority: PriorityLetter,
    /// How it stands.
    pub state: StateLetter,
    /// Which.
    pub id: AlertId<'a>,
    /// 1 to 99.
    pub revision: u8,
    /// 0 to 9.
    pub escalations: u8,
    /// Its title, cut at 16 characters in the first sentence.
    pub title: &'a str,
    /// More about it, cut to what a second sentence holds; empty: only where the title was cut is
    /// there a second one, with the whole title.
    pub text: &'a str,
}

/// A part of the list of alerts.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct AlertList<'a> {
    /// How many sentences the list takes.
    pub total: u8,
    /// Which this is, from 1.
    pub number: u8,
    /// 0 to 99, the same in all of them.
    pub sequence: u8,
    /// The alerts and their revisions; the first [`ENTRIES`] are sent, as far as they fit.
    pub entries: &'a [(AlertId<'a>, u8)],
}

/// The refusal of an alert command.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Refusal<'a> {
    /// UTC, where it is known.
    pub time: Option<TimeOfDay>,
    /// The alert that was named.
    pub id: AlertId<'a>,
    /// Whether an instance was named at all.
    pub instance_named: bool,
    /// The command's letter.
    pub command: char,
}

/// The state of one alarm.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct AlarmReport<'a> {
    /// UTC of the last change, where it is known.
    pub time: Option<TimeOfDay>,
    /// Which, three digits.
    pub alarm: u32,
    /// Whether it stands.
    pub exceeded: bool,
    /// Whether somebody has answered.
    pub acknowledged: bool,
    /// More about it, cut to what the sentence holds.
    pub text: &'a str,
}

/// A sign of life.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Heartbeat {
    /// When the next one follows, milliseconds.
    pub interval_ms: u32,
    /// Whether all is in order.
    pub healthy: bool,
    /// 0 to 9.
    pub sequence: u8,
}

impl Announcement<'_> {
    /// Makes its sentences, one or two.
    pub fn sentences(&self, talker: Talker, out: &mut impl FnMut(Outgoing)) {
        match *self {
            Self::Alert(report) => report.sentences(talker, out),
            Self::List(list) => out(list.sentence(talker)),
            Self::Refusal(refusal) => out(refusal.sentence(talker)),
            Self::Alarm(alarm) => out(alarm.sentence(talker)),
            Self::Heartbeat(beat) => out(beat.sentence(talker)),
        }
    }
}

impl AlertReport<'_> {
    fn sentences(&self, talker: Talker, out: &mut impl FnMut(Outgoing)) {
        let cut = self.title.chars().nth(TITLE).is_some();
        let more = if self.text.is_empty() && cut { self.title } else { self.text };
        let total = if more.is_empty() { 1 } else { 2 };
        let (priority, state) = (self.priority.letter(), self.state.letter());
        let mut first = Draft::new(talker, *b"ALF");
        first.put(format_args!(",{total},1,{},{},B,{priority},{state},", self.sequence % 10, Clock(self.time)));
        self.name(&mut first);
        first.text(self.title, TITLE);
        out(first.finish());
        if total == 2 {
            let mut second = Draft::new(talker, *b"ALF");
            second.put(format_args!(",2,2,{},,,,,", self.sequence % 10));
            self.name(&mut second);
            second.text(more, LONGEST);
            out(second.finish());
        }
    }

    fn name(&self, draft: &mut Draft) {
        let revision = self.revision.clamp(1, 99);
        draft.letters(self.id.manufacturer);
        let AlertId { alert, instance, .. } = self.id;
        draft.put(format_args!(",{alert:03},{instance},{revision},{},", self.escalations.min(9)));
    }
}

impl AlertList<'_> {
    fn sentence(&self, talker: Talker) -> Outgoing {
        let (total, number, sequence) = (self.total.min(99), self.number.min(99), self.sequence % 100);
        let head = |count: usize| {
            let mut draft = Draft::new(talker, *b"ALC");
            draft.put(format_args!(",{total:02},{number:02},{sequence:02},{count:02}"));
            draft
        };
        let listed = |entries: &[(AlertId<'_>, u8)]| {
            let mut draft = head(entries.len());
            let fit = entries.iter().all(|(id, revision)| {
                draft.put(format_args!(","));
                draft.letters(id.manufacturer);
                draft.put(format_args!(",{:02},{:02},{:02}", id.alert, id.instance, revision.clamp(&1, &99)))
            });
            if fit { Some(draft.finish()) } else { None }
        };
        // Our own numbers fit three times; longer ones are listed as far as they go, never in part.
        let most = self.entries.len().min(ENTRIES);
        (0..=most).rev().find_map(|count| listed(self.entries.get(..count)?)).unwrap_or_else(|| head(0).finish())
    }
}

impl Refusal<'_> {
    fn sentence(&self, talker: Talker) -> Outgoing {
        let mut draft = Draft::new(talker, *b"ARC");
        draft.put(format_args!(",{},", Clock(self.time)));
        draft.letters(self.id.manufacturer);
        draft.put(format_args!(",{:03},", self.id.alert));
        if self.instance_named {
            draft.put(format_args!("{}", self.id.instance));
        }
        draft.put(format_args!(","));
        if self.command.is_ascii_uppercase() {
            draft.put(format_args!("{}", self.command));
        }
        draft.finish()
    }
}

impl AlarmReport<'_> {
    fn sentence(&self, talker: Talker) -> Outgoing {
        let status = |yes| if yes { 'A' } else { 'V' };
        let mut draft = Draft::new(talker, *b"ALR");
        let (exceeded, acknowledged) = (status(self.exceeded), status(self.acknowledged));
        draft.put(format_args!(",{},{:03},{exceeded},{acknowledged},", Clock(self.time), self.alarm));
        draft.text(self.text, LONGEST);
        draft.finish()
    }
}

impl Heartbeat {
    fn sentence(&self, talker: Talker) -> Outgoing {
        let mut draft = Draft::new(talker, *b"HBT");
        let (whole, tenths) = (self.interval_ms / 1000, self.interval_ms % 1000 / 100);
        draft.put(format_args!(",{whole}"));
        if tenths > 0 {
            draft.put(format_args!(".{tenths}"));
        }
        draft.put(format_args!(",{},{}", if self.healthy { 'A' } else { 'V' }, self.sequence % 10));
        draft.finish()
    }
}

impl PriorityLetter {
    const fn letter(self) -> char {
        match self {
            Self::Alarm => 'A',
            Self::Warning => 'W',
            Self::Caution => 'C',
        }
    }
}

impl StateLetter {
    const fn letter(self) -> char {
        match self {
            Self::Unacknowledged => 'V',
            Self::Silenced => 'S',
            Self::Acknowledged => 'A',
            Self::RectifiedUnacknowledged => 'U',
            Self::Normal => 'N',
        }
    }
}

/// `hhmmss`, with hundredths where there are some; empty where it is not known.
struct Clock(Option<TimeOfDay>);

impl fmt::Display for Clock {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Some(time) = self.0 else { return Ok(()) };
        let (s, hundredths) = (time.as_ms() / 1000, time.as_ms() % 1000 / 10);
        write!(f, "{:02}{:02}{:02}", s / 3600, s / 60 % 60, s % 60)?;
        if hundredths > 0 { write!(f, ".{hundredths:02}") } else { Ok(()) }
    }
}

/// A sentence that is being made; what would not fit is left out whole.
struct Draft(Vec<u8, LONGEST>);

impl Draft {
    fn new(talker: Talker, formatter: [u8; 3]) -> Self {
        let mut draft = Self(Vec::new());
        draft.push(b"$");
        for byte in talker.0 {
            // Whatever is no letter of a talker would break the frame.
            draft.push(&[if byte.is_ascii_uppercase() || byte.is_ascii_digit() { byte } else { b'X' }]);
        }
        draft.push(&formatter);
        draft
    }

    /// Takes `bytes` if they fit before the checksum; whether they did.
    fn push(&mut self, bytes: &[u8]) -> bool {
        self.0.len() + bytes.len() <= LONGEST - TAIL && self.0.extend_from_slice(bytes).is_ok()
    }

    /// Takes fields if they fit, all of them or none; whether they did.
    fn put(&mut self, fields: fmt::Arguments<'_>) -> bool {
        let before = self.0.len();
        let fits = self.write_fmt(fields).is_ok();
        if !fits {
            self.0.truncate(before);
        }
        fits
    }

    /// A maker's letters: three at the most.
    fn letters(&mut self, letters: &str) {
        for byte in letters.bytes().filter(u8::is_ascii_alphanumeric).take(3) {
            self.push(&[byte.to_ascii_uppercase()]);
        }
    }

    /// Text, at most `most` characters of it and as many as fit. Reserved characters and those of ISO
    /// 8859-1 beyond ASCII are written as `^hh` (*NMEA Revealed*), others as `?`.
    fn text(&mut self, text: &str, most: usize) {
        for c in text.chars().take(most) {
            let fits = match u8::try_from(u32::from(c)) {
                Ok(byte @ 0x20..=0x7e) if !b"$*,!\\^~".contains(&byte) => self.push(&[byte]),
                Ok(byte) => self.push(&[b'^', hex(byte >> 4), hex(byte & 15)]),
                Err(_) => self.push(b"?"),
            };
            if !fits {
                return;
            }
        }
    }

    fn finish(mut self) -> Outgoing {
        let sum = self.0.iter().skip(1).fold(0, |sum, byte| sum ^ byte);
        // The room for it was kept free.
        let _ = self.0.extend_from_slice(&[b'*', hex(sum >> 4), hex(sum & 15), b'\r', b'\n']);
        Outgoing(self.0)
    }
}

impl Write for Draft {
    fn write_str(&mut self, text: &str) -> fmt::Result {
        if self.push(text.as_bytes()) { Ok(()) } else { Err(fmt::Error) }
    }
}

const fn hex(nibble: u8) -> u8 {
    if nibble < 10 { b'0' + nibble } else { b'A' - 10 + nibble }
}
