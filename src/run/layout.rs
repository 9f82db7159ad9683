//! Line ends and byte order mark of a text file, kept when it is written anew.

/// The character that some editors put first, to say that a file is UTF-8.
const MARK: char = '\u{feff}';

/// How the lines of a text end, and whether it begins with a mark.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Layout {
    mark: bool,
    carriage_returns: bool,
}

impl Layout {
    /// Of `text`. Lines that end in different ways are taken for ones that end in a newline alone.
    pub(super) fn of(text: &str) -> Self {
        let lines = text.matches('\n').count();
        let carriage_returns = lines > 0 && text.matches("\r\n").count() == lines;
        Self { mark: text.starts_with(MARK), carriage_returns }
    }

    /// `text` in this layout, whatever it had.
    pub(super) fn apply(self, text: &str) -> String {
        let plain = plain(text);
        let text = if self.carriage_returns { plain.replace('\n', "\r\n") } else { plain };
        if self.mark { format!("{MARK}{text}") } else { text }
    }
}

/// `text` without a mark, its lines ended by newlines.
pub(super) fn plain(text: &str) -> String {
    text.strip_prefix(MARK).unwrap_or(text).replace("\r\n", "\n")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_text_comes_back_as_it_was() {
        for text in ["", "a", "a\nb\n", "a\r\nb\r\n", "\u{feff}a\n", "\u{feff}a\r\nb"] {
            let layout = Layout::of(text);
            assert_eq!(layout.apply(&plain(text)), text);
            assert!(!plain(text).contains(['\r', MARK]));
            assert_eq!(layout.apply(text), text, "twice is once");
        }
        assert_eq!(Layout::of("a\r\nb\n").apply("c\nd\n"), "c\nd\n");
    }
}
