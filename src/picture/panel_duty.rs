//! Duty per coil over time: what each coil was driven with.

use super::axes::{ValueAxis, clock, round_step, short};
use super::colour::Ramp;
use super::page::Page;
use super::timeline::Timeline;

/// Full scales of the colours.
const SCALES: [f64; 9] = [0.02, 0.05, 0.1, 0.15, 0.2, 0.3, 0.4, 0.6, 1.0];

/// The duty that takes the darkest colour: the smallest full scale that holds every column.
pub fn duty_scale(song: &Timeline) -> f64 {
    let columns = 0..song.columns().len();
    let cells = columns.flat_map(|column| (0..song.coil_rows()).map(move |row| (column, row)));
    let largest = cells
        .filter_map(|(column, row)| song.duty_at(column, row))
        .fold(0.0, |top: f64, duty| top.max(duty.abs()));
    if largest == 0.0 {
        return 1.0;
    }
    SCALES.into_iter().find(|scale| *scale >= largest).unwrap_or(1.0)
}

/// Draws the panel.
pub(super) fn draw(page: &mut Page<'_>) {
    let rect = page.layout.duty;
    let song = page.song;
    page.heading(rect, "Duty per coil, %", &note(song), &[]);
    if song.coil_rows() == 0 {
        page.nothing(rect, "the file names no coils");
    } else {
        let full = duty_scale(song);
        let (forward, reverse) = (Ramp::forward(), Ramp::reverse());
        let paint = |v: f64| if v < 0.0 { reverse.colour(-v) } else { forward.colour(v) };
        let value = |column: usize, row: usize| song.duty_at(column, row).map(|duty| duty / full);
        page.raster(rect, song.coil_rows(), value, paint);
        let low = if song.about().two_way { -1.0 } else { 0.0 };
        let axis = ValueAxis::new(100.0 * full * low, 100.0 * full, rect);
        page.colour_bar(rect, |v| paint(low + (1.0 - low) * v), &axis, "%");
        coil_numbers(page);
    }
    page.time_marks(rect, false, false);
    page.frame(rect);
}

/// What a cell of colour stands for.
fn note(song: &Timeline) -> String {
    let column_s = song.frames_per_column() as f64 * song.about().rate.period().0;
    let mut words = format!("mean over {} each", span(column_s));
    if song.coils_per_row() > 1 {
        words += &format!(" and over {} neighbouring coils", song.coils_per_row());
    }
    words += "; rows are coil numbers, from 0";
    if song.about().two_way {
        words += "; brown forward, blue reverse, pale off";
    }
    words
}

fn span(seconds: f64) -> String {
    match seconds {
        s if s < 0.999 => format!("{} ms", short(1000.0 * s)),
        s if s < 59.9 => format!("{} s", short(s)),
        s => clock(s),
    }
}

/// Numbers as many coils as there is room for, at round numbers.
fn coil_numbers(page: &mut Page<'_>) {
    let rect = page.layout.duty;
    let coils = page.song.about().coils;
    let fit = rect.height() / (1.5 * page.label());
    let every = round_step((coils as f64 / fit).max(1.0));
    let mut coil = 0.0;
    while coil < coils as f64 {
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "a coil number"
        )]
        let y = page.layout.y_of_coil(coil as usize);
        page.mark_left(rect, y, &format!("{coil}"));
        coil += every;
    }
}
