//! Reading an owner's TOML file so that every refusal names file, line, expectation and example.
//!
//! A derived reader would say what it got; an owner needs to know what to write instead. So the
//! parsed tree is walked by hand, with the place of every key kept.

use std::fs::File;
use std::io::ErrorKind;
use std::io::Read;
use std::path::Path;

use lubber_core::decimal;
use lubber_core::unit::Date;
use toml::Spanned;
use toml::de::DeArray;
use toml::de::DeTable;
use toml::de::DeValue;

use crate::exit::Failure;

/// An owner's file: its name for messages, and what stands in it.
#[derive(Debug)]
pub(crate) struct Text {
    name: String,
    text: String,
}

/// What a value must be, and how that is written.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Want {
    /// Completes "expected ...".
    pub(crate) what: &'static str,
    /// A line that would do.
    pub(crate) example: &'static str,
}

/// One table of the file, its keys already checked.
#[derive(Clone, Debug)]
pub(crate) struct Section<'a> {
    text: &'a Text,
    table: &'a DeTable<'a>,
    at: usize,
}

/// One value of the file.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Value<'a> {
    text: &'a Text,
    key: &'a str,
    value: &'a Spanned<DeValue<'a>>,
}

/// A file of an owner is a page or two; anything longer is something else.
const LARGEST: u64 = 1 << 20;

impl Text {
    /// The file at `path`, a `what` such as "deviation card"; `example` shows how one begins.
    pub(crate) fn read(path: &Path, what: &str, example: &str) -> Result<Self, Failure> {
        let name = path.display().to_string();
        let failed = |why: String| Failure::new(format!("{name}: {why}"));
        let file = File::open(path).map_err(|error| match error.kind() {
            ErrorKind::NotFound => failed(format!("there is no such file; expected a {what}")),
            ErrorKind::PermissionDenied => failed("you may not read this file; see its permissions (ls -l)".to_owned()),
            _ => failed(format!("it cannot be opened: {error}")),
        })?;
        if file.metadata().is_ok_and(|data| data.is_dir()) {
            return Err(failed(format!("it is a folder; expected a {what}, which is a file")));
        }
        let mut bytes = Vec::new();
        file.take(LARGEST + 1)
            .read_to_end(&mut bytes)
            .map_err(|error| failed(format!("it cannot be read: {error}")))?;
        if bytes.len() as u64 > LARGEST {
            return Err(failed(format!("it is over 1 MiB, so it is no {what}")));
        }
        let text = String::from_utf8(bytes).ok().filter(|text| !text.contains('\0'));
        let text = text.ok_or_else(|| failed(format!("it is not text; expected a {what}, a text file in TOML")))?;
        if text.trim().is_empty() {
            return Err(failed(format!("it is empty; a {what} begins like this:\n{example}")));
        }
        Ok(Self { name, text })
    }

    /// Text that is not from a file, under a name for its messages.
    pub(crate) fn new(name: impl Into<String>, text: impl Into<String>) -> Self {
        Self { name: name.into(), text: text.into() }
    }

    /// Its name.
    pub(crate) fn name(&self) -> &str {
        &self.name
    }

    /// The tree of it.
    pub(crate) fn parse(&self) -> Result<Spanned<DeTable<'_>>, Failure> {
        DeTable::parse(&self.text).map_err(|error| {
            let at = error.span().map_or(0, |span| span.start);
            let remedy = match error.message() {
                zero if zero.contains("leading zero") => "; write 45, or \"045\" in quotes",
                _ => "; a value is written as key = 1.5 or key = \"words\", a table as [name]",
            };
            self.refuse(at, &format!("not TOML: {}{remedy}", error.message()))
        })
    }

    /// The line in which byte `at` stands, counted from 1.
    pub(crate) fn line(&self, at: usize) -> usize {
        self.text.get(..at).unwrap_or(&self.text).matches('\n').count() + 1
    }

    /// The refusal of what stands at byte `at`.
    pub(crate) fn refuse(&self, at: usize, why: &str) -> Failure {
        Failure::new(format!("{}:{}: {why}", self.name, self.line(at)))
    }
}

impl<'a> Section<'a> {
    /// The whole file as a table that may have `keys`.
    pub(crate) fn root(text: &'a Text, table: &'a Spanned<DeTable<'a>>, keys: &[&str]) -> Result<Self, Failure> {
        Self { text, table: table.get_ref(), at: 0 }.with_keys("the file", keys)
    }

