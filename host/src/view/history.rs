//! What happened lately: alerts as they changed, and who answered or ordered what.

use lubber_core::arbiter::AlertChange;
use lubber_core::monitor::AlertCommand;
use lubber_core::picture::Steering;

use crate::view::Sources;
use crate::view::Stamp;
use crate::view::alert;
use crate::view::json::object;
use crate::view::notice;
use crate::view::notice::steering_json;
use crate::view::notice::steering_words;
use crate::view::text::Row;

/// One thing that happened.
#[derive(Clone, Debug)]
pub struct Entry {
    /// When.
    pub at: Stamp,
    /// What.
    pub what: What,
}

/// What happened.
#[derive(Clone, Debug)]
pub enum What {
    /// An alert changed.
    Alert(AlertChange),
    /// The wire commanded something about an alert.
    Wire(AlertCommand),
    /// The ordered heading changed by itself or by the wire.
    Order(Steering),
    /// Somebody said something to the watch.
    Said {
        /// What, as the verb has it: `acknowledge`, `steer 150 C`.
        word: String,
        /// By whom, in one word.
        by: &'static str,
        /// Whether anything came of it.
        heeded: bool,
    },
}

/// The history for a person, the oldest first.
pub fn rows<'a>(entries: impl Iterator<Item = &'a Entry>, sources: &Sources, width: usize) -> Vec<Row> {
    let mut rows = Vec::new();
    for Entry { at, what } in entries {
        rows.extend(match what {
            What::Alert(change) => alert::rows(*at, change, sources, width),
            What::Wire(command) => notice::rows(*at, &wire_words(command, sources), width),
            What::Order(steering) => notice::rows(*at, &steering_words(*steering), width),
            What::Said { word, by, heeded } => {
                let nothing = if *heeded { "" } else { ": nothing came of it" };
                notice::rows(*at, &format!("{word}, by {by}{nothing}"), width)
            }
        });
    }
    rows
}

fn wire_words(command: &AlertCommand, sources: &Sources) -> String {
    let what = match command.command {
        b'A' => "acknowledge",
        b'S' => "silence",
        _ => "another command",
    };
    let refused = if command.obeyed { "" } else { ": refused" };
    format!("{what} {}, by wire, {}{refused}", command.kind, sources.name(command.source))
}

/// The history as one JSON object, the oldest first.
pub fn json<'a>(entries: impl Iterator<Item = &'a Entry>, sources: &Sources) -> String {
    let mut out = String::from("{\"history\":[");
    for (place, Entry { at, what }) in entries.enumerate() {
        if place > 0 {
            out.push(',');
        }
        if let What::Alert(change) = what {
            alert::json(&mut out, *at, change, sources);
            continue;
        }
        object(&mut out, |o| {
            o.text_or_null("at", at.iso());
            o.number("since_start_ms", at.since_start_ms);
            match what {
                What::Alert(_) => {}
                What::Wire(command) => {
                    o.text("command", char::from(command.command).escape_default());
                    o.text("of", command.kind);
                    o.number_or_null("number", command.instance);
                    o.text("by", "wire");
                    o.text("source", sources.name(command.source));
                    o.flag("heeded", command.obeyed);
                }
                What::Order(steering) => {
                    o.text("notice", "order");
                    steering_json(o, *steering);
                }
                What::Said { word, by, heeded } => {
                    o.text("said", word);
                    o.text("by", by);
                    o.flag("heeded", *heeded);
                }
            }
        });
    }
    out.push_str("]}");
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use lubber_core::alert::AlertKind;
    use lubber_core::picture::SourceId;

    #[test]
    fn who_did_what_is_told_in_words_and_in_json() {
        let at = Stamp { utc_ms: Some(1_783_995_069_300), since_start_ms: 812_300 };
        let command = AlertCommand {
            source: SourceId(0),
            kind: AlertKind::InputLost,
            instance: None,
            command: b'A',
            obeyed: false,
        };
        let entries = [
            Entry { at, what: What::Said { word: "steer 150 C".into(), by: "control", heeded: true } },
            Entry { at, what: What::Said { word: "silence".into(), by: "key", heeded: false } },
            Entry { at, what: What::Wire(command) },
            Entry { at, what: What::Order(Steering::Hand) },
        ];
        let text: Vec<String> = rows(entries.iter(), &Sources::default(), 80).iter().map(Row::words).collect();
        assert_eq!(
            text,
            [
                "02:11:09 steer 150 C, by control",
                "02:11:09 silence, by key: nothing came of it",
                "02:11:09 acknowledge input-lost, by wire, ?: refused",
                "02:11:09 steered by hand: off-heading is not watched",
            ]
        );
        let back: serde_json::Value = serde_json::from_str(&json(entries.iter(), &Sources::default())).unwrap();
        assert_eq!(back["history"][0]["said"], "steer 150 C");
        assert_eq!(back["history"][1]["heeded"], false);
        assert_eq!(back["history"][2]["by"], "wire");
        assert_eq!(back["history"][3]["steering"], "hand");
    }
}
