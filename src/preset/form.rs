//! Which keys a mapping may hold and what may stand there, for whoever offers them to be edited.
//!
//! It says no more than the readers do: kinds and their examples come from the menus that read them,
//! ranges, units and reasons from the quantities that check them. What is refused is still for
//! [`mapping::read`](super::mapping::read) alone to say.

use serde::Serialize;

use super::choice::Choice;
use super::limits::{
    ATTACK, BAND, BAND_COUNT, EDGE, EDGES, EXPONENT, FADE, FASTEST, FIRST_BAND, FLOOR, FLOOR_DBFS,
    FROM, FULL, FULL_DBFS, HIGH, HOLD, IDLE_LEVEL, KEEP, LAST_BAND, LAYER, LEAD, LEAST, LOW,
    MASTER, NOMINAL, PERIOD, QUIET, Quantity, RELEASE, REST, SOURCE, SPEED, SPOT, START, SURE, TO,
    TOWARDS, TRIM, TURN, WEIGHT,
};
use super::mapping::{Mirror, QUIETS, Size, Strokes, Window};
use super::read_hears::HEARS;
use super::read_moves::{MOVES, PATH};
use super::read_route::{CURVE, RANGE};
use super::values::Menu;
use crate::analysis::{Channel, Weighting};
use crate::mapper::Combine;

/// A key and what may stand there.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Field {
    /// As written.
    pub key: &'static str,
    /// What counts when it is left out, as written in TOML; `None`: it must be there, or nothing
    /// stands for it.
    pub default: Option<&'static str>,
    /// What may stand there.
    #[serde(flatten)]
    pub holds: Holds,
}

/// What may stand under a key.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(tag = "holds", rename_all = "snake_case")]
pub enum Holds {
    /// A number.
    Number(Bounds),
    /// Several, rising.
    Numbers(Bounds),
    /// Two: to the right, and up.
    Point(Bounds),
    /// One of some words.
    Word {
        /// The words; the first is the default.
        words: &'static [&'static str],
    },
    /// The name of a group of coils, or `all`.
    Group,
    /// A text of people.
    Text,
    /// `true` or `false`.
    Flag,
    /// Keys of its own, all at once or not at all.
    Table {
        /// The keys.
        fields: Vec<Field>,
        /// How it may be written.
        example: &'static str,
    },
    /// One of several kinds.
    Menu {
        /// Those that are a bare word.
        words: &'static [&'static str],
        /// Those with keys of their own.
        kinds: Vec<KindOf>,
    },
}

/// Between which a number must lie.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Bounds {
    /// Printed after it; empty for counts and factors.
    pub unit: &'static str,
    /// Smallest.
    pub low: f64,
    /// Largest.
    pub high: f64,
    /// Why.
    pub because: &'static str,
    /// Counts have no fraction.
    pub whole: bool,
}

/// One kind of a menu.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct KindOf {
    /// Its word.
    pub word: &'static str,
    /// How it may be written, a line of TOML under the menu's key.
    pub example: &'static str,
    /// Its keys.
    pub fields: Vec<Field>,
}

/// All keys of a mapping.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Form {
    /// Of the mapping as a whole.
    pub mapping: Vec<Field>,
    /// Of each route.
    pub route: Vec<Field>,
    /// Each coil's trim, in the display file.
    pub trim: Bounds,
    /// Routes that a mapping may have.
    pub most_routes: usize,
}

/// What a mapping may hold.
pub fn form() -> Form {
    Form {
        mapping: mapping(),
        route: route(),
        trim: bounds(&TRIM, false),
        most_routes: super::mapping::MOST_ROUTES,
    }
}

