//! Names of files in messages.
//!
//! A name may hold line ends, tabs and what a terminal obeys. In a message they are written out, so that
//! nothing breaks it or pretends to be one.

use std::path::Path;

/// A path as people may see it.
pub trait Shown {
    /// On one line, control characters written as `\u{a}`.
    fn shown(&self) -> String;
}

impl Shown for Path {
    fn shown(&self) -> String {
        let mut text = String::new();
        for character in self.to_string_lossy().chars() {
            match character.is_control() {
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
        assert_eq!(
            Path::new("songs/Gr\u{fc}n \u{266b} \\n.wav").shown(),
            "songs/Gr\u{fc}n \u{266b} \\n.wav"
        );
    }
}
