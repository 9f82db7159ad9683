//! The distance of the magnet, into the text of a display file.

use toml_edit::{DocumentMut, Item, Value};

use super::write::{WriteBackError, put};

/// The text of a display file with the magnet's face so far behind the coils. Comments, order and
/// layout stay; nothing else is touched.
///
/// # Errors
/// When `text` holds no table `magnet`.
pub fn with_behind(text: &str, behind_mm: f64) -> Result<String, WriteBackError> {
    let document = text.parse::<DocumentMut>();
    let mut document = document.map_err(|error| WriteBackError::Toml(error.to_string()))?;
    let magnet = document.get_mut("magnet").and_then(Item::as_table_like_mut);
    let magnet = magnet.ok_or(WriteBackError::Magnet)?;
    put(magnet, "behind_mm", Value::from(hundredths(behind_mm)));
    Ok(document.to_string())
}

/// No shim is set finer.
fn hundredths(mm: f64) -> f64 {
    libm::round(100.0 * mm) / 100.0
}
