//! The words of a refusal: the nearest name, lists, and units read off a key.

use std::fmt::Display;

use strsim::{jaro_winkler, normalized_damerau_levenshtein};

/// Endings by which a key names its unit, longest first, and the unit as spoken.
const UNITS: [(&str, &str); 35] = [
    ("_mm_per_s", "mm/s"),
    ("_cm_per_s", "cm/s"),
    ("_m_per_s", "m/s"),
    ("_per_m", "parts per metre"),
    ("_j_per_k", "J/K"),
    ("_k_per_w", "K/W"),
    ("_w_per_k", "W/K"),
    ("_milliseconds", "ms"),
    ("_seconds", "s"),
    ("_percent", "percent"),
    ("_volts", "V"),
    ("_amps", "A"),
    ("_dbfs", "dBFS"),
    ("_ohms", "ohm"),
    ("_kohm", "kilohm"),
    ("_mohm", "milliohm"),
    ("_ohm", "ohm"),
    ("_khz", "kHz"),
    ("_deg", "degrees"),
    ("_rad", "radians"),
    ("_hz", "Hz"),
    ("_ms", "ms"),
    ("_us", "us"),
    ("_mh", "mH"),
    ("_uh", "uH"),
    ("_nh", "nH"),
    ("_db", "dB"),
    ("_mm", "mm"),
    ("_cm", "cm"),
    ("_ma", "mA"),
    ("_s", "s"),
    ("_h", "H"),
    ("_m", "m"),
    ("_a", "A"),
    ("_c", "C"),
];

/// A key without its unit, and the unit.
pub(super) fn split_unit(key: &str) -> (&str, Option<&'static str>) {
    UNITS
        .iter()
        .find_map(|&(ending, unit)| Some((key.strip_suffix(ending)?, Some(unit))))
        .unwrap_or((key, None))
}

/// The known name that was most likely meant, if any is near enough.
///
/// Keys that differ in their unit only count as the same word.
pub(super) fn nearest<'k>(got: &str, known: impl IntoIterator<Item = &'k str>) -> Option<&'k str> {
    let got: String = got.chars().take(64).collect::<String>().to_lowercase();
    let score = |name: &str| {
        if split_unit(&got).0 == split_unit(name).0 {
            return 1.0;
        }
        let name = name.to_lowercase();
        let edits = normalized_damerau_levenshtein(&got, &name);
        let start = jaro_winkler(&got, &name);
        if start >= 0.9 { edits.max(start) } else { edits }
    };
    let scored = known.into_iter().map(|name| (score(name), name));
    let best = scored.max_by(|a, b| a.0.total_cmp(&b.0))?;
    (best.0 >= 0.6).then_some(best.1)
}

/// `a`, `b`, `c` with `quote` around each.
pub(super) fn listing<T: Display>(quote: char, names: &[T]) -> String {
    let quoted: Vec<_> = names.iter().map(|name| format!("{quote}{name}{quote}")).collect();
    quoted.join(", ")
}

/// a, b or c.
pub(super) fn either(names: &[String]) -> String {
    match names.split_last() {
        Some((last, [])) => last.clone(),
        Some((last, rest)) => format!("{} or {last}", rest.join(", ")),
        None => String::new(),
    }
}

/// `1 coil`, `2 coils`.
pub fn counted(count: usize, thing: &str) -> String {
    if count == 1 { format!("1 {thing}") } else { format!("{count} {thing}s") }
}

/// A computed number with three significant digits, without trailing zeros.
pub(super) fn rounded(value: f64) -> String {
    let digits = match value.abs() {
        size if size < 1.0 => 3,
        size if size < 10.0 => 2,
        size if size < 100.0 => 1,
        _ => 0,
    };
    let text = format!("{value:.digits$}");
    if text.contains('.') {
        text.trim_end_matches('0').trim_end_matches('.').to_owned()
    } else {
        text
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_right_unit_is_named_before_a_similar_word() {
        let known = ["attack_ms", "attic_s", "release_ms"];
        assert_eq!(nearest("attack_s", known), Some("attack_ms"));
        assert_eq!(
            nearest("resistance", ["reference_c", "resistance_ohm"]),
            Some("resistance_ohm")
        );
        assert_eq!(nearest("inductance_mh", ["inductance_uh"]), Some("inductance_uh"));
    }

    #[test]
    fn a_slip_is_found_and_a_stranger_is_not() {
        assert_eq!(nearest("lefft", ["right", "left"]), Some("left"));
        assert_eq!(nearest("ATTACK_MS", ["attack_ms"]), Some("attack_ms"));
        assert_eq!(nearest("temperature", ["left", "right", "all"]), None);
        assert_eq!(nearest("x", ["a", "b"]), None);
        assert_eq!(nearest("", ["a"]), None);
    }

    #[test]
    fn numbers_keep_three_digits() {
        let texts = [0.12345, 1.2345, 56.234, 891.25, 22387.2, 40.0].map(rounded);
        assert_eq!(texts, ["0.123", "1.23", "56.2", "891", "22387", "40"]);
    }
}
