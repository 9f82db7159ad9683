//! Where the coils of a block stand on the display front.

use serde::Serialize;

use super::finding::At;
use super::limits::{
    CENTRE, COLUMNS, COUNT, LINE_FROM, LINE_TO, PITCH, POINTS, RADIUS, ROWS, START,
};
use super::section::Section;
use super::values::{Menu, Picked};
use crate::mapper::Place;
use crate::units::Millimetres;

/// An arrangement of coils; x to the right, y up, mm, seen from the viewer.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Layout {
    /// Evenly around a circle.
    Ring {
        /// How many.
        count: u32,
        /// From the centre to each coil.
        radius_mm: f64,
        /// Where the first stands, degrees counter-clockwise from right; default 90, the top.
        start_deg: f64,
        /// Which way the numbers run; default true.
        clockwise: bool,
        /// Default `[0, 0]`.
        centre_mm: [f64; 2],
    },
    /// Rows from left to right, the top row first.
    Grid {
        /// Coils in a row.
        columns: u32,
        /// Rows.
        rows: u32,
        /// From one coil to the next, both ways.
        pitch_mm: f64,
        /// Default `[0, 0]`.
        centre_mm: [f64; 2],
    },
    /// Evenly along a line, both ends included.
    Line {
        /// How many; a single one stands at the start.
        count: u32,
        /// The first.
        from_mm: [f64; 2],
        /// The last.
        to_mm: [f64; 2],
    },
    /// One by one.
    At {
        /// Every coil.
        mm: Vec<[f64; 2]>,
    },
}

impl Layout {
    /// Place of every coil, in the order of their numbers.
    pub fn places(&self) -> Vec<Place> {
        match self {
            Self::Ring { count, radius_mm, start_deg, clockwise, centre_mm } => {
                let step = if *clockwise { -360.0 } else { 360.0 } / f64::from(*count);
                let around = |n| (start_deg + step * f64::from(n)).to_radians();
                let shift =
                    |angle: f64| [radius_mm * libm::cos(angle), radius_mm * libm::sin(angle)];
                (0..*count).map(|n| offset(*centre_mm, shift(around(n)))).collect()
            }
            Self::Grid { columns, rows, pitch_mm, centre_mm } => {
                let along = |n: u32, of: u32| (f64::from(n) - f64::from(of - 1) / 2.0) * pitch_mm;
                let each = |row| (0..*columns).map(move |column| (row, column));
                let place = |(row, column)| {
                    offset(*centre_mm, [along(column, *columns), -along(row, *rows)])
                };
                (0..*rows).flat_map(each).map(place).collect()
            }
            Self::Line { count, from_mm, to_mm } => {
                let last = f64::from((count - 1).max(1));
                let [dx, dy] = [to_mm[0] - from_mm[0], to_mm[1] - from_mm[1]];
                let shift = |n| [dx * f64::from(n) / last, dy * f64::from(n) / last];
                (0..*count).map(|n| offset(*from_mm, shift(n))).collect()
            }
            Self::At { mm } => mm.iter().map(|&point| offset(point, [0.0, 0.0])).collect(),
        }
    }
}

fn offset(from: [f64; 2], by: [f64; 2]) -> Place {
    Place { x_mm: Millimetres(from[0] + by[0]), y_mm: Millimetres(from[1] + by[1]) }
}

const MENU: Menu = Menu {
    words: &[],
    tables: &[
        ("ring", "place.ring = { count = 24, radius_mm = 150 }"),
        ("grid", "place.grid = { columns = 8, rows = 8, pitch_mm = 36 }"),
        ("line", "place.line = { count = 12, from_mm = [0, 0], to_mm = [0, 440] }"),
        ("at", "place.at = { mm = [[0, 0], [36, 0]] }"),
    ],
};

pub(super) fn read(section: &mut Section<'_>) -> Option<At<Layout>> {
    let picked = section.menu("place", &MENU, true)?;
    let Picked::Table(tag, mut table) = picked.value else { return None };
    let layout = match tag {
        "ring" => read_ring(&mut table),
        "grid" => read_grid(&mut table),
        "line" => {
            let (from, to) = (table.point(&LINE_FROM), table.point(&LINE_TO));
            let count = table.whole(&COUNT);
            from.zip(to).zip(count).map(|((from_mm, to_mm), count)| Layout::Line {
                count: count.value,
                from_mm,
                to_mm,
            })
        }
        _ => table.points(&POINTS, 1..=512).map(|mm| Layout::At { mm }),
    };
    table.finish();
    Some(At { value: layout?, span: picked.span })
}

fn read_ring(table: &mut Section<'_>) -> Option<Layout> {
    let (count, radius) = (table.whole(&COUNT), table.number(&RADIUS));
    let start_deg = table.number_or(&START, 90.0).value;
    let clockwise = table.flag_or("clockwise", true);
    let centre_mm = table.point_or(&CENTRE, [0.0, 0.0]);
    let (count, radius_mm) = (count?.value, radius?.value);
    Some(Layout::Ring { count, radius_mm, start_deg, clockwise, centre_mm })
}

fn read_grid(table: &mut Section<'_>) -> Option<Layout> {
    let (columns, rows) = (table.whole(&COLUMNS), table.whole(&ROWS));
    let pitch = table.number(&PITCH);
    let centre_mm = table.point_or(&CENTRE, [0.0, 0.0]);
    let (columns, rows, pitch_mm) = (columns?, rows?.value, pitch?.value);
    if columns.value * rows > 512 {
        let title = format!(
            "{}: {} columns by {rows} rows are too many coils",
            table.path("columns"),
            columns.value
        );
        table.pad.refuse(
            &columns.span,
            title,
            "a board has 512 channels: write one [[coils]] per board",
        );
        return None;
    }
    Some(Layout::Grid { columns: columns.value, rows, pitch_mm, centre_mm })
}

#[cfg(test)]
#[allow(clippy::indexing_slicing, reason = "tests stop at the first surprise")]
mod tests {
    use super::*;

    fn close(place: Place, x: f64, y: f64) {
        let off = (place.x_mm.0 - x).abs().max((place.y_mm.0 - y).abs());
        assert!(off < 1e-9, "{place:?} is not at {x}, {y}");
    }

    #[test]
    fn a_ring_starts_at_the_top_and_runs_clockwise() {
        let (radius_mm, centre_mm) = (100.0, [10.0, 0.0]);
        let ring = |clockwise| {
            Layout::Ring { count: 4, radius_mm, start_deg: 90.0, clockwise, centre_mm }.places()
        };
        close(ring(true)[0], 10.0, 100.0);
        close(ring(true)[1], 110.0, 0.0);
        close(ring(false)[1], -90.0, 0.0);
    }

    #[test]
    fn a_grid_reads_like_a_page() {
        let grid = Layout::Grid { columns: 3, rows: 2, pitch_mm: 10.0, centre_mm: [0.0, 0.0] };
        let places = grid.places();
        close(places[0], -10.0, 5.0);
        close(places[2], 10.0, 5.0);
        close(places[3], -10.0, -5.0);
    }

    #[test]
    fn a_line_holds_both_its_ends() {
        let line =
            |count| Layout::Line { count, from_mm: [0.0, 10.0], to_mm: [0.0, 40.0] }.places();
        close(line(4)[1], 0.0, 20.0);
        close(line(4)[3], 0.0, 40.0);
        close(line(1)[0], 0.0, 10.0);
    }
}
