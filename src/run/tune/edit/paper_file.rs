//! A file under edit: saved whole or not at all, never over what somebody else wrote, with a draft
//! beside it until it is saved.

use crate::shown::Shown as _;
use std::fs;
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use std::sync::Arc;

use xxhash_rust::xxh3::xxh3_128;

use crate::run::layout::{Layout, plain};
use crate::sink::part::Part;

/// First line of a draft: what it was begun from.
const DRAFT_OF: &str = "# coilscore draft of ";

/// A file and what we know of it.
#[derive(Debug)]
pub(super) struct PaperFile {
    /// As the user gave it.
    path: PathBuf,
    /// What stands in it as far as we know ...
    raw: String,
    /// ... and the same with plain line ends, as texts under edit are.
    text: Arc<str>,
    /// The draft beside it that is ours.
    kept: Option<Arc<str>>,
}

/// A draft that an earlier run left.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Draft {
    pub(super) text: Arc<str>,
    /// The file is still what the draft was begun from.
    pub(super) fits: bool,
}

impl PaperFile {
    /// For the file at `path`, in which `raw` was found.
    pub(super) fn new(path: &Path, raw: &str) -> Self {
        Self { path: path.to_owned(), raw: raw.into(), text: plain(raw).into(), kept: None }
    }

    pub(super) fn path(&self) -> &Path {
        &self.path
    }

    /// What stands in the file as far as we know.
    pub(super) fn text(&self) -> &Arc<str> {
        &self.text
    }

    /// What stands in it now, if that is not what we know.
    pub(super) fn changed_outside(&self) -> Option<Arc<str>> {
        let raw = String::from_utf8(fs::read(&self.path).ok()?).ok()?;
        (raw != self.raw).then(|| raw.into())
    }

    /// From here on this counts as what stands in the file.
    pub(super) fn know(&mut self, raw: &str) {
        self.raw = raw.into();
        self.text = plain(raw).into();
    }

    /// Writes `text`, whole or not at all.
    ///
    /// # Errors
    /// A sentence, with the file as it was: it was changed outside, is gone, or cannot be written.
    pub(super) fn save(&mut self, text: &Arc<str>) -> Result<(), String> {
        let name = self.path.shown();
        // Through a link to the file itself: renaming would replace the link.
        let real = fs::canonicalize(&self.path).unwrap_or_else(|_| self.path.clone());
        let there = fs::read(&real).map_err(|error| {
            format!("{name}: {error}; nothing was saved: the draft beside it has your changes")
        })?;
        if there != self.raw.as_bytes() {
            return Err(format!(
                "{name} was changed outside since it was read, and is left alone: take over what \
                 it says now, or put it back as it was, then save again"
            ));
        }
        let raw = Layout::of(&self.raw).apply(text);
        write(&real, raw.as_bytes()).map_err(|error| {
            format!("{name}: {error}; nothing was saved: is there room, and may you write there?")
        })?;
        self.know(&raw);
        if self.kept.is_some() {
            self.forget_draft();
        }
        Ok(())
    }

    /// Keeps `text` beside the file, or removes the draft where it says what the file says. A draft
    /// that an earlier run left is none of its business before [`Self::take_over`].
    ///
    /// # Errors
    /// When it cannot be written.
    pub(super) fn keep_draft(&mut self, text: &Arc<str>) -> io::Result<()> {
        if *text == self.text {
            if self.kept.is_some() {
                self.forget_draft();
            }
            return Ok(());
        }
        if self.kept.as_ref() == Some(text) {
            return Ok(());
        }
        let begun = xxh3_128(self.text.as_bytes());
        let draft = format!("{DRAFT_OF}{begun:032x}\n{text}");
        write(&draft_of(&self.path), draft.as_bytes())?;
        self.kept = Some(Arc::clone(text));
        Ok(())
    }

    fn forget_draft(&mut self) {
        // One that is not there need not be removed.
        let _ = fs::remove_file(draft_of(&self.path));
        self.kept = None;
    }

    /// The draft that an earlier run left, if it holds something else than the file.
    pub(super) fn draft(&self) -> Option<Draft> {
        let all = fs::read_to_string(draft_of(&self.path)).ok()?;
        let (digest, text) = all.strip_prefix(DRAFT_OF)?.split_once('\n')?;
        let begun = format!("{:032x}", xxh3_128(self.text.as_bytes()));
        (*text != *self.text).then(|| Draft { text: text.into(), fits: digest == begun })
    }

    /// The draft of an earlier run is under edit now: ours.
    pub(super) fn take_over(&mut self) {
        self.kept = self.draft().map(|draft| draft.text);
    }

    /// Gives the draft of an earlier run a name at which nothing is written over it; which one.
    pub(super) fn set_aside(&self) -> Option<PathBuf> {
        let draft = draft_of(&self.path);
        let numbered = |number: u32| {
            let mut name = draft.clone().into_os_string();
            name.push(format!(".{number}"));
            PathBuf::from(name)
        };
        let aside = (1..1000).map(numbered).find(|place| !place.exists())?;
        fs::rename(&draft, &aside).ok().map(|()| aside)
    }
}