    /// Refuses any key but `keys` of a table whose keys were left open.
    pub(crate) fn only(self, keys: &[&str]) -> Result<Self, Failure> {
        self.with_keys("this table", keys)
    }

    /// Refuses any key but `keys`, with the nearest of them as a suggestion.
    fn with_keys(self, name: &str, keys: &[&str]) -> Result<Self, Failure> {
        for key in self.table.keys() {
            let typed: &str = key.get_ref();
            if !keys.contains(&typed) {
                let near = keys.iter().map(|known| (distance(typed, known), known)).min();
                let hint = match near.filter(|(steps, known)| *steps <= 1 + known.len() / 4) {
                    Some((_, known)) => format!(": did you mean \"{known}\"?"),
                    None => ".".to_owned(),
                };
                let why = format!("unknown key \"{}\"{hint} In {name} there may be {}", shown(typed), listed(keys));
                return Err(self.text.refuse(key.span().start, &why));
            }
        }
        Ok(self)
    }

    /// The value of `key`.
    pub(crate) fn get(&self, key: &'static str) -> Option<Value<'a>> {
        self.table.get(key).map(|value| Value { text: self.text, key, value })
    }

    /// The value of `key`, which must be there.
    pub(crate) fn need(&self, key: &'static str, want: Want) -> Result<Value<'a>, Failure> {
        self.get(key).ok_or_else(|| {
            let why = format!("{key} is missing: expected {}, for example: {}", want.what, want.example);
            self.text.refuse(self.at, &why)
        })
    }

    /// Every key with its value, in the order of their names.
    pub(crate) fn entries(&self) -> impl Iterator<Item = Value<'a>> {
        let text = self.text;
        self.table.iter().map(move |(key, value)| Value { text, key: key.get_ref(), value })
    }
}

impl<'a> Value<'a> {
    /// Its key.
    pub(crate) fn key(&self) -> &'a str {
        self.key
    }

    /// Where it stands, in bytes from the start.
    pub(crate) fn at(&self) -> usize {
        self.value.span().start
    }

    /// Where it stands, for a refusal that can be known only later: `boat.toml:7`.
    pub(crate) fn place(&self) -> String {
        format!("{}:{}", self.text.name, self.text.line(self.at()))
    }

    /// The refusal of it.
    pub(crate) fn refuse(&self, want: Want) -> Failure {
        let span = self.value.span();
        let typed = shown(self.text.text.get(span).unwrap_or_default());
        let why = format!("{} = {typed}: expected {}, for example: {}", self.key, want.what, want.example);
        self.because(&why)
    }

    /// A refusal in other words.
    pub(crate) fn because(&self, why: &str) -> Failure {
        self.text.refuse(self.at(), why)
    }

