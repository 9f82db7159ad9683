//! The two texts, their versions, and the way into their files.

use crate::shown::Shown as _;
use std::path::Path;
use std::sync::Arc;

use serde::Serialize;

use super::act::Act;
use super::fit::{Fitted, Ground, Quieted, View, fit};
use super::history::{History, State};
use super::paper::{self, PaperError};
use super::paper_file::PaperFile;
use super::routes::{Shift, shift};
use super::trims::{trimmed, written};
use crate::engine::Listener;
use crate::run::layout::plain;

/// Everything under edit. Files are touched by [`Work::save`](Act::Save), drafts and reloads only.
#[derive(Debug)]
pub struct Work {
    ground: Ground,
    mapping: PaperFile,
    display: PaperFile,
    versions: [History; 2],
    heard: usize,
    quieted: Quieted,
    view: View,
    /// The file holds something else than we read, and there are changes that it lacks.
    outside: bool,
    /// What the file says now, if that was refused and told.
    refused: Option<Arc<str>>,
}

/// What came of a wish.
#[derive(Default)]
pub struct Outcome {
    /// To be taken in by the engine, when what is played has changed.
    pub listener: Option<Box<Listener>>,
    /// To be told to everyone.
    pub notice: Option<String>,
}

/// How the work stands, for pages.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Standing {
    /// The mapping as written.
    pub mapping: serde_json::Value,
    /// As the engine has it.
    #[serde(flatten)]
    pub view: View,
    /// Silent routes.
    #[serde(flatten)]
    pub quieted: Quieted,
    /// Which version is played, 0 or 1.
    pub version: usize,
    /// The two versions differ.
    pub versions_differ: bool,
    /// Something can be undone.
    pub can_undo: bool,
    /// Something can be done again.
    pub can_redo: bool,
    /// There is something that the files lack.
    pub unsaved: bool,
    /// A file was changed outside, and what it says now was not taken over.
    pub outside: bool,
}

impl Work {
    /// Begins with what the files say, or with the draft that an earlier run left beside them.
    /// Returns what is to be played instead of what the files say, and said, if there is a draft.
    ///
    /// # Errors
    /// With the text of `check`.
    pub fn open(
        ground: Ground,
        mapping: (&Path, &str),
        display: (&Path, &str),
    ) -> Result<(Self, Outcome), String> {
        let mapping = PaperFile::new(mapping.0, mapping.1);
        let display = PaperFile::new(display.0, display.1);
        let first =
            State { mapping: Arc::clone(mapping.text()), display: Arc::clone(display.text()) };
        let quieted = Quieted::default();
        let fitted = fit(&ground, &first, &quieted)?;
        let drafts = (mapping.draft(), display.draft());
        let versions = [History::new(first.clone()), History::new(first.clone())];
        let mut work = Self {
            ground,
            mapping,
            display,
            versions,
            heard: 0,
            quieted,
            view: fitted.view,
            outside: false,
            refused: None,
        };
        let mut outcome = Outcome::default();
        if drafts.0.is_some() || drafts.1.is_some() {
            let fits = [&drafts.0, &drafts.1].into_iter().flatten().all(|draft| draft.fits);
            let text = |draft: Option<super::paper_file::Draft>, file| {
                draft.map_or(file, |draft| draft.text)
            };
            let state = State {
                mapping: text(drafts.0, first.mapping),
                display: text(drafts.1, first.display),
            };
            outcome = work.recover(state, fits, outcome);
        }
        Ok((work, outcome))
    }

    /// A draft counts as the newest step; where the file was changed since, as the other version.
    /// One that is not the version that is heard is kept under another name besides.
    fn recover(&mut self, draft: State, fits: bool, file: Outcome) -> Outcome {
        let found = "a draft of an earlier run";
        let notice = match self.take_in(&draft) {
            Ok(outcome) if fits => {
                self.history().step(draft, None);
                self.mapping.take_over();
                self.display.take_over();
                let notice = format!("{found} was recovered: undo goes back to the file");
                return Outcome { notice: Some(notice), ..outcome };
            }
            Ok(_) => {
                self.versions[1].step(draft, None);
                format!("{found} was found, but the file was changed since: the draft is version 2")
            }
            Err(why) => format!("{found} cannot be used: {why}"),
        };
        // Back to what the file says, which was taken in before.
        let first = self.heard().now().clone();
        let _ = self.take_in(&first);
        let aside: Vec<String> = [&self.mapping, &self.display]
            .iter()
            .filter_map(|file| file.draft().and_then(|_| file.set_aside()))
            .map(|place| place.shown())
            .collect();
        let notice = format!("{notice}; kept as {}", aside.join(" and "));
        Outcome { notice: Some(notice), ..file }
    }

