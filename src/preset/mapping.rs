//! A mapping file: what moves to what. As written, checked.

use serde::Serialize;

use super::digest::digest_hex;
use super::finding::{At, Finding, Refusals, SharedSource};
use super::limits::{IDLE_LEVEL, KEEP, LEAST, MASTER, PERIOD, QUIET, REST, TURN};
pub use super::route::{Curve, Hears, Moves, Path, Range, Route, Size, Strokes, Window};
use super::section::{Kind, Pad, Section};
use super::values::{Menu, Picked};
use crate::mapper::Combine;

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
    /// How routes that reach the same coil are put together; default [`Combine::Max`].
    pub combine: Combine,
    /// Time constant of the fade to rest when nothing plays, ms; default 800.
    pub rest_ms: f64,
    /// What becomes of soft passages; left out: ranges follow each band, and nothing else.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub passages: Option<Passages>,
    /// What counts as nothing playing; default [`Quiet::Follow`].
    pub quiet: Quiet,
    /// Factor on all wishes, 0 to 1; default 1.
    pub master: f64,
    /// What is swapped; default nothing.
    pub mirror: Mirror,
    /// All that is mapped is then turned by this about the display's `[0, 0]`, degrees
    /// counter-clockwise; default 0.
    pub turn_deg: f64,
    /// What moves at rest; left out: nothing.
    pub idle: Option<Idle>,
    /// Routes in the order of the file.
    pub routes: Vec<Route>,
    /// What the maker should know although the file is usable.
    #[serde(skip)]
    pub warnings: Vec<Finding>,
    #[serde(skip)]
    pub(super) source: SharedSource,
}

/// What is swapped of a mapping before it is turned.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Mirror {
    /// Nothing.
    None,
    /// Left and right.
    X,
    /// Top and bottom.
    Y,
}

/// Soft passages stay soft: see [`crate::mapper::Passages`].
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Passages {
    /// dB of the wish for each LU below what is usual, 0.05 to 2; default 0.5.
    pub keep: f64,
    /// Smallest factor, 0 to 1; default 0.1.
    pub least: f64,
}

/// A slow swell while nothing plays.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Idle {
    /// Name of a group, or `all`, which is the default.
    pub group: At<String>,
    /// Highest wish, 0 to 0.3.
    pub level: f64,
    /// Time of one swell, s; default 8.
    pub period_s: f64,
    /// Whether it wanders over the group instead of filling it; default false.
    pub wander: bool,
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
    /// The text that it was read from.
    pub fn text(&self) -> &str {
        &self.source.text
    }

    /// XXH3-128 of what the file means, in hexadecimal. Comments, layout, the order of keys and
    /// the file's path do not change it; any value does, and so does the order of routes.
    pub fn digest_hex(&self) -> String {
        digest_hex(self)
    }

    /// Whether a song is better heard once before it is played: its loudness and its events then
    /// are known from the first frame on.
    pub fn asks_for_the_song(&self) -> bool {
        let asks = |route: &Route| {
            matches!(
                route.hears.value,
                Hears::Onset { .. }
                    | Hears::Beat { .. }
                    | Hears::BeatPhase { .. }
                    | Hears::Loudness { .. }
            )
        };
        self.passages.is_some() || self.routes.iter().any(asks)
    }
}

/// More routes than this are a mistake, or a file made by a program gone wrong.
pub(super) const MOST_ROUTES: usize = 64;

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
    let combine = root.choice("combine");
    let rest_ms = root.number_or(&REST, 800.0).value;
    let quiet = read_quiet(&mut root);
    let passages = read_passages(&mut root);
    let master = root.number_or(&MASTER, 1.0);
    if master.value <= 0.0 {
        pad.warn(&master.span, "master: this mapping moves nothing", "above 0 it moves");
    }
    let mirror = root.choice("mirror");
    let turn_deg = root.number_or(&TURN, 0.0).value;
    let idle = read_idle(&mut root);
    let sections = root.some_tables("route");
    if let Some(extra) = sections.get(MOST_ROUTES) {
        let title = format!("{} routes are too many", sections.len());
        pad.refuse(&extra.span, title, format!("{MOST_ROUTES} are accepted"));
    }
    let routes: Vec<Option<Route>> =
        sections.into_iter().take(MOST_ROUTES).map(super::read_route::read).collect();
    root.finish();
    refuse_equal_names(pad, &routes);
    if combine != Combine::Over {
        warn_priorities(pad, &routes);
    }
    Some(Mapping {
        name: name?.value,
        intent: intent?.value,
        display: display.map(|path| path.value),
        combine,
        rest_ms,
        passages,
        quiet,
        master: master.value,
        mirror,
        turn_deg,
        idle,
        routes: routes.into_iter().collect::<Option<_>>()?,
        warnings: Vec::new(),
        source: pad.source.clone(),
    })
}

pub(super) const QUIETS: Menu =
    Menu { words: &["follow"], tables: &[("fixed", "quiet.fixed = { level_dbfs = -50 }")] };

fn read_quiet(root: &mut Section<'_>) -> Quiet {
    match root.menu("quiet", &QUIETS, false).map(|picked| picked.value) {
        Some(Picked::Table(_, mut fixed)) => {
            let level = fixed.number(&QUIET);
            fixed.finish();
            level.map_or(Quiet::Follow, |level| Quiet::Fixed { level_dbfs: level.value })
        }
        _ => Quiet::Follow,
    }
}

fn read_passages(root: &mut Section<'_>) -> Option<Passages> {
    let mut section = root.table("passages")?;
    let keep = section.number_or(&KEEP, 0.5).value;
    let least = section.number_or(&LEAST, 0.1).value;
    section.finish();
    Some(Passages { keep, least })
}

fn read_idle(root: &mut Section<'_>) -> Option<Idle> {
    let mut section = root.table("idle")?;
    let here = section.span.clone();
    let level = section.number(&IDLE_LEVEL);
    let period_s = section.number_or(&PERIOD, 8.0).value;
    let wander = section.flag_or("wander", false);
    let group = section.text_or_none("group", 64);
    section.finish();
    let group = group.unwrap_or(At { value: "all".to_owned(), span: here });
    Some(Idle { group, level: level?.value, period_s, wander })
}

/// A priority that was written and does nothing.
fn warn_priorities(pad: &Pad, routes: &[Option<Route>]) {
    for (number, route) in (1..).zip(routes) {
        let Some(route) = route.as_ref().filter(|route| route.priority.value > 0) else { continue };
        let title = format!("route {number}, priority: nothing is covered here");
        pad.warn(&route.priority.span, title, "priorities count where `combine = \"over\"`");
    }
}

fn refuse_equal_names(pad: &Pad, routes: &[Option<Route>]) {
    let names: Vec<_> = routes.iter().flatten().map(|route| &route.name).collect();
    super::check::refuse_equal_names(pad, "route", &names);
}
