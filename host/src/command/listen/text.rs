//! What was heard, as text for people.

use lubber_core::frame::ChecksumPolicy;
use lubber_core::frame::Refusal;
use lubber_core::picture::SourceId;

use super::Heard;
use crate::analysis::listen::Finding;
use crate::analysis::listen::Leap;
use crate::analysis::listen::Length;
use crate::analysis::listen::Level;
use crate::analysis::listen::Tally;
use crate::analysis::listen::Unit;
use crate::view::number::Count;
use crate::view::text::Row;
use crate::view::text::Tone;
use crate::view::text::wrap;
use crate::view::wire::escaped;

/// In a log of this many sentences, names that came [`SELDOM`] times or less share one row.
const LONG_LOG: u64 = 500;
const SELDOM: u64 = 3;
/// Most lines that could not be used are shown, one of each kind.
const EXAMPLES: usize = 12;

/// All that was heard.
pub(super) fn rows(heard: &Heard<'_>, width: usize) -> Vec<Row> {
    let mut rows = head(heard, width);
    for source in sources(heard) {
        rows.extend(table(heard, source, width));
    }
    rows.extend(refused(heard, width));
    rows.extend(unreadable(heard, width));
    if !heard.remarks.is_empty() {
        rows.extend(title("Remarks of the inputs"));
        rows.extend(heard.remarks.iter().flat_map(|remark| hanging("  ", remark, width)));
    }
    rows.extend(findings(heard, width));
    rows
}

/// What is drawn again and again while it is listened: the table, and what calls for action.
pub(super) fn live_rows(heard: &Heard<'_>, width: usize) -> Vec<Row> {
    let mut rows = head(heard, width);
    for source in sources(heard) {
        rows.extend(table(heard, source, width));
    }
    rows.push(Row::default());
    let advice = heard.findings.iter().filter(|finding| finding.level == Level::Advice);
    rows.extend(advice.flat_map(|finding| said(finding, &finding.text, width)));
    rows.push(Row::default().and(Tone::Quiet, "  Ctrl-C ends it and tells everything."));
    rows
}

fn sources(heard: &Heard<'_>) -> impl Iterator<Item = SourceId> + use<> {
    (0..u8::try_from(heard.setup.names.len()).unwrap_or(0)).map(SourceId)
}

fn source_name<'a>(heard: &'a Heard<'_>, source: SourceId) -> &'a str {
    heard.setup.names.get(usize::from(source.0)).map_or("?", String::as_str)
}

/// A blank line and a title.
fn title(text: impl Into<String>) -> [Row; 2] {
    [Row::default(), Row::default().and(Tone::Title, text)]
}

/// `text` wrapped behind `first`, later lines below it.
fn hanging(first: &str, text: &str, width: usize) -> Vec<Row> {
    let indent = first.chars().count();
    let mut rows = Vec::new();
    for (place, line) in wrap(text, width, indent).into_iter().enumerate() {
        let line = if place == 0 { format!("{first}{}", line.trim_start()) } else { line };
        rows.push(Row::plain(line));
    }
    rows
}

fn head(heard: &Heard<'_>, width: usize) -> Vec<Row> {
    let survey = heard.survey;
    let mut rows = vec![Row::default().and(Tone::Title, "On the data line")];
    let time = match survey.begin() {
        None => "nothing was heard".to_owned(),
        Some(_) if heard.untimed => "not known: there is none in this log".to_owned(),
        Some(begin) => {
            let end = survey.end();
            let length = Length(end.now.since(begin.now));
            match (begin.utc_ms, end.utc_ms) {
                (Some(from), Some(to)) if from / 86_400_000 == to / 86_400_000 => {
                    format!("{} to {}, {length}", begin.date_and_clock().trim_end_matches(" UTC"), end.clock())
                }
                _ => format!("{} to {}, {length}", begin.date_and_clock(), end.date_and_clock()),
            }
        }
    };
    let time = if heard.interrupted { format!("{time}; ended from the keyboard") } else { time };
    rows.extend(hanging("  time       ", &time, width));
    for (source, place) in sources(heard).zip(0_usize..) {
        let policy = match heard.setup.policies.get(place) {
            Some(ChecksumPolicy::Ignored) => ", CHECKSUM IGNORED: damaged lines pass as good ones",
            Some(ChecksumPolicy::Optional) => ", lines without a checksum pass",
            _ => "",
        };
        rows.extend(hanging("  source     ", &format!("{}{policy}", source_name(heard, source)), width));
        rows.extend(hanging("             ", &account(heard, source), width));
    }
    if let Some(file) = &heard.setup.boat_file {
        rows.extend(hanging("  boat file  ", &file.display().to_string(), width));
    }
    if let Some(card) = &heard.setup.card {
        rows.extend(hanging("  card       ", &card.display().to_string(), width));
    }
    rows
}

