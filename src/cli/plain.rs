//! Text for people, whatever was in it: names of files and devices come from anywhere.

use coilscore::shown::is_order;

/// Without the system's error numbers, and with control characters written out so that none of
/// them reaches the terminal.
pub(super) fn plain(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for character in without_numbers(text).chars() {
        match character {
            '\n' | '\t' => out.push(character),
            _ if is_order(character) => out.extend(character.escape_unicode()),
            _ => out.push(character),
        }
    }
    out
}

/// Takes out ` (os error N)`, which says nothing that the words before it do not.
fn without_numbers(text: &str) -> String {
    const OPENING: &str = " (os error ";
    let mut out = String::with_capacity(text.len());
    let mut rest = text;
    while let Some((before, after)) = rest.split_once(OPENING) {
        out.push_str(before);
        rest = match after.split_once(')') {
            Some((number, after)) if number.bytes().all(|byte| byte.is_ascii_digit()) => after,
            _ => {
                out.push_str(OPENING);
                after
            }
        };
    }
    out.push_str(rest);
    out
}

#[cfg(test)]
mod tests {
    use super::plain;

    #[test]
    fn numbers_of_the_system_and_control_characters_do_not_get_through() {
        let told = plain("a\u{1b}[31m.wav: No such file or directory (os error 2)\nnext\tline");
        assert_eq!(told, "a\\u{1b}[31m.wav: No such file or directory\nnext\tline");
        for kept in ["plain", "(os error)", "x (os error two)", "x (os error ", "Gr\u{fc}n \u{b0}C"]
        {
            assert_eq!(plain(kept), kept);
        }
    }
}