    /// Words that are not empty.
    pub(crate) fn words(&self, want: Want) -> Result<&'a str, Failure> {
        self.string().filter(|words| !words.trim().is_empty()).ok_or_else(|| self.refuse(want))
    }

    /// Words, if it is that.
    pub(crate) fn string(&self) -> Option<&'a str> {
        self.value.get_ref().as_str()
    }

    /// True or false.
    pub(crate) fn switch(&self, want: Want) -> Result<bool, Failure> {
        self.value.get_ref().as_bool().ok_or_else(|| self.refuse(want))
    }

    /// One of some words, each with its meaning.
    pub(crate) fn choice<T: Copy>(&self, choices: &[(&str, T)], want: Want) -> Result<T, Failure> {
        let found = self.string().and_then(|typed| choices.iter().find(|(word, _)| *word == typed));
        found.map(|&(_, meaning)| meaning).ok_or_else(|| self.refuse(want))
    }

    /// A decimal number in thousandths, if it is that; exponents, `nan` and `inf` are none.
    pub(crate) fn thousandths(&self) -> Option<i64> {
        let digits = match self.value.get_ref() {
            DeValue::Integer(integer) if integer.radix() == 10 => integer.as_str(),
            DeValue::Float(float) => float.as_str(),
            _ => return None,
        };
        decimal::scaled(digits.as_bytes(), 3).ok()
    }

    /// A number with one of `units` (its name and how many of the first unit it is), in thousandths of
    /// the first unit; a bare number counts in the first.
    pub(crate) fn quantity(&self, units: &[(&str, f64)], want: Want) -> Result<i64, Failure> {
        let with_unit = |typed: &str| {
            let typed = typed.trim();
            let digits = typed.find(|c: char| !c.is_ascii_digit() && !"+-.".contains(c)).unwrap_or(typed.len());
            let (number, unit) = typed.split_at(digits);
            let (_, factor) = units.iter().find(|(name, _)| *name == unit.trim())?;
            let number = decimal::scaled(number.as_bytes(), 3).ok()?;
            #[expect(clippy::cast_possible_truncation, reason = "saturates, and the caller checks the range")]
            Some((number as f64 * factor).round() as i64)
        };
        self.thousandths().or_else(|| self.string().and_then(with_unit)).ok_or_else(|| self.refuse(want))
    }

    /// A calendar date.
    pub(crate) fn date(&self, want: Want) -> Result<Date, Failure> {
        let date = self.value.get_ref().as_datetime().and_then(|at| at.date);
        date.and_then(|date| Date::new(date.year, date.month, date.day)).ok_or_else(|| self.refuse(want))
    }

    /// A time of day in milliseconds since midnight, with the date where one stands before it.
    pub(crate) fn moment(&self, want: Want) -> Result<(Option<Date>, u32), Failure> {
        let at = self.value.get_ref().as_datetime().ok_or_else(|| self.refuse(want))?;
        let is_utc = matches!(at.offset, None | Some(toml::value::Offset::Z));
        let date = match at.date {
            None => None,
            Some(date) => Some(Date::new(date.year, date.month, date.day).ok_or_else(|| self.refuse(want))?),
        };
        let time = at.time.filter(|_| is_utc).ok_or_else(|| self.refuse(want))?;
        let seconds = (u32::from(time.hour) * 60 + u32::from(time.minute)) * 60 + u32::from(time.second.unwrap_or(0));
        Ok((date, seconds * 1000 + time.nanosecond.unwrap_or(0) / 1_000_000))
    }

    /// A table that may have `keys`.
    pub(crate) fn section(&self, keys: &[&str], want: Want) -> Result<Section<'a>, Failure> {
        let table = self.value.get_ref().as_table().ok_or_else(|| self.refuse(want))?;
        let section = Section { text: self.text, table, at: self.at() };
        if keys.is_empty() { Ok(section) } else { section.with_keys(self.key, keys) }
    }

    /// A list.
    pub(crate) fn list(&self, want: Want) -> Result<impl Iterator<Item = Value<'a>> + use<'a>, Failure> {
        let list: &'a DeArray<'a> = self.value.get_ref().as_array().ok_or_else(|| self.refuse(want))?;
        let (text, key) = (self.text, self.key);
        Ok(list.iter().map(move |value| Value { text, key, value }))
    }
}

/// What was typed, on one line, short, and safe for a terminal.
fn shown(typed: &str) -> String {
    let line: String = typed.chars().map(|c| if c.is_control() { ' ' } else { c }).take(40).collect();
    if typed.chars().count() > 40 { format!("{}...", line.trim_end()) } else { line }
}

/// `a, b and c`.
pub(crate) fn listed(words: &[&str]) -> String {
    match words {
        [] => String::new(),
        [one] => (*one).to_owned(),
        [most @ .., last] => format!("{} and {last}", most.join(", ")),
    }
}

/// How many letters must be changed, added, dropped or swapped with a neighbour to make `b` of `a`.
fn distance(a: &str, b: &str) -> usize {
    let (a, b): (Vec<char>, Vec<char>) = (a.chars().take(64).collect(), b.chars().collect());
    let mut rows: Vec<Vec<usize>> = vec![(0..=b.len()).collect()];
    for i in 1..=a.len() {
        let mut row = vec![i];
        for j in 1..=b.len() {
            let same = usize::from(!a[i - 1].eq_ignore_ascii_case(&b[j - 1]));
            let mut best = (rows[i - 1][j] + 1).min(row[j - 1] + 1).min(rows[i - 1][j - 1] + same);
            if i > 1 && j > 1 && a[i - 1] == b[j - 2] && a[i - 2] == b[j - 1] {
                best = best.min(rows[i - 2][j - 2] + 1);
            }
            row.push(best);
        }
        rows.push(row);
    }
    rows[a.len()][b.len()]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_distance_between_words() {
        // By hand.
        for (a, b, steps) in
            [("name", "name", 0), ("nmae", "name", 1), ("naem", "name", 1), ("limt", "limit", 1), ("", "abc", 3)]
        {
            assert_eq!(distance(a, b), steps, "{a} {b}");
        }
    }

    #[test]
    fn what_was_typed_is_shown_safely() {
        assert_eq!(shown("a\x1b[31mb\n"), "a [31mb ");
        assert_eq!(shown(&"x".repeat(50)), format!("{}...", "x".repeat(40)));
    }
}
