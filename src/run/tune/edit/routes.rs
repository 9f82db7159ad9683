//! Routes of a mapping's text: one more, one less, in another order.

use toml_edit::{ArrayOfTables, Item, Table, Value, value};

use super::paper::{PaperError, read};

/// What a new route is until it is changed: wide and quiet, so that it is seen and does no harm.
const NEW: &str = "\
name = \"new\"
hears.band = { low_hz = 200, high_hz = 2000 }
moves.level_all = { group = \"all\" }
weight = 0.5
";

/// A change to the list of routes; numbers count from 0.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Shift {
    /// A new one behind the others.
    Add,
    /// A copy right behind this one.
    Copy(usize),
    /// Away with it.
    Remove(usize),
    /// To another place.
    Move(usize, usize),
}

/// The text after a change to its routes.
pub(super) fn shift(text: &str, shift: Shift) -> Result<String, PaperError> {
    let mut document = read(text)?;
    let nowhere = || PaperError::Nowhere("route".into());
    match document.get_mut("route") {
        Some(Item::ArrayOfTables(tables)) => {
            let list: Vec<Table> = tables.iter().cloned().collect();
            let list = shifted(list, shift, new_route, renamed_table)?;
            *tables = standing(list);
        }
        Some(Item::Value(Value::Array(values))) => {
            let list: Vec<Value> = values.iter().cloned().collect();
            let list = shifted(list, shift, new_value, renamed_value)?;
            values.clear();
            list.into_iter().for_each(|value| values.push_formatted(value));
        }
        _ => return Err(nowhere()),
    }
    Ok(document.to_string())
}

/// Tables in a new order: each is printed where its place says, so the places are dealt out anew.
fn standing(list: Vec<Table>) -> ArrayOfTables {
    let mut places: Vec<_> = list.iter().filter_map(Table::position).collect();
    places.sort_unstable();
    let last = places.last().copied().unwrap_or(0);
    let mut tables = ArrayOfTables::new();
    for (index, mut table) in list.into_iter().enumerate() {
        // Routes of one file stand together; those that are new come behind the last.
        let place = places.get(index).copied().unwrap_or(last);
        table.set_position(Some(place));
        tables.push(table);
    }
    tables
}

fn shifted<T>(
    mut list: Vec<T>,
    shift: Shift,
    new: impl Fn(&str) -> Option<T>,
    renamed: impl Fn(T, &str) -> T,
) -> Result<Vec<T>, PaperError>
where
    T: Clone + Named,
{
    let nowhere = || PaperError::Nowhere("route".into());
    let names: Vec<String> = list.iter().filter_map(Named::name).collect();
    let free = |stem: &str| {
        let taken = |name: &String| names.contains(name);
        let numbered = (2..).map(|n| format!("{stem} {n}"));
        std::iter::once(stem.to_owned()).chain(numbered).find(|name| !taken(name))
    };
    match shift {
        Shift::Add => {
            let name = free("new").unwrap_or_default();
            list.push(new(&name).ok_or_else(nowhere)?);
        }
        Shift::Copy(from) => {
            let copy = list.get(from).cloned().ok_or_else(nowhere)?;
            let name = free(&copy.name().unwrap_or_default()).unwrap_or_default();
            list.insert(from + 1, renamed(copy, &name));
        }
        Shift::Remove(_) if list.len() == 1 => return Err(PaperError::LastRoute),
        Shift::Remove(at) if at < list.len() => {
            list.remove(at);
        }
        Shift::Move(from, to) if from < list.len() && to < list.len() => {
            let moved = list.remove(from);
            list.insert(to, moved);
        }
        Shift::Remove(_) | Shift::Move(..) => return Err(nowhere()),
    }
    Ok(list)
}

/// What has a name of its own.
trait Named {
    fn name(&self) -> Option<String>;
}

impl Named for Table {
    fn name(&self) -> Option<String> {
        self.get("name")?.as_str().map(str::to_owned)
    }
}

impl Named for Value {
    fn name(&self) -> Option<String> {
        self.as_inline_table()?.get("name")?.as_str().map(str::to_owned)
    }
}

fn new_route(name: &str) -> Option<Table> {
    let mut table = read(NEW).ok()?.as_table().clone();
    table.set_position(None);
    table.decor_mut().set_prefix("\n");
    Some(renamed_table(table, name))
}

fn new_value(name: &str) -> Option<Value> {
    Some(renamed_value(Value::InlineTable(new_route(name)?.into_inline_table()), name))
}

fn renamed_table(mut table: Table, name: &str) -> Table {
    if let Some(Item::Value(old)) = table.get_mut("name") {
        let mut new = Value::from(name);
        *new.decor_mut() = old.decor().clone();
        *old = new;
    } else {
        table.insert("name", value(name));
    }
    table
}

fn renamed_value(mut route: Value, name: &str) -> Value {
    if let Some(table) = route.as_inline_table_mut() {
        table.insert("name", Value::from(name));
    }
    route
}
