//! What was heard, as one JSON object: `schema` 1.

use lubber_core::frame::Refusal;
use lubber_core::picture::SourceId;
use lubber_core::sentence::Defect;
use lubber_core::time::Span;
use serde_json::Value;
use serde_json::json;

use super::Heard;
use crate::analysis::listen::At;
use crate::analysis::listen::Stretch;
use crate::analysis::listen::Tally;
use crate::view::policy_word;
use crate::view::wire::escaped;

/// The object, indented.
pub(super) fn text(heard: &Heard<'_>) -> String {
    // What is made of strings, numbers and lists of them can always be written.
    serde_json::to_string_pretty(&object(heard)).unwrap_or_default()
}

fn object(heard: &Heard<'_>) -> Value {
    let survey = heard.survey;
    let begin = survey.begin();
    let covered = begin.map(|begin| survey.end().now.since(begin.now));
    let timed = |value: Value| if heard.untimed { Value::Null } else { value };
    json!({
        "schema": 1,
        "from": begin.and_then(At::iso),
        "to": begin.and_then(|_| survey.end().iso()),
        "covered_s": timed(json!(covered.map(seconds))),
        "interrupted": heard.interrupted,
        "bytes": sources(heard).map(|source| survey.counts(source).bytes_in).sum::<u64>(),
        "sources": sources(heard).map(|source| source_json(heard, source)).collect::<Vec<_>>(),
        "sentences": survey.table().sorted().into_iter().map(|tally| sentence(heard, tally)).collect::<Vec<_>>(),
        "unlisted": survey.table().unlisted,
        "refused": refused(heard),
        "malformed": malformed(heard),
        "remarks": heard.remarks,
        "findings": heard.findings.iter().map(|finding| json!({
            "kind": finding.kind.name(),
            "level": finding.level.word(),
            "source": finding.source.map(|source| name(heard, source)),
            "sentences": finding.sentences,
            "text": finding.text.replace('\u{a0}', " "),
            "remedy": Some(&finding.remedy).filter(|remedy| !remedy.is_empty()),
        })).collect::<Vec<_>>(),
    })
}

fn sources(heard: &Heard<'_>) -> impl Iterator<Item = SourceId> + use<> {
    (0..u8::try_from(heard.setup.names.len()).unwrap_or(0)).map(SourceId)
}

fn name<'a>(heard: &'a Heard<'_>, source: SourceId) -> Option<&'a String> {
    heard.setup.names.get(usize::from(source.0))
}

fn source_json(heard: &Heard<'_>, source: SourceId) -> Value {
    let counts = heard.survey.counts(source);
    let policy = heard.setup.policies.get(usize::from(source.0)).copied().unwrap_or_default();
    json!({
        "name": name(heard, source),
        "checksum": policy_word(policy),
        "bytes": counts.bytes_in,
        "sentence_bytes": counts.sentence_bytes,
        "refused_bytes": counts.refused_bytes,
        "between_bytes": counts.between,
        "pending_bytes": heard.survey.pending(source),
        "sentences": counts.sentences,
        "refused": counts.refused_total(),
        "overlong": counts.overlong,
    })
}

fn sentence(heard: &Heard<'_>, tally: &Tally) -> Value {
    let timed = |value: Value| if heard.untimed || tally.read == 0 { Value::Null } else { value };
    let usual_ms = tally.beat.usual_ms();
    json!({
        "source": name(heard, tally.source),
        "name": tally.name(),
        "talker": tally.talker.as_str(),
        "formatter": tally.formatter.as_str(),
        "count": tally.read,
        "malformed": tally.malformed,
        "wrong_checksum": tally.spoilt,
        "void": tally.void,
        "empty": tally.empty,
        "unusable_fields": tally.unusable,
        "overlong": tally.overlong,
        "interval_s": timed(json!(usual_ms.map(|ms| ms.round() / 1000.0))),
        "rate_per_s": timed(json!(usual_ms.filter(|ms| *ms > 0.0).map(|ms| (1e6 / ms).round() / 1000.0))),
        "first": timed(moment(tally.first)),
        "last": timed(moment(tally.last)),
        "age_s": timed(json!(seconds(heard.survey.end().now.since(tally.last.now)))),
        "longest_gap": timed(tally.gap.map_or(Value::Null, stretch)),
        "greatest_jump": tally.leap.map(|(leap, at)| json!({
            "value": leap.thousandths as f64 / 1000.0,
            "unit": leap.unit.word(),
            "at": timed(moment(at)),
        })),
    })
}

fn refused(heard: &Heard<'_>) -> Vec<Value> {
    let mut all = Vec::new();
    for (source, wire) in sources(heard).zip(heard.survey.wires()) {
        let counts = heard.survey.counts(source);
        for (place, reason) in Refusal::ALL.into_iter().enumerate().filter(|(place, _)| counts.refused[*place] > 0) {
            let example = wire.examples[place].as_ref();
            all.push(json!({
                "source": name(heard, source),
                "reason": reason.words(),
                "count": counts.refused[place],
                "example": example.map(|(_, raw)| escaped(raw)),
                "at": example.filter(|_| !heard.untimed).map(|(at, _)| moment(*at)),
            }));
        }
    }
    all
}

fn malformed(heard: &Heard<'_>) -> Vec<Value> {
    let faults = heard.survey.table().sorted().into_iter().flat_map(|tally| {
        tally.faults.iter().map(move |fault| {
            json!({
                "source": name(heard, tally.source),
                "name": tally.name(),
                "field": fault.malformed.field,
                "expected": fault.malformed.expected,
                "defect": defect_word(fault.malformed.defect),
                "count": fault.count,
                "example": escaped(&fault.example),
            })
        })
    });
    faults.collect()
}

const fn defect_word(defect: Defect) -> &'static str {
    match defect {
        Defect::NotANumber => "not-a-number",
        Defect::OutOfRange => "out-of-range",
        Defect::HalfPresent => "half-present",
        Defect::UnknownLetter => "unknown-letter",
        Defect::MarkedInvalid => "marked-invalid",
    }
}

/// A moment: UTC where it is known, and always the time since the first input.
fn moment(at: At) -> Value {
    json!({ "at": at.iso(), "since_start_ms": at.now.as_ms() })
}

fn stretch(stretch: Stretch) -> Value {
    json!({ "s": seconds(stretch.length), "from": moment(stretch.from) })
}

fn seconds(span: Span) -> f64 {
    span.as_ms() as f64 / 1000.0
}
