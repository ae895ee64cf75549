//! What is on the data line: bytes in, a tally of every talker and formatter and findings out.
//!
//! ```text
//! at, beat, value   a moment; how often a sentence comes; its main value and how far it leaps
//! tally, table      one talker and formatter; all of them
//! heading, dates    what headings claim and whether they stand still; what dates are worth
//! pairs             two talkers of one thing; wire: a source as a whole
//! finding, rules    what the owner should know, in plain sentences with the remedy
//! ```
//! Memory is bounded whatever comes in, and a sentence costs no allocation once its name is known.

mod at;
mod beat;
mod dates;
mod finding;
mod heading;
mod pairs;
mod rules;
mod table;
mod tally;
mod value;
mod wire;

#[cfg(test)]
mod tests;

pub use at::At;
pub use at::Length;
pub use finding::Finding;
pub use finding::Kind;
pub use finding::Level;
pub use rules::Around;
pub use table::Table;
pub use tally::Fault;
pub use tally::Stretch;
pub use tally::Tally;
pub use value::Leap;
pub use value::Unit;
pub use wire::Wire;

use lubber_core::angle::Bearing;
use lubber_core::frame::ChecksumPolicy;
use lubber_core::frame::Counts;
use lubber_core::frame::Formatter;
use lubber_core::frame::Framed;
use lubber_core::frame::Framer;
use lubber_core::frame::Line;
use lubber_core::frame::Refusal;
use lubber_core::frame::Refused;
use lubber_core::frame::Talker;
use lubber_core::picture::HeadingSettings;
use lubber_core::picture::LEAST_SPEED;
use lubber_core::picture::Picture;
use lubber_core::picture::SourceId;
use lubber_core::sentence;
use lubber_core::sentence::Decoded;
use lubber_core::sentence::Field;
use lubber_core::sentence::Sentence;
use lubber_core::time::Instant;
use lubber_core::time::Span;
use lubber_core::unit::Position;

use heading::Course;
use pairs::Beside;
use pairs::Receiver;
use pairs::Sensor;

/// Everything heard on the data line, taken in one pass.
#[derive(Debug)]
pub struct Survey {
    framers: Vec<Framer>,
    heard: Heard,
}

/// All but the framers, which hand their lines to it.
#[derive(Debug)]
struct Heard {
    wires: Vec<Wire>,
    table: Table,
    picture: Picture,
    /// When the picture is to be stepped next.
    next_step: Instant,
    receivers: Beside<Receiver, Position>,
    sensors: Beside<Sensor, Bearing>,
    /// Places in the table that carry a heading.
    headings: Vec<usize>,
    /// The talker of courses that stillness is judged against: the first one heard.
    course_by: Option<usize>,
    course: Course,
    last_position: Option<(At, Position)>,
    end: At,
    /// Up to when the values of each source are not compared.
    blind_until: [Instant; SourceId::MAX],
}

/// How far from a break in the log's time values are not compared.
const BLIND: Span = Span::from_s(10);
/// The picture is stepped once in each of these.
const STEP: Span = Span::from_ms(500);

impl Survey {
    /// A survey of as many sources as there are `policies`.
    pub fn new(policies: &[ChecksumPolicy], headings: HeadingSettings) -> Self {
        let framers = policies.iter().take(SourceId::MAX).map(|policy| Framer::new(*policy)).collect::<Vec<_>>();
        Self {
            heard: Heard {
                wires: vec![Wire::default(); framers.len()],
                table: Table::new(),
                picture: Picture::new(Instant::default(), headings),
                next_step: Instant::default(),
                receivers: Beside::default(),
                sensors: Beside::default(),
                headings: Vec::new(),
                course_by: None,
                course: Course::default(),
                last_position: None,
                end: At::default(),
                blind_until: [Instant::default(); SourceId::MAX],
            },
            framers,
        }
    }