/// Where every byte went.
fn account(heard: &Heard<'_>, source: SourceId) -> String {
    let counts = heard.survey.counts(source);
    // A no-break space keeps a number's thousands together.
    let number = |n: u64| Count(n).to_string().replace(' ', "\u{a0}");
    let mut text = format!(
        "{} bytes: {} in {} sentences, {} in {} refused lines, {} between them",
        number(counts.bytes_in),
        number(counts.sentence_bytes),
        number(counts.sentences),
        number(counts.refused_bytes),
        number(counts.refused_total()),
        number(counts.between),
    );
    match heard.survey.pending(source) {
        0 => {}
        open => text.push_str(&format!(", {} in a line that is still open", number(open))),
    }
    text
}

fn table(heard: &Heard<'_>, source: SourceId, width: usize) -> Vec<Row> {
    let tallies: Vec<&Tally> = heard.survey.table().sorted().into_iter().filter(|t| t.source == source).collect();
    let several = heard.setup.names.len() > 1;
    let mut rows = Vec::new();
    if several {
        rows.extend(title(source_name(heard, source)));
    } else {
        rows.push(Row::default());
    }
    if tallies.is_empty() {
        rows.push(Row::plain("  no sentence"));
        return rows;
    }
    let columns = if heard.untimed {
        format!("  {:<5} {:>9} {:>5}  {:>13}", "name", "count", "bad", "greatest jump")
    } else {
        format!(
            "  {:<5} {:>9} {:>5} {:>7} {:>7} {:>16} {:>21}",
            "name", "count", "bad", "every", "age", "longest gap   at", "greatest jump     at"
        )
    };
    rows.push(Row::default().and(Tone::Quiet, columns));
    let total: u64 = tallies.iter().map(|tally| tally.lines()).sum();
    let (seldom, often): (Vec<&Tally>, Vec<&Tally>) =
        tallies.into_iter().partition(|tally| total >= LONG_LOG && tally.lines() <= SELDOM);
    rows.extend(often.iter().map(|tally| row(heard, tally)));
    match &seldom[..] {
        [] => {}
        few if few.len() <= 3 => rows.extend(few.iter().map(|tally| row(heard, tally))),
        many => {
            let lines: u64 = many.iter().map(|tally| tally.lines()).sum();
            let text = format!("{} more names that came {SELDOM} times or less: {lines} lines", many.len());
            rows.extend(hanging("  ", &text, width));
        }
    }
    rows
}

fn row(heard: &Heard<'_>, tally: &Tally) -> Row {
    let start = if tally.encapsulated { "!" } else { "" };
    let name = format!("{start}{}", tally.name());
    let bad = tally.bad();
    let row = Row::plain(format!("  {name:<5} {:>9} ", Count(tally.read)));
    let row = row.and(if bad > 0 { Tone::Caution } else { Tone::Plain }, format!("{:>5}", Count(bad)));
    let jump = tally.leap.map_or_else(|| "-".to_owned(), |(leap, _)| leap_words(leap));
    if heard.untimed {
        return row.and(Tone::Plain, format!("  {jump:>13}"));
    }
    let every = match tally.beat.usual() {
        Some(usual) => Length(usual).to_string(),
        None => "-".to_owned(),
    };
    let age =
        if tally.read > 0 { Length(heard.survey.end().now.since(tally.last.now)).to_string() } else { "-".into() };
    let (gap, gap_at) = match tally.gap {
        Some(gap) => (Length(gap.length).to_string(), heard.survey.clock(gap.from)),
        None => ("-".to_owned(), String::new()),
    };
    let jump_at = match tally.leap {
        Some((leap, at)) if leap.thousandths > 0 => heard.survey.clock(at),
        _ => String::new(),
    };
    let text = format!(" {every:>7} {age:>7} {gap:>7} {gap_at:>8} {jump:>12} {jump_at:>8}");
    row.and(Tone::Plain, text.trim_end())
}

