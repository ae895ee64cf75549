//! What the watch was, told at its end.

use lubber_core::alert::AlertKind;
use lubber_core::alert::Priority;
use lubber_core::arbiter::State;
use lubber_core::frame::Counts;
use lubber_core::frame::Refusal;
use lubber_core::picture::SourceId;

use crate::view::Sources;
use crate::view::Stamp;
use crate::view::alert::instance;
use crate::view::json::object;
use crate::view::ledger::Ledger;
use crate::view::notice::correction_word;
use crate::view::notice::correction_words;
use crate::view::notice::variation_json;
use crate::view::notice::variation_words;
use crate::view::number::Count;
use crate::view::number::Tenths;
use crate::view::policy_word;
use crate::view::text::Row;
use crate::view::text::Tone;
use crate::view::text::wrap;

/// All that is told at the end.
#[derive(Debug)]
pub struct Summary<'a> {
    /// What was kept.
    pub ledger: &'a Ledger,
    /// The sources.
    pub sources: &'a Sources,
    /// The byte account of each, in the order of their numbers.
    pub counts: &'a [Counts],
    /// When it ended.
    pub end: Stamp,
    /// Whether it was cut short from the keyboard.
    pub interrupted: bool,
}

/// Milliseconds as a person says a long time: `42 s`, `6 h 02 min`.
fn long_time(ms: u64) -> String {
    let s = ms / 1000;
    match s {
        0..120 => format!("{s} s"),
        120..3600 => format!("{} min {:02} s", s / 60, s % 60),
        3600..172_800 => format!("{} h {:02} min", s / 3600, s / 60 % 60),
        _ => format!("{} days {} h", s / 86_400, s / 3600 % 24),
    }
}

