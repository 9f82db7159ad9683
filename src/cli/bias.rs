//! `coilscore bias`: where the magnet goes, and what it is worth.

use coilscore::shown::Shown as _;
use std::path::{Path, PathBuf};

use coilscore::picture::lift::draw_lift;
use coilscore::preset::Display;
use coilscore::preset::write_lift::with_behind;
use coilscore::run::rewrite::{RewriteError, rewrite};
use coilscore::sheet::lift::{LiftError, LiftSheet, Wanted, lift_sheet};
use coilscore::units::Celsius;

use super::bias_print::{csv, json, text};
use super::{Failure, Outcome, inputs, print, tell, write_whole};

/// Flags as typed.
#[derive(Debug, clap::Args)]
#[command(allow_negative_numbers = true)]
pub(super) struct Args {
    /// Display with shapes of coils, magnet and fluid (TOML)
    #[arg(long, value_name = "FILE")]
    display: PathBuf,
    /// Find the distance at which the magnet alone gives this share of the lifting pull, 0.05 to
    /// 0.99; left out: the distance that the display states, or, if it states none, 0.85 for a driver
    /// that works both ways, else nine tenths of the share at which fluid drops
    #[arg(long, value_name = "SHARE", value_parser = share)]
    share: Option<f64>,
    /// The share is that of magnet and liquid as warm as they get; left out: at 20 C
    #[arg(long, requires = "share")]
    warm: bool,
    /// How warm the magnet gets, C; left out: the limit of the backing
    #[arg(long, value_name = "C", value_parser = magnet_c)]
    magnet_c: Option<f64>,
    /// How warm fluid and liquid get, C; left out: the display's room
    #[arg(long, value_name = "C", value_parser = liquid_c)]
    liquid_c: Option<f64>,
    /// Write every coil as a table
    #[arg(long, value_name = "FILE.csv")]
    csv: Option<PathBuf>,
    /// Draw pull against current for several distances, and a map of all coils
    #[arg(long, value_name = "FILE.png")]
    picture: Option<PathBuf>,
    /// Write the distance into the display file; comments stay
    #[arg(long)]
    write: bool,
    /// Print the figures as JSON
    #[arg(long)]
    json: bool,
}

fn share(text: &str) -> Result<f64, String> {
    between(text, (0.05, 0.99), "1 is a magnet that lifts alone")
}

fn magnet_c(text: &str) -> Result<f64, String> {
    between(text, (-20.0, 200.0), "magnets behind coils are as warm as their iron")
}

fn liquid_c(text: &str) -> Result<f64, String> {
    between(text, (0.0, 60.0), "densities of liquids are known within that")
}

fn between(text: &str, (low, high): (f64, f64), because: &str) -> Result<f64, String> {
    match text.trim().parse::<f64>() {
        Ok(value) if (low..=high).contains(&value) => Ok(value),
        _ => Err(format!("write a number from {low} to {high}: {because}")),
    }
}

/// Works out, draws, writes and prints.
pub(super) fn run(args: &Args) -> Outcome {
    let outputs: Vec<&Path> =
        [&args.csv, &args.picture].into_iter().flatten().map(PathBuf::as_path).collect();
    inputs::keep_apart(&[], &outputs)?;
    inputs::keep_off_display(&args.display, &outputs)?;
    let display = inputs::read_display(&args.display, args.json)?;
    let sheet = lift_sheet(&display, &wanted(args, &display)).map_err(|error| match error {
        LiftError::Missing(_) | LiftError::NoDistance => Failure::refused(error),
        other => Failure::Refused(format!("{}: {other}", args.display.shown())),
    })?;
    if args.write {
        not_stale(&args.display, &display, &sheet)?;
    }
    if let Some(file) = &args.csv {
        write_whole(file, csv(&sheet).as_bytes())?;
    }
    if let Some(file) = &args.picture {
        let mut png = Vec::new();
        draw_lift(&sheet, &mut png).map_err(Failure::failed)?;
        write_whole(file, &png)?;
    }
    if args.write {
        write_back(&args.display, &display, &sheet)?;
    }
    if args.json {
        return print(&json(&sheet)?);
    }
    print(&text(&sheet))
}

fn wanted(args: &Args, display: &Display) -> Wanted {
    let stated = display.magnet.as_ref().is_some_and(|magnet| magnet.behind_mm.is_some());
    let drop_share = display.fluid.as_ref().map_or(1.0, |fluid| fluid.drop_share);
    let usual = if display.driver.two_way() { 0.85 } else { 0.9 * drop_share };
    let backing = |coil_type| display.backing_limit_c(coil_type);
    let warmest = display.coil_types.iter().map(backing).fold(0.0, f64::max);
    Wanted {
        share: args.share.or((!stated).then_some(usual)),
        warm: args.warm,
        magnet: Celsius(args.magnet_c.unwrap_or(warmest)),
        liquid: Celsius(args.liquid_c.unwrap_or(display.room_c.value).clamp(0.0, 60.0)),
    }
}

/// Duties at which coils were seen to lift hold for one distance: a file never says them of another.
fn not_stale(path: &Path, display: &Display, sheet: &LiftSheet) -> Outcome {
    let seen = display.blocks.iter().any(|block| block.lifts.is_some());
    let same = sheet.stated_mm.is_some_and(|mm| (mm - sheet.behind_mm).abs() < 5e-3);
    if !seen || same {
        return Ok(());
    }
    let file = path.shown();
    let at = sheet.stated_mm.map_or("another distance".to_owned(), |mm| format!("{mm:.2} mm"));
    Err(Failure::Refused(format!(
        "{file}: its lift_duty and drop_duty were seen with the magnets at {at} and are wrong at {:.2} mm: \
         take them out, write behind_mm = {:.2} by hand, move the magnets, then see them anew with \
         `walk --lift`",
        sheet.behind_mm, sheet.behind_mm
    )))
}

fn write_back(path: &Path, display: &Display, sheet: &LiftSheet) -> Outcome {
    let new_text = with_behind(display.text(), sheet.behind_mm).map_err(Failure::refused)?;
    rewrite(path, display, &new_text).map_err(|error| match error {
        RewriteError::Place(_) => {
            Failure::Failed(format!("{error}; is there room, and may you write there?"))
        }
        other => Failure::Refused(format!("{other}: run it again")),
    })?;
    tell(&format!(
        "coilscore: {} now says behind_mm = {:.2} in [magnet]",
        path.shown(),
        sheet.behind_mm
    ));
    Ok(())
}
