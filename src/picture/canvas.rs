//! A page of pixels and the few strokes an instrument drawing needs.

use std::io::Write;

use super::PictureError;
use super::colour::{PAPER, Rgb, mix};

/// A rectangle in pixels; right and bottom are the first pixels outside.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Rect {
    /// First column.
    pub left: f64,
    /// First line.
    pub top: f64,
    /// First column to the right of it.
    pub right: f64,
    /// First line below it.
    pub bottom: f64,
}

impl Rect {
    /// Width.
    pub fn width(&self) -> f64 {
        self.right - self.left
    }

    /// Height.
    pub fn height(&self) -> f64 {
        self.bottom - self.top
    }

    /// Whole pixel columns inside.
    pub fn columns(&self) -> std::ops::Range<i64> {
        whole(self.left)..whole(self.right)
    }

    /// Whole pixel lines inside.
    pub fn lines(&self) -> std::ops::Range<i64> {
        whole(self.top)..whole(self.bottom)
    }
}

#[expect(clippy::cast_possible_truncation, reason = "saturates far outside any picture")]
fn whole(x: f64) -> i64 {
    x.round() as i64
}

/// The page.
#[derive(Debug, Clone)]
pub struct Canvas {
    width: u32,
    height: u32,
    pixels: Vec<u8>,
}

impl Canvas {
    /// An empty page.
    pub fn new(width: u32, height: u32) -> Self {
        let pixels = PAPER.repeat(width as usize * height as usize);
        Self { width, height, pixels }
    }

    /// Lays a colour over a pixel with this coverage, 0 to 1. Pixels outside the page are left
    /// alone.
    pub fn blend(&mut self, x: i64, y: i64, colour: Rgb, cover: f64) {
        if x < 0 || y < 0 || x >= i64::from(self.width) || y >= i64::from(self.height) {
            return;
        }
        let Ok(at) = usize::try_from((y * i64::from(self.width) + x) * 3) else { return };
        if let Some([r, g, b]) = self.pixels.get_mut(at..at + 3) {
            let [mixed_r, mixed_g, mixed_b] = mix([*r, *g, *b], colour, cover);
            (*r, *g, *b) = (mixed_r, mixed_g, mixed_b);
        }
    }

    /// Sets a pixel.
    pub fn set(&mut self, x: i64, y: i64, colour: Rgb) {
        self.blend(x, y, colour, 1.0);
    }

    /// Fills a rectangle.
    pub fn fill(&mut self, rect: Rect, colour: Rgb) {
        for y in rect.lines() {
            for x in rect.columns() {
                self.set(x, y, colour);
            }
        }
    }

    /// Fills one pixel column between two heights, softly at both ends. `ink` says which colour a
    /// pixel takes, so that areas can carry a pattern.
    pub fn fill_column(&mut self, x: i64, top: f64, bottom: f64, ink: impl Fn(i64, i64) -> Rgb) {
        for y in whole(top.floor())..whole(bottom.ceil()) {
            let cover = (bottom.min(y as f64 + 1.0) - top.max(y as f64)).clamp(0.0, 1.0);
            self.blend(x, y, ink(x, y), cover);
        }
    }

    /// The outline of a rectangle, one pixel wide, just outside it.
    pub fn frame(&mut self, rect: Rect, colour: Rgb) {
        let (columns, lines) = (rect.columns(), rect.lines());
        for x in columns.start - 1..=columns.end {
            self.set(x, lines.start - 1, colour);
            self.set(x, lines.end, colour);
        }
        for y in lines {
            self.set(columns.start - 1, y, colour);
            self.set(columns.end, y, colour);
        }
    }

    /// A level line, one pixel wide.
    pub fn level_line(&mut self, left: f64, right: f64, y: f64, colour: Rgb) {
        (whole(left)..whole(right)).for_each(|x| self.set(x, whole(y - 0.5), colour));
    }

    /// An upright line, one pixel wide.
    pub fn upright_line(&mut self, x: f64, top: f64, bottom: f64, colour: Rgb) {
        (whole(top)..whole(bottom)).for_each(|y| self.set(whole(x - 0.5), y, colour));
    }

    /// A line through points. `dash` holds the lengths of stroke and gap in turn; empty: whole.
    pub fn stroke(&mut self, points: &[(f64, f64)], width: f64, colour: Rgb, dash: &[f64]) {
        let mut mask = Mask::around(points, width);
        let mut walk = Walk::new(dash);
        for pair in points.windows(2) {
            if let [from, to] = *pair {
                walk.go(from, to, |from, to| mask.segment(from, to, width / 2.0));
            }
        }
        mask.onto(self, colour);
    }

