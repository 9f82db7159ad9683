//! A file under edit: saved whole or not at all, never over what somebody else wrote, with a draft
//! beside it until it is saved.

use std::fs;
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use std::sync::Arc;

use xxhash_rust::xxh3::xxh3_128;

use crate::sink::part::Part;

/// First line of a draft: what it was begun from.
const DRAFT_OF: &str = "# coilscore draft of ";

/// A file and what we know of it.
#[derive(Debug)]
pub(super) struct PaperFile {
    /// As the user gave it.
    path: PathBuf,
    /// What stands in it as far as we know.
    text: Arc<str>,
    draft_kept: bool,
}

/// A draft that an earlier run left.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Draft {
    pub(super) text: Arc<str>,
    /// The file is still what the draft was begun from.
    pub(super) fits: bool,
}

impl PaperFile {
    /// For the file at `path`, in which `text` was found.
    pub(super) fn new(path: &Path, text: Arc<str>) -> Self {
        Self { path: path.to_owned(), text, draft_kept: false }
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
        let bytes = fs::read(&self.path).ok()?;
        let text = String::from_utf8(bytes).ok()?;
        (*text != *self.text).then(|| text.into())
    }

    /// From here on this counts as what stands in the file.
    pub(super) fn know(&mut self, text: Arc<str>) {
        self.text = text;
    }

    /// Writes `text`, whole or not at all.
    ///
    /// # Errors
    /// A sentence, with the file as it was: it was changed outside, is gone, or cannot be written.
    pub(super) fn save(&mut self, text: &Arc<str>) -> Result<(), String> {
        let name = self.path.display().to_string();
        // Through a link to the file itself: renaming would replace the link.
        let real = fs::canonicalize(&self.path).unwrap_or_else(|_| self.path.clone());
        let there = fs::read(&real).map_err(|error| {
            format!("{name}: {error}; nothing was saved: the draft beside it has your changes")
        })?;
        if there != self.text.as_bytes() {
            return Err(format!(
                "{name} was changed outside since it was read, and is left alone: take over what \
                 it says now, or put it back as it was, then save again"
            ));
        }
        write(&real, text.as_bytes()).map_err(|error| {
            format!("{name}: {error}; nothing was saved: is there room, and may you write there?")
        })?;
        self.text = Arc::clone(text);
        self.forget_draft();
        Ok(())
    }

    fn draft_path(&self) -> PathBuf {
        let mut name = self.path.clone().into_os_string();
        name.push(".draft");
        name.into()
    }

    /// Keeps `text` beside the file, or removes the draft where it says what the file says.
    ///
    /// # Errors
    /// When it cannot be written.
    pub(super) fn keep_draft(&mut self, text: &str) -> io::Result<()> {
        if *text == *self.text {
            if self.draft_kept {
                self.forget_draft();
            }
            return Ok(());
        }
        let begun = xxh3_128(self.text.as_bytes());
        write(&self.draft_path(), format!("{DRAFT_OF}{begun:032x}\n{text}").as_bytes())?;
        self.draft_kept = true;
        Ok(())
    }

    fn forget_draft(&mut self) {
        // One that is not there need not be removed.
        let _ = fs::remove_file(self.draft_path());
        self.draft_kept = false;
    }

    /// The draft that an earlier run left, if it holds something else than the file.
    pub(super) fn draft(&mut self) -> Option<Draft> {
        let all = fs::read_to_string(self.draft_path()).ok()?;
        let (digest, text) = all.strip_prefix(DRAFT_OF)?.split_once('\n')?;
        self.draft_kept = true;
        let begun = format!("{:032x}", xxh3_128(self.text.as_bytes()));
        (*text != *self.text).then(|| Draft { text: text.into(), fits: digest == begun })
    }
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
        PaperFile::new(&path, text.into())
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
        it.know("a = 3\n".into());
        it.save(&"a = 4\n".into()).unwrap();
        assert_eq!(fs::read_to_string(it.path()).unwrap(), "a = 4\n");
    }

    #[test]
    fn a_draft_outlives_a_crash_and_goes_when_all_is_saved() {
        let folder = tempfile::tempdir().unwrap();
        let mut it = file(&folder, "a = 1\n");
        it.keep_draft("a = 2 # louder\n").unwrap();
        let mut later = PaperFile::new(it.path(), "a = 1\n".into());
        let draft = later.draft().unwrap();
        assert_eq!((&*draft.text, draft.fits), ("a = 2 # louder\n", true));
        let mut moved = PaperFile::new(it.path(), "a = 9\n".into());
        assert!(!moved.draft().unwrap().fits, "the file is another one now");
        later.save(&draft.text).unwrap();
        assert_eq!(later.draft(), None);
        assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 1, "nothing but the file is left");
        later.keep_draft("a = 5\n").unwrap();
        later.keep_draft("a = 2 # louder\n").unwrap();
        assert_eq!(later.draft(), None, "what the file says anyway is no draft");
    }
}
