//! What is wrong with a file: where, what was written, what would do.

use std::fmt;
use std::ops::Range;
use std::sync::Arc;

use annotate_snippets::{AnnotationKind, Group, Level, Renderer, Snippet};
use serde::{Serialize, Serializer};

/// A text and the name it is shown under.
#[derive(Debug, PartialEq, Eq)]
pub struct Source {
    /// As the user gave it.
    pub path: String,
    /// All of it.
    pub text: String,
}

/// A value and the bytes of its source that hold it.
///
/// Serialises as the value alone: where it stands does not change what it means.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct At<T> {
    /// As checked.
    pub value: T,
    /// Where it was written; where its table is, for a value that was left out.
    pub span: Range<usize>,
}

impl<T: Serialize> Serialize for At<T> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        self.value.serialize(serializer)
    }
}

/// How much a finding weighs.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Weight {
    /// The file cannot be used.
    Refusal,
    /// The file can be used; the maker should know.
    Warning,
}

/// A marked stretch of one line of a file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Mark {
    path: String,
    line: usize,
    column: usize,
    text: String,
    stretch: Range<usize>,
    label: String,
}

impl Mark {
    /// Number of the line, from 1.
    pub fn line(&self) -> usize {
        self.line
    }

    /// Number of the first marked character in its line, from 1.
    pub fn column(&self) -> usize {
        self.column
    }
}

impl Source {
    /// Marks `span`, or as much of it as stands on its first line.
    pub(super) fn mark(&self, span: &Range<usize>, label: impl Into<String>) -> Mark {
        let start = floor_boundary(&self.text, span.start);
        let end = floor_boundary(&self.text, span.end.max(start));
        let before = self.text.get(..start).unwrap_or_default();
        let line_start = before.rfind('\n').map_or(0, |at| at + 1);
        let text = self.text.get(line_start..).unwrap_or_default();
        let text = text.split('\n').next().unwrap_or_default();
        let text = text.strip_suffix('\r').unwrap_or(text);
        let from = (start - line_start).min(text.len());
        Mark {
            path: self.path.clone(),
            line: before.matches('\n').count() + 1,
            column: text.get(..from).unwrap_or_default().chars().count() + 1,
            text: text.to_owned(),
            stretch: from..(end - line_start).clamp(from, text.len()),
            label: label.into(),
        }
    }

    /// What stands in `span`, short enough to quote.
    pub(super) fn quote(&self, span: &Range<usize>) -> String {
        const LONGEST: usize = 40;
        let written = self.text.get(span.clone()).unwrap_or_default();
        let line = written.lines().next().unwrap_or_default();
        let short: String = line.chars().take(LONGEST).collect();
        if short.len() < written.len() { format!("{short}...") } else { short }
    }
}

/// The largest character boundary at or before `at`.
fn floor_boundary(text: &str, at: usize) -> usize {
    let at = at.min(text.len());
    (0..=at).rev().find(|&at| text.is_char_boundary(at)).unwrap_or(0)
}

/// One thing that is wrong, or worth knowing, about a file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Finding {
    weight: Weight,
    title: String,
    mark: Option<Mark>,
    related: Option<Mark>,
    help: Option<String>,
}

impl Finding {
    /// A finding about a file as a whole.
    pub fn placeless(weight: Weight, title: impl Into<String>) -> Self {
        Self { weight, title: title.into(), mark: None, related: None, help: None }
    }

    pub(super) fn new(weight: Weight, title: impl Into<String>, mark: Mark) -> Self {
        Self { mark: Some(mark), ..Self::placeless(weight, title) }
    }

    /// Points at a second place that has to do with it.
    #[must_use]
    pub(super) fn related(self, mark: Mark) -> Self {
        Self { related: Some(mark), ..self }
    }

    /// Adds a sentence on what to do or why.
    #[must_use]
    pub(super) fn help(self, help: impl Into<String>) -> Self {
        Self { help: Some(help.into()), ..self }
    }

    /// Whether it stands in the way.
    pub fn weight(&self) -> Weight {
        self.weight
    }

    /// What is wrong, in one line.
    pub fn title(&self) -> &str {
        &self.title
    }

    /// Where, unless it is about the file as a whole.
    pub fn mark(&self) -> Option<&Mark> {
        self.mark.as_ref()
    }

    /// Place in the file, for sorting.
    pub(super) fn order(&self) -> (usize, usize) {
        self.mark.as_ref().map_or((0, 0), |mark| (mark.line, mark.column))
    }
}

impl fmt::Display for Finding {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let level = match self.weight {
            Weight::Refusal => Level::ERROR,
            Weight::Warning => Level::WARNING,
        };
        let mut group = Group::with_title(level.primary_title(&self.title));
        let marks =
            [(&self.mark, AnnotationKind::Primary), (&self.related, AnnotationKind::Context)];
        for (mark, kind) in marks.into_iter().filter_map(|(m, kind)| Some((m.as_ref()?, kind))) {
            let annotation = kind.span(mark.stretch.clone()).label(mark.label.as_str());
            let snippet = Snippet::source(&mark.text).path(&mark.path).line_start(mark.line);
            group = group.element(snippet.annotation(annotation));
        }
        if let Some(help) = &self.help {
            group = group.element(Level::HELP.message(help));
        }
        f.write_str(&Renderer::plain().render(&[group]))
    }
}

/// Why a file cannot be used: at least one finding, in file order.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Refusals(Vec<Finding>);

/// How many findings are printed before the rest is only counted.
const PRINTED: usize = 20;

impl Refusals {
    /// Sorted by place.
    pub(super) fn new(mut findings: Vec<Finding>) -> Self {
        findings.sort_by_key(Finding::order);
        Self(findings)
    }

    /// Every one of them.
    pub fn findings(&self) -> &[Finding] {
        &self.0
    }
}

impl From<Finding> for Refusals {
    fn from(finding: Finding) -> Self {
        Self(vec![finding])
    }
}

impl fmt::Display for Refusals {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (number, finding) in self.0.iter().take(PRINTED).enumerate() {
            let gap = if number == 0 { "" } else { "\n\n" };
            write!(f, "{gap}{finding}")?;
        }
        match self.0.len().saturating_sub(PRINTED) {
            0 => Ok(()),
            more => write!(f, "\n\nand {more} more; they show when these are mended"),
        }
    }
}

impl std::error::Error for Refusals {}

/// Shares a source between a file's parts.
pub(super) type SharedSource = Arc<Source>;
