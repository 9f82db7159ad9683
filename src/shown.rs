//! Names of files in messages.
//!
//! A name may hold line ends, tabs and what a terminal obeys. In a message they are written out, so that
//! nothing breaks it or pretends to be one.

use std::path::Path;

/// A path as people may see it.
pub trait Shown {
    /// On one line, what [`is_order`] written as `\u{a}`.
    fn shown(&self) -> String;
}

/// Whether a terminal obeys it, or it breaks a line or turns the direction in which the rest is read:
/// controls, separators, and what Unicode Standard Annex 9 calls directional formatting characters
/// (section 2; from memory).
pub fn is_order(character: char) -> bool {
    character.is_control()
        || matches!(
            character,
            '\u{61c}'
                | '\u{200e}'
                | '\u{200f}'
                | '\u{2028}'..='\u{202e}'
                | '\u{2066}'..='\u{2069}'
        )
}

impl Shown for Path {
    fn shown(&self) -> String {
        let mut text = String::new();
        for character in self.to_string_lossy().chars() {
            match is_order(character) {
                true => text.extend(character.escape_unicode()),
                false => text.push(character),
            }
        }
        text
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_stays_on_its_line() {
        assert_eq!(
            Path::new("a\nerror: b\t\u{1b}[31m.wav").shown(),
            "a\\u{a}error: b\\u{9}\\u{1b}[31m.wav"
        );
        // Read from right to left it would seem to be a table.
        assert_eq!(Path::new("a\u{202e}vsc.duty").shown(), "a\\u{202e}vsc.duty");
        assert_eq!(Path::new("a\u{2028}b\u{2067}").shown(), "a\\u{2028}b\\u{2067}");
        assert_eq!(
            Path::new("songs/Gr\u{fc}n \u{266b} \\n.wav").shown(),
            "songs/Gr\u{fc}n \u{266b} \\n.wav"
        );
    }
}
