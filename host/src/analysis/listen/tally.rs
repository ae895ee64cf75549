//! What is known of one talker and formatter on one source.

use lubber_core::frame::Checksum;
use lubber_core::frame::Formatter;
use lubber_core::frame::Line;
use lubber_core::frame::Start;
use lubber_core::frame::Talker;
use lubber_core::picture::SourceId;
use lubber_core::sentence::Decoded;
use lubber_core::sentence::Malformed;
use lubber_core::time::Span;

use super::At;
use super::beat::Beat;
use super::dates::Dates;
use super::heading::Claims;
use super::heading::Stillness;
use super::value::Leap;
use super::value::Main;
use super::value::Value;

/// One talker and formatter on one source.
#[derive(Clone, Debug)]
pub struct Tally {
    /// On which source.
    pub source: SourceId,
    /// Who.
    pub talker: Talker,
    /// What.
    pub formatter: Formatter,
    /// Whether it begins with `!`.
    pub encapsulated: bool,
    /// Sentences that could be read.
    pub read: u64,
    /// Sentences whose main value could not be used.
    pub malformed: u64,
    /// Lines refused for a wrong checksum that bear this name.
    pub spoilt: u64,
    /// Fields that were there but could not be used, in sentences that could be read.
    pub unusable: u64,
    /// Sentences longer than the standard allows.
    pub overlong: u64,
    /// Sentences whose main value the talker itself marks as not to be used.
    pub void: u64,
    /// Sentences whose main value is empty.
    pub empty: u64,
    /// When the first that could be read came.
    pub first: At,
    /// When the last that could be read came.
    pub last: At,
    /// How often they come.
    pub beat: Beat,
    /// The longest time between two.
    pub gap: Option<Stretch>,
    /// The longest such time counted without the silence of the whole source.
    pub own_gap: Option<Stretch>,
    /// How often it was silent for [`PAUSE`](Self::PAUSE) or more, and longer than its beat explains, counted the same way.
    pub pauses: u64,
    /// The greatest difference of the main value from one to the next.
    pub leap: Option<(Leap, At)>,
    /// How often a direction leapt by more than 45 degrees within 1.5 s.
    pub wild: u64,
    /// The longest time without a usable main value, from sentences that came.
    pub without: Option<Stretch>,
    /// Unusable main values, by field.
    pub faults: Vec<Fault>,
    /// The first line with an unusable field.
    pub unusable_example: Option<Vec<u8>>,
    /// Its checksums.
    pub sums: Sums,
    /// What HDG and RMC say of variation and deviation, and with how many digits.
    pub claims: Claims,
    /// How long a heading stood still.
    pub still: Stillness,
    /// The dates it says.
    pub dates: Dates,
    /// Since when there is no usable main value.
    without_since: Option<At>,
    value: Option<(At, Value)>,
    /// The silence of the whole source when the last one came.
    silence: Span,
}

/// A length of time and where it begins.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Stretch {
    /// Where it begins.
    pub from: At,
    /// How long it is.
    pub length: Span,
}

/// A main value that could not be used.
#[derive(Clone, Debug)]
pub struct Fault {
    /// Which field and why.
    pub malformed: Malformed,
    /// How often.
    pub count: u64,
    /// The first line, as it came.
    pub example: Vec<u8>,
}

/// The checksums of one talker and formatter: a broken talker sends always the same.
#[derive(Clone, Copy, Debug, Default)]
pub struct Sums {
    /// The first one.
    pub digits: [u8; 2],
    /// Lines with the same.
    pub same: u64,
    /// Lines with another.
    pub other: u64,
    /// Lines where it is wrong, whether refused or let pass.
    pub wrong: u64,
}

/// Values further apart in time than this say nothing of a leap.
const LEAP_WITHIN: Span = Span::from_s(10);
/// A direction that leaps by more than this from one value to the next...
pub(super) const WILD_DEG: i64 = 45;
/// ...within this is no boat that turns: 30 degrees a second. Common practice, no source.
pub(super) const AT_ONCE: Span = Span::from_ms(1500);
/// Most kinds of unusable main values that are told apart.
const FAULTS: usize = 4;

impl Tally {
    /// A silence that a watch tells of: a heading is stale after 3 s or four usual intervals, and at once lost.
    pub const PAUSE: Span = Span::from_s(5);

    pub(super) fn new(source: SourceId, talker: Talker, formatter: Formatter) -> Self {
        Self {
            source,
            talker,
            formatter,
            encapsulated: false,
            read: 0,
            malformed: 0,
            spoilt: 0,
            unusable: 0,
            overlong: 0,
            void: 0,
            empty: 0,
            first: At::default(),
            last: At::default(),
            beat: Beat::default(),
            gap: None,
            own_gap: None,
            pauses: 0,
            leap: None,
            wild: 0,
            without: None,
            faults: Vec::new(),
            unusable_example: None,
            sums: Sums::default(),
            claims: Claims::default(),
            still: Stillness::default(),
            dates: Dates::default(),
            without_since: None,
            value: None,
            silence: Span::ZERO,
        }
    }

    /// The name: `HCHDG`; of a maker's own sentence `P` and the maker's letters.
    pub fn name(&self) -> String {
        format!("{}{}", self.talker, self.formatter)
    }