fn mapping() -> Vec<Field> {
    let idle = vec![
        number(&IDLE_LEVEL, None),
        number(&PERIOD, Some("8")),
        field("wander", Some("false"), Holds::Flag),
        field("group", Some("\"all\""), Holds::Group),
    ];
    vec![
        field("name", None, Holds::Text),
        field("intent", None, Holds::Text),
        number(&MASTER, Some("1")),
        word::<Combine>("combine"),
        number(&REST, Some("800")),
        field(
            "passages",
            None,
            Holds::Table {
                fields: vec![number(&KEEP, Some("0.5")), number(&LEAST, Some("0.1"))],
                example: "passages = { keep = 0.5 }",
            },
        ),
        menu("quiet", &QUIETS, Some("\"follow\"")),
        word::<Mirror>("mirror"),
        number(&TURN, Some("0")),
        field("idle", None, Holds::Table { fields: idle, example: "idle = { level = 0.1 }" }),
    ]
}

fn route() -> Vec<Field> {
    vec![
        field("name", None, Holds::Text),
        word::<Channel>("channel"),
        word::<Weighting>("weighting"),
        menu("hears", &HEARS, None),
        menu("range", &RANGE, Some("{ follow = { floor_db = -24, full_db = 0 } }")),
        menu("curve", &CURVE, Some("\"straight\"")),
        number(&ATTACK, Some("5")),
        number(&HOLD, Some("60")),
        number(&RELEASE, Some("180")),
        menu("moves", &MOVES, None),
        number(&WEIGHT, Some("1")),
        whole(&LAYER, Some("0")),
    ]
}

/// Keys of a kind under a menu's key. A kind that is not listed has those of its example.
fn keys_of(under: &str, kind: &str) -> Vec<Field> {
    const SCALES: &[&str] = &["octave", "third_octave", "bark", "erb", "mel"];
    let group = || field("group", None, Holds::Group);
    let size = || word::<Size>("size");
    match (under, kind) {
        ("hears", "band") => vec![number(&LOW, None), number(&HIGH, None)],
        ("hears", "scale_band") => vec![
            field("scale", None, Holds::Word { words: &["octave", "third_octave", "bark"] }),
            number(&NOMINAL, None),
            whole(&BAND, None),
        ],
        ("hears", "bands") => vec![
            field("scale", None, Holds::Word { words: SCALES }),
            number(&FROM, None),
            number(&TO, None),
            whole(&BAND_COUNT, None),
            whole(&FIRST_BAND, None),
            whole(&LAST_BAND, None),
        ],
        ("hears", "onset") => vec![word::<Strokes>("of"), size()],
        ("hears", "onset_in_band") => vec![number(&LOW, None), number(&HIGH, None), size()],
        // Left out, the lead is the display's lag.
        ("hears", "beat" | "beat_phase") => vec![number(&LEAD, None), number(&SURE, Some("0.4"))],
        ("hears", "brightness") => vec![number(&LOW, None), number(&HIGH, None)],
        ("hears", "loudness") => vec![word::<Window>("over")],
        ("hears", "edges") => vec![field("hz", None, Holds::Numbers(bounds(&EDGES, false)))],
        ("range", "follow") => vec![number(&FLOOR, None), number(&FULL, None)],
        ("range", "fixed") => vec![number(&FLOOR_DBFS, None), number(&FULL_DBFS, None)],
        ("curve", "power") => vec![number(&EXPONENT, None)],
        ("quiet", "fixed") => vec![number(&QUIET, None)],
        ("moves", "level_all") => vec![group()],
        ("moves", "column") => vec![group(), number(&TOWARDS, None), number(&EDGE, None)],
        ("moves", "along") => vec![group(), number(&TOWARDS, None)],
        ("moves", "carry") => {
            vec![group(), menu("path", &PATH, None), number(&SPOT, None), number(&FASTEST, None)]
        }
        ("moves", "outward") => vec![
            group(),
            field("from_mm", None, Holds::Point(bounds(&SOURCE, false))),
            number(&SPEED, None),
            number(&FADE, Some("0")),
        ],
        ("path", "axis") => vec![number(&TOWARDS, None)],
        ("path", "ring") => {
            vec![number(&START, Some("90")), field("clockwise", Some("true"), Holds::Flag)]
        }
        _ => Vec::new(),
    }
}

fn field(key: &'static str, default: Option<&'static str>, holds: Holds) -> Field {
    Field { key, default, holds }
}

fn bounds(quantity: &Quantity, whole: bool) -> Bounds {
    let Quantity { unit, low, high, because, .. } = *quantity;
    Bounds { unit, low, high, because, whole }
}

