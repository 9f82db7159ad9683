//! `coilscore check`: does a mapping fit a display, how is each band heard, how is it built?

use std::fmt::Write;
use std::path::{Path, PathBuf};

use coilscore::analysis::{Analysis, Arith, BandInfo};
use coilscore::audio::{RATE_LIMITS_HZ, SoundFormat};
use coilscore::budget::{Budget, BudgetSettings, Start};
use coilscore::engine::Prepared;
use coilscore::mapper::{Combine, Mapper, MotionSettings, Path as Way};
use coilscore::preset::display::Lifts;
use coilscore::preset::mapping::Mirror;
use coilscore::preset::{
    Display, Mapping, Names, counted, prepare, prepare_display, prepare_pulls,
};
use coilscore::run::walk::{FAR, median, off_median};
use coilscore::units::Rate;

use super::inputs::{self, Files};
use super::{Failure, Outcome, print, pulls, sheet};

/// Flags as typed.
#[derive(Debug, clap::Args)]
pub(super) struct Args {
    /// Mapping: which music moves what (TOML); left out: the display alone is checked
    #[arg(long, value_name = "FILE")]
    preset: Option<PathBuf>,
    /// Display: coils, driver, supply, heat (TOML); left out: the one that the mapping names
    #[arg(long, value_name = "FILE")]
    display: Option<PathBuf>,
    #[command(flatten)]
    sheet: sheet::Args,
    /// Frames per second
    #[arg(long, default_value = "200", value_parser = inputs::rate)]
    rate: Rate,
    /// Sampling rate of the songs to come, Hz
    #[arg(long, default_value_t = 44_100, value_name = "HZ",
          value_parser = clap::value_parser!(u32).range(i64::from(RATE_LIMITS_HZ.0)..=i64::from(RATE_LIMITS_HZ.1)))]
    sound_rate_hz: u32,
}

const NOTHING: &str = "nothing to check: give --preset FILE, a mapping of yours or one of the folder presets, or \
                       --display FILE, a display of yours or one of presets/displays, or both; \
                       `coilscore demo` leaves a display to begin with";

/// Checks and prints what was understood.
pub(super) fn run(args: &Args) -> Outcome {
    let display = match (&args.preset, &args.display) {
        (Some(preset), display) => pair(args, preset.clone(), display.clone())?,
        (None, Some(display)) => alone(args, display)?,
        (None, None) => return Err(Failure::Refused(NOTHING.into())),
    };
    sheet::run(&args.sheet, &display, args.rate)
}

/// A display without a mapping.
fn alone(args: &Args, display: &Path) -> Result<Display, Failure> {
    inputs::keep_off_display(display, &args.sheet.picture().into_iter().collect::<Vec<_>>())?;
    let display = inputs::read_display(display, false)?;
    let (settings, names) = prepare_display(&display, args.rate, Start::Cold);
    Budget::new(&settings).map_err(Failure::refused)?;
    if !args.sheet.is_json() {
        let pulls = prepare_pulls(&display, args.rate, Start::Cold);
        let lifts = lift_lines(&display, &names) + &pulls::lines(&pulls, &names);
        print(&(display_line(&settings, &names) + &lifts))?;
    }
    Ok(display)
}

/// A mapping on a display.
fn pair(args: &Args, preset: PathBuf, display: Option<PathBuf>) -> Result<Display, Failure> {
    let files = Files { preset, display };
    let pictures: Vec<&Path> = args.sheet.picture().into_iter().collect();
    inputs::keep_apart(&files.paths(), &pictures)?;
    let (mapping, display) = files.load(false)?;
    inputs::keep_off_display(&files.display_path(&mapping)?, &pictures)?;
    let sound = SoundFormat { rate_hz: args.sound_rate_hz, channels: 2 };
    let (prepared, names) =
        prepare(&mapping, &display, sound, args.rate, Start::Cold, Arith::Native)
            .map_err(Failure::refused)?;
    inputs::warn(&names.warnings);
    let analysis = Analysis::new(&prepared.analysis).map_err(Failure::refused)?;
    Mapper::new(&prepared.mapper).map_err(Failure::refused)?;
    Budget::new(&prepared.budget).map_err(Failure::refused)?;
    if !args.sheet.is_json() {
        print(&understood((&mapping, &display), &prepared, &names, analysis.bands()))?;
    }
    Ok(display)
}

fn display_line(settings: &BudgetSettings, names: &Names) -> String {
    format!(
        "display  {}: {}, groups: {}, rails: {}, room {:.0} C\n",
        names.display,
        counted(settings.coils.len(), "coil"),
        names.groups.join(", "),
        names.rails.join(", "),
        settings.room.0
    )
}

