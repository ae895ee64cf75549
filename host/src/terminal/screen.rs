//! Text on standard output: rows that stay, and on a terminal one status line that is redrawn.

use std::io;
use std::io::IsTerminal;
use std::io::Write;

use anstyle::AnsiColor;
use anstyle::Color;
use anstyle::Effects;
use anstyle::Style;

use crate::view::text::Row;
use crate::view::text::Tone;

/// What is rung: the counts differ, so that they can be told apart in the dark.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Bell {
    /// Three strokes.
    Alarm,
    /// Two strokes.
    Warning,
    /// One stroke: the watch has ended.
    End,
}

impl Bell {
    pub(super) const fn strokes(self) -> &'static [u8] {
        match self {
            Self::Alarm => b"\x07\x07\x07",
            Self::Warning => b"\x07\x07",
            Self::End => b"\x07",
        }
    }
}

/// Where text goes. Colours are left to `anstream`: none in a pipe, none with `NO_COLOR`.
#[derive(Debug)]
pub struct Screen<W: Write> {
    out: W,
    terminal: bool,
    width: usize,
    /// The status line that stands at the bottom now.
    status: Option<Row>,
}

/// The width where there is no terminal to ask.
const WIDTH: usize = 80;

impl Screen<io::BufWriter<anstream::AutoStream<io::Stdout>>> {
    /// Standard output.
    pub fn stdout() -> Self {
        let terminal = io::stdout().is_terminal();
        let width = terminal_size::terminal_size().map_or(WIDTH, |(width, _)| usize::from(width.0));
        let width = if terminal { width.max(20) } else { WIDTH };
        Self::new(io::BufWriter::new(anstream::AutoStream::auto(io::stdout())), terminal, width)
    }
}

impl<W: Write> Screen<W> {
    /// A screen of `width` columns on `out`, which redraws and rings only if it is a terminal.
    pub const fn new(out: W, terminal: bool, width: usize) -> Self {
        Self { out, terminal, width, status: None }
    }

    /// Whether somebody sees it as it is written.
    pub const fn is_terminal(&self) -> bool {
        self.terminal
    }

    /// Columns.
    pub const fn width(&self) -> usize {
        self.width
    }

    /// Columns of a status line: on a terminal one is left free, so that the cursor never wraps.
    pub const fn status_width(&self) -> usize {
        if self.terminal { self.width - 1 } else { self.width }
    }

    /// Rows that stay, above the status line.
    ///
    /// # Errors
    /// Whatever the output says.
    pub fn rows(&mut self, rows: &[Row]) -> io::Result<()> {
        if rows.is_empty() {
            return Ok(());
        }
        self.wipe()?;
        for row in rows {
            paint(&mut self.out, row)?;
            self.out.write_all(b"\n")?;
        }
        if let Some(status) = &self.status {
            paint(&mut self.out, status)?;
        }
        Ok(())
    }

    /// The status line: redrawn in place on a terminal, one more row in a pipe.
    ///
    /// # Errors
    /// Whatever the output says.
    pub fn status(&mut self, row: Row) -> io::Result<()> {
        if !self.terminal {
            return self.rows(&[row]);
        }
        self.wipe()?;
        paint(&mut self.out, &row)?;
        self.status = Some(row);
        Ok(())
    }

    /// The status line stays as it stands, and what follows is written below it.
    ///
    /// # Errors
    /// Whatever the output says.
    pub fn settle(&mut self) -> io::Result<()> {
        if self.status.take().is_some() {
            self.out.write_all(b"\n")?;
        }
        Ok(())
    }

    /// Rings, where there is somebody to hear it.
    ///
    /// # Errors
    /// Whatever the output says.
    pub fn ring(&mut self, bell: Bell) -> io::Result<()> {
        if self.terminal {
            self.out.write_all(bell.strokes())?;
        }
        Ok(())
    }

    /// Everything written so far is seen.
    ///
    /// # Errors
    /// Whatever the output says.
    pub fn flush(&mut self) -> io::Result<()> {
        self.out.flush()
    }

    fn wipe(&mut self) -> io::Result<()> {
        if self.status.is_some() {
            // Back to the first column and clear the line: ECMA-48 CR and EL 2.
            self.out.write_all(b"\r\x1b[2K")?;
        }
        Ok(())
    }
}

/// Writes `row` in its colours, without a line end.
pub(super) fn paint(out: &mut impl Write, row: &Row) -> io::Result<()> {
    for piece in &row.0 {
        let style = style(piece.tone);
        write!(out, "{style}{}{style:#}", printable(&piece.text))?;
    }
    Ok(())
}

/// Text with every control character escaped: a file name must not steer the terminal.
fn printable(text: &str) -> std::borrow::Cow<'_, str> {
    if text.chars().any(char::is_control) {
        let escape = |c: char| if c.is_control() { c.escape_default().to_string() } else { c.to_string() };
        return text.chars().map(escape).collect::<String>().into();
    }
    text.into()
}

/// The colours of MSC.191(79): alarm red, flashing until acknowledged; warning yellow-orange;
/// normal none. The caution's yellow is common practice, no source.
fn style(tone: Tone) -> Style {
    let colour = |colour: AnsiColor| Style::new().fg_color(Some(Color::Ansi(colour)));
    let alarm = colour(AnsiColor::BrightRed).effects(Effects::BOLD);
    match tone {
        Tone::Plain => Style::new(),
        Tone::Quiet => Style::new().effects(Effects::DIMMED),
        Tone::Title => Style::new().effects(Effects::BOLD),
        Tone::Caution => colour(AnsiColor::Yellow),
        // 214 of the 256 colours is the orange nearest to amber.
        Tone::Warning => Style::new().fg_color(Some(anstyle::Ansi256Color(214).into())).effects(Effects::BOLD),
        Tone::Alarm => alarm,
        Tone::AlarmUnanswered => alarm.effects(Effects::BOLD.insert(Effects::BLINK)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn written(terminal: bool, use_it: impl FnOnce(&mut Screen<&mut Vec<u8>>) -> io::Result<()>) -> String {
        let mut out = Vec::new();
        use_it(&mut Screen::new(&mut out, terminal, 80)).expect("a Vec takes everything");
        String::from_utf8(out).expect("it is text")
    }

    #[test]
    fn in_a_pipe_there_is_no_redraw_and_no_bell() {
        let text = written(false, |screen| {
            screen.status(Row::plain("one"))?;
            screen.rows(&[Row::plain("two")])?;
            screen.ring(Bell::Alarm)?;
            screen.status(Row::plain("three"))?;
            screen.settle()
        });
        assert_eq!(text, "one\ntwo\nthree\n");
    }

    #[test]
    fn on_a_terminal_the_status_stays_below_what_is_written() {
        let text = written(true, |screen| {
            screen.status(Row::plain("one"))?;
            screen.rows(&[Row::plain("alert")])?;
            screen.status(Row::plain("two"))?;
            screen.settle()
        });
        assert_eq!(text, "one\r\x1b[2Kalert\none\r\x1b[2Ktwo\n");
    }

    #[test]
    fn alarm_and_warning_ring_differently() {
        assert_ne!(Bell::Alarm.strokes().len(), Bell::Warning.strokes().len());
        assert_eq!(written(true, |screen| screen.ring(Bell::Warning)), "\x07\x07");
    }

    #[test]
    fn a_name_cannot_steer_the_terminal() {
        let text = written(true, |screen| screen.rows(&[Row::plain("a\x1b[2Jb")]));
        assert_eq!(text, "a\\u{1b}[2Jb\n");
    }
}
