//! A table of a file, read key by key; whatever was not asked for is refused as unknown.
//!
//! Readers never stop at the first problem: they note it on the [`Pad`] and give `None`.

use std::cell::RefCell;
use std::ops::Range;
use std::sync::Arc;

use toml::de::{DeTable, DeValue};

use super::finding::{Finding, Refusals, SharedSource, Source, Weight};
use super::words::{listing, nearest, split_unit};

/// Collects what is found while a file is read.
pub(super) struct Pad {
    pub(super) source: SharedSource,
    findings: RefCell<Vec<Finding>>,
    strays: RefCell<Vec<Stray>>,
    homes: RefCell<Vec<(&'static str, String)>>,
}

/// Findings of a weight beyond this many are not kept: every one of them reads the text again.
const MOST_FINDINGS: usize = 500;

/// A key nobody asked for.
struct Stray {
    key: String,
    path: String,
    span: Range<usize>,
    near: Option<&'static str>,
    known: Vec<&'static str>,
}

/// The two kinds of file, told apart by the tables only one of them has.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Kind {
    Mapping,
    Display,
}

impl Kind {
    fn of(root: &DeTable<'_>) -> Option<Self> {
        let has = |keys: &[&str]| keys.iter().any(|&key| root.contains_key(key));
        match (has(&["route"]), has(&["coils", "coil_type", "rail", "driver"])) {
            (true, false) => Some(Self::Mapping),
            (false, true) => Some(Self::Display),
            _ => None,
        }
    }

    fn name(self) -> &'static str {
        match self {
            Self::Mapping => "mapping",
            Self::Display => "display",
        }
    }
}

impl Pad {
    pub(super) fn new(path: &str, text: &str) -> Self {
        Self {
            source: Arc::new(Source { path: path.to_owned(), text: text.to_owned() }),
            findings: RefCell::default(),
            strays: RefCell::default(),
            homes: RefCell::default(),
        }
    }

