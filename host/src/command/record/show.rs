//! What recording says: for people as it goes on, for programs once at the end.

use std::io;
use std::io::Write;
use std::path::Path;
use std::path::PathBuf;

use lubber_core::picture::SourceId;
use lubber_core::time::Instant;
use lubber_core::time::Span;
use serde_json::json;

use super::setup::Setup;
use crate::command::Format;
use crate::record::Report;
use crate::record::Written;
use crate::terminal::Screen;
use crate::view::Stamp;
use crate::view::text::Row;
use crate::view::text::Tone;
use crate::view::text::wrap;

type Stdout = io::BufWriter<anstream::AutoStream<io::Stdout>>;

/// Says what goes on.
pub(super) struct Show {
    /// `None` where only the summary is wanted.
    screen: Option<Screen<Stdout>>,
    names: Vec<String>,
    folder: PathBuf,
    next: Instant,
    /// Lines when they were told last: no news is not told again and again.
    told: Option<u64>,
    /// What was reported of the disk, for the summary.
    troubles: Vec<String>,
    from_ms: Option<i64>,
    to_ms: Option<i64>,
}

/// In a pipe no more than a line a minute.
const MINUTE: Span = Span::from_min(1);
const SECOND: Span = Span::from_s(1);
/// Reports that are kept for the summary.
const TROUBLES: usize = 16;

impl Show {
    pub(super) fn new(format: Format, names: &[String], folder: &Path) -> Self {
        Self {
            screen: (format == Format::Text).then(Screen::stdout),
            names: names.to_vec(),
            folder: folder.to_owned(),
            next: Instant::default() + SECOND,
            told: None,
            troubles: Vec::new(),
            from_ms: None,
            to_ms: None,
        }
    }

    /// Says what is recorded where to.
    pub(super) fn begin(&mut self, setup: &Setup) -> io::Result<()> {
        let Some(screen) = &mut self.screen else { return Ok(()) };
        let width = screen.width();
        let mut rows = vec![Row::default().and(Tone::Title, "lubber records")];
        let inputs = setup.inputs.iter().zip(&self.names).map(|(input, name)| ("source", format!("{input} as {name}")));
        let files = format!(
            "of {} at most, a new one each day (UTC), compressed when closed; {} in all, the oldest dropped; {} of the \
             disk stay free",
            size(setup.limits.size),
            size(setup.limits.keep),
            size(setup.limits.floor)
        );
        let lines = inputs.chain([("folder", self.folder.display().to_string()), ("files", files)]);
        for (name, text) in lines {
            for (place, line) in wrap(&text, width, 10).into_iter().enumerate() {
                let name = if place == 0 { name } else { "" };
                rows.push(Row::plain(format!("  {name:<7} {}", line.trim_start())));
            }
        }
        screen.rows(&rows)?;
        screen.flush()
    }

    /// When it wants to tell how far it is.
    pub(super) fn due(&self) -> Instant {
        self.next
    }

    /// Tells how far it is.
    pub(super) fn progress(&mut self, now: Instant, utc_ms: Option<i64>, written: &Written) -> io::Result<()> {
        let Some(screen) = &mut self.screen else {
            self.next = now + SECOND;
            return Ok(());
        };
        self.next = now + if screen.is_terminal() { SECOND } else { MINUTE };
        if self.told.replace(written.lines) == Some(written.lines) && !screen.is_terminal() {
            return Ok(());
        }
        let file = written.current.as_deref().unwrap_or("no file open");
        let words = format!("{}  {file}  {} in {}", clock(utc_ms), counted(written.lines, "line"), size(written.bytes));
        let mut row = Row::plain(words);
        if !written.works {
            row = row.and(Tone::Warning, "  NOT RECORDED");
        }
        screen.status(row.cut(screen.status_width()))?;
        screen.flush()
    }

    /// Says something about a source.
    pub(super) fn say(&mut self, utc_ms: Option<i64>, source: Option<SourceId>, words: &str) -> io::Result<()> {
        let name = source.and_then(|source| self.names.get(source.index())).map_or("", String::as_str);
        self.rows(Tone::Plain, &format!("{}  {name} {words}", clock(utc_ms)))
    }

