//! One request and one reply, each one line of JSON.

use serde_json::Value;

use crate::view::json::object;

/// The longest request, bytes with its line end.
pub const LONGEST: usize = 4096;

/// What a running watch is asked.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Request {
    /// To take an order: 150C, 150M, 139T, here, wind, hand, cancel. Kept as it was typed.
    Steer(String),
    /// To take every alert as seen.
    Acknowledge,
    /// To be quiet for 30 s.
    Silence,
    /// How it stands.
    Status,
    /// What happened lately, and who answered it.
    History,
    /// To sound once everything that sounds an alert.
    SoundTest,
}

/// What it answers.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Reply {
    /// Whether it was done.
    pub done: bool,
    /// What happened, or why nothing did; lines for a person.
    pub text: String,
    /// The status as one JSON object, where that was asked for.
    pub status: Option<String>,
    /// The history as one JSON object, where that was asked for.
    pub history: Option<String>,
}

const EXAMPLE: &str = r#"Example: {"verb":"acknowledge"}"#;

impl Request {
    /// Reads one line.
    ///
    /// # Errors
    /// What is wrong with it, what was expected, and an example.
    pub fn read(line: &[u8]) -> Result<Self, String> {
        let value: Value = serde_json::from_slice(line).map_err(|error| {
            format!("the request is no JSON ({error}); one object on one line was expected. {EXAMPLE}")
        })?;
        let members = value.as_object().ok_or_else(|| format!("the request is no JSON object. {EXAMPLE}"))?;
        let verb = members.get("verb").and_then(Value::as_str);
        let known: &[&str] = if verb == Some("steer") { &["verb", "order"] } else { &["verb"] };
        if let Some(member) = members.keys().find(|key| !known.contains(&key.as_str())) {
            return Err(format!("the request has a member \"{}\" that is not known. {EXAMPLE}", member.escape_debug()));
        }
        match verb {
            Some("steer") => match members.get("order").and_then(Value::as_str) {
                Some(order) => Ok(Self::Steer(order.to_owned())),
                None => Err(r#"steer needs an order. Example: {"verb":"steer","order":"150C"}"#.to_owned()),
            },
            Some("acknowledge") => Ok(Self::Acknowledge),
            Some("silence") => Ok(Self::Silence),
            Some("status") => Ok(Self::Status),
            Some("history") => Ok(Self::History),
            Some("sound-test") => Ok(Self::SoundTest),
            _ => Err(format!(
                "a verb was expected: steer, acknowledge, silence, status, history or sound-test. {EXAMPLE}"
            )),
        }
    }

    /// As one line, with its line end.
    pub fn line(&self) -> String {
        let mut line = String::new();
        object(&mut line, |o| match self {
            Self::Steer(order) => {
                o.text("verb", "steer");
                o.text("order", order);
            }
            Self::Acknowledge => o.text("verb", "acknowledge"),
            Self::Silence => o.text("verb", "silence"),
            Self::Status => o.text("verb", "status"),
            Self::History => o.text("verb", "history"),
            Self::SoundTest => o.text("verb", "sound-test"),
        });
        line.push('\n');
        line
    }
}

impl Reply {
    /// It was done, as `text` says.
    pub fn done(text: impl Into<String>) -> Self {
        Self { done: true, text: text.into(), ..Self::default() }
    }

    /// It was not done, and `text` says why.
    pub fn refused(text: impl Into<String>) -> Self {
        Self { done: false, text: text.into(), ..Self::default() }
    }

    /// As one line, with its line end.
    pub fn line(&self) -> String {
        let mut line = String::new();
        object(&mut line, |o| {
            o.number("schema", 1);
            o.flag("done", self.done);
            o.text("text", &self.text);
            if let Some(status) = &self.status {
                o.number("status", status);
            }
            if let Some(history) = &self.history {
                o.number("history", history);
            }
        });
        line.push('\n');
        line
    }

    /// Reads one line.
    ///
    /// # Errors
    /// What it is instead.
    pub fn read(line: &str) -> Result<Self, String> {
        let value: Value = serde_json::from_str(line).map_err(|error| format!("its reply is no JSON: {error}"))?;
        let (done, text) = (value["done"].as_bool(), value["text"].as_str());
        let (Some(done), Some(text)) = (done, text) else { return Err("its reply is of another version".to_owned()) };
        let member = |name| value.get(name).map(Value::to_string);
        Ok(Self { done, text: text.to_owned(), status: member("status"), history: member("history") })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_message_reads_back() {
        for request in [
            Request::Steer("150C \"\n".into()),
            Request::Acknowledge,
            Request::Silence,
            Request::Status,
            Request::History,
            Request::SoundTest,
        ] {
            let line = request.line();
            assert_eq!(line.matches('\n').count(), 1, "{line}");
            assert_eq!(Request::read(line.as_bytes()), Ok(request));
        }
        for reply in [
            Reply::done("steering 150 C\nfor now"),
            Reply::refused("no \"heading\""),
            Reply { status: Some(r#"{"at":null,"status":{"order":1.0}}"#.into()), ..Reply::done("x") },
            Reply { history: Some(r#"{"history":[]}"#.into()), ..Reply::done("x") },
        ] {
            let line = reply.line();
            assert_eq!(line.matches('\n').count(), 1, "{line}");
            assert_eq!(Reply::read(&line), Ok(reply));
        }
        assert!(Reply::read("{}").is_err() && Reply::read("no").is_err());
    }

    #[test]
    fn what_is_no_request_says_what_was_expected() {
        for (line, part) in [
            ("", "no JSON"),
            ("acknowledge", "no JSON"),
            ("[1]", "no JSON object"),
            ("{}", "a verb was expected"),
            (r#"{"verb":"sail"}"#, "steer, acknowledge, silence, status, history or sound-test"),
            (r#"{"verb":1}"#, "a verb was expected"),
            (r#"{"verb":"steer"}"#, "steer needs an order"),
            (r#"{"verb":"steer","order":150}"#, "steer needs an order"),
            (r#"{"verb":"status","order":"150C"}"#, "a member \"order\" that is not known"),
        ] {
            let error = Request::read(line.as_bytes()).expect_err(line);
            assert!(error.contains(part) && error.contains("Example: "), "{line}: {error}");
        }
        assert!(Request::read(b"\xff\xfe").is_err());
        // Nesting that would exhaust a stack is refused by the reader's own limit.
        assert!(Request::read("[".repeat(LONGEST).as_bytes()).is_err());
    }
}
