//! What several commands take: a mapping, a display, a frame rate, a start.

use coilscore::shown::Shown as _;
use std::path::{Path, PathBuf};

use clap::Args;
use coilscore::budget::Start;
use coilscore::preset::{Display, Finding, Mapping, load_display, load_mapping};
use coilscore::run::heat_file;
use coilscore::sink::file::open;
use coilscore::units::{Celsius, Rate};

use super::{Failure, Outcome, tell};

/// Mapping and display.
#[derive(Debug, Args)]
pub(super) struct Files {
    /// Mapping: which music moves what (TOML)
    #[arg(long, value_name = "FILE")]
    pub(super) preset: PathBuf,
    /// Display: coils, driver, supply, heat (TOML); left out: the one that the mapping names
    #[arg(long, value_name = "FILE")]
    pub(super) display: Option<PathBuf>,
}

impl Files {
    /// Reads both files and prints their warnings to standard error.
    pub(super) fn load(&self, quiet: bool) -> Result<(Mapping, Display), Failure> {
        let mapping = load_mapping(&self.preset).map_err(Failure::refused)?;
        let display = self.display_path(&mapping)?;
        if !quiet {
            warn(&mapping.warnings);
        }
        Ok((mapping, read_display(&display, quiet)?))
    }

    /// Where the display is read from.
    pub(super) fn display_path(&self, mapping: &Mapping) -> Result<PathBuf, Failure> {
        let named = mapping.display.as_deref().map(|name| beside(&self.preset, name));
        self.display.clone().or(named).ok_or_else(|| {
            Failure::Refused(format!(
                "{} names no display: add --display FILE, or a line display = \"FILE\" to it",
                self.preset.shown()
            ))
        })
    }

    /// The paths that are read, as far as they are known from the command line.
    pub(super) fn paths(&self) -> Vec<&Path> {
        let display = self.display.as_deref();
        std::iter::once(self.preset.as_path()).chain(display).collect()
    }
}

/// A path written in `file`, which counts from that file's folder.
fn beside(file: &Path, name: &str) -> PathBuf {
    file.parent().unwrap_or(Path::new("")).join(name)
}

/// Refuses an output that is the display, or the heat that is kept beside it.
pub(super) fn keep_off_display(display: &Path, outputs: &[&Path]) -> Outcome {
    keep_apart(&[display, &heat_file::beside(display)], outputs)
}

/// Refuses an output that is an input or another output: writing it would destroy what is read.
pub(super) fn keep_apart(inputs: &[&Path], outputs: &[&Path]) -> Outcome {
    for (index, output) in outputs.iter().enumerate() {
        let others = inputs.iter().chain(outputs.iter().skip(index + 1));
        if let Some(other) = others.into_iter().find(|other| same_file(other, output)) {
            let (other, output) = (other.shown(), output.shown());
            let by = if other == output { String::new() } else { format!(" by {output}") };
            return Err(Failure::Refused(format!(
                "{other} would be overwritten{by}: give the new file another name"
            )));
        }
    }
    Ok(())
}

fn same_file(a: &Path, b: &Path) -> bool {
    // A file that is not there yet is told by its folder and name.
    let real = |path: &Path| {
        path.canonicalize().ok().or_else(|| {
            let folder = path.parent().filter(|folder| !folder.as_os_str().is_empty());
            let folder = folder.unwrap_or(Path::new(".")).canonicalize().ok()?;
            Some(folder.join(path.file_name()?))
        })
    };
    real(a).is_some_and(|a| real(b) == Some(a))
}

/// Reads a display and prints its warnings to standard error.
pub(super) fn read_display(path: &Path, quiet: bool) -> Result<Display, Failure> {
    let display = load_display(path).map_err(Failure::refused)?;
    if !quiet {
        warn(&display.warnings);
    }
    Ok(display)
}

/// The further mappings, 255 at most.
pub(super) fn further(paths: &[PathBuf]) -> Result<Vec<Mapping>, Failure> {
    if paths.len() > usize::from(u8::MAX) {
        return Err(Failure::Refused("--next may be given 255 times".into()));
    }
    paths
        .iter()
        .map(|path| {
            let mapping = load_mapping(path).map_err(Failure::refused)?;
            warn(&mapping.warnings);
            Ok(mapping)
        })
        .collect()
}

/// Prints findings that refuse nothing.
pub(super) fn warn(findings: &[Finding]) {
    for finding in findings {
        tell(&format!("{finding}\n"));
    }
}

/// `cold`, `warm`, `unknown`, or the duty file of the song before.
pub(super) fn start(text: &str, display: &Display) -> Result<Start, Failure> {
    match text {
        "cold" => Ok(Start::Cold),
        "warm" => Ok(Start::Warm),
        "unknown" => Ok(Start::Unknown),
        file => after(Path::new(file), display),
    }
}

fn after(path: &Path, display: &Display) -> Result<Start, Failure> {
    let refuse = |problem: &str| {
        Err(Failure::Refused(format!(
            "--start {}: {problem}; give cold, warm, unknown, or the whole duty file of the song \
             before on this display",
            path.shown()
        )))
    };
    if !path.is_file() {
        return refuse("neither a start nor a file");
    }
    let mut file = open(path).map_err(Failure::refused)?;
    let same_display = file.head().display_digest == display.digest_hex();
    while let Some(_entry) = file.next_entry().map_err(Failure::failed)? {}
    match file.tail() {
        _ if !same_display => refuse("it was made for another display"),
        None => refuse("it ends before its last packet, so the heat at its end is not known"),
        Some(tail) => Ok(Start::Nodes(tail.node_c.iter().copied().map(Celsius).collect())),
    }
}

/// For clap: a frame rate as typed.
pub(super) fn rate(text: &str) -> Result<Rate, String> {
    text.parse()
}