    /// Bytes of `source` came at `at`; times do not go back. Bytes of an unknown source are passed over.
    #[inline]
    pub fn bytes(&mut self, at: At, source: SourceId, input: &[u8]) {
        let heard = &mut self.heard;
        heard.reach(at);
        let index = usize::from(source.0);
        let (Some(framer), Some(wire)) = (self.framers.get_mut(index), heard.wires.get_mut(index)) else { return };
        wire.bytes(at, input, framer.counts().sentences);
        framer.feed(input, &mut |framed| heard.take(at, source, framed));
    }

    /// Time has passed.
    pub fn tick(&mut self, at: At) {
        self.heard.reach(at);
    }

    /// The time of `source` breaks off at `now` and goes on elsewhere: which of the lines near it lie
    /// before and which behind is not known, so their values are not compared.
    pub fn break_in(&mut self, now: Instant, source: SourceId) {
        if let Some(until) = self.heard.blind_until.get_mut(usize::from(source.0)) {
            *until = now + BLIND;
        }
    }

    /// The stream of `source` has ended for good: a line that is still open is refused.
    pub fn finish(&mut self, source: SourceId) {
        let at = self.heard.end;
        let heard = &mut self.heard;
        if let Some(framer) = self.framers.get_mut(usize::from(source.0)) {
            framer.finish(&mut |framed| heard.take(at, source, framed));
        }
    }

    /// The byte account of `source`.
    pub fn counts(&self, source: SourceId) -> Counts {
        self.framers.get(usize::from(source.0)).map(|framer| *framer.counts()).unwrap_or_default()
    }

    /// Bytes of `source` that begin a line whose end has not come.
    pub fn pending(&self, source: SourceId) -> u64 {
        self.framers.get(usize::from(source.0)).map_or(0, Framer::pending)
    }

    /// Every source, in the order of its number.
    pub fn wires(&self) -> &[Wire] {
        &self.heard.wires
    }

    /// Every talker and formatter.
    pub fn table(&self) -> &Table {
        &self.heard.table
    }

    /// When the first bytes came.
    pub fn begin(&self) -> Option<At> {
        let begin =
            self.heard.wires.iter().filter_map(|wire| wire.heard).map(|(first, _)| first).min_by_key(|at| at.now)?;
        Some(self.dated(begin))
    }

    /// `at` with its UTC, also where that became known only later: a column of times is of one kind.
    pub fn dated(&self, at: At) -> At {
        // A live line tells the UTC only after a while; what was before it is known from then on.
        let end = self.end();
        let since = i64::try_from(end.now.since(at.now).as_ms()).unwrap_or(0);
        At { utc_ms: at.utc_ms.or(end.utc_ms.map(|utc_ms| utc_ms.saturating_sub(since))), ..at }
    }

    /// The time of day of `at`, as [`At::clock`] says it, by [`dated`](Self::dated).
    pub fn clock(&self, at: At) -> String {
        self.dated(at).clock()
    }

    /// Up to when it was listened.
    pub fn end(&self) -> At {
        self.heard.end
    }

    /// UTC as the talkers gave it last, milliseconds since 1970, and when it was received.
    pub fn utc(&self) -> Option<(i64, Instant)> {
        self.heard.picture.utc()
    }

    /// What the owner should know, what calls for action first.
    pub fn findings(&self, around: &Around) -> Vec<Finding> {
        rules::all(self, around)
    }
}

impl Heard {
    #[inline]
    fn reach(&mut self, at: At) {
        if at.now >= self.next_step {
            self.next_step = at.now + STEP;
            self.picture.step(at.now, true);
        }
        self.end = at;
    }

