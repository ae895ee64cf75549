//! Text with tones: what is urgent is marked here, and painted by whoever owns the display.

/// How a piece of text is to look. The word always says it too; a tone is never the only sign.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Tone {
    /// As everything else.
    #[default]
    Plain,
    /// Of less importance.
    Quiet,
    /// A heading of a section.
    Title,
    /// A caution.
    Caution,
    /// A warning.
    Warning,
    /// An alarm that somebody has answered, or that is over.
    Alarm,
    /// An alarm nobody has answered.
    AlarmUnanswered,
}

/// A piece of text of one tone.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Piece {
    /// How it looks.
    pub tone: Tone,
    /// What it says.
    pub text: String,
}

/// One line of text, without its line end.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Row(pub Vec<Piece>);

impl Row {
    /// A line of plain text.
    pub fn plain(text: impl Into<String>) -> Self {
        Self::default().and(Tone::Plain, text)
    }

    /// The line with more text behind it.
    #[must_use]
    pub fn and(mut self, tone: Tone, text: impl Into<String>) -> Self {
        self.0.push(Piece { tone, text: text.into() });
        self
    }

    /// At most the first `width` characters of it.
    #[must_use]
    pub fn cut(mut self, width: usize) -> Self {
        let mut left = width;
        for piece in &mut self.0 {
            let length = piece.text.chars().count();
            if length > left {
                piece.text = piece.text.chars().take(left).collect();
            }
            left = left.saturating_sub(length);
        }
        self
    }

    /// Its text without tones.
    pub fn words(&self) -> String {
        self.0.iter().map(|piece| piece.text.as_str()).collect()
    }

    /// Its width in characters.
    pub fn width(&self) -> usize {
        self.0.iter().map(|piece| piece.text.chars().count()).sum()
    }
}

/// Breaks `text` at spaces into lines of at most `width` characters, each behind `indent` spaces.
///
/// It does not break at a no-break space, which is written as a space. A word longer than a line
/// stands alone and runs over: nothing is lost.
pub fn wrap(text: &str, width: usize, indent: usize) -> Vec<String> {
    let mut lines = Vec::new();
    let mut line = String::new();
    for word in text.split(' ').filter(|word| !word.is_empty()) {
        let used = line.chars().count();
        if used > 0 && indent + used + 1 + word.chars().count() > width {
            lines.push(format!("{:indent$}{line}", ""));
            line.clear();
        }
        if !line.is_empty() {
            line.push(' ');
        }
        // A no-break space has kept its two sides together and has done its work.
        line.push_str(&word.replace('\u{a0}', " "));
    }
    if !line.is_empty() {
        lines.push(format!("{:indent$}{line}", ""));
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn wrapping_loses_no_word() {
        let text = "one two three four averyveryverylongword five";
        let lines = wrap(text, 14, 2);
        assert_eq!(lines, ["  one two", "  three four", "  averyveryverylongword", "  five"]);
        assert_eq!(wrap("in 1\u{a0}234 parts", 8, 0), ["in 1 234", "parts"]);
        assert_eq!(wrap("", 80, 0), Vec::<String>::new());
    }
}