impl Summary<'_> {
    fn refused(&self) -> impl Iterator<Item = (Refusal, u64)> {
        let sum = |place: usize| self.counts.iter().map(|counts| counts.refused[place]).sum::<u64>();
        let all = Refusal::ALL.iter().enumerate().map(move |(place, reason)| (*reason, sum(place)));
        all.filter(|(_, count)| *count > 0)
    }

    /// The UTC of the beginning: the end's, less the time between.
    fn begin(&self) -> Stamp {
        let first = self.ledger.first.unwrap_or(self.end);
        let utc_ms = first.utc_ms.map(|utc| utc - i64::try_from(first.since_start_ms).unwrap_or(0));
        Stamp { utc_ms, since_start_ms: 0 }
    }

    /// The summary for a person, at most `width` columns wide.
    pub fn rows(&self, width: usize) -> Vec<Row> {
        let mut rows = Vec::new();
        let title = |rows: &mut Vec<Row>, text: &str| rows.extend(section(text));
        let line = |rows: &mut Vec<Row>, name: &str, text: &str| {
            for (place, part) in wrap(text, width, 17).into_iter().enumerate() {
                let name = if place == 0 { name } else { "" };
                rows.push(Row::plain(format!("  {name:<14} {}", part.trim_start())));
            }
        };
        rows.push(Row::default().and(Tone::Title, if self.interrupted { "The watch, cut short" } else { "The watch" }));
        let covered = long_time(self.end.since_start_ms);
        match (self.begin().iso(), self.end.iso()) {
            (Some(from), Some(to)) => {
                let (from, to) = (from.replace('T', " "), to.replace('T', " "));
                line(&mut rows, "time", &format!("{} to {} UTC, {covered}", from_to(&from), from_to(&to)));
            }
            _ => line(&mut rows, "time", &format!("{covered}, UTC unknown")),
        }
        for (id, source) in self.sources.iter() {
            let Some(counts) = self.counts.get(id.index()) else { continue };
            let pending = counts
                .bytes_in
                .saturating_sub(counts.sentence_bytes)
                .saturating_sub(counts.refused_bytes)
                .saturating_sub(counts.between);
            let whole = |count| Count(count).to_string().replace(' ', "\u{a0}");
            let mut text = format!(
                "{}: {} bytes, of these {} in {} sentences, {} in {} refused {}, {} between",
                source.name,
                whole(counts.bytes_in),
                whole(counts.sentence_bytes),
                whole(counts.sentences),
                whole(counts.refused_bytes),
                whole(counts.refused_total()),
                if counts.refused_total() == 1 { "line" } else { "lines" },
                whole(counts.between),
            );
            if pending > 0 {
                text = format!("{text}, {} pending", whole(pending));
            }
            if source.checksum != lubber_core::frame::ChecksumPolicy::Required {
                text = format!("{text}; checksum {}", policy_word(source.checksum));
            }
            line(&mut rows, "source", &text);
        }
        match self.ledger.headings.as_slice() {
            [] => line(&mut rows, "heading", "none was heard"),
            all => {
                for (origin, correction) in all {
                    line(&mut rows, "heading", &format!("{origin}, {}", correction_words(*correction)));
                }
            }
        }
        match self.ledger.variation {
            None => {
                line(&mut rows, "variation", "unknown: no sentence carries it, and no position or date for the model")
            }
            Some((variation, 0 | 1)) => line(&mut rows, "variation", &variation_words(variation)),
            Some((variation, changes)) => {
                line(&mut rows, "variation", &format!("{} (the last of {changes})", variation_words(variation)));
            }
        }
        self.kinds(&mut rows, width);
        let refused: Vec<_> = self.refused().collect();
        if !refused.is_empty() {
            title(&mut rows, "Refused lines");
            for (reason, count) in refused {
                rows.push(Row::plain(format!("  {:>11}  {reason}", Count(count))));
            }
        }
        self.judged(&mut rows, width);
        title(&mut rows, "Alerts");
        if self.ledger.raised.is_empty() {
            rows.push(Row::plain("  none was raised"));
        }
        for raised in &self.ledger.raised {
            let carried = if raised.carried { "carried over from the watch before" } else { "" };
            let at = raised.first.clock();
            let times = match raised.times {
                0 => String::new(),
                1 => format!("once at {at}"),
                times => format!("{times} times, first at {at}"),
            };
            let both = if carried.is_empty() || times.is_empty() { "" } else { ", then " };
            let about = instance(raised.instance, self.sources);
            let text = format!("{} {about}: {carried}{both}{times}; now {}", raised.kind, raised.state.word());
            let mut lines = wrap(&text, width, 10).into_iter();
            let first = lines.next().unwrap_or_default();
            let head = Row::plain("  ").and(tone(raised.priority, raised.state), raised.priority.word());
            let pad = 8_usize.saturating_sub(raised.priority.word().len());
            rows.push(head.and(Tone::Plain, format!("{:pad$}{}", "", first.trim_start())));
            rows.extend(lines.map(Row::plain));
        }
        rows
    }

    /// The sentences by kind, as many columns as fit.
    fn kinds(&self, rows: &mut Vec<Row>, width: usize) {
        let total = self.ledger.kinds.total();
        rows.extend(section(&format!("Sentences read: {}", Count(total.read))));
        let mut cells: Vec<String> =
            self.ledger.kinds.sorted().iter().filter(|k| k.read > 0).map(|k| cell(&k.name(), k.read)).collect();
        if self.ledger.kinds.rest().read > 0 {
            cells.push(cell("others", self.ledger.kinds.rest().read));
        }
        let columns = (width.saturating_sub(2) / 20).max(1);
        for chunk in cells.chunks(columns) {
            rows.push(Row::plain(format!("  {}", chunk.join("  "))));
        }
        if total.malformed > 0 {
            let named: Vec<String> = self
                .ledger
                .kinds
                .sorted()
                .iter()
                .filter(|kind| kind.malformed > 0)
                .take(8)
                .map(|kind| format!("{} {}", kind.name(), kind.malformed))
                .collect();
            let text =
                format!("{} malformed, their main value not usable: {}", Count(total.malformed), named.join(", "));
            rows.extend(wrap(&text, width, 2).into_iter().map(Row::plain));
        }
        if total.unusable > 0 {
            let fields = if total.unusable == 1 { "field" } else { "fields" };
            rows.push(Row::plain(format!("  {} unusable {fields} in sentences that stand", Count(total.unusable))));
        }
    }

    /// For how long each alert was watched for, and for how long not and why.
    fn judged(&self, rows: &mut Vec<Row>, width: usize) {
        rows.extend(section("Watched for"));
        for (kind, judged) in AlertKind::ALL.iter().zip(&self.ledger.judged) {
            let total = judged.yes_ms + judged.no_ms.values().sum::<u64>();
            let share = (judged.yes_ms * 1000).checked_div(total).unwrap_or(0);
            let share = Tenths(i64::try_from(share).unwrap_or(0)).to_string();
            rows.push(Row::plain(format!("  {:<22}{:>14}{share:>9} %", kind.name(), long_time(judged.yes_ms))));
            let mut reasons: Vec<_> = judged.no_ms.iter().filter(|(_, ms)| **ms > 0).collect();
            reasons.sort_by_key(|(reason, ms)| (std::cmp::Reverse(**ms), **reason));
            for (reason, ms) in reasons {
                let text = format!("not for {}: {reason}", long_time(*ms));
                rows.extend(wrap(&text, width, 10).into_iter().map(Row::plain));
            }
        }
    }

    /// Appends the summary as one JSON object.
    pub fn json(&self, out: &mut String) {
        object(out, |o| {
            o.text_or_null("at", self.end.iso());
            o.number("since_start_ms", self.end.since_start_ms);
            o.object("summary", |o| {
                o.text_or_null("from", self.begin().iso());
                o.text_or_null("to", self.end.iso());
                o.number("covered_ms", self.end.since_start_ms);
                o.flag("interrupted", self.interrupted);
                let total = self.ledger.kinds.total();
                o.number("sentences", total.read);
                o.number("malformed", total.malformed);
                o.number("unusable_fields", total.unusable);
                o.objects("kinds", self.ledger.kinds.sorted(), |o, kind| {
                    o.text("kind", kind.name());
                    o.number("sentences", kind.read);
                    o.number("malformed", kind.malformed);
                    o.number("unusable_fields", kind.unusable);
                });
                o.number("kinds_not_told_apart", self.ledger.kinds.rest().read);
                o.object("refused", |o| {
                    for (reason, count) in self.refused() {
                        o.number(reason.words(), count);
                    }
                });
                o.objects("sources", self.sources.iter(), |o, (id, source)| {
                    let counts = self.counts.get(id.index()).copied().unwrap_or_default();
                    o.text("name", &source.name);
                    o.text("checksum", policy_word(source.checksum));
                    o.number("bytes", counts.bytes_in);
                    o.number("sentence_bytes", counts.sentence_bytes);
                    o.number("refused_bytes", counts.refused_bytes);
                    o.number("between_bytes", counts.between);
                    o.number("overlong", counts.overlong);
                    o.number("sentences", counts.sentences);
                    o.number("refused", counts.refused_total());
                });
                o.objects("headings", &self.ledger.headings, |o, (origin, correction)| {
                    o.text("from", origin);
                    o.text("correction", correction_word(*correction));
                });
                o.object_or_null("variation", self.ledger.variation, |o, (variation, changes)| {
                    variation_json(o, variation);
                    o.number("changes", changes);
                });
                o.object("judged", |o| {
                    for (kind, judged) in AlertKind::ALL.iter().zip(&self.ledger.judged) {
                        o.object(kind.name(), |o| {
                            o.number("yes_s", judged.yes_ms / 1000);
                            o.object("no_s", |o| {
                                for (reason, ms) in &judged.no_ms {
                                    o.number(reason, ms / 1000);
                                }
                            });
                        });
                    }
                });
                o.objects("alerts", &self.ledger.raised, |o, raised| {
                    o.text("alert", raised.kind);
                    o.text("priority", raised.priority);
                    o.text("instance", instance(raised.instance, self.sources));
                    o.number("times", raised.times);
                    o.flag("carried_over", raised.carried);
                    o.text_or_null("first_at", raised.first.iso());
                    o.number("first_since_start_ms", raised.first.since_start_ms);
                    o.text("state", raised.state.word());
                });
            });
        });
    }
}