    /// Parses the text and hands the top table to `read`; any refusal outweighs its result.
    pub(super) fn conclude<T>(
        self,
        kind: Kind,
        read: impl FnOnce(&Pad, Section<'_>) -> Option<T>,
    ) -> Result<(T, SharedSource, Vec<Finding>), Refusals> {
        let text = Arc::clone(&self.source);
        let (table, errors) = DeTable::parse_recoverable(&text.text);
        if !errors.is_empty() {
            return Err(self.not_toml(&errors));
        }
        let root = table.get_ref();
        let result = self.suits(kind, root).then(|| read(&self, Section::root(&self, root)));
        self.judge_strays();
        let (refused, warnings): (Vec<_>, Vec<_>) =
            self.findings.take().into_iter().partition(|f| f.weight() == Weight::Refusal);
        match result.flatten() {
            Some(value) if refused.is_empty() => {
                Ok((value, self.source, Refusals::new(warnings).findings().to_vec()))
            }
            _ if refused.is_empty() => {
                let title = format!("{}: this file cannot be used", self.source.path);
                Err(Finding::placeless(Weight::Refusal, title).into())
            }
            _ => Err(Refusals::new(refused)),
        }
    }

    /// Whether there are more findings of a weight than anyone reads: the rest need no words.
    pub(super) fn is_full(&self, weight: Weight) -> bool {
        let findings = self.findings.borrow();
        findings.iter().filter(|finding| finding.weight() == weight).count() >= MOST_FINDINGS
    }

    /// Adds a refusal at `span`.
    pub(super) fn refuse(
        &self,
        span: &Range<usize>,
        title: impl Into<String>,
        label: impl Into<String>,
    ) {
        if !self.is_full(Weight::Refusal) {
            self.add(self.finding(Weight::Refusal, span, title, label));
        }
    }

    /// Adds a warning at `span`.
    pub(super) fn warn(
        &self,
        span: &Range<usize>,
        title: impl Into<String>,
        label: impl Into<String>,
    ) {
        if !self.is_full(Weight::Warning) {
            self.add(self.finding(Weight::Warning, span, title, label));
        }
    }

    pub(super) fn finding(
        &self,
        weight: Weight,
        span: &Range<usize>,
        title: impl Into<String>,
        label: impl Into<String>,
    ) -> Finding {
        Finding::new(weight, title, self.source.mark(span, label))
    }

    pub(super) fn add(&self, finding: Finding) {
        self.findings.borrow_mut().push(finding);
    }

    /// The parser's own findings, at most one a line: later ones are mostly echoes.
    fn not_toml(&self, errors: &[toml::de::Error]) -> Refusals {
        let mut findings: Vec<Finding> = Vec::new();
        for error in errors.iter().take(MOST_FINDINGS) {
            let (problem, label) = match error.message() {
                "duplicate key" => ("this key is written twice", "keep one of the two"),
                other => (other, "the text cannot be read from here on"),
            };
            let span = error.span().unwrap_or(0..0);
            let title = format!("not valid TOML: {problem}");
            let finding = self.finding(Weight::Refusal, &span, title, label);
            if findings.iter().all(|known| known.order().0 != finding.order().0) {
                findings.push(finding);
            }
        }
        Refusals::new(findings)
    }

    /// Whether this is a file of the kind and schema that is read here.
    fn suits(&self, kind: Kind, root: &DeTable<'_>) -> bool {
        if let Some(other) = Kind::of(root).filter(|&other| other != kind) {
            let (is, wanted) = (other.name(), kind.name());
            let title = format!("this is a {is} file, and a {wanted} file is needed here");
            self.refuse(&(0..0), title, format!("give the {is} where a {is} is asked for"));
            return false;
        }
        let Some(schema) = root.get("schema") else {
            let title = "the file does not say which schema it follows";
            self.refuse(&(0..0), title, "add `schema = 1` as the first line");
            return true;
        };
        let known = matches!(schema.get_ref(), DeValue::Integer(n) if n.as_str() == "1");
        if !known {
            let written = self.source.quote(&schema.span());
            let label = "this version reads `schema = 1`";
            self.refuse(&schema.span(), format!("schema: {written} is not known"), label);
        }
        known
    }

    /// Reports unknown keys, now that it is known where each key would have belonged.
    fn judge_strays(&self) {
        let homes = self.homes.borrow();
        for stray in self.strays.take() {
            let title = format!("{}there is no key `{}`", stray.path, stray.key);
            let home = homes.iter().find(|(key, _)| *key == stray.key);
            let label = match (stray.near, home) {
                (_, Some((key, home))) => format!("`{key}` belongs {home}"),
                (Some(near), _) => meant(&stray.key, near),
                (None, None) => format!("known here: {}", listing('`', &stray.known)),
            };
            self.refuse(&stray.span, title, label);
        }
    }
}

/// What to say about a key that is nearly right.
fn meant(got: &str, near: &str) -> String {
    match (split_unit(got), split_unit(near)) {
        ((stem, unit), (same, Some(right))) if stem == same && unit != Some(right) => {
            format!("write `{near}`, in {right}")
        }
        _ => format!("did you mean `{near}`?"),
    }
}

/// A value of a table, with the words to speak of it.
pub(super) struct Found<'a> {
    /// Where it stands, as the maker would say it: `route 2, hears.band.low_hz`.
    pub(super) path: String,
    pub(super) span: Range<usize>,
    pub(super) value: &'a DeValue<'a>,
}

/// One table.
pub(super) struct Section<'a> {
    pub(super) pad: &'a Pad,
    /// Its header, or the key that opens it.
    pub(super) span: Range<usize>,
    table: &'a DeTable<'a>,
    head: String,
    tail: String,
    home: String,
    known: Vec<&'static str>,
    missing: Vec<(&'static str, String)>,
}

impl<'a> Section<'a> {
    fn root(pad: &'a Pad, table: &'a DeTable<'a>) -> Self {
        let home = "at the top, before any [table]".to_owned();
        let mut root = Self::new(pad, table, 0..0, (String::new(), String::new()), home);
        root.known.push("schema");
        root
    }

    fn new(
        pad: &'a Pad,
        table: &'a DeTable<'a>,
        span: Range<usize>,
        (head, tail): (String, String),
        home: String,
    ) -> Self {
        Self { pad, span, table, head, tail, home, known: Vec::new(), missing: Vec::new() }
    }

    /// The name of `key` in a message.
    pub(super) fn path(&self, key: &str) -> String {
        let dot = if self.tail.is_empty() { "" } else { "." };
        match (self.head.as_str(), self.tail.as_str()) {
            ("", tail) => format!("{tail}{dot}{key}"),
            (head, tail) => format!("{head}, {tail}{dot}{key}"),
        }
    }

    /// Speaks of the table itself, at the start of a message.
    fn prefix(&self) -> String {
        match (self.head.as_str(), self.tail.as_str()) {
            ("", "") => String::new(),
            ("", only) | (only, "") => format!("{only}: "),
            (head, tail) => format!("{head}, {tail}: "),
        }
    }