fn leap_words(leap: Leap) -> String {
    let tenths = (leap.thousandths + 50) / 100;
    match leap.unit {
        // A rate, and a position that leaps far, need no tenths.
        Unit::DegreesPerMinute => format!("{} {}", (leap.thousandths + 500) / 1000, leap.unit.word()),
        Unit::Metres if tenths >= 1000 => format!("{} {}", (leap.thousandths + 500) / 1000, leap.unit.word()),
        unit => format!("{}.{} {}", tenths / 10, tenths % 10, unit.word()),
    }
}

fn refused(heard: &Heard<'_>, width: usize) -> Vec<Row> {
    let mut rows = Vec::new();
    for (source, wire) in sources(heard).zip(heard.survey.wires()) {
        let counts = heard.survey.counts(source);
        if counts.refused_total() == 0 {
            continue;
        }
        let on =
            if heard.setup.names.len() > 1 { format!(" on {}", source_name(heard, source)) } else { String::new() };
        let lines = counts.sentences + counts.refused_total();
        rows.extend(title(format!(
            "Refused lines{on}: {} of {}, the first of each reason",
            Count(counts.refused_total()),
            Count(lines)
        )));
        for (place, reason) in Refusal::ALL.into_iter().enumerate() {
            let count = counts.refused[place];
            if count == 0 {
                continue;
            }
            rows.push(Row::plain(format!("  {:>9}  {}", Count(count), reason.words())));
            if let Some((at, raw)) = &wire.examples[place] {
                let clock = if heard.untimed { "".to_owned() } else { format!("{} ", heard.survey.clock(*at)) };
                rows.push(example(&clock, raw, width));
            }
        }
    }
    rows
}

/// One line as it came, escaped, cut to one row.
fn example(before: &str, raw: &[u8], width: usize) -> Row {
    let text = format!("             {before}{}", escaped(raw));
    let cut = text.chars().count() > width;
    let shown: String = if cut { text.chars().take(width.saturating_sub(3)).collect() } else { text };
    Row::default().and(Tone::Quiet, if cut { format!("{shown}...") } else { shown })
}

fn unreadable(heard: &Heard<'_>, width: usize) -> Vec<Row> {
    let tallies = heard.survey.table().sorted();
    let mut rows = Vec::new();
    let mut left = EXAMPLES;
    for tally in &tallies {
        for fault in &tally.faults {
            if left == 0 {
                break;
            }
            left -= 1;
            let what = format!("{} field {} is not {}", tally.name(), fault.malformed.field, fault.malformed.expected);
            rows.extend(hanging(&format!("  {:>9}  ", Count(fault.count)), &what, width));
            rows.push(example("", &fault.example, width));
        }
    }
    if !rows.is_empty() {
        rows.splice(0..0, title("Sentences that cannot be read, by field"));
    }
    let mut spare = Vec::new();
    let mut left = EXAMPLES;
    for tally in &tallies {
        let Some(raw) = tally.unusable_example.as_ref().filter(|_| left > 0) else { continue };
        left -= 1;
        spare.push(Row::plain(format!("  {:>9}  {}", Count(tally.unusable), tally.name())));
        spare.push(example("", raw, width));
    }
    if !spare.is_empty() {
        rows.extend(title("Optional fields that cannot be used; the rest of their sentences stands"));
        rows.extend(spare);
    }
    rows
}

fn findings(heard: &Heard<'_>, width: usize) -> Vec<Row> {
    let count = |level| heard.findings.iter().filter(|finding| finding.level == level).count();
    let (advice, notes) = (count(Level::Advice), count(Level::Note));
    let mut rows = Vec::new();
    rows.extend(match (advice, notes) {
        (0, 0) => title("Findings: none"),
        (0, notes) => title(format!("Findings: nothing to do, {notes} worth knowing")),
        (advice, 0) => title(format!("Findings: {advice} to act on")),
        (advice, notes) => title(format!("Findings: {advice} to act on, {notes} worth knowing")),
    });
    for finding in heard.findings {
        rows.extend(said(finding, &format!("{} {}", finding.text, finding.remedy), width));
    }
    rows
}

fn said(finding: &Finding, text: &str, width: usize) -> Vec<Row> {
    let tone = match finding.level {
        Level::Advice => Tone::Caution,
        Level::Note => Tone::Quiet,
    };
    let word = finding.level.word();
    let lines = wrap(text.trim_end(), width, 10);
    let rows = lines.into_iter().enumerate().map(|(place, line)| match place {
        0 => Row::plain("  ").and(tone, format!("{word:<8}")).and(Tone::Plain, line.trim_start()),
        _ => Row::plain(line),
    });
    rows.collect()
}
