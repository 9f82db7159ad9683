//! New values for a display file that someone wrote: everything else stays as it stands.

use thiserror::Error;
use toml_edit::{Array, DocumentMut, Item, TableLike, Value};

use super::Display;

/// Duties seen for every coil of a display, in display order; `None` leaves what the file says.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct SeenLifts {
    /// At which the fluid lifted, 0 to 1.
    pub lift_duty: Vec<Option<f64>>,
    /// At which it dropped again, 0 to 1.
    pub drop_duty: Vec<Option<f64>>,
    /// Year, month and day.
    pub on: (u16, u8, u8),
}

/// Why values cannot be written into a display file's text.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[non_exhaustive]
pub enum WriteBackError {
    /// The text is not the one that the display was read from.
    #[error("it does not hold the {0} blocks of coils that were read from it")]
    Blocks(usize),
    /// The text is not the one that the display was read from.
    #[error("it does not hold the {0} coil types that were read from it")]
    Types(usize),
    /// There is no magnet.
    #[error("it holds no table [magnet]")]
    Magnet,
    /// Not TOML any more.
    #[error("it cannot be read any more: {0}")]
    Toml(String),
}

/// Items in a line of a written list.
const IN_A_LINE: usize = 8;

/// The text of a display file with what was seen of its coils in it. Comments, order and layout
/// stay; only blocks with a coil that was seen are touched.
///
/// # Errors
/// When `text` is not the text that `display` was read from.
pub fn with_lifts(
    text: &str,
    display: &Display,
    seen: &SeenLifts,
) -> Result<String, WriteBackError> {
    let document = text.parse::<DocumentMut>();
    let mut document = document.map_err(|error| WriteBackError::Toml(error.to_string()))?;
    let blocks = display.blocks.len();
    let mut tables = tables_of(document.get_mut("coils"));
    if tables.len() != blocks {
        return Err(WriteBackError::Blocks(blocks));
    }
    let mut first = 0;
    for (table, block) in tables.iter_mut().zip(&display.blocks) {
        let count = block.channels.value.len();
        let part = |all: &[Option<f64>]| -> Vec<Option<f64>> {
            (first..first + count).map(|coil| all.get(coil).copied().flatten()).collect()
        };
        let before = block.lifts.as_ref();
        let lift = part(&seen.lift_duty);
        let mut drop = part(&seen.drop_duty);
        first += count;
        if lift.iter().chain(&drop).all(Option::is_none) {
            continue;
        }
        // A fluid that was seen to lift at less than it once dropped at: that was another day.
        let dropped = |coil: usize| before.and_then(|it| it.drop_duty.get(coil)).copied();
        for (coil, (lift, drop)) in lift.iter().zip(&mut drop).enumerate() {
            if let Some(lift) = lift
                && drop.is_none()
                && dropped(coil).is_some_and(|old| old > *lift)
            {
                *drop = Some(0.0);
            }
        }
        put(*table, "lift_duty", list(&lift, before.map(|before| before.lift_duty.as_slice())));
        put(*table, "drop_duty", list(&drop, before.map(|before| before.drop_duty.as_slice())));
        put(*table, "lift_on", day(seen.on));
    }
    Ok(document.to_string())
}

/// The tables of a list, written as `[[coils]]` or in one line.
pub(crate) fn tables_of(item: Option<&mut Item>) -> Vec<&mut dyn TableLike> {
    match item {
        Some(Item::ArrayOfTables(tables)) => {
            tables.iter_mut().map(|table| table as &mut dyn TableLike).collect()
        }
        Some(Item::Value(Value::Array(values))) => values
            .iter_mut()
            .filter_map(Value::as_inline_table_mut)
            .map(|table| table as &mut dyn TableLike)
            .collect(),
        _ => Vec::new(),
    }
}

/// Sets a key, with what stands around its old value.
pub(crate) fn put(table: &mut dyn TableLike, key: &str, mut value: Value) {
    if let Some(Item::Value(old)) = table.get_mut(key) {
        *value.decor_mut() = old.decor().clone();
        *old = value;
    } else {
        table.insert(key, Item::Value(value));
    }
}

/// Four digits: a driver's step or two, and far finer than a hand.
fn list(seen: &[Option<f64>], before: Option<&[f64]>) -> Value {
    let mut array = Array::new();
    for (index, duty) in seen.iter().enumerate() {
        let kept = before.and_then(|before| before.get(index)).copied().unwrap_or(0.0);
        array.push((duty.unwrap_or(kept) * 1e4).round() / 1e4);
        if seen.len() > IN_A_LINE
            && let Some(item) = array.get_mut(index)
        {
            let lead = if index % IN_A_LINE == 0 { "\n  " } else { " " };
            item.decor_mut().set_prefix(lead);
        }
    }
    if seen.len() > IN_A_LINE {
        array.set_trailing_comma(true);
        array.set_trailing("\n");
    }
    Value::Array(array)
}

fn day((year, month, day): (u16, u8, u8)) -> Value {
    let date = toml_edit::Date { year, month, day };
    Value::from(toml_edit::Datetime { date: Some(date), time: None, offset: None })
}
