//! JSON written straight into a line, key by key, so that a status costs no tree of values.

use std::fmt::Display;
use std::fmt::Write;

/// One JSON object being written.
#[derive(Debug)]
pub struct Object<'a> {
    out: &'a mut String,
    first: bool,
}

/// Appends one object whose members `fill` writes.
pub fn object(out: &mut String, fill: impl FnOnce(&mut Object<'_>)) {
    out.push('{');
    fill(&mut Object { out, first: true });
    out.push('}');
}

impl Object<'_> {
    /// A string.
    pub fn text(&mut self, key: &str, value: impl Display) {
        self.key(key);
        quoted(self.out, value);
    }

    /// A number, or anything else that is JSON as it is displayed.
    pub fn number(&mut self, key: &str, value: impl Display) {
        self.key(key);
        shown(self.out, value);
    }

    /// A string or null.
    pub fn text_or_null(&mut self, key: &str, value: Option<impl Display>) {
        match value {
            Some(value) => self.text(key, value),
            None => self.null(key),
        }
    }

    /// A number or null.
    pub fn number_or_null(&mut self, key: &str, value: Option<impl Display>) {
        match value {
            Some(value) => self.number(key, value),
            None => self.null(key),
        }
    }

    /// True or false.
    pub fn flag(&mut self, key: &str, value: bool) {
        self.number(key, value);
    }

    /// Null.
    pub fn null(&mut self, key: &str) {
        self.number(key, "null");
    }

    /// An object in the object.
    pub fn object(&mut self, key: &str, fill: impl FnOnce(&mut Object<'_>)) {
        self.key(key);
        object(self.out, fill);
    }

    /// An object for a value that is there, else null.
    pub fn object_or_null<T>(&mut self, key: &str, value: Option<T>, fill: impl FnOnce(&mut Object<'_>, T)) {
        match value {
            Some(value) => self.object(key, |o| fill(o, value)),
            None => self.null(key),
        }
    }

    /// A list of objects.
    pub fn objects<T>(
        &mut self,
        key: &str,
        items: impl IntoIterator<Item = T>,
        mut fill: impl FnMut(&mut Object<'_>, T),
    ) {
        self.key(key);
        self.out.push('[');
        for (place, item) in items.into_iter().enumerate() {
            if place > 0 {
                self.out.push(',');
            }
            object(self.out, |o| fill(o, item));
        }
        self.out.push(']');
    }

    /// A list of strings.
    pub fn texts(&mut self, key: &str, items: impl IntoIterator<Item = impl Display>) {
        self.key(key);
        self.out.push('[');
        for (place, item) in items.into_iter().enumerate() {
            if place > 0 {
                self.out.push(',');
            }
            quoted(self.out, item);
        }
        self.out.push(']');
    }

    fn key(&mut self, key: &str) {
        if !self.first {
            self.out.push(',');
        }
        self.first = false;
        quoted(self.out, key);
        self.out.push(':');
    }
}

fn shown(out: &mut String, value: impl Display) {
    // Writing to a String cannot fail; a value whose Display fails leaves what it wrote.
    let _ = write!(out, "{value}");
}

fn quoted(out: &mut String, value: impl Display) {
    out.push('"');
    let begin = out.len();
    shown(out, value);
    // Nearly every string needs no escape and is left where it was written.
    if out.as_bytes()[begin..].iter().any(|&b| b < 0x20 || b == b'"' || b == b'\\') {
        let plain = out.split_off(begin);
        for c in plain.chars() {
            match c {
                '"' => out.push_str("\\\""),
                '\\' => out.push_str("\\\\"),
                '\n' => out.push_str("\\n"),
                c if u32::from(c) < 0x20 => shown(out, format_args!("\\u{:04x}", u32::from(c))),
                c => out.push(c),
            }
        }
    }
    out.push('"');
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_written_reads_back() {
        let mut line = String::new();
        let hard = "a \"quote\", a \\, a tab\t, a bell\u{7}, a line\nand \u{b0}";
        object(&mut line, |o| {
            o.text("hard", hard);
            o.number("n", -1.5);
            o.null("nothing");
            o.flag("yes", true);
            o.object("inner", |o| o.texts("list", ["x", "\""]));
            o.objects("rows", [1, 2], |o, n| o.number("n", n));
        });
        let back: serde_json::Value = serde_json::from_str(&line).expect("it is JSON");
        assert_eq!(back["hard"], hard);
        assert_eq!(back["inner"]["list"][1], "\"");
        assert_eq!(back["rows"][1]["n"], 2);
        assert!(back["nothing"].is_null());
    }
}
