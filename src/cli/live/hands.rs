//! Keys to hands.

use coilscore::frame::Hands;

use super::super::keys::Key;

/// What a key asks for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Asked {
    /// Hands set so.
    Hands(Hands),
    /// The end.
    End,
}

/// Percent by which a key turns the level.
const STEP: u8 = 5;

/// What `key` does to `hands`, with so many mappings; `None`: nothing.
pub(super) fn asked(key: Key, hands: Hands, mappings: usize) -> Option<Asked> {
    let Key::Char(letter) = key else { return None };
    let now = match letter {
        'q' | 'Q' => return Some(Asked::End),
        // The space bar is found without looking.
        'o' | 'O' | ' ' => Hands { all_off: true, ..hands },
        // Nothing that was held before comes back of itself.
        'r' | 'R' => Hands { all_off: false, hold: hands.hold && !hands.all_off, ..hands },
        'h' | 'H' => Hands { hold: !hands.hold, ..hands },
        '-' | '_' => Hands { level_percent: hands.level_percent.saturating_sub(STEP), ..hands },
        '+' | '=' => Hands { level_percent: (hands.level_percent + STEP).min(100), ..hands },
        'm' | 'M' => {
            let next = (usize::from(hands.mapping) + 1) % mappings.max(1);
            Hands { mapping: u8::try_from(next).unwrap_or(0), ..hands }
        }
        _ => return None,
    };
    (now != hands).then_some(Asked::Hands(now))
}

/// What hands have set, in words; nothing when they are free.
pub(super) fn words(hands: Hands, mappings: &[String]) -> String {
    let mut words = Vec::new();
    if hands.all_off {
        words.push("ALL OFF (r drives again)".to_owned());
    }
    if hands.hold {
        words.push("held".to_owned());
    }
    if hands.level_percent < 100 {
        words.push(format!("level {} %", hands.level_percent));
    }
    if let (true, Some(name)) = (mappings.len() > 1, mappings.get(usize::from(hands.mapping))) {
        words.push(format!("\"{name}\""));
    }
    words.join(", ")
}

#[cfg(test)]
mod tests {
    use super::*;

    fn press(keys: &str, mut hands: Hands) -> Hands {
        for key in keys.chars() {
            if let Some(Asked::Hands(now)) = asked(Key::Char(key), hands, 3) {
                hands = now;
            }
        }
        hands
    }

    #[test]
    fn all_off_stays_until_it_is_taken_back() {
        let off = press("o", Hands::FREE);
        assert!(off.all_off);
        for keys in ["o", " ", "h", "+", "-", "m", "x", "hm-+h"] {
            assert!(press(keys, off).all_off, "{keys}");
        }
        assert_eq!(press("r", off), Hands::FREE);
        assert_eq!(press("hor", Hands::FREE), Hands::FREE, "a hold does not come back");
        assert!(press("hr", Hands::FREE).hold, "r alone does not end a hold");
    }

    #[test]
    fn level_and_mapping_stay_within_what_there_is() {
        assert_eq!(press(&"-".repeat(30), Hands::FREE).level_percent, 0);
        assert_eq!(press("---++++++", Hands::FREE).level_percent, 100);
        assert_eq!(press("--", Hands::FREE).level_percent, 90);
        assert_eq!(press("mm", Hands::FREE).mapping, 2);
        assert_eq!(press("mmm", Hands::FREE).mapping, 0);
        assert_eq!(asked(Key::Char('q'), Hands::FREE, 1), Some(Asked::End));
        assert_eq!(asked(Key::Char('m'), Hands::FREE, 1), None, "one mapping only");
        assert_eq!(asked(Key::Enter, Hands::FREE, 1), None);
    }
}
