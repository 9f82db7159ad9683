//! A logged table as text: columns with units in their names.

use super::FitError;

/// One line of the table.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Row {
    /// Counted from 1 in the file.
    pub line: usize,
    /// Time, s.
    pub time_s: Option<f64>,
    /// Voltage at the coil, V.
    pub volts: Option<f64>,
    /// Current, A.
    pub amps: Option<f64>,
    /// Resistance, ohm.
    pub ohms: Option<f64>,
    /// Around the coil, C.
    pub ambient_c: Option<f64>,
    /// At the backing, C.
    pub backing_c: Option<f64>,
    /// 1 while the coil is heated, 0 before and after: for logs that look at a cold or cooling coil
    /// with more power than they heat it.
    pub heating: Option<f64>,
}

/// What was read.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Table {
    /// In the order of the file.
    pub rows: Vec<Row>,
    /// Columns that mean nothing here.
    pub ignored: Vec<String>,
}

/// Quantities a column may hold.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Quantity {
    Time,
    Voltage,
    Current,
    Resistance,
    Ambient,
    Backing,
    Heating,
}

use Quantity::{Ambient, Backing, Current, Heating, Resistance, Time, Voltage};

/// Every accepted name, what it holds, and what to multiply by.
const NAMES: &[(&str, Quantity, f64)] = &[
    ("time_s", Time, 1.0),
    ("time_ms", Time, 1e-3),
    ("time_min", Time, 60.0),
    ("time_h", Time, 3600.0),
    ("voltage_v", Voltage, 1.0),
    ("voltage_mv", Voltage, 1e-3),
    ("current_a", Current, 1.0),
    ("current_ma", Current, 1e-3),
    ("resistance_ohm", Resistance, 1.0),
    ("resistance_mohm", Resistance, 1e-3),
    ("ambient_c", Ambient, 1.0),
    ("backing_c", Backing, 1.0),
    ("heating", Heating, 1.0),
];

/// What each quantity is called, and its names for a refusal.
const KNOWN: &[(Quantity, &str, &str)] = &[
    (Time, "time", "time_s, time_ms, time_min or time_h"),
    (Voltage, "voltage", "voltage_v or voltage_mv"),
    (Current, "current", "current_a or current_ma"),
    (Resistance, "resistance", "resistance_ohm or resistance_mohm"),
    (Ambient, "ambient", "ambient_c"),
    (Backing, "backing", "backing_c"),
    (Heating, "heating", "heating"),
];

/// Reads a table. Columns are set apart by tabs, semicolons or commas, whichever the header uses; a
/// comma may be the decimal sign where it sets nothing apart. Lines that begin with `#` are comments.
/// A unit may also be written `time (s)` or `time [s]`. What is no finite number is a gap.
///
/// # Errors
/// [`FitError`] for columns without unit, twice, or missing.
pub fn read(text: &str) -> Result<Table, FitError> {
    let text = text.trim_start_matches('\u{feff}');
    let lines = (1..).zip(text.lines());
    let mut told = lines.filter(|(_, line)| {
        let line = line.trim();
        !line.is_empty() && !line.starts_with('#')
    });
    let Some((_, header)) = told.next() else { return Err(FitError::Empty) };
    let separator = ['\t', ';'].into_iter().find(|c| header.contains(*c)).unwrap_or(',');
    let mut table = Table::default();
    let columns = columns(header, separator, &mut table.ignored)?;
    for (number, line) in told {
        let mut row = Row { line: number, ..Row::default() };
        for (cell, column) in line.split(separator).zip(&columns) {
            if let Some((quantity, _, factor)) = column {
                let value = number_of(cell, separator).map(|value| value * factor);
                *slot(&mut row, *quantity) = value;
            }
        }
        table.rows.push(row);
    }
    if table.rows.is_empty() { Err(FitError::Empty) } else { Ok(table) }
}

type Column = Option<(Quantity, String, f64)>;