    #[inline]
    fn take(&mut self, at: At, source: SourceId, framed: Framed<'_>) {
        let silence = self.wires[usize::from(source.0)].line(at);
        let line = match framed {
            Framed::Line(line) => line,
            Framed::Refused(refused) => return self.refused(at, source, &refused),
        };
        let Some(place) = self.table.place(source, line.talker(), line.formatter(), false) else { return };
        let tally = self.table.at(place);
        tally.line(&line);
        match sentence::decode(&line) {
            Ok(decoded) => {
                let compare = at.now >= self.blind_until[source.index()];
                tally.sentence(at, &line, &decoded, silence, compare);
                self.sentence(at, source, place, &line, &decoded);
            }
            Err(malformed) => tally.malformed(&line, malformed),
        }
    }

    #[cold]
    fn refused(&mut self, at: At, source: SourceId, refused: &Refused<'_>) {
        self.wires[usize::from(source.0)].refused(at, refused);
        if let (Refusal::ChecksumWrong, Some((talker, formatter))) = (refused.reason, name(refused.raw))
            && let Some(place) = self.table.place(source, talker, formatter, true)
        {
            self.table.at(place).spoilt(refused.raw);
        }
    }

    #[inline]
    fn sentence(&mut self, at: At, source: SourceId, place: usize, line: &Line<'_>, decoded: &Decoded<'_>) {
        let sentence = &decoded.sentence;
        self.picture.take(at.now, source, line, sentence);
        let tally = self.table.at(place);
        let (talker, formatter) = (tally.talker, tally.formatter);
        match sentence {
            Sentence::Hdg(_) | Sentence::Hdm(_) | Sentence::Hdt(_) | Sentence::Ths(_) | Sentence::Vhw(_) => {
                if let Some(heading) = tally.claims.take(at, sentence) {
                    tally.still.heading(at, heading);
                    if !self.headings.contains(&place) {
                        self.headings.push(place);
                    }
                    self.sensors.heading(at, (source, talker, formatter), heading);
                }
            }
            Sentence::Rmc(rmc) => {
                tally.claims.take(at, sentence);
                tally.dates.take(at, sentence);
                self.position(at, (source, talker), rmc.position);
                let fast = rmc.speed.known().is_some_and(|speed| speed >= LEAST_SPEED);
                self.course(place, rmc.course.known().filter(|_| fast).map(|course| course.0));
            }
            Sentence::Vtg(vtg) => {
                let fast = vtg.speed.known().is_some_and(|speed| speed >= LEAST_SPEED);
                self.course(place, vtg.course.known().filter(|_| fast).map(|course| course.0));
            }
            Sentence::Zda(_) => tally.dates.take(at, sentence),
            Sentence::Gga(gga) => self.position(at, (source, talker), gga.position),
            Sentence::Gll(gll) => self.position(at, (source, talker), gll.position),
            Sentence::Gns(gns) => self.position(at, (source, talker), gns.position),
            _ => {}
        }
    }

    #[inline]
    fn position(&mut self, at: At, receiver: Receiver, position: Field<Position>) {
        let Field::Known(position) = position else { return };
        self.last_position = Some((at, position));
        self.receivers.position(at, receiver, position);
    }

    #[inline]
    fn course(&mut self, place: usize, course: Option<Bearing>) {
        if *self.course_by.get_or_insert(place) != place {
            return;
        }
        if let Some(course) = self.course.take(course) {
            for &heading in &self.headings {
                self.table.at(heading).still.course(course);
            }
        }
    }
}

/// The talker and formatter that `raw` bears, if it bears any.
fn name(raw: &[u8]) -> Option<(Talker, Formatter)> {
    match *raw {
        [b'$' | b'!', b'P', c, d, e, ..] if all_name(&[c, d, e]) => Some((Talker(*b"P "), Formatter([c, d, e]))),
        [b'$' | b'!', a, b, c, d, e, b',', ..] if all_name(&[a, b, c, d, e]) => {
            Some((Talker([a, b]), Formatter([c, d, e])))
        }
        _ => None,
    }
}

fn all_name(bytes: &[u8]) -> bool {
    bytes.iter().all(|byte| byte.is_ascii_uppercase() || byte.is_ascii_digit())
}
