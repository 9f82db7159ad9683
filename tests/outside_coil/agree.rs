//! Tables read from text, and the worst disagreement of a run, printed.

use coilscore::coil::space::Vec3;

/// Rows of a CSV by column name.
pub(crate) struct Table {
    head: Vec<String>,
    rows: Vec<Vec<String>>,
}

impl Table {
    pub(crate) fn read(text: &str) -> Self {
        let mut reader = csv::Reader::from_reader(text.as_bytes());
        let head = reader.headers().unwrap().iter().map(str::to_owned).collect();
        let rows: Vec<Vec<String>> =
            reader.records().map(|row| row.unwrap().iter().map(str::to_owned).collect()).collect();
        assert!(!rows.is_empty(), "an empty table proves nothing");
        Self { head, rows }
    }

    pub(crate) fn rows(&self) -> impl Iterator<Item = Row<'_>> {
        self.rows.iter().map(|cells| Row { head: &self.head, cells })
    }
}

/// One row.
pub(crate) struct Row<'a> {
    head: &'a [String],
    cells: &'a [String],
}

impl Row<'_> {
    pub(crate) fn text(&self, column: &str) -> &str {
        let place = self.head.iter().position(|name| name == column);
        &self.cells[place.unwrap_or_else(|| panic!("no column {column}"))]
    }

    pub(crate) fn get(&self, column: &str) -> f64 {
        self.text(column).parse().unwrap()
    }

    pub(crate) fn maybe(&self, column: &str) -> Option<f64> {
        self.text(column).parse().ok()
    }
}

/// Worst disagreement of many comparisons under one name.
pub(crate) struct Worst {
    what: &'static str,
    within: f64,
    worst: f64,
    count: usize,
}

impl Worst {
    /// `within` is the share by which a value may differ.
    pub(crate) fn new(what: &'static str, within: f64) -> Self {
        Self { what, within, worst: 0.0, count: 0 }
    }

    /// Compares two numbers.
    pub(crate) fn number(&mut self, ours: f64, theirs: f64) {
        self.sized(ours - theirs, theirs);
    }

    /// Compares two fields by the length of their difference.
    pub(crate) fn field(&mut self, ours: Vec3, theirs: Vec3) {
        self.sized((ours - theirs).length(), theirs.length());
    }

    /// Compares in cylindrical parts.
    pub(crate) fn parts(&mut self, ours: (f64, f64), theirs: (f64, f64)) {
        self.field(Vec3::new(ours.0, 0.0, ours.1), Vec3::new(theirs.0, 0.0, theirs.1));
    }

    /// A difference against the size it is a share of.
    pub(crate) fn sized(&mut self, difference: f64, size: f64) {
        let off = difference.abs() / size.abs().max(1e-300);
        assert!(off <= self.within, "{}: off by {off:.2e} at value {size:e}", self.what);
        self.worst = self.worst.max(off);
        self.count += 1;
    }

    /// Prints the line of the agreement table.
    pub(crate) fn print(&self) {
        assert!(self.count > 0, "{}: nothing compared", self.what);
        let Self { what, within, worst, count } = self;
        println!("{what:<58} {count:>5} values  worst {worst:.1e}  allowed {within:.0e}");
    }
}