fn columns(
    header: &str,
    separator: char,
    ignored: &mut Vec<String>,
) -> Result<Vec<Column>, FitError> {
    let mut columns: Vec<Column> = Vec::new();
    for written in header.split(separator).map(|name| name.trim().trim_matches('"').trim()) {
        let name = plain(written);
        let known = NAMES.iter().find(|(known, _, _)| *known == name);
        let Some((_, quantity, factor)) = known else {
            let bare = KNOWN.iter().find(|(_, word, _)| name.split('_').next() == Some(*word));
            if let Some((_, _, accepted)) = bare {
                return Err(FitError::Unit { name: written.to_owned(), accepted });
            }
            ignored.push(written.to_owned());
            columns.push(None);
            continue;
        };
        let before = columns.iter().flatten().find(|(other, _, _)| other == quantity);
        if let Some((_, first, _)) = before {
            let what = KNOWN.iter().find(|(known, _, _)| known == quantity);
            return Err(FitError::Twice {
                first: first.clone(),
                second: written.to_owned(),
                what: what.map_or("quantity", |(_, word, _)| word),
            });
        }
        columns.push(Some((*quantity, written.to_owned(), *factor)));
    }
    let has = |wanted: Quantity| columns.iter().flatten().any(|(known, _, _)| *known == wanted);
    let electric = [Voltage, Current, Resistance].into_iter().filter(|q| has(*q)).count();
    let missing = match (has(Time), electric) {
        (false, _) => "there is no column of time",
        (true, 0) => "there is no voltage, current or resistance",
        (true, 1) if has(Resistance) => "resistance alone does not say how much heat goes in",
        (true, 1) => "voltage or current alone says neither heat nor temperature",
        _ => return Ok(columns),
    };
    Err(FitError::Columns { missing })
}

/// `Time [s]` as `time_s`.
fn plain(name: &str) -> String {
    let ohm = name.replace(['Ω', '\u{2126}'], "ohm").replace("°C", "c");
    let words = ohm.split(|c: char| !c.is_alphanumeric()).filter(|word| !word.is_empty());
    words.collect::<Vec<_>>().join("_").to_lowercase()
}

fn number_of(cell: &str, separator: char) -> Option<f64> {
    let cell = cell.trim().trim_matches('"').trim();
    let dotted = if separator == ',' { cell.to_owned() } else { cell.replace(',', ".") };
    dotted.parse().ok().filter(|value: &f64| value.is_finite())
}

fn slot(row: &mut Row, quantity: Quantity) -> &mut Option<f64> {
    match quantity {
        Time => &mut row.time_s,
        Voltage => &mut row.volts,
        Current => &mut row.amps,
        Resistance => &mut row.ohms,
        Ambient => &mut row.ambient_c,
        Backing => &mut row.backing_c,
        Heating => &mut row.heating,
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::indexing_slicing, reason = "tests stop at the first surprise")]
mod tests {
    use super::*;

    #[test]
    fn units_separators_and_decimal_signs() {
        let by_commas = "# bench 3\ntime_ms,voltage_v,current_ma,note\n1500,12.5,250,ok\n";
        let by_tabs = "Time (s)\tVoltage [V]\tcurrent_a\n1,5\t12,5\t0,25\n";
        let by_semicolons = "\u{feff}time_min;voltage_mv;current_a\r\n0,025;12500;0.25\r\n";
        for text in [by_commas, by_tabs, by_semicolons] {
            let row = read(text).unwrap().rows[0];
            let close = |value: Option<f64>, wanted: f64| (value.unwrap() - wanted).abs() < 1e-12;
            assert!(close(row.time_s, 1.5) && close(row.volts, 12.5), "{text}: {row:?}");
            assert!(close(row.amps, 0.25), "{text}: {row:?}");
        }
        assert_eq!(read(by_commas).unwrap().ignored, ["note"]);
    }

    #[test]
    fn what_is_no_number_is_a_gap() {
        let text = "time_s;resistance_ohm;voltage_v\n1;OL;12\n2;nan;inf\n3;;\n4\n5;10,5;\"3\"\n";
        let rows = read(text).unwrap().rows;
        assert_eq!(rows.len(), 5);
        assert_eq!((rows[0].ohms, rows[0].volts), (None, Some(12.0)));
        assert!(rows[1..4].iter().all(|row| row.ohms.is_none() && row.volts.is_none()));
        assert_eq!((rows[4].ohms, rows[4].volts), (Some(10.5), Some(3.0)));
    }
}
