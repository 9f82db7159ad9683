//! What a heating test said of a kind of coil, into the text of a display file.

use toml_edit::{DocumentMut, InlineTable, Item, TableLike, Value};

use super::Display;
use super::write::{WriteBackError, put, tables_of};

/// Figures for a kind of coil, in the units of the display file.
#[derive(Debug, Clone, PartialEq)]
pub struct FittedType {
    /// Index of the kind in the display.
    pub coil_type: usize,
    /// Winding resistance, ohm.
    pub resistance_ohm: f64,
    /// The temperature it holds for, C.
    pub reference_c: f64,
    /// Heat capacity of winding and board, J/K.
    pub coil_j_per_k: f64,
    /// Heat capacity of the backing, J/K.
    pub backing_j_per_k: f64,
    /// Winding to backing, K/W.
    pub coil_to_backing_k_per_w: f64,
    /// Backing to its surroundings, K/W.
    pub backing_to_around_k_per_w: f64,
    /// By how much allowed rises shrink, percent.
    pub margin_percent: f64,
    /// How much more heat than modelled is reckoned with, percent.
    pub power_percent: f64,
    /// When, and from which log: stands as a comment over the figures. One line.
    pub remark: String,
}

/// How the remark of a fit begins, so that the next fit finds and replaces it.
const MARK: &str = "# Fitted ";

/// The text of a display file with fitted figures in one kind of coil. Comments, order and layout
/// stay; nothing else is touched.
///
/// # Errors
/// When `text` is not the text that `display` was read from.
pub fn with_fit(
    text: &str,
    display: &Display,
    fitted: &FittedType,
) -> Result<String, WriteBackError> {
    let document = text.parse::<DocumentMut>();
    let mut document = document.map_err(|error| WriteBackError::Toml(error.to_string()))?;
    let types = display.coil_types.len();
    let whole =
        document.get("coil_type").is_some_and(|item| matches!(item, Item::ArrayOfTables(_)));
    let mut tables = tables_of(document.get_mut("coil_type"));
    let found = tables.len() == types;
    let Some(table) = tables.get_mut(fitted.coil_type).filter(|_| found) else {
        return Err(WriteBackError::Types(types));
    };
    let figures = [
        ("resistance_ohm", fitted.resistance_ohm, 5),
        ("reference_c", fitted.reference_c, 3),
        ("coil_j_per_k", fitted.coil_j_per_k, 4),
        ("backing_j_per_k", fitted.backing_j_per_k, 4),
        ("coil_to_backing_k_per_w", fitted.coil_to_backing_k_per_w, 4),
        ("backing_to_around_k_per_w", fitted.backing_to_around_k_per_w, 4),
    ];
    for (key, value, digits) in figures {
        put(*table, key, Value::from(digits_of(value, digits)));
    }
    put_trust(*table, fitted);
    // Within one line there is no room for a comment.
    if whole {
        remark(*table, &fitted.remark);
    }
    Ok(document.to_string())
}

/// Rounded to so many significant digits.
fn digits_of(value: f64, digits: usize) -> f64 {
    format!("{value:.*e}", digits - 1).parse().unwrap_or(value)
}

fn put_trust(table: &mut dyn TableLike, fitted: &FittedType) {
    let figures =
        [("margin_percent", fitted.margin_percent), ("power_percent", fitted.power_percent)];
    let trust = table.get_mut("trust").and_then(Item::as_table_like_mut);
    if let Some(fit) = trust.and_then(|trust| trust.get_mut("fit")?.as_table_like_mut()) {
        for (key, value) in figures {
            put(fit, key, Value::from(value));
        }
        return;
    }
    let mut fit = InlineTable::new();
    for (key, value) in figures {
        fit.insert(key, Value::from(value));
    }
    let mut trust = InlineTable::new();
    trust.insert("fit", Value::InlineTable(fit));
    put(table, "trust", Value::InlineTable(trust));
}

