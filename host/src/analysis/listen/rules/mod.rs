//! The rules that make findings: what is so, why it matters, what to do.
//!
//! `line` is about bytes and checksums, `talker` about any sentence, `heading` and `kin` about headings,
//! `receiver` about positions and dates, `missing` about what is not there.

mod heading;
mod kin;
mod line;
mod missing;
mod receiver;
mod talker;

use lubber_core::frame::ChecksumPolicy;
use lubber_core::monitor::DeviationRule;
use lubber_core::picture::Name;
use lubber_core::picture::SourceId;

use super::Finding;
use super::Kind;
use super::Survey;
use super::Tally;

/// What is known beside the data line.
#[derive(Clone, Debug, Default)]
pub struct Around {
    /// The sources by name, in the order of their numbers.
    pub sources: Vec<String>,
    /// What their checksums must be.
    pub policies: Vec<ChecksumPolicy>,
    /// Whether there is a card, and whose it is if it says so.
    pub card: Option<Option<Name>>,
    /// Which deviation counts.
    pub deviation: DeviationRule,
    /// Today, Unix milliseconds, as far as the machine knows.
    pub today_ms: Option<i64>,
    /// Whether it was live.
    pub live: bool,
    /// Whether the input has no time at all.
    pub untimed: bool,
}

/// Findings of one kind about sentences, at most.
const OF_A_KIND: usize = 6;
/// In a log of so many sentences, names that came so seldom are damage.
const GHOST_LOG: u64 = 500;
const SELDOM: u64 = 3;
/// So are names that another talker outdoes so many times.
const GHOST_SHARE: u64 = 100;

pub(super) fn all(survey: &Survey, around: &Around) -> Vec<Finding> {
    let tallies = survey.table().sorted();
    let total = tallies.iter().map(|tally| tally.read + tally.malformed).sum();
    let about = About { survey, around, tallies, total };
    let mut findings = Vec::new();
    line::rules(&about, &mut findings);
    talker::rules(&about, &mut findings);
    heading::rules(&about, &mut findings);
    kin::rules(&about, &mut findings);
    receiver::rules(&about, &mut findings);
    missing::rules(&about, &mut findings);
    findings.sort_by_key(|finding| (finding.level, finding.kind));
    let mut kinds: Vec<(Kind, usize)> = Vec::new();
    findings.retain(|finding| {
        let place = kinds.iter().position(|(kind, _)| *kind == finding.kind).unwrap_or_else(|| {
            kinds.push((finding.kind, 0));
            kinds.len() - 1
        });
        kinds[place].1 += 1;
        kinds[place].1 <= OF_A_KIND
    });
    findings
}

/// What the rules look at.
struct About<'a> {
    survey: &'a Survey,
    around: &'a Around,
    tallies: Vec<&'a Tally>,
    /// Sentences in all.
    total: u64,
}

impl<'a> About<'a> {
    /// The tallies that say enough to be judged, and are no ghosts.
    fn steady(&self) -> impl Iterator<Item = &'a Tally> + '_ {
        self.tallies.iter().copied().filter(|tally| tally.read >= 3 && !self.is_ghost(tally))
    }

    /// Whether it is a name that damage made: hardly ever there in a long log, or a hundred times less often
    /// than the same formatter of another talker.
    fn is_ghost(&self, tally: &Tally) -> bool {
        let readable = |tally: &Tally| tally.read + tally.malformed;
        let seldom = self.total >= GHOST_LOG && readable(tally) <= SELDOM;
        let outdone = |other: &&Tally| {
            other.source == tally.source
                && other.formatter == tally.formatter
                && readable(other) > readable(tally).saturating_mul(GHOST_SHARE)
        };
        readable(tally) > 0 && (seldom || self.tallies.iter().any(outdone))
    }

    /// The headings: not VHW, which is a log that may repeat one.
    fn headings(&self) -> impl Iterator<Item = &'a Tally> + '_ {
        self.steady().filter(|tally| is_heading(tally) && tally.claims.headings > 0)
    }

    fn several_sources(&self) -> bool {
        self.around.sources.len() > 1
    }