    fn history(&mut self) -> &mut History {
        let [one, two] = &mut self.versions;
        if self.heard == 0 { one } else { two }
    }

    fn heard(&self) -> &History {
        let [one, two] = &self.versions;
        if self.heard == 0 { one } else { two }
    }

    fn other(&self) -> &History {
        let [one, two] = &self.versions;
        if self.heard == 0 { two } else { one }
    }

    /// How it stands.
    pub fn standing(&self) -> Standing {
        let (heard, other) = (self.heard(), self.other());
        let now = heard.now();
        Standing {
            mapping: toml::from_str(&now.mapping).unwrap_or_default(),
            view: self.view.clone(),
            quieted: self.quieted.clone(),
            version: self.heard,
            versions_differ: now != other.now(),
            can_undo: heard.undo().is_some(),
            can_redo: heard.redo().is_some(),
            unsaved: self.unsaved(),
            outside: self.outside,
        }
    }

    fn unsaved(&self) -> bool {
        let now = self.heard().now();
        now.mapping != *self.mapping.text() || now.display != *self.display.text()
    }

    /// Does what was asked, or nothing at all.
    ///
    /// # Errors
    /// A sentence for the one who asked: what `check` would print, or why it cannot be done.
    pub fn act(&mut self, act: &Act) -> Result<Outcome, String> {
        match act {
            Act::Set { path, value, grip } => {
                self.on_mapping(*grip, |text| paper::set(text, path, value.as_ref()))
            }
            Act::Kind { path, example } => {
                let value = written(path, example).ok_or("that kind is not known")?;
                self.on_mapping(None, |text| paper::set(text, path, Some(&value)))
            }
            Act::AddRoute => self.on_mapping(None, |text| shift(text, Shift::Add)),
            Act::CopyRoute { route } => {
                self.on_mapping(None, |text| shift(text, Shift::Copy(*route)))
            }
            Act::RemoveRoute { route } => {
                self.on_mapping(None, |text| shift(text, Shift::Remove(*route)))
            }
            Act::MoveRoute { route, to } => {
                self.on_mapping(None, |text| shift(text, Shift::Move(*route, *to)))
            }
            Act::Trim { coil, value, grip } => self.trim(*coil, *value, *grip),
            Act::Undo => self.travel("there is nothing to undo", History::undo, History::go_back),
            Act::Redo => self.travel("there is nothing to do again", History::redo, History::go_on),
            Act::OtherVersion => {
                let outcome = self.take_in(&self.other().now().clone())?;
                self.heard = 1 - self.heard;
                Ok(outcome)
            }
            Act::CopyVersion => {
                let now = self.heard().now().clone();
                let [one, two] = &mut self.versions;
                if self.heard == 0 { two } else { one }.step(now, None);
                Ok(Outcome::default())
            }
            Act::Mute { route, on } => self.quiet(|quieted| &mut quieted.muted, route, *on),
            Act::Solo { route, on } => self.quiet(|quieted| &mut quieted.solo, route, *on),
            Act::Save => self.save(),
            Act::Reload => self.reload(),
        }
    }

    fn on_mapping(
        &mut self,
        grip: Option<u64>,
        change: impl FnOnce(&str) -> Result<String, PaperError>,
    ) -> Result<Outcome, String> {
        let now = self.heard().now();
        let mapping = change(&now.mapping).map_err(|error| error.to_string())?;
        let state = State { mapping: mapping.into(), display: Arc::clone(&now.display) };
        self.go(state, grip)
    }

    fn trim(&mut self, coil: usize, value: f64, grip: Option<u64>) -> Result<Outcome, String> {
        let now = self.heard().now();
        let display = trimmed(&now.display, &self.view.trims, coil, value)
            .ok_or_else(|| format!("there is no coil {}", coil + 1))?;
        let state = State { mapping: Arc::clone(&now.mapping), display: display.into() };
        self.go(state, grip)
    }