    /// Says that the recorder failed, or works again.
    pub(super) fn report(&mut self, utc_ms: Option<i64>, report: &Report) -> io::Result<()> {
        let words = if report.works {
            format!("recording works again; {}", report.why)
        } else {
            format!("NOT RECORDED: {}: {}", self.folder.display(), report.why)
        };
        if self.troubles.len() < TROUBLES {
            self.troubles.push(words.clone());
        }
        if self.screen.is_none() {
            anstream::eprintln!("lubber: {words}");
            return Ok(());
        }
        let tone = if report.works { Tone::Plain } else { Tone::Warning };
        self.rows(tone, &format!("{}  {words}", clock(utc_ms)))
    }

    /// The last words.
    pub(super) fn end(&mut self, written: &Written, interrupted: bool) -> io::Result<()> {
        let Some(mut screen) = self.screen.take() else { return self.json(written, interrupted) };
        screen.settle()?;
        let mut words = format!(
            "Recorded {} in {}, {} begun",
            counted(written.lines, "line"),
            size(written.bytes),
            counted(written.files, "file")
        );
        for (count, what) in [(written.dropped, "old file"), (written.torn, "line")] {
            if count > 0 {
                let did = if what == "line" { "torn by a cut of power left out" } else { "dropped" };
                words.push_str(&format!("; {} {did}", counted(count, what)));
            }
        }
        words.push('.');
        let mut rows: Vec<Row> = wrap(&words, screen.width(), 0).into_iter().map(Row::plain).collect();
        if written.lost_lines > 0 {
            let lost = format!("LOST: {}, for which the disk had no room.", counted(written.lost_lines, "line"));
            rows.push(Row::default().and(Tone::Warning, lost));
        }
        if written.lost_bytes > 0 {
            let lost = format!("LOST: {}, for which the disk was too slow.", size(written.lost_bytes));
            rows.push(Row::default().and(Tone::Warning, lost));
        }
        screen.rows(&rows)?;
        screen.flush()
    }

    fn json(&self, written: &Written, interrupted: bool) -> io::Result<()> {
        let iso = |utc_ms: Option<i64>| Stamp { utc_ms, since_start_ms: 0 }.iso();
        let summary = json!({
            "schema": 1,
            "folder": self.folder.display().to_string(),
            "sources": self.names,
            "from": iso(self.from_ms),
            "to": iso(self.to_ms),
            "lines": written.lines,
            "bytes": written.bytes,
            "files": written.files,
            "dropped_files": written.dropped,
            "torn_lines": written.torn,
            "lost_lines": written.lost_lines,
            "lost_bytes": written.lost_bytes,
            "failures": written.failures,
            "troubles": self.troubles,
            "interrupted": interrupted,
        });
        let mut out = io::stdout().lock();
        writeln!(out, "{summary}")?;
        out.flush()
    }

    fn rows(&mut self, tone: Tone, words: &str) -> io::Result<()> {
        let Some(screen) = &mut self.screen else { return Ok(()) };
        let rows: Vec<Row> = wrap(words, screen.width(), 0)
            .into_iter()
            .enumerate()
            .map(|(place, line)| Row::default().and(tone, if place == 0 { line } else { format!("  {line}") }))
            .collect();
        screen.rows(&rows)?;
        screen.flush()
    }

    /// It has come to this moment.
    pub(super) fn note_time(&mut self, utc_ms: Option<i64>) {
        self.from_ms = self.from_ms.or(utc_ms);
        self.to_ms = utc_ms.or(self.to_ms);
    }
}

/// The time of day, or that it is not known.
fn clock(utc_ms: Option<i64>) -> String {
    match utc_ms {
        Some(_) => Stamp { utc_ms, since_start_ms: 0 }.clock(),
        None => "--:--:--".to_owned(),
    }
}

fn counted(count: u64, what: &str) -> String {
    match count {
        1 => format!("1 {what}"),
        _ => format!("{count} {what}s"),
    }
}

/// A number of bytes for a person.
fn size(bytes: u64) -> String {
    crate::record::Size(bytes).to_string()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_is_not_many() {
        assert_eq!((counted(1, "line"), counted(0, "line")), ("1 line".into(), "0 lines".into()));
        assert_eq!(size(64_000_000), "64.0 MB");
        assert_eq!(clock(None), "--:--:--");
    }
}