    /// A name, with its source where there are several.
    fn name(&self, tally: &Tally) -> String {
        self.named(tally.source, &tally.name())
    }

    fn named(&self, source: SourceId, name: &str) -> String {
        match self.around.sources.get(usize::from(source.0)).filter(|_| self.several_sources()) {
            Some(from) => format!("{name} on {from}"),
            None => name.to_owned(),
        }
    }

    /// The source, as the subject of a sentence.
    fn source(&self, source: SourceId) -> &str {
        self.around.sources.get(usize::from(source.0)).map_or("the source", String::as_str)
    }

    /// ` of gps.nmea` where there are several sources, else nothing.
    fn of_source(&self, source: SourceId) -> String {
        if self.several_sources() { format!(" of {}", self.source(source)) } else { String::new() }
    }

    fn sources(&self) -> impl Iterator<Item = SourceId> + use<> {
        let count = u8::try_from(self.survey.wires().len()).unwrap_or(u8::MAX);
        (0..count).map(SourceId)
    }
}

/// Whether it is a heading's own sentence.
fn is_heading(tally: &Tally) -> bool {
    matches!(&tally.formatter.0, b"HDG" | b"HDM" | b"HDT" | b"THS") && !tally.is_proprietary()
}

/// Whether it is a satellite receiver's.
fn is_receiver(tally: &Tally) -> bool {
    matches!(&tally.formatter.0, b"RMC" | b"VTG" | b"GGA" | b"GLL" | b"GNS") && !tally.is_proprietary()
}

/// Whether the watch looks at it.
fn is_watched(tally: &Tally) -> bool {
    is_heading(tally)
        || is_receiver(tally)
        || (matches!(&tally.formatter.0, b"ROT" | b"RSA") && !tally.is_proprietary())
}

/// A part as a person reads it: `4.8 %`, `0.02 %`, `all`.
fn percent(part: u64, whole: u64) -> String {
    let percent = part as f64 * 100.0 / whole.max(1) as f64;
    match percent {
        p if p >= 99.95 => "100 %".to_owned(),
        p if p >= 10.0 => format!("{p:.0} %"),
        p if p >= 0.1 => format!("{p:.1} %"),
        p => format!("{p:.2} %"),
    }
}

/// `A`, `A and B`, `A, B and C`; at most six, and how many more.
fn listed(names: &[String]) -> String {
    const SHOWN: usize = 6;
    match names {
        [] => String::new(),
        [one] => one.clone(),
        [most @ .., last] if names.len() <= SHOWN => format!("{} and {last}", most.join(", ")),
        _ => format!("{} and {} more", names[..SHOWN - 1].join(", "), names.len() - SHOWN + 1),
    }
}

/// `once`, `twice`, `7 times`.
fn times(count: u64) -> String {
    match count {
        1 => "once".to_owned(),
        2 => "twice".to_owned(),
        more => format!("{} times", grouped(more)),
    }
}

/// A count by thousands: `5 000 008`; its blanks do not break.
fn grouped(count: u64) -> String {
    let digits = count.to_string();
    let mut out = String::with_capacity(digits.len() * 4 / 3 + 2);
    for (place, digit) in digits.chars().enumerate() {
        if place > 0 && (digits.len() - place).is_multiple_of(3) {
            out.push('\u{a0}');
        }
        out.push(digit);
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words() {
        assert_eq!(
            [(1, 3), (48, 1000), (1, 7000), (7, 7)].map(|(a, b)| percent(a, b)),
            ["33 %", "4.8 %", "0.01 %", "100 %"]
        );
        let names: Vec<String> = ('A'..='H').map(String::from).collect();
        let counts = [0, 999, 1_000, 5_000_008].map(grouped);
        assert_eq!(counts, ["0", "999", "1\u{a0}000", "5\u{a0}000\u{a0}008"]);
        assert_eq!(times(37_456), "37\u{a0}456 times");
        assert_eq!(listed(&names[..1]), "A");
        assert_eq!(listed(&names[..3]), "A, B and C");
        assert_eq!(listed(&names[..6]), "A, B, C, D, E and F");
        assert_eq!(listed(&names), "A, B, C, D, E and 3 more");
    }
}
