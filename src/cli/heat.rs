//! `--heat`: where the heat of a display is kept between runs, for every command that drives one.

use coilscore::shown::Shown as _;
use std::path::{Path, PathBuf};

use coilscore::budget::{Budget, Start};
use coilscore::preset::{Display, prepare_display};
use coilscore::run::heat_file::{HeatFile, Keeper, Known, Moment, beside};
use coilscore::units::Rate;

use super::{Failure, tell};

/// Flags as typed.
#[derive(Debug, clap::Args)]
pub(super) struct Args {
    /// Where the heat of the display is kept between runs; left out: beside the display file, as
    /// DISPLAY.heat; "none": forget it and start as hot as may be, which allows least
    #[arg(long, value_name = "FILE")]
    heat: Option<PathBuf>,
}

#[cfg(any(feature = "capture", feature = "tune"))]
impl Args {
    /// Where the heat of the display read from `display` may lie: beside it, and where it was put.
    pub(super) fn places(&self, display: &Path) -> Vec<PathBuf> {
        std::iter::once(beside(display)).chain(self.heat.clone()).collect()
    }
}

/// What is known of a display's heat, and who keeps it from here on.
#[derive(Debug)]
pub(super) struct Warmth {
    /// For the budget.
    pub(super) start: Start,
    keeper: Option<Keeper>,
}

/// Reads the heat file of `display`, which was read from `path`, says what it says, and keeps it
/// from here on; a dry run reads and keeps nothing. Call it when nothing can be refused any more,
/// right before the first frame.
pub(super) fn open(
    args: &Args,
    path: &Path,
    display: &Display,
    rate: Rate,
    dry: bool,
) -> Result<Warmth, Failure> {
    let usual = HeatFile::new(beside(path), display);
    let none = args.heat.as_deref() == Some(Path::new("none"));
    let file = match &args.heat {
        Some(place) if !none => HeatFile::new(place, display),
        _ => usual.clone(),
    };
    // Either may be written over or removed.
    [usual.path(), file.path()].into_iter().try_for_each(only_heat)?;
    if let Some(kept) = [&usual, &file].into_iter().find(|file| !dry && file.is_kept()) {
        return Err(Failure::Refused(format!(
            "{}: another run drives this display and keeps its heat here; end that one first, as two \
             would know of half of the heat each",
            kept.path().shown()
        )));
    }
    if !dry && (none || file.path() != usual.path()) {
        // What is not kept would be believed later, and cooler than the coils are.
        usual.forget().map_err(Failure::failed)?;
    }
    let (mut settings, _) = prepare_display(display, rate, Start::Unknown);
    if none {
        tell("heat: as hot as may be, as no heat file is kept; only continuous power at first");
        return Ok(Warmth { start: Start::Unknown, keeper: None });
    }
    settings.start = match file.known(&settings, &Moment::now()) {
        Ok(known) => {
            tell(&said(&known, file.path()));
            Start::Nodes(known.node_c)
        }
        Err(why) => {
            tell(&format!("heat: as hot as may be, as {why}; only continuous power at first"));
            Start::Unknown
        }
    };
    let budget = Budget::new(&settings).map_err(Failure::refused)?;
    let keeper = if dry { None } else { Some(keep(&file, budget.load().node_c)?) };
    Ok(Warmth { start: settings.start, keeper })
}

/// Refuses a place where something else lies, which would be written over.
fn only_heat(path: &Path) -> Result<(), Failure> {
    use std::io::Read;
    let other = |what: &str| {
        let place = path.shown();
        Failure::Refused(format!(
            "{place} is {what}: name another file with --heat FILE, or move it"
        ))
    };
    match std::fs::metadata(path) {
        Ok(there) if !there.is_file() => return Err(other("no plain file")),
        Ok(there) if there.len() > 0 => {}
        // What is not there, or empty, or cannot be asked, is dealt with where it is written.
        _ => return Ok(()),
    }
    let mut start = [0; 64];
    let read = std::fs::File::open(path).and_then(|mut file| file.read(&mut start));
    let Ok(length) = read else { return Ok(()) };
    let start = String::from_utf8_lossy(start.get(..length).unwrap_or_default()).into_owned();
    // What a lost power supply or an editor leaves of one: torn, and not believed.
    let start = start.trim_start_matches(['\0', '\u{feff}']);
    if start.is_empty() {
        return Ok(());
    }
    if start.starts_with('{') && start.contains("\"format\"") {
        Ok(())
    } else {
        Err(other("no heat file and would be written over"))
    }
}

fn keep(file: &HeatFile, node_c: &[f64]) -> Result<Keeper, Failure> {
    file.keep(node_c).map_err(|error| {
        Failure::Failed(format!(
            "{error}; the heat of the display must be kept while it is driven: name a file that can \
             be written with --heat FILE, or --heat none"
        ))
    })
}

/// `heat: from ring.heat, 12 min old; warmest 43 C`.
fn said(known: &Known, path: &Path) -> String {
    let warmest = known.node_c.iter().map(|node| node.0).fold(f64::NEG_INFINITY, f64::max);
    let old = match known.age.0 {
        s if s < 120.0 => format!("{s:.0} s"),
        s if s < 7200.0 => format!("{:.0} min", s / 60.0),
        s if s < 172_800.0 => format!("{:.0} h", s / 3600.0),
        s => format!("{:.0} days", s / 86_400.0),
    };
    let killed = if known.closed { "" } else { ", of a run that was killed" };
    format!("heat: from {}, {old} old{killed}; warmest {warmest:.0} C", path.shown())
}

impl Warmth {
    /// To be called after every frame; false: the heat cannot be kept, so the run must end.
    pub(super) fn note(&self, node_c: &[f64]) -> bool {
        self.keeper.as_ref().is_none_or(|keeper| {
            keeper.note(node_c);
            !keeper.is_stuck()
        })
    }

    /// The display file was rewritten.
    pub(super) fn renamed(&self, display: &Display) {
        if let Some(keeper) = &self.keeper {
            keeper.renamed(display);
        }
    }
}

/// Why a run ends when [`Warmth::note`] says so.
pub(super) const STUCK: &str = "the heat file can be neither written nor removed: all off, as the next run would take the \
     coils for cooler than they are; look after the disk, or choose another with --heat FILE";