    /// Whether it is a maker's own sentence.
    pub fn is_proprietary(&self) -> bool {
        self.talker.0 == *b"P "
    }

    /// Lines of this name, read or not.
    pub fn lines(&self) -> u64 {
        self.read + self.malformed + self.spoilt
    }

    /// Lines of this name that could not be read.
    pub fn bad(&self) -> u64 {
        self.malformed + self.spoilt
    }

    /// A line was framed.
    #[inline]
    pub(super) fn line(&mut self, line: &Line<'_>) {
        if line.checksum != Checksum::Missing {
            self.sums.take(line.raw, line.checksum == Checksum::Wrong);
        }
        self.encapsulated |= line.start == Start::Encapsulated;
        self.overlong += u64::from(line.is_overlong());
    }

    /// It could be read. `silence` is that of the whole source so far; `compare` whether its time lets
    /// its value be compared with the one before.
    #[inline]
    pub(super) fn sentence(&mut self, at: At, line: &Line<'_>, decoded: &Decoded<'_>, silence: Span, compare: bool) {
        if decoded.unusable > 0 {
            self.unusable += u64::from(decoded.unusable);
            self.unusable_example.get_or_insert_with(|| line.raw.to_vec());
        }
        if self.read == 0 {
            self.first = at;
        } else {
            let interval = at.now.since(self.last.now);
            self.beat.take(interval);
            self.pause(interval, silence);
        }
        self.read += 1;
        self.last = at;
        self.silence = silence;
        match Main::of(&decoded.sentence) {
            Main::Value(value) => self.value(at, value, compare),
            Main::Void => {
                self.void += 1;
                self.without_since.get_or_insert(at);
            }
            Main::Empty => {
                self.empty += 1;
                self.without_since.get_or_insert(at);
            }
            Main::None => {}
        }
    }

    #[inline]
    fn pause(&mut self, interval: Span, silence: Span) {
        let longer = |longest: Option<Stretch>, length: Span| longest.is_none_or(|longest| length > longest.length);
        if longer(self.gap, interval) {
            self.gap = Some(Stretch { from: self.last, length: interval });
        }
        let others = Span::from_ms(silence.as_ms() - self.silence.as_ms());
        let own = Span::from_ms(interval.as_ms().saturating_sub(others.as_ms()));
        if longer(self.own_gap, own) {
            self.own_gap = Some(Stretch { from: self.last, length: own });
        }
        if own >= Self::PAUSE && own >= self.beat.gap_from() {
            self.pauses += 1;
        }
    }

    #[inline]
    fn value(&mut self, at: At, value: Value, compare: bool) {
        if let Some(from) = self.without_since.take() {
            let length = at.now.since(from.now);
            if self.without.is_none_or(|longest| length > longest.length) {
                self.without = Some(Stretch { from, length });
            }
        }
        if let Some((before, old)) = self.value.filter(|(before, _)| compare && at.now.since(before.now) <= LEAP_WITHIN)
            && let Some(leap) = old.leap_to(value)
        {
            if self.leap.is_none_or(|(greatest, _)| leap.thousandths > greatest.thousandths) {
                self.leap = Some((leap, at));
            }
            let is_direction = matches!(value, Value::Direction(_));
            if is_direction && leap.thousandths > WILD_DEG * 1000 && at.now.since(before.now) <= AT_ONCE {
                self.wild += 1;
            }
        }
        self.value = Some((at, value));
    }

    /// It was framed, but its main value cannot be used.
    #[cold]
    pub(super) fn malformed(&mut self, line: &Line<'_>, malformed: Malformed) {
        self.malformed += 1;
        if let Some(fault) = self.faults.iter_mut().find(|fault| fault.malformed == malformed) {
            fault.count += 1;
        } else if self.faults.len() < FAULTS {
            self.faults.push(Fault { malformed, count: 1, example: line.raw.to_vec() });
        }
    }

    /// A line of this name was refused for its checksum.
    #[cold]
    pub(super) fn spoilt(&mut self, raw: &[u8]) {
        self.spoilt += 1;
        self.sums.take(raw, true);
    }

    /// The longest time without a usable main value, one that lasts to `end` counted.
    pub fn longest_without(&self, end: At) -> Option<Stretch> {
        let open = self.without_since.map(|from| Stretch { from, length: end.now.since(from.now) });
        match (self.without, open) {
            (Some(a), Some(b)) => Some(if b.length > a.length { b } else { a }),
            (a, b) => a.or(b),
        }
    }

    /// The part of the sentences that carries no usable main value.
    pub fn share_without(&self) -> f64 {
        (self.void + self.empty) as f64 / self.read.max(1) as f64
    }
}

impl Sums {
    /// One more checksum: the last two characters of `raw`.
    #[inline]
    fn take(&mut self, raw: &[u8], wrong: bool) {
        let Some(&digits) = raw.last_chunk::<2>() else { return };
        self.wrong += u64::from(wrong);
        if self.same == 0 {
            self.digits = digits;
        }
        if self.digits == digits {
            self.same += 1;
        } else {
            self.other += 1;
        }
    }
}
