//! Changes to the text of a mapping or display file that leave everything else as it stands:
//! comments, order, layout.

use serde::Deserialize;
use thiserror::Error;
use toml_edit::{Array, DocumentMut, InlineTable, Item, Table, TableLike, Value};

/// One step down into a file.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
#[serde(untagged)]
pub enum Step {
    /// Of a list, from 0.
    Index(usize),
    /// A key.
    Key(String),
}

/// Why a text cannot be changed like that.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub(super) enum PaperError {
    /// Not TOML any more.
    #[error("the text cannot be read: {0}")]
    Toml(String),
    /// Nothing there.
    #[error("there is nothing at {0} to be changed")]
    Nowhere(String),
    /// Not a value that a file can hold.
    #[error("that is no value for {0}: write a number, a text, true, false, or a list of them")]
    Value(String),
    /// The last one must stay.
    #[error("a mapping needs at least one route: change this one instead")]
    LastRoute,
}

/// `route 2, hears.band.low_hz`, as findings name it.
pub(super) fn words(path: &[Step]) -> String {
    let mut out = String::new();
    for step in path {
        match step {
            Step::Index(index) => out.push_str(&format!(" {},", index + 1)),
            Step::Key(key) if out.is_empty() => out.push_str(key),
            Step::Key(key) if out.ends_with(',') => out.push_str(&format!(" {key}")),
            Step::Key(key) => out.push_str(&format!(".{key}")),
        }
    }
    out
}

pub(super) fn read(text: &str) -> Result<DocumentMut, PaperError> {
    text.parse().map_err(|error: toml_edit::TomlError| PaperError::Toml(error.to_string()))
}

/// The text with `value` at `path`; `None` takes away what is there. What lies on the way is made.
///
/// # Errors
/// When there is no such list, or the value is none.
pub(super) fn set(
    text: &str,
    path: &[Step],
    value: Option<&serde_json::Value>,
) -> Result<String, PaperError> {
    let mut document = read(text)?;
    let nowhere = || PaperError::Nowhere(words(path));
    let (Some(Step::Key(last)), Some(way)) = (path.last(), path.split_last().map(|it| it.1)) else {
        return Err(nowhere());
    };
    let (home, in_line) = walk(document.as_table_mut(), way).ok_or_else(nowhere)?;
    match value {
        None => {
            home.remove(last).ok_or_else(nowhere)?;
        }
        Some(value) => {
            let new = to_value(value).ok_or_else(|| PaperError::Value(words(path)))?;
            put(home, in_line, last, new);
        }
    }
    Ok(document.to_string())
}

/// Down to the table that holds the last key, and whether it is written in one line. Tables that are
/// not there yet are made.
fn walk<'a>(
    mut here: &'a mut dyn TableLike,
    way: &[Step],
) -> Option<(&'a mut dyn TableLike, bool)> {
    let mut steps = way.iter();
    let mut in_line = false;
    while let Some(step) = steps.next() {
        let Step::Key(key) = step else { return None };
        if here.get(key).is_none() {
            here.insert(key, Item::Value(Value::InlineTable(InlineTable::new())));
        }
        let item = here.get_mut(key)?;
        in_line |= item.is_value();
        here = match item {
            Item::ArrayOfTables(tables) => {
                let Some(Step::Index(index)) = steps.next() else { return None };
                tables.get_mut(*index)?
            }
            Item::Value(Value::Array(values)) => {
                let Some(Step::Index(index)) = steps.next() else { return None };
                values.get_mut(*index)?.as_inline_table_mut()?
            }
            other => other.as_table_like_mut()?,
        };
    }
    Some((here, in_line))
}

/// Puts a value under a key, with what stands around the old one. A kind with keys of its own is
/// written as `key.kind = { ... }`.
fn put(home: &mut dyn TableLike, in_line: bool, key: &str, new: Value) {
    let kind = is_kind(&new);
    if !kind
        && let Some(Item::Value(old)) = home.get_mut(key)
        && !old.is_inline_table()
    {
        let mut new = alike(old, new);
        *new.decor_mut() = old.decor().clone();
        *old = new;
        return;
    }
    let above = comment_above(home, key);
    let item = match new {
        Value::InlineTable(mut kinds) if kind && in_line => {
            kinds.set_dotted(true);
            Item::Value(Value::InlineTable(kinds))
        }
        Value::InlineTable(kinds) if kind => Item::Table(dotted(&kinds, above.as_deref())),
        plain => Item::Value(plain),
    };
    // Taken out and put in again it would stand at the end.
    match home.get_mut(key) {
        Some(old) => *old = item,
        None => {
            home.insert(key, item);
        }
    }
    if !kind && let (Some(above), Some(mut own)) = (above, home.key_mut(key)) {
        own.leaf_decor_mut().set_prefix(above);
    }
}

fn dotted(kinds: &InlineTable, above: Option<&str>) -> Table {
    let mut table = Table::new();
    table.set_dotted(true);
    for (name, value) in kinds {
        table.insert(name, Item::Value(value.clone()));
        if let (Some(above), Some(mut own)) = (above, table.key_mut(name)) {
            own.leaf_decor_mut().set_prefix(above);
        }
    }
    table
}

fn is_kind(value: &Value) -> bool {
    value.as_inline_table().is_some_and(is_kind_table)
}

/// One key, and under it a table: a kind of a menu.
fn is_kind_table(table: &InlineTable) -> bool {
    table.len() == 1 && table.iter().all(|(_, value)| value.is_inline_table())
}

/// What stands in the lines above a key.
fn comment_above(home: &dyn TableLike, key: &str) -> Option<String> {
    let own = home.key(key)?;
    let inner = home.get(key).and_then(Item::as_table_like);
    let inner = inner.and_then(|table| {
        let (name, _) = table.iter().next()?;
        table.key(name)
    });
    let prefix = |key: &toml_edit::Key| {
        key.leaf_decor().prefix().and_then(|it| it.as_str()).map(str::to_owned)
    };
    inner.and_then(prefix).filter(|it| !it.is_empty()).or_else(|| prefix(own))
}

/// A number keeps the way the old one was written, with a point or without; a list of the same
/// length its layout.
fn alike(old: &Value, new: Value) -> Value {
    match (old, new) {
        (Value::Float(_), Value::Integer(whole)) => Value::from(*whole.value() as f64),
        (Value::Array(old), Value::Array(new)) if old.len() == new.len() => {
            let mut kept = old.clone();
            for (slot, value) in kept.iter_mut().zip(new.iter()) {
                let mut value = alike(slot, value.clone());
                *value.decor_mut() = slot.decor().clone();
                *slot = value;
            }
            Value::Array(kept)
        }
        (_, new) => new,
    }
}

fn to_value(json: &serde_json::Value) -> Option<Value> {
    Some(match json {
        serde_json::Value::Null => return None,
        serde_json::Value::Bool(flag) => Value::from(*flag),
        serde_json::Value::Number(number) => match number.as_i64() {
            Some(whole) => Value::from(whole),
            None => Value::from(number.as_f64().filter(|it| it.is_finite())?),
        },
        serde_json::Value::String(text) => Value::from(text.as_str()),
        serde_json::Value::Array(list) => {
            Value::Array(list.iter().map(to_value).collect::<Option<Array>>()?)
        }
        serde_json::Value::Object(keys) => {
            let mut table = InlineTable::new();
            for (key, value) in keys {
                table.insert(key, to_value(value)?);
            }
            Value::InlineTable(table)
        }
    })
}