/// A blank line and a title.
fn section(text: &str) -> [Row; 2] {
    [Row::default(), Row::default().and(Tone::Title, text)]
}

/// The tone of an alert that is history: nothing of it flashes.
const fn tone(priority: Priority, state: State) -> Tone {
    match state {
        State::ActiveUnacknowledged => crate::view::alert::tone(priority, State::ActiveAcknowledged),
        other => crate::view::alert::tone(priority, other),
    }
}

/// A UTC without its fraction and letter.
fn from_to(iso: &str) -> &str {
    iso.split('.').next().unwrap_or(iso)
}

fn cell(name: &str, count: u64) -> String {
    format!("{name:<7}{:>11}", Count(count).to_string())
}

/// The account of `ids` by `counts`, copied out to outlive the monitor's borrow.
pub fn account<'a>(sources: &Sources, counts: impl Fn(SourceId) -> &'a Counts) -> Vec<Counts> {
    sources.iter().map(|(id, _)| *counts(id)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::view::Source;
    use crate::view::ledger::Raised;
    use crate::view::sample::nothing_known;
    use lubber_core::alert::Instance;
    use lubber_core::alert::Why;
    use lubber_core::frame::ChecksumPolicy;
    use lubber_core::frame::Formatter;
    use lubber_core::frame::Talker;
    use lubber_core::monitor::Correction;
    use lubber_core::picture::Origin;

    const BEGIN_MS: i64 = 1_783_987_200_000; // 2026-07-14T00:00:00Z

    fn night() -> (Ledger, Sources, Vec<Counts>, Stamp) {
        let mut ledger = Ledger::default();
        let mut status = nothing_known();
        status.judging[0] = Err(Why::NoOrder);
        for s in 0..=3_700_u64 {
            if s == 101 {
                status.judging[0] = Ok(());
            }
            let utc_ms = Some(BEGIN_MS + i64::try_from(s * 1000).unwrap_or(0));
            ledger.look(Stamp { utc_ms, since_start_ms: s * 1000 }, &status);
        }
        let hchdg = Origin { source: SourceId(0), talker: Talker(*b"HC"), formatter: Formatter(*b"HDG") };
        ledger.kinds.of(hchdg.talker, hchdg.formatter).read = 37_000;
        ledger.kinds.of(Talker(*b"GP"), Formatter(*b"RMC")).read = 3_700;
        ledger.kinds.of(Talker(*b"GP"), Formatter(*b"RMC")).malformed = 2;
        ledger.headings.push((hchdg, Correction::Uncorrected));
        ledger.raised.push(Raised {
            kind: AlertKind::OffHeading,
            instance: Instance::Sensor(hchdg),
            priority: Priority::Alarm,
            times: 2,
            first: Stamp { utc_ms: Some(BEGIN_MS + 600_000), since_start_ms: 600_000 },
            carried: false,
            state: State::Normal,
        });
        let carried = Raised { kind: AlertKind::InputLost, carried: true, times: 0, ..ledger.raised[0] };
        ledger.raised.push(carried);
        ledger.raised.push(Raised { kind: AlertKind::HeadingLost, times: 1, ..carried });
        let sources = Sources::new(vec![Source { name: "night.nmea".into(), checksum: ChecksumPolicy::Required }]);
        let mut counts = Counts { bytes_in: 1_500_000, sentences: 40_700, between: 90_000, ..Counts::default() };
        counts.sentence_bytes = 1_409_900;
        counts.refused_bytes = 100;
        counts.refused[2] = 3;
        let end = Stamp { utc_ms: Some(BEGIN_MS + 3_700_000), since_start_ms: 3_700_000 };
        (ledger, sources, vec![counts], end)
    }

    #[test]
    fn the_summary_as_a_person_reads_it() {
        let (ledger, sources, counts, end) = night();
        let summary = Summary { ledger: &ledger, sources: &sources, counts: &counts, end, interrupted: false };
        let rows = summary.rows(80);
        for row in &rows {
            assert!(row.width() <= 80, "{}", row.words());
        }
        let text: Vec<String> = rows.iter().map(Row::words).collect();
        let text = text.join("\n");
        for must in [
            "  time           2026-07-14 00:00:00 to 2026-07-14 01:01:40 UTC, 1 h 01 min",
            "  heading        HCHDG, uncorrected: no card, and the sensor sends no deviation",
            "Sentences read: 40 700",
            "  HCHDG       37 000  GPRMC        3 700",
            "  2 malformed, their main value not usable: GPRMC 2",
            "            3  wrong checksum",
            "  off-heading               1 h 00 min     97.2 %",
            "          not for 100 s: no heading was ordered",
            "  alarm   off-heading HCHDG: 2 times, first at 00:10:00; now normal",
            "  alarm   input-lost HCHDG: carried over from the watch before; now normal",
            "  alarm   heading-lost HCHDG: carried over from the watch before, then once at",
        ] {
            assert!(text.contains(must), "{must:?} not in\n{text}");
        }
    }

    #[test]
    fn the_summary_as_json() {
        let (ledger, sources, counts, end) = night();
        let summary = Summary { ledger: &ledger, sources: &sources, counts: &counts, end, interrupted: false };
        let mut line = String::new();
        summary.json(&mut line);
        let back: serde_json::Value = serde_json::from_str(&line).expect("it is JSON");
        let s = &back["summary"];
        assert_eq!(s["from"], "2026-07-14T00:00:00.000Z");
        assert_eq!(s["refused"]["wrong checksum"], 3);
        assert_eq!(s["judged"]["off-heading"]["yes_s"], 3_600);
        assert_eq!(s["judged"]["off-heading"]["no_s"]["no heading was ordered"], 100);
        assert_eq!(s["alerts"][0]["times"], 2);
        let source = &s["sources"][0];
        let sum = ["sentence_bytes", "refused_bytes", "between_bytes"].map(|key| source[key].as_u64().unwrap_or(0));
        assert_eq!(source["bytes"].as_u64(), Some(sum.iter().sum()));
    }
}