    fn go(&mut self, state: State, grip: Option<u64>) -> Result<Outcome, String> {
        if state == *self.heard().now() {
            return Ok(Outcome::default());
        }
        let outcome = self.take_in(&state)?;
        self.history().step(state, grip);
        Ok(outcome)
    }

    fn take_in(&mut self, state: &State) -> Result<Outcome, String> {
        let Fitted { listener, view } = fit(&self.ground, state, &self.quieted)?;
        self.view = view;
        Ok(Outcome { listener: Some(listener), notice: None })
    }

    fn travel(
        &mut self,
        nothing: &str,
        look: impl Fn(&History) -> Option<&State>,
        go: impl Fn(&mut History),
    ) -> Result<Outcome, String> {
        let state = look(self.heard()).ok_or(nothing)?.clone();
        let outcome = self.take_in(&state)?;
        go(self.history());
        Ok(outcome)
    }

    fn quiet(
        &mut self,
        pick: impl Fn(&mut Quieted) -> &mut std::collections::BTreeSet<String>,
        route: &str,
        on: bool,
    ) -> Result<Outcome, String> {
        let before = self.quieted.clone();
        let list = pick(&mut self.quieted);
        if on {
            list.insert(route.to_owned());
        } else {
            list.remove(route);
        }
        let now = self.heard().now().clone();
        self.take_in(&now).inspect_err(|_| self.quieted = before)
    }

    fn save(&mut self) -> Result<Outcome, String> {
        let now = self.heard().now().clone();
        let mut saved = Vec::new();
        for (file, text) in [(&mut self.mapping, &now.mapping), (&mut self.display, &now.display)] {
            if text != file.text() {
                file.save(text)?;
                saved.push(file.path().shown());
            }
        }
        self.outside = false;
        let notice = match saved.is_empty() {
            true => "there was nothing to save".to_owned(),
            false => format!("saved {}", saved.join(" and ")),
        };
        Ok(Outcome { notice: Some(notice), ..Outcome::default() })
    }

    fn reload(&mut self) -> Result<Outcome, String> {
        let Some(raw) = self.mapping.changed_outside() else {
            return self.display_outside();
        };
        let state =
            State { mapping: plain(&raw).into(), display: self.heard().now().display.clone() };
        let outcome = self.take_in(&state)?;
        self.history().step(state, None);
        self.mapping.know(&raw);
        (self.outside, self.refused) = (false, None);
        let notice = format!("{} was changed outside and is taken over", self.ground.mapping_name);
        Ok(Outcome { notice: Some(notice), ..outcome })
    }

    fn display_outside(&mut self) -> Result<Outcome, String> {
        match self.display.changed_outside() {
            Some(_) => Err(format!(
                "{} was changed outside: what a display is counts from the next start",
                self.ground.display_name
            )),
            None => Err("the files say what they said before".into()),
        }
    }

    /// To be called when a file may have been changed outside: what it says is taken over unless
    /// there are changes that would be covered by it, or it is refused; the old one goes on then.
    pub fn look_outside(&mut self) -> Option<Outcome> {
        let now = self.mapping.changed_outside();
        if now.is_none() {
            (self.outside, self.refused) = (false, None);
            return None;
        }
        let told = self.outside;
        self.outside = true;
        if self.unsaved() {
            let notice = format!(
                "{} was changed outside; you have changes of your own: reload takes over what the \
                 file says (undo brings yours back)",
                self.ground.mapping_name
            );
            return (!told).then(|| Outcome { notice: Some(notice), ..Outcome::default() });
        }
        if self.refused == now {
            return None;
        }
        match self.reload() {
            Ok(outcome) => Some(outcome),
            Err(why) => {
                self.refused = now;
                let notice = format!(
                    "{} was changed outside and cannot be used:\n{why}",
                    self.ground.mapping_name
                );
                Some(Outcome { notice: Some(notice), ..Outcome::default() })
            }
        }
    }

    /// Keeps what is unsaved beside the files.
    ///
    /// # Errors
    /// When that cannot be written.
    pub fn keep_draft(&mut self) -> std::io::Result<()> {
        // Of the version that is not heard, what the heard one does not cover.
        let now = if self.unsaved() { self.heard().now() } else { self.other().now() }.clone();
        self.mapping.keep_draft(&now.mapping)?;
        self.display.keep_draft(&now.display)
    }

    /// The folders whose files are under edit, for whoever watches them.
    pub fn files(&self) -> [&Path; 2] {
        [self.mapping.path(), self.display.path()]
    }
}
