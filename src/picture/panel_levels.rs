//! Band levels over time: how loud each band was.

use super::axes::{ValueAxis, short_hz};
use super::colour::Ramp;
use super::page::Page;
use super::timeline::Timeline;
use crate::frame::{BandHead, UNWEIGHTED};

/// What the colours reach from the loudest level down, dB.
const SPAN_DB: f64 = 60.0;

/// Levels in dBFS that take the palest and the darkest colour.
pub fn level_scale(song: &Timeline) -> (f64, f64) {
    let levels = song.columns().iter().flat_map(|column| column.levels.iter().flatten());
    let loudest = levels.fold(f64::NEG_INFINITY, |top, level| top.max(*level));
    let top = ((loudest / 10.0).ceil() * 10.0).clamp(-SPAN_DB, 20.0);
    let top = if loudest.is_finite() { top } else { 0.0 };
    (top - SPAN_DB, top)
}

/// Draws the panel.
pub(super) fn draw(page: &mut Page<'_>) {
    let rect = page.layout.levels;
    let song = page.song;
    let note = "highest of each reading; rows are bands, Hz";
    page.heading(rect, "Band levels, dBFS", note, &[]);
    if song.level_rows() == 0 {
        page.nothing(rect, "the file names no bands");
    } else {
        let (low, high) = level_scale(song);
        let ramp = Ramp::levels();
        // What is below the scale stays apart from what is not known: it is 0, not absent.
        let value = |column: usize, row: usize| {
            let level = *song.columns().get(column)?.levels.get(row)?;
            level.map(|level| ((level - low) / (high - low)).clamp(0.0, 1.0))
        };
        page.raster(rect, song.level_rows(), value, |v| ramp.colour(v));
        page.colour_bar(rect, |v| ramp.colour(v), &ValueAxis::new(low, high, rect), "dBFS");
        names(page);
    }
    page.time_marks(rect, false, false);
    page.frame(rect);
}

/// Names as many bands as there is room for.
fn names(page: &mut Page<'_>) {
    let (rect, song) = (page.layout.levels, page.song);
    let bands = &song.about().bands;
    let fit = (rect.height() / (1.25 * page.label())).max(1.0);
    let every = (bands.len() as f64 / fit).ceil().max(1.0);
    for (at, band) in bands.iter().enumerate() {
        if at as f64 % every == 0.0 {
            page.mark_left(rect, page.layout.y_of_band(at), &name(band));
        }
    }
}

fn name(band: &BandHead) -> String {
    let channel = match band.channel.as_str() {
        "all" => String::new(),
        other => format!(" {}", other.chars().take(5).collect::<String>()),
    };
    let weighting = if band.weighting == UNWEIGHTED { "" } else { " A" };
    format!("{}–{}{channel}{weighting}", short_hz(band.low_hz), short_hz(band.high_hz))
}