    /// Looks a key up; the key counts as known from here on.
    pub(super) fn find(&mut self, key: &'static str) -> Option<Found<'a>> {
        if !self.known.contains(&key) {
            self.known.push(key);
        }
        self.peek(key)
    }

    /// Looks a key up without asking for it.
    pub(super) fn peek(&self, key: &str) -> Option<Found<'a>> {
        let value = self.table.get(key)?;
        Some(Found { path: self.path(key), span: value.span(), value: value.get_ref() })
    }

    /// Looks a key up that has to be there; `cure` says what to add.
    pub(super) fn need(&mut self, key: &'static str, cure: impl Into<String>) -> Option<Found<'a>> {
        let found = self.find(key);
        if found.is_none() {
            self.missing.push((key, cure.into()));
        }
        found
    }

    /// Keys that were written, with their places.
    pub(super) fn written(&self) -> impl Iterator<Item = (&'a str, Range<usize>)> + use<'a> {
        self.table.keys().map(|key| (key.get_ref().as_ref(), key.span()))
    }

    /// Reads the table under `key`, if it is there.
    pub(super) fn table(&mut self, key: &'static str) -> Option<Section<'a>> {
        let found = self.find(key)?;
        match found.value {
            DeValue::Table(table) => Some(self.child(key, table, found.span)),
            DeValue::Array(_) => {
                let title = format!("there is only one {key}");
                self.pad.refuse(&found.span, title, format!("write [{key}], once"));
                None
            }
            _ => {
                let title = format!("{} is not a table", found.path);
                self.pad.refuse(&found.span, title, format!("write [{key}] and its keys below"));
                None
            }
        }
    }

    /// The table under `key` of this table, once it is known to be one.
    pub(super) fn child(
        &self,
        key: &str,
        table: &'a DeTable<'a>,
        span: Range<usize>,
    ) -> Section<'a> {
        let dot = if self.tail.is_empty() { "" } else { "." };
        let tail = format!("{}{dot}{key}", self.tail);
        let top = self.head.is_empty() && self.tail.is_empty();
        let home = if top { format!("in [{key}]") } else { format!("in `{tail}`") };
        Section::new(self.pad, table, span, (self.head.clone(), tail), home)
    }

    /// Reads the tables written as `[[key]]`, none or more.
    pub(super) fn tables(&mut self, key: &'static str) -> Vec<Section<'a>> {
        let Some(found) = self.find(key) else { return Vec::new() };
        let DeValue::Array(items) = found.value else {
            let title = format!("every {key} is a table of a list");
            self.pad.refuse(&found.span, title, format!("write [[{key}]], in double brackets"));
            return Vec::new();
        };
        let mut tables = Vec::with_capacity(items.len());
        for (index, item) in items.iter().enumerate() {
            let head = format!("{key} {}", index + 1);
            if let DeValue::Table(table) = item.get_ref() {
                let names = (head, String::new());
                let home = format!("in [[{key}]]");
                tables.push(Section::new(self.pad, table, item.span(), names, home));
            } else {
                let label = format!("write [[{key}]] and its keys below");
                self.pad.refuse(&item.span(), format!("{head} is not a table"), label);
            }
        }
        tables
    }

    /// As [`Section::tables`], with at least one.
    pub(super) fn some_tables(&mut self, key: &'static str) -> Vec<Section<'a>> {
        if !self.table.contains_key(key) {
            self.need(key, format!("add at least one [[{key}]]"));
        }
        self.tables(key)
    }

    /// Reports what is missing and what nobody knows. Call when every key has been asked for.
    pub(super) fn finish(self) {
        let mut homes = self.pad.homes.borrow_mut();
        homes.extend(self.known.iter().map(|&key| (key, self.home.clone())));
        let mut missing = self.missing.clone();
        for (key, span) in self.written().filter(|(key, _)| !self.known.contains(key)) {
            let near = nearest(key, self.known.iter().copied());
            // One slip, one message.
            missing.retain(|(name, _)| Some(*name) != near);
            let (path, known) = (self.prefix(), self.known.clone());
            let stray = Stray { key: key.to_owned(), path, span, near, known };
            self.pad.strays.borrow_mut().push(stray);
        }
        for (key, cure) in missing {
            self.pad.refuse(&self.span, format!("{}`{key}` is missing", self.prefix()), cure);
        }
    }
}