/// Where the draft of a file lies.
pub fn draft_of(path: &Path) -> PathBuf {
    let mut name = path.to_path_buf().into_os_string();
    name.push(".draft");
    name.into()
}

fn write(path: &Path, bytes: &[u8]) -> io::Result<()> {
    let (part, mut file) =
        Part::create(path).map_err(|error| io::Error::other(error.to_string()))?;
    if let Ok(there) = fs::metadata(path) {
        // Who may read it stays as it was; where that cannot be kept, the text counts.
        let _ = file.set_permissions(there.permissions());
    }
    let written = file.write_all(bytes).and_then(|()| part.settle(&file));
    if written.is_err() {
        part.discard();
    }
    written
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests stop at the first surprise")]
mod tests {
    use super::*;

    fn file(folder: &tempfile::TempDir, text: &str) -> PaperFile {
        let path = folder.path().join("tide.toml");
        fs::write(&path, text).unwrap();
        PaperFile::new(&path, text)
    }

    #[test]
    fn a_file_that_was_changed_outside_is_never_written_over() {
        let folder = tempfile::tempdir().unwrap();
        let mut it = file(&folder, "a = 1\n");
        it.save(&"a = 2\n".into()).unwrap();
        assert_eq!(fs::read_to_string(it.path()).unwrap(), "a = 2\n");
        fs::write(it.path(), "a = 3\n").unwrap();
        let said = it.save(&"a = 4\n".into()).unwrap_err();
        assert!(said.contains("was changed outside"), "{said}");
        assert_eq!(fs::read_to_string(it.path()).unwrap(), "a = 3\n");
        assert_eq!(it.changed_outside().as_deref(), Some("a = 3\n"));
        it.know("a = 3\n");
        it.save(&"a = 4\n".into()).unwrap();
        assert_eq!(fs::read_to_string(it.path()).unwrap(), "a = 4\n");
    }

    #[test]
    fn a_draft_outlives_a_crash_and_goes_when_all_is_saved() {
        let folder = tempfile::tempdir().unwrap();
        let mut it = file(&folder, "a = 1\n");
        it.keep_draft(&"a = 2 # louder\n".into()).unwrap();
        let mut later = PaperFile::new(it.path(), "a = 1\n");
        let draft = later.draft().unwrap();
        assert_eq!((&*draft.text, draft.fits), ("a = 2 # louder\n", true));
        let moved = PaperFile::new(it.path(), "a = 9\n");
        assert!(!moved.draft().unwrap().fits, "the file is another one now");
        later.take_over();
        later.save(&draft.text).unwrap();
        assert_eq!(later.draft(), None);
        assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 1, "nothing but the file is left");
        later.keep_draft(&"a = 5\n".into()).unwrap();
        later.keep_draft(&"a = 2 # louder\n".into()).unwrap();
        assert_eq!(later.draft(), None, "what the file says anyway is no draft");
    }

    #[test]
    fn a_draft_of_another_run_is_not_removed() {
        let folder = tempfile::tempdir().unwrap();
        let mut it = file(&folder, "a = 1\n");
        it.keep_draft(&"a = 2\n".into()).unwrap();
        let mut later = PaperFile::new(it.path(), "a = 1\n");
        later.keep_draft(&"a = 1\n".into()).unwrap();
        assert!(later.draft().is_some());
        let aside = later.set_aside().unwrap();
        assert_eq!(aside, folder.path().join("tide.toml.draft.1"));
        later.keep_draft(&"a = 3\n".into()).unwrap();
        let next = PaperFile::new(it.path(), "a = 1\n").set_aside().unwrap();
        assert_eq!(next, folder.path().join("tide.toml.draft.2"));
        assert!(fs::read_to_string(aside).unwrap().ends_with("a = 2\n"));
    }

    #[test]
    fn a_draft_that_says_nothing_new_is_not_written_again() {
        let folder = tempfile::tempdir().unwrap();
        let mut it = file(&folder, "a = 1\n");
        it.keep_draft(&"a = 2\n".into()).unwrap();
        fs::remove_file(draft_of(it.path())).unwrap();
        it.keep_draft(&"a = 2\n".into()).unwrap();
        assert_eq!(it.draft(), None);
    }

    #[test]
    fn line_ends_and_mark_stay() {
        let folder = tempfile::tempdir().unwrap();
        let mut it = file(&folder, "\u{feff}a = 1\r\nb = 1\r\n");
        assert_eq!(&**it.text(), "a = 1\nb = 1\n");
        it.save(&"a = 2\nb = 1\n".into()).unwrap();
        assert_eq!(fs::read_to_string(it.path()).unwrap(), "\u{feff}a = 2\r\nb = 1\r\n");
        assert_eq!(&**it.text(), "a = 2\nb = 1\n");
        assert_eq!(it.changed_outside(), None);
    }
}
