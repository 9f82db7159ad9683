//! The command line that turns a file that is not read into one that is.

use crate::shown::Shown as _;
use std::path::Path;

/// What to tell about the file at `path`: a command that works as it stands.
pub(super) fn advice(path: &str) -> String {
    let to = Path::new(path).with_extension("flac").shown();
    let to = if to == path { format!("{path}.wav") } else { to };
    format!("convert it: ffmpeg -i {} -vn {}", quoted(path), quoted(&to))
}

/// As one word for a shell.
fn quoted(path: &str) -> String {
    let plain = |c: char| c.is_ascii_alphanumeric() || "/._-+:@,".contains(c);
    // A program takes a leading dash for a flag.
    let path = if path.starts_with('-') { format!("./{path}") } else { path.to_owned() };
    if !path.is_empty() && path.chars().all(plain) {
        path
    } else {
        format!("'{}'", path.replace('\'', "'\\''"))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_command_survives_a_shell_and_never_overwrites_its_source() {
        assert_eq!(advice("a/song.opus"), "convert it: ffmpeg -i a/song.opus -vn a/song.flac");
        assert_eq!(advice("it's.wma"), r"convert it: ffmpeg -i 'it'\''s.wma' -vn 'it'\''s.flac'");
        assert_eq!(advice("-x.flac"), "convert it: ffmpeg -i ./-x.flac -vn ./-x.flac.wav");
    }
}
