//! A mapping file: what moves to what. As written, checked.

use serde::Serialize;

use super::digest::digest_hex;
use super::finding::{Finding, Refusals, SharedSource};
use super::limits::{QUIET, REST};
pub use super::route::{Curve, Hears, Moves, Range, Route};
use super::section::{Kind, Pad, Section};
use super::values::{Menu, Picked};

/// A mapping as its file says, defaults filled in.
#[derive(Debug, Clone, Serialize)]
pub struct Mapping {
    /// Short name.
    pub name: String,
    /// What it is meant to look like, in one sentence.
    pub intent: String,
    /// Display file it is usually played on, a path that counts from the mapping's own folder.
    /// Not part of what the mapping means.
    #[serde(skip)]
    pub display: Option<String>,
    /// `max` (default): of the routes that reach a coil, the strongest wish wins; `add`: they add
    /// up.
    pub combine: &'static str,
    /// Time constant of the fade to rest when nothing plays, ms; default 800.
    pub rest_ms: f64,
    /// What counts as nothing playing; default [`Quiet::Follow`].
    pub quiet: Quiet,
    /// Routes in the order of the file.
    pub routes: Vec<Route>,
    /// What the maker should know although the file is usable.
    #[serde(skip)]
    pub warnings: Vec<Finding>,
    #[serde(skip)]
    pub(super) source: SharedSource,
}

/// What counts as quiet.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Quiet {
    /// A little above the noise floor of the sound itself, followed slowly.
    Follow,
    /// Below a fixed level.
    Fixed {
        /// The level, dBFS.
        level_dbfs: f64,
    },
}

impl Mapping {
    /// XXH3-128 of what the file means, in hexadecimal. Comments, layout, the order of keys and
    /// the file's path do not change it; any value does, and so does the order of routes.
    pub fn digest_hex(&self) -> String {
        digest_hex(self)
    }
}

/// More routes than this are a mistake, or a file made by a program gone wrong.
const MOST_ROUTES: usize = 64;

/// Reads and checks a mapping; `path` only appears in messages.
///
/// # Errors
/// With everything that is wrong with the text, in file order.
pub fn read(path: &str, text: &str) -> Result<Mapping, Refusals> {
    let (mut mapping, source, warnings) =
        Pad::new(path, text).conclude(Kind::Mapping, read_root)?;
    mapping.source = source;
    mapping.warnings = warnings;
    Ok(mapping)
}

fn read_root(pad: &Pad, mut root: Section<'_>) -> Option<Mapping> {
    let name = root.text("name", 64, "add a short name: `name = \"...\"`");
    let intent = root.text("intent", 240, "add what it should look like: `intent = \"...\"`");
    let display = root.text_or_none("display", 240);
    let combine = root.word_or("combine", &["max", "add"]);
    let rest_ms = root.number_or(&REST, 800.0).value;
    let quiet = read_quiet(&mut root);
    let sections = root.some_tables("route");
    if let Some(extra) = sections.get(MOST_ROUTES) {
        let title = format!("{} routes are too many", sections.len());
        pad.refuse(&extra.span, title, format!("{MOST_ROUTES} are accepted"));
    }
    let routes: Vec<Option<Route>> =
        sections.into_iter().take(MOST_ROUTES).map(super::read_route::read).collect();
    root.finish();
    refuse_equal_names(pad, &routes);
    Some(Mapping {
        name: name?.value,
        intent: intent?.value,
        display: display.map(|path| path.value),
        combine,
        rest_ms,
        quiet,
        routes: routes.into_iter().collect::<Option<_>>()?,
        warnings: Vec::new(),
        source: pad.source.clone(),
    })
}

fn read_quiet(root: &mut Section<'_>) -> Quiet {
    const MENU: Menu =
        Menu { words: &["follow"], tables: &[("fixed", "quiet.fixed = { level_dbfs = -50 }")] };
    match root.menu("quiet", &MENU, false).map(|picked| picked.value) {
        Some(Picked::Table(_, mut fixed)) => {
            let level = fixed.number(&QUIET);
            fixed.finish();
            level.map_or(Quiet::Follow, |level| Quiet::Fixed { level_dbfs: level.value })
        }
        _ => Quiet::Follow,
    }
}

fn refuse_equal_names(pad: &Pad, routes: &[Option<Route>]) {
    let names: Vec<_> = routes.iter().flatten().map(|route| &route.name).collect();
    super::check::refuse_equal_names(pad, "route", &names);
}