    /// Writes the page as a PNG.
    ///
    /// # Errors
    /// [`PictureError::Write`] when the writer fails.
    pub fn write_png(&self, out: impl Write) -> Result<(), PictureError> {
        let mut encoder = png::Encoder::new(out, self.width, self.height);
        encoder.set_color(png::ColorType::Rgb);
        encoder.set_depth(png::BitDepth::Eight);
        // Rows of the rasters repeat downwards, so most lines differ little from the one above.
        encoder.set_filter(png::FilterType::Up);
        encoder.set_source_srgb(png::SrgbRenderingIntent::Perceptual);
        let mut writer = encoder.write_header()?;
        writer.write_image_data(&self.pixels)?;
        Ok(writer.finish()?)
    }
}

/// How much of each pixel a line covers. Joints are covered once, however many strokes meet there.
struct Mask {
    left: i64,
    top: i64,
    width: i64,
    height: i64,
    cover: Vec<f32>,
}

impl Mask {
    fn around(points: &[(f64, f64)], stroke: f64) -> Self {
        let reach = stroke / 2.0 + 2.0;
        let span = |of: fn(&(f64, f64)) -> f64| {
            let low = points.iter().map(of).fold(f64::INFINITY, f64::min);
            let high = points.iter().map(of).fold(f64::NEG_INFINITY, f64::max);
            // No line reaches further than a page; what is not finite has no place at all.
            let known = low.is_finite() && high.is_finite();
            if known {
                (whole(low - reach), whole((high - low).min(1e5) + 2.0 * reach))
            } else {
                (0, 0)
            }
        };
        let ((left, width), (top, height)) = (span(|p| p.0), span(|p| p.1));
        let cells = usize::try_from(width * height).unwrap_or(0);
        Self { left, top, width, height, cover: vec![0.0; cells] }
    }

    #[expect(clippy::cast_possible_truncation, reason = "coverage is 0 to 1")]
    fn segment(&mut self, (x0, y0): (f64, f64), (x1, y1): (f64, f64), radius: f64) {
        let (dx, dy) = (x1 - x0, y1 - y0);
        let length_squared = (dx * dx + dy * dy).max(1e-12);
        let reach = radius + 1.0;
        let lines = whole((y0.min(y1) - reach).floor())..whole((y0.max(y1) + reach).ceil());
        for y in lines {
            for x in whole((x0.min(x1) - reach).floor())..whole((x0.max(x1) + reach).ceil()) {
                let (px, py) = (x as f64 + 0.5 - x0, y as f64 + 0.5 - y0);
                let share = ((px * dx + py * dy) / length_squared).clamp(0.0, 1.0);
                let (ex, ey) = (px - share * dx, py - share * dy);
                let cover = (radius + 0.5 - (ex * ex + ey * ey).sqrt()).clamp(0.0, 1.0) as f32;
                let (x, y) = (x - self.left, y - self.top);
                if cover > 0.0 && x >= 0 && x < self.width && y >= 0 && y < self.height {
                    let at = usize::try_from(y * self.width + x).unwrap_or(usize::MAX);
                    if let Some(cell) = self.cover.get_mut(at) {
                        *cell = cell.max(cover);
                    }
                }
            }
        }
    }

    fn onto(&self, canvas: &mut Canvas, colour: Rgb) {
        let mut cells = self.cover.iter();
        for y in self.top..self.top + self.height {
            for x in self.left..self.left + self.width {
                match cells.next() {
                    Some(&cover) if cover > 0.0 => canvas.blend(x, y, colour, f64::from(cover)),
                    _ => {}
                }
            }
        }
    }
}

/// Walks along a line and leaves the gaps of its dashes out.
struct Walk<'a> {
    dash: &'a [f64],
    part: usize,
    left: f64,
}

impl<'a> Walk<'a> {
    fn new(dash: &'a [f64]) -> Self {
        let usable = dash.iter().all(|part| *part >= 0.5);
        let dash = if usable { dash } else { &[] };
        Self { dash, part: 0, left: dash.first().copied().unwrap_or(f64::INFINITY) }
    }

    fn go(
        &mut self,
        from: (f64, f64),
        to: (f64, f64),
        mut mark: impl FnMut((f64, f64), (f64, f64)),
    ) {
        let (dx, dy) = (to.0 - from.0, to.1 - from.1);
        let length = (dx * dx + dy * dy).sqrt();
        let at = |way: f64| (from.0 + dx * way / length, from.1 + dy * way / length);
        let mut done = 0.0;
        while done < length {
            let step = self.left.min(length - done);
            if self.part.is_multiple_of(2) {
                mark(at(done), at(done + step));
            }
            done += step;
            self.left -= step;
            if self.left <= 0.0 {
                self.part = (self.part + 1) % self.dash.len().max(1);
                self.left = self.dash.get(self.part).copied().unwrap_or(f64::INFINITY);
            }
        }
    }
}
