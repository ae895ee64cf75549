//! A block of rows that is redrawn in place.

use std::io;
use std::io::Write;

use super::screen::paint;
use crate::view::text::Piece;
use crate::view::text::Row;

/// A block of rows at the bottom of a terminal, redrawn in place.
#[derive(Debug)]
pub struct Board<W: Write> {
    out: W,
    /// Rows that stand on the terminal now.
    drawn: usize,
}

impl Board<io::BufWriter<anstream::AutoStream<io::Stdout>>> {
    /// On standard output.
    pub fn stdout() -> Self {
        Self::new(io::BufWriter::new(anstream::AutoStream::auto(io::stdout())))
    }
}

impl<W: Write> Board<W> {
    /// On `out`, which must be a terminal.
    pub const fn new(out: W) -> Self {
        Self { out, drawn: 0 }
    }

    /// Draws `rows` in place of those drawn last, cut to `width` columns and `height` rows.
    ///
    /// # Errors
    /// Whatever the output says.
    pub fn draw(&mut self, rows: &[Row], width: usize, height: usize) -> io::Result<()> {
        self.wipe()?;
        // One row and one column stay free, so that nothing wraps or scrolls and the count of rows holds.
        let shown = rows.len().min(height.saturating_sub(1));
        for row in &rows[..shown] {
            paint(&mut self.out, &cut(row, width.saturating_sub(1)))?;
            self.out.write_all(b"\n")?;
        }
        self.drawn = shown;
        self.out.flush()
    }

    /// Takes the rows away.
    ///
    /// # Errors
    /// Whatever the output says.
    pub fn wipe(&mut self) -> io::Result<()> {
        if self.drawn > 0 {
            // Up to the first row, and everything below it away: ECMA-48 CUU and ED 0.
            write!(self.out, "\x1b[{}A\r\x1b[J", self.drawn)?;
            self.drawn = 0;
        }
        self.out.flush()
    }
}

fn cut(row: &Row, width: usize) -> Row {
    let mut left = width;
    let pieces = row.0.iter().map(|piece| {
        let text: String = piece.text.chars().take(left).collect();
        left -= text.chars().count();
        Piece { tone: piece.tone, text }
    });
    Row(pieces.collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_board_is_redrawn_where_it_stands_and_never_wraps() {
        let mut out = Vec::new();
        let mut board = Board::new(&mut out);
        let rows = [Row::plain("abcdefgh"), Row::plain("b"), Row::plain("c"), Row::plain("d")];
        board.draw(&rows, 6, 4).unwrap();
        board.draw(&rows[..1], 6, 4).unwrap();
        board.wipe().unwrap();
        assert_eq!(String::from_utf8(out).unwrap(), "abcde\nb\nc\n\x1b[3A\r\x1b[Jabcde\n\x1b[1A\r\x1b[J");
    }
}