/// What was seen of the coils of each block, if anything was.
fn lift_lines(display: &Display, names: &Names) -> String {
    let mut text = String::new();
    let mut first = 0;
    for block in &display.blocks {
        let labels = names.coils.iter().skip(first);
        first += block.channels.value.len();
        let Some(lifts) = &block.lifts else { continue };
        let lift: Vec<_> = Lifts::seen(&lifts.lift_duty).collect();
        let drop: Vec<_> = Lifts::seen(&lifts.drop_duty).collect();
        let seen = lift.iter().flatten().count();
        let duty = |duties| median(duties).map_or("-".into(), |duty| format!("{duty:.3}"));
        let day = lifts.on.as_ref().map_or_else(String::new, |on| format!(", on {on}"));
        let _ = write!(
            text,
            "lift     {}: at duty {}, drops at {} (medians; {seen} of {} coils seen{day})",
            block.group.value,
            duty(&lift),
            duty(&drop),
            lift.len()
        );
        let far = off_median(&lift, FAR);
        let far: Vec<_> = far.iter().filter_map(|(coil, _)| labels.clone().nth(*coil)).collect();
        if !far.is_empty() {
            let far: Vec<_> = far.iter().map(|name| name.label.as_str()).collect();
            let _ = write!(text, "; off by more than 20 %: {}", far.join(", "));
        }
        text.push('\n');
    }
    text
}

fn understood(
    (mapping, display): (&Mapping, &Display),
    prepared: &Prepared,
    names: &Names,
    bands: &[BandInfo],
) -> String {
    let mut text = String::new();
    // Writing to a String cannot fail.
    let _ = writeln!(text, "mapping  {}: {}", mapping.name, mapping.intent);
    for words in whole_words(mapping) {
        let _ = writeln!(text, "         {words}");
    }
    text += &display_line(&prepared.budget, names);
    text += &lift_lines(display, names);
    text += &pulls::lines(&prepared.budget, names);
    let _ = writeln!(text, "\n{:<16} {:>6} {:>6}  moves", "route", "bands", "coils");
    for (route, name) in prepared.mapper.routes.iter().zip(&names.routes) {
        let mut moves = motion_words(route.motion);
        if prepared.mapper.combine == Combine::Over {
            let _ = write!(moves, ", priority {}", route.priority);
        }
        let _ = writeln!(
            text,
            "{:<16} {:>6} {:>6}  {moves}",
            name,
            route.bands.len(),
            route.coils.len()
        );
    }
    let width = names.bands.iter().map(String::len).fold(26, usize::max);
    let _ = writeln!(
        text,
        "\n{:<width$} {:>9} {:>9} {:>12}",
        "band", "window ms", "delay ms", "may be off"
    );
    for (band, name) in bands.iter().zip(&names.bands) {
        let _ = writeln!(text, "{}", band_line(band, name, width));
    }
    text
}

fn motion_words(motion: MotionSettings) -> String {
    match motion {
        MotionSettings::LevelAll => "all together".into(),
        MotionSettings::Column { .. } => "a rising column".into(),
        MotionSettings::Along { .. } => "bands along an axis".into(),
        MotionSettings::Carry { path, fastest_mm_per_s, .. } => {
            let way = match path {
                Way::Ring { .. } => "around",
                Way::Axis { .. } => "along an axis",
            };
            format!("a spot carried {way}, {fastest_mm_per_s} mm/s at most")
        }
        MotionSettings::Outward { speed_mm_per_s, .. } => {
            format!("a front going outward at {speed_mm_per_s} mm/s")
        }
    }
}

/// What the mapping does as a whole, as far as it is not plain.
fn whole_words(mapping: &Mapping) -> Vec<String> {
    let mut words = Vec::new();
    if mapping.master < 1.0 {
        words.push(format!("all wishes times {}", mapping.master));
    }
    match mapping.mirror {
        Mirror::None => {}
        Mirror::X => words.push("left and right swapped".into()),
        Mirror::Y => words.push("top and bottom swapped".into()),
    }
    if mapping.turn_deg.abs() > 0.0 {
        words.push(format!("turned by {} degrees", mapping.turn_deg));
    }
    if let Some(idle) = mapping.idle.as_ref().filter(|idle| idle.level > 0.0) {
        let (percent, period) = (idle.level * 100.0, idle.period_s);
        words.push(format!("at rest a swell to {percent:.0} % every {period} s"));
    }
    words
}

fn band_line(band: &BandInfo, name: &str, width: usize) -> String {
    let off = match band.level_error_db {
        0.0 => "-".into(),
        db => format!("{db:.1} dB"),
    };
    let beyond = match band.beyond_sound {
        0.0 => String::new(),
        share if share < 1.0 => format!("  ({:.0} % lies above this sound)", share * 100.0),
        _ => "  (lies above this sound: stays silent)".into(),
    };
    format!(
        "{name:<width$} {:>9.1} {:>9.1} {off:>12}{beyond}",
        band.window_s.0 * 1e3,
        band.delay_s.0 * 1e3
    )
}
