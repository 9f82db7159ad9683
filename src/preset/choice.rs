//! Keys that hold one of a few words.

use super::driver::{AtReset, Stagger};
use super::mapping::Mirror;
use super::route::{Size, Strokes, Window};
use crate::analysis::{Channel, Weighting};
use crate::budget::Polarity;
use crate::mapper::Combine;

/// One of a few words. How it is serialized is its word too.
pub trait Choice: Copy + PartialEq + Sized + 'static {
    /// What counts where nothing is written.
    const DEFAULT: Self;
    /// That, as written in TOML.
    const DEFAULT_TOML: &'static str;
    /// All that can be chosen, in the order of messages; the default is the first.
    const ALL: &'static [Self];
    /// Their words.
    const WORDS: &'static [&'static str];

    /// Its word.
    fn word(self) -> &'static str {
        let mut known = Self::ALL.iter().zip(Self::WORDS);
        known.find(|(choice, _)| **choice == self).map_or("", |(_, word)| word)
    }

    /// What goes by this word.
    fn named(word: &str) -> Option<Self> {
        let mut known = Self::ALL.iter().zip(Self::WORDS);
        known.find(|(_, known)| **known == word).map(|(choice, _)| *choice)
    }
}

macro_rules! choices {
    ($($of:ty: $first:ident $first_word:literal $(, $other:ident $word:literal)*;)+) => {
        $(impl Choice for $of {
            const DEFAULT: Self = Self::$first;
            const DEFAULT_TOML: &'static str = concat!("\"", $first_word, "\"");
            const ALL: &'static [Self] = &[Self::$first $(, Self::$other)*];
            const WORDS: &'static [&'static str] = &[$first_word $(, $word)*];
        })+

        #[cfg(test)]
        fn each_as_serialized() -> Vec<(serde_json::Value, &'static str)> {
            let mut all = Vec::new();
            $(all.extend(<$of>::ALL.iter().map(|choice| (serde_json::json!(choice), choice.word())));)+
            all
        }
    };
}

choices! {
    Combine: Max "max", Add "add", Over "over";
    Mirror: None "none", X "x", Y "y";
    Channel: All "all", Left "left", Right "right", Mid "mid", Side "side";
    Weighting: None "none", A "a";
    Strokes: Any "any", Kick "kick", Snare "snare", Hat "hat";
    Size: Level "level", Even "even";
    Window: Momentary "momentary", ShortTerm "short_term";
    Polarity: Unipolar "one_way", SignMagnitude "sign_magnitude";
    Stagger: Together "together", Spread "spread";
    AtReset: Unknown "unknown", Off "off", Floating "floating", On "on";
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_choice_is_serialized_as_its_word() {
        for (serialized, word) in each_as_serialized() {
            assert_eq!(serialized, word);
        }
        assert_eq!(Strokes::named("kick"), Some(Strokes::Kick));
        assert_eq!(Strokes::named("Kick"), None);
    }
}