/// Puts the remark on a line of its own over the resistance, in place of an older one.
fn remark(table: &mut dyn TableLike, words: &str) {
    let Some(mut key) = table.key_mut("resistance_ohm") else { return };
    let decor = key.leaf_decor_mut();
    let before = decor.prefix().and_then(|prefix| prefix.as_str()).unwrap_or_default();
    let mut kept: String =
        before.split_inclusive('\n').filter(|line| !line.trim_start().starts_with(MARK)).collect();
    let indent = kept.rsplit('\n').next().unwrap_or_default().to_owned();
    let words: String = words.chars().map(|c| if c.is_control() { ' ' } else { c }).collect();
    kept.push_str(&format!("{MARK}{words}\n{indent}"));
    decor.set_prefix(kept);
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::float_cmp, reason = "tests stop at the first surprise")]
mod tests {
    use super::super::display::{Trust, read};
    use super::*;

    const REST: &str = "\n[[rail]]\nname = \"main\"\nvolts = 12\nlimit_a = 8\n\n[[coils]]\ngroup = \"g\"\n\
        type = \"b\"\nrail = \"main\"\nboard = 0\nfirst_channel = 0\nplace.at = { mm = [[0, 0]] }\n";
    const HEAD: &str = "schema = 1\nname = \"t\"\n[driver]\nsteps = 255\npolarity = \"one_way\"\n\
        hold_ms = 250\n\n[[coil_type]]\nname = \"a\"\nresistance_ohm = 7 # mine\ncoil_j_per_k = 4\n\
        backing_j_per_k = 25\ncoil_to_backing_k_per_w = 2\nbacking_to_around_k_per_w = 15\n\n\
        [[coil_type]] # second\nname = \"b\"\n# by the box\n  resistance_ohm = 9 # old\n\
        coil_j_per_k = 4\nbacking_j_per_k = 25\ncoil_to_backing_k_per_w = 2\n\
        backing_to_around_k_per_w = 15\n";

    fn fitted() -> FittedType {
        FittedType {
            coil_type: 1,
            resistance_ohm: 10.123_456,
            reference_c: 21.5,
            coil_j_per_k: 3.987_654,
            backing_j_per_k: 25.123_4,
            coil_to_backing_k_per_w: 2.512_3,
            backing_to_around_k_per_w: 15.067_8,
            margin_percent: 4.2,
            power_percent: 4.1,
            remark: "on 2026-01-02 to log.csv".into(),
        }
    }

    #[test]
    fn every_way_to_write_trust_is_taken() {
        for trust in [
            "",
            "trust = \"estimate\" # for now\n",
            "trust.fit = { margin_percent = 8, power_percent = 9 } # first\n",
            "trust = { fit = { margin_percent = 8, power_percent = 9 } }\n",
            "[coil_type.trust.fit]\nmargin_percent = 8 # eight\npower_percent = 9\n",
        ] {
            let text = format!("{HEAD}{trust}{REST}");
            let display = read("t", &text).unwrap();
            let once = with_fit(&text, &display, &fitted()).unwrap();
            let again = read("t", &once).unwrap();
            let coil = again.coil_types.get(1).unwrap();
            let wanted = Trust::Fit { margin_percent: 4.2, power_percent: 4.1 };
            assert_eq!(coil.trust, wanted, "{once}");
            assert_eq!((coil.resistance_ohm, coil.reference_c), (10.123, 21.5), "{once}");
            assert_eq!((coil.coil_j_per_k, coil.backing_j_per_k), (3.988, 25.12), "{once}");
            assert_eq!(coil.backing_to_around_k_per_w, 15.07, "{once}");
            let lines = "# by the box\n# Fitted on 2026-01-02 to log.csv\n";
            assert!(once.contains(lines) || once.contains("# by the box\n  # Fitted"), "{once}");
            assert!(once.contains("# old") && once.contains("# second"), "{once}");
            assert!(once.contains("resistance_ohm = 7 # mine"), "{once}");
            // A second fit takes the place of the first.
            let later = FittedType { remark: "on 2026-02-03 to b.csv".into(), ..fitted() };
            let twice = with_fit(&once, &again, &later).unwrap();
            assert_eq!(twice.matches("# Fitted").count(), 1, "{twice}");
            assert_eq!(twice.lines().count(), once.lines().count(), "{twice}");
        }
    }

    #[test]
    fn another_text_is_refused() {
        let text = format!("{HEAD}{REST}");
        let display = read("t", &text).unwrap();
        let other = with_fit("schema = 1\n", &display, &fitted());
        assert_eq!(other, Err(WriteBackError::Types(2)));
    }
}
