//! Words into lines of so many characters; the page has no way to measure type.

/// `words` cut to `most` characters, with dots where something is missing.
pub(crate) fn short(words: &str, most: usize) -> String {
    if words.chars().count() <= most {
        return words.to_owned();
    }
    let cut: String = words.chars().take(most.saturating_sub(3)).collect();
    format!("{}...", cut.trim_end())
}

/// `words` in lines of at most `most` characters; a longer word is cut.
pub(crate) fn wrap(words: &str, most: usize) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for word in words.split_whitespace() {
        let word = short(word, most);
        match lines.last_mut() {
            Some(line) if line.chars().count() + 1 + word.chars().count() <= most => {
                line.push(' ');
                line.push_str(&word);
            }
            _ => lines.push(word),
        }
    }
    lines
}

/// Parts in lines of at most `most` characters, none broken unless it is longer than a line.
pub(crate) fn joined(parts: &[String], most: usize) -> Vec<String> {
    const BETWEEN: &str = "  \u{b7}  ";
    let mut lines: Vec<String> = Vec::new();
    for part in parts {
        let part = short(part, most);
        match lines.last_mut() {
            Some(line) if line.chars().count() + BETWEEN.len() + part.chars().count() <= most => {
                line.push_str(BETWEEN);
                line.push_str(&part);
            }
            _ => lines.push(part),
        }
    }
    lines
}

/// Sentences run together and wrapped.
pub(crate) fn filled(sentences: &[String], most: usize) -> Vec<String> {
    wrap(&sentences.join(" "), most)
}
