//! What all panels share: headings, keys, time grid, value ticks, colour bars, rasters.

use super::axes::{ValueAxis, clock_on_axis, short, time_ticks};
use super::canvas::{Canvas, Rect};
use super::colour::{GRID, INK, Rgb, SOFT_INK, UNKNOWN};
use super::layout::Layout;
use super::text::{self, Anchor};
use super::timeline::Timeline;

/// How a thing looks in the key of a panel.
#[derive(Debug, Clone, Copy)]
pub(super) enum Sample<'a> {
    /// A line: width, colour, dashes.
    Line(f64, Rgb, &'a [f64]),
    /// An area: its ink at a pixel.
    Area(fn(i64, i64) -> Rgb),
}

/// A picture in the making.
#[derive(Debug)]
pub(super) struct Page<'a> {
    /// Pixels.
    pub(super) canvas: Canvas,
    /// Places.
    pub(super) layout: Layout,
    /// Data.
    pub(super) song: &'a Timeline,
}

impl Page<'_> {
    /// A length that grows with the page.
    pub(super) fn px(&self, at_full_size: f64) -> f64 {
        at_full_size * self.layout.scale
    }

    /// Size of labels.
    pub(super) fn label(&self) -> f64 {
        self.px(14.0)
    }

    /// Text on a baseline; returns its width.
    pub(super) fn write(
        &mut self,
        at: (f64, f64),
        anchor: Anchor,
        size: f64,
        ink: Rgb,
        words: &str,
    ) -> f64 {
        text::draw(&mut self.canvas, at, anchor, size, ink, words)
    }

    /// Text centred on a height; returns its width.
    pub(super) fn write_beside(
        &mut self,
        at: (f64, f64),
        anchor: Anchor,
        size: f64,
        ink: Rgb,
        words: &str,
    ) -> f64 {
        text::draw_beside(&mut self.canvas, at, anchor, size, ink, words)
    }

    /// Over a panel: what it shows, in its unit; a note in a softer ink; flush right, its key. The
    /// note gives way where the page is too narrow for all three.
    pub(super) fn heading(
        &mut self,
        rect: Rect,
        title: &str,
        note: &str,
        keys: &[(Sample<'_>, &str)],
    ) {
        let (label, size, gap) = (self.label(), self.px(16.0), self.px(12.0));
        let baseline = rect.top - self.px(9.0);
        let key_left = self.keys(rect, keys);
        let x = rect.left + gap + self.write((rect.left, baseline), Anchor::Left, size, INK, title);
        let note = text::fit(note, label, key_left - gap - x);
        self.write((x, baseline), Anchor::Left, label, SOFT_INK, &note);
    }

    /// The key of a panel, flush right above it; returns where it starts.
    fn keys(&mut self, rect: Rect, keys: &[(Sample<'_>, &str)]) -> f64 {
        let (label, swatch) = (self.label(), self.px(26.0));
        let middle = rect.top - self.px(14.0);
        let mut x = rect.right;
        for (sample, name) in keys.iter().rev() {
            x -= self.write_beside((x, middle), Anchor::Right, label, INK, name);
            x -= self.px(6.0) + swatch;
            self.sample(*sample, (x, middle), swatch);
            x -= self.px(20.0);
        }
        x
    }

    /// A short piece of line or area.
    pub(super) fn sample(&mut self, sample: Sample<'_>, (x, middle): (f64, f64), width: f64) {
        match sample {
            Sample::Line(stroke, colour, dash) => {
                let ends = [(x, middle), (x + width, middle)];
                self.canvas.stroke(&ends, self.px(stroke), colour, &self.dash(dash));
            }
            Sample::Area(ink) => {
                let (top, bottom) = (middle - self.px(6.0), middle + self.px(6.0));
                let rect = Rect { left: x, right: x + width, top, bottom };
                for column in rect.columns() {
                    self.canvas.fill_column(column, top.round(), bottom.round(), ink);
                }
            }
        }
    }

    /// Dashes at the scale of the page.
    pub(super) fn dash(&self, dash: &[f64]) -> Vec<f64> {
        dash.iter().map(|part| self.px(*part)).collect()
    }

    /// Time marks below a panel; with `grid`, lines through it as well. `labels` writes the times.
    pub(super) fn time_marks(&mut self, rect: Rect, grid: bool, labels: bool) {
        let at_most = rect.width() / self.px(100.0);
        let (ticks, step) = time_ticks(self.layout.length_s, at_most);
        for time in ticks {
            let x = self.layout.x_of(time).min(rect.right);
            if grid {
                self.canvas.upright_line(x, rect.top, rect.bottom, GRID);
            }
            self.canvas.upright_line(x, rect.bottom, rect.bottom + self.px(5.0), INK);
            if labels {
                let place = (x, rect.bottom + self.px(20.0));
                let words = clock_on_axis(time, step, self.layout.length_s);
                let label = self.label();
                self.write(place, Anchor::Middle, label, INK, &words);
            }
        }
    }

    /// Value marks left of a panel with lines through it.
    pub(super) fn value_marks(&mut self, rect: Rect, axis: &ValueAxis, ticks: &[f64]) {
        for &value in ticks {
            let y = axis.y(value);
            self.canvas.level_line(rect.left, rect.right, y.max(rect.top + 0.5), GRID);
            self.mark_left(rect, y, &short(value));
        }
    }

    /// A mark with its name left of a panel.
    pub(super) fn mark_left(&mut self, rect: Rect, y: f64, name: &str) {
        let (tick, gap, label) = (self.px(5.0), self.px(9.0), self.label());
        self.canvas.level_line(rect.left - tick, rect.left, y, INK);
        let at = (rect.left - gap, y);
        self.write_beside(at, Anchor::Right, label, INK, name);
    }

    /// The frame around a panel, drawn last.
    pub(super) fn frame(&mut self, rect: Rect) {
        self.canvas.frame(rect, SOFT_INK);
    }

    /// A panel without data says so.
    pub(super) fn nothing(&mut self, rect: Rect, words: &str) {
        self.canvas.fill(rect, UNKNOWN);
        let at = ((rect.left + rect.right) / 2.0, (rect.top + rect.bottom) / 2.0);
        let size = self.px(16.0);
        self.write_beside(at, Anchor::Middle, size, SOFT_INK, words);
    }

    /// Cells as colours. Where cells are smaller than pixels, the strongest one shows: a short
    /// burst never vanishes between two pixels.
    pub(super) fn raster(
        &mut self,
        rect: Rect,
        rows: usize,
        value: impl Fn(usize, usize) -> Option<f64>,
        paint: impl Fn(f64) -> Rgb,
    ) {
        let (columns, lines) = (rect.columns(), rect.lines());
        let across: Vec<_> = cells(self.layout.columns, rect.width());
        let up: Vec<_> = cells(rows as f64, rect.height());
        for (x, columns) in columns.zip(&across) {
            for (y, rows) in lines.clone().rev().zip(&up) {
                let values = columns
                    .clone()
                    .flat_map(|column| rows.clone().map(move |row| (column, row)))
                    .filter_map(|(column, row)| value(column, row));
                let strongest = values.reduce(|a, b| if b.abs() > a.abs() { b } else { a });
                self.canvas.set(x, y, strongest.map_or(UNKNOWN, &paint));
            }
        }
    }

    /// A colour bar right of a panel with its marks. `colour` takes 0 at the bottom to 1 at the top.
    pub(super) fn colour_bar(
        &mut self,
        rect: Rect,
        colour: impl Fn(f64) -> Rgb,
        axis: &ValueAxis,
        unit: &str,
    ) {
        let left = (rect.right + self.px(22.0)).round();
        let bar = Rect { left, right: left + self.px(16.0).round(), ..rect };
        for y in bar.lines() {
            let ink = colour((bar.bottom - (y as f64 + 0.5)) / bar.height());
            bar.columns().for_each(|x| self.canvas.set(x, y, ink));
        }
        self.canvas.frame(bar, SOFT_INK);
        let (label, tick) = (self.label(), self.px(5.0));
        for value in axis.ticks_for(1.3 * label) {
            let y = axis.y(value);
            self.canvas.level_line(bar.right + 1.0, bar.right + tick, y, INK);
            let at = (bar.right + self.px(9.0), y);
            let words = format!("{} {unit}", short(value));
            self.write_beside(at, Anchor::Left, label, INK, &words);
        }
    }
}

/// Which cells each pixel shows, when `extent` cells fill `pixels`: those whose middle lies in it,
/// or else the one around the pixel's own middle. Every cell shows in one pixel at least.
#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "small and positive")]
pub(super) fn cells(extent: f64, pixels: f64) -> Vec<std::ops::Range<usize>> {
    let count = extent.ceil() as usize;
    let per_pixel = extent / pixels;
    (0..pixels.round() as usize)
        .map(|pixel| {
            let from = pixel as f64 * per_pixel;
            let to = from + per_pixel;
            let (first, end) = ((from - 0.5).ceil().max(0.0) as usize, (to - 0.5).ceil() as usize);
            if first < end.min(count) {
                first..end.min(count)
            } else {
                let around = (((from + to) / 2.0) as usize).min(count.saturating_sub(1));
                around..(around + 1).min(count)
            }
        })
        .collect()
}

#[cfg(test)]
#[allow(clippy::float_cmp, reason = "tests stop at the first surprise")]
mod tests {
    use super::*;

    #[test]
    fn every_cell_shows_in_some_pixel() {
        for (extent, pixels) in [(5.0, 12.0), (1400.0, 1270.0), (999.5, 1270.0), (300.0, 150.0)] {
            let shown = cells(extent, pixels);
            assert_eq!(shown.len() as f64, pixels);
            let mut next = 0;
            for range in shown {
                assert!(range.start <= next && range.end >= next, "{extent} in {pixels}");
                next = next.max(range.end);
            }
            // A last cell that is filled less than half may hide behind the edge.
            assert!(next as f64 >= extent.round(), "{extent} in {pixels}: {next}");
        }
    }
}
