//! Texts that an edit asks for by something else than a value.

use toml_edit::{Array, Value};

use super::paper;
use crate::preset::write::{put, tables_of};

/// What an example says under the last key of `path`.
pub(super) fn written(path: &[paper::Step], example: &str) -> Option<serde_json::Value> {
    let Some(paper::Step::Key(key)) = path.last() else { return None };
    let mut table: serde_json::Value = toml::from_str(example).ok()?;
    table.get_mut(key).map(serde_json::Value::take)
}

/// The text of a display with the trim of one coil changed: a list in the coil's block.
pub(super) fn trimmed(text: &str, trims: &[f64], coil: usize, value: f64) -> Option<String> {
    let display = crate::preset::display::read("", text).ok()?;
    let mut document = paper::read(text).ok()?;
    let mut tables = tables_of(document.get_mut("coils"));
    let mut first = 0;
    for (table, block) in tables.iter_mut().zip(&display.blocks) {
        let count = block.trims.len();
        if (first..first + count).contains(&coil) {
            let mut list = trims.get(first..first + count)?.to_vec();
            *list.get_mut(coil - first)? = value;
            let same = list.iter().all(|trim| Some(trim) == list.first());
            let item = match list.first() {
                Some(&trim) if same => Value::from(trim),
                _ => Value::Array(list.into_iter().collect::<Array>()),
            };
            put(*table, "trim", item);
            return Some(document.to_string());
        }
        first += count;
    }
    None
}