fn number(quantity: &Quantity, default: Option<&'static str>) -> Field {
    field(quantity.key, default, Holds::Number(bounds(quantity, false)))
}

fn whole(quantity: &Quantity, default: Option<&'static str>) -> Field {
    field(quantity.key, default, Holds::Number(bounds(quantity, true)))
}

fn word<T: Choice>(key: &'static str) -> Field {
    field(key, Some(T::DEFAULT_TOML), Holds::Word { words: T::WORDS })
}

fn menu(key: &'static str, menu: &Menu, default: Option<&'static str>) -> Field {
    let kind = |&(word, example): &(&'static str, &'static str)| KindOf {
        word,
        example,
        fields: keys_of(key, word),
    };
    let kinds = menu.tables.iter().map(kind).collect();
    field(key, default, Holds::Menu { words: menu.words, kinds })
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests stop at the first surprise")]
mod tests {
    use super::*;
    use crate::preset::mapping;

    const WHOLE: &str = "schema = 1\nname = \"a\"\nintent = \"b\"\n";
    const ROUTE: &str = "[[route]]\nname = \"r\"\n";

    /// A mapping of one route with `lines`, and whatever else it cannot do without.
    fn accepted(lines: &str) -> Result<(), String> {
        let has = |key: &str| lines.lines().any(|line| line.trim_start().starts_with(key));
        let mut text = format!("{WHOLE}{ROUTE}{lines}\n");
        if !has("hears") {
            let along = lines.contains("moves.along");
            text += if along {
                "hears.edges = { hz = [100, 400, 2000] }\n"
            } else {
                "hears.band = { low_hz = 40, high_hz = 120 }\n"
            };
        }
        if !has("moves") {
            let many = ["hears.bands", "hears.edges"].iter().any(|it| lines.contains(it));
            text += if many {
                "moves.along = { group = \"all\", towards_deg = 0 }\n"
            } else {
                "moves.level_all = { group = \"all\" }\n"
            };
        }
        mapping::read("form", &text).map(|_| ()).map_err(|error| error.to_string())
    }

    fn whole() -> Vec<Field> {
        form().mapping
    }

    #[test]
    fn every_kind_of_every_menu_is_accepted_as_its_example_and_has_keys() {
        for field in route() {
            let Holds::Menu { words, kinds } = &field.holds else { continue };
            for word in *words {
                accepted(&format!("{} = \"{word}\"", field.key)).unwrap();
            }
            for kind in kinds {
                accepted(kind.example).unwrap();
                for key in &kind.fields {
                    let optional = key.default.is_some() || !kind.example.contains(key.key);
                    let shown = kind.example.contains(key.key);
                    assert!(shown || optional, "{}: {}", kind.word, key.key);
                }
            }
        }
    }

    #[test]
    fn defaults_are_what_the_reader_takes_for_keys_left_out() {
        let plain = format!(
            "{WHOLE}{ROUTE}hears.band = {{ low_hz = 40, high_hz = 120 }}\nmoves.level_all = {{ group = \"all\" }}\n"
        );
        let without = mapping::read("form", &plain).unwrap().digest_hex();
        let optional = |field: &Field| field.default.map(|value| (field.key, value));
        for (key, value) in route().iter().filter_map(optional) {
            let written = mapping::read("form", &format!("{plain}{key} = {value}\n")).unwrap();
            assert_eq!(written.digest_hex(), without, "{key} = {value}");
        }
        for (key, value) in whole().iter().filter_map(optional) {
            let text = plain.replace(ROUTE, &format!("{key} = {value}\n{ROUTE}"));
            let written = mapping::read("form", &text).unwrap();
            assert_eq!(written.digest_hex(), without, "{key} = {value}");
        }
    }

    #[test]
    fn every_key_the_reader_knows_is_in_the_form() {
        // The reader names its keys when it meets one that nobody knows.
        let said = accepted("nobody_knows_this = 1").unwrap_err();
        for field in route() {
            assert!(said.contains(field.key), "{}: {said}", field.key);
        }
    }
}
