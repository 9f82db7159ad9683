//! A heating test against its fit: readings and curve, the first seconds larger, residuals, figures.

use std::io::Write;

use super::PictureError;
use super::axes::{ValueAxis, clock_on_axis, short, time_ticks};
use super::canvas::{Canvas, Rect};
use super::colour::{BLUE, GREEN, GRID, INK, Rgb, SOFT_INK, VERMILION};
use super::text::{Anchor, draw, draw_beside, fit, width};
use crate::fit::{Curve, Fitted, Point};

/// What stands in the picture besides curves.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct FitWords {
    /// Heading.
    pub title: String,
    /// Small lines below it.
    pub notes: Vec<String>,
    /// Head of the table: name, fit, error, percent, display.
    pub head: [String; 5],
    /// Its rows.
    pub rows: Vec<[String; 5]>,
    /// Sentences below the table.
    pub lines: Vec<String>,
}

const PAGE: (u32, u32) = (1600, 1200);
const LEFT: f64 = 110.0;
const RIGHT: f64 = 1560.0;
const LABEL: f64 = 15.0;
const HEADING: f64 = 17.0;
const READING: Rgb = [120, 120, 126];

/// Draws the page as a PNG.
///
/// # Errors
/// When the picture cannot be written.
pub fn draw_fit(fitted: &Fitted, words: &FitWords, out: impl Write) -> Result<(), PictureError> {
    let mut canvas = Canvas::new(PAGE.0, PAGE.1);
    let room = RIGHT - LEFT;
    draw(&mut canvas, (LEFT, 46.0), Anchor::Left, 26.0, INK, &fit(&words.title, 26.0, room));
    for (line, y) in words.notes.iter().zip([74.0, 96.0, 118.0]) {
        draw(&mut canvas, (LEFT, y), Anchor::Left, LABEL, SOFT_INK, &fit(line, LABEL, room));
    }
    let end_s = fitted.curve.last().map_or(1.0, |moment| moment.time_s).max(1.0);
    let [fast_s, _] = fitted.time_constants_s;
    let early = (fitted.on_s - 0.5 * fast_s, (fitted.on_s + 7.0 * fast_s).min(end_s));
    let main = Rect { left: LEFT, top: 170.0, right: 1060.0, bottom: 640.0 };
    let zoom = Rect { left: 1140.0, right: RIGHT, ..main };
    let residual = Rect { left: LEFT, top: 710.0, right: 1060.0, bottom: 870.0 };
    temperatures(&mut canvas, fitted, main, (0.0, end_s), "Winding and backing, °C");
    temperatures(&mut canvas, fitted, zoom, early, "Just after switching on, °C");
    key(&mut canvas, zoom);
    residuals(&mut canvas, fitted, residual, (0.0, end_s));
    table(&mut canvas, words, 930.0);
    canvas.write_png(out)
}

/// A panel in the making: where its values lie.
struct Panel {
    rect: Rect,
    from_s: f64,
    to_s: f64,
    axis: ValueAxis,
}

impl Panel {
    fn x(&self, time_s: f64) -> f64 {
        self.rect.left + (time_s - self.from_s) / (self.to_s - self.from_s) * self.rect.width()
    }

    fn holds(&self, time_s: f64) -> bool {
        (self.from_s..=self.to_s).contains(&time_s)
    }

    /// Grid, ticks and heading.
    fn ground(&self, canvas: &mut Canvas, heading: &str) {
        let rect = self.rect;
        let at = (rect.left, rect.top - 12.0);
        draw(canvas, at, Anchor::Left, HEADING, INK, &fit(heading, HEADING, rect.width()));
        for value in self.axis.ticks_for(LABEL) {
            let y = self.axis.y(value);
            canvas.level_line(rect.left, rect.right, y, GRID);
            draw_beside(canvas, (rect.left - 9.0, y), Anchor::Right, LABEL, INK, &short(value));
        }
        let (ticks, step_s) =
            time_ticks(self.to_s, self.to_s / (self.to_s - self.from_s) * rect.width() / 90.0);
        for time_s in ticks.into_iter().filter(|time_s| self.holds(*time_s)) {
            let x = self.x(time_s);
            canvas.upright_line(x, rect.top, rect.bottom, GRID);
            canvas.upright_line(x, rect.bottom, rect.bottom + 5.0, INK);
            let words = clock_on_axis(time_s, step_s, self.to_s);
            draw(canvas, (x, rect.bottom + 22.0), Anchor::Middle, LABEL, INK, &words);
        }
    }

    /// A line through moments, thinned to what the page can show.
    fn line(
        &self,
        canvas: &mut Canvas,
        fitted: &Fitted,
        of: fn(&Curve) -> f64,
        ink: Rgb,
        dash: &[f64],
    ) {
        let mut points: Vec<(f64, f64)> = Vec::new();
        for moment in fitted.curve.iter().filter(|moment| self.holds(moment.time_s)) {
            let at = (self.x(moment.time_s), self.axis.y(of(moment)));
            if points.last().is_none_or(|last| at.0 - last.0 > 0.4 || (at.1 - last.1).abs() > 0.4) {
                points.push(at);
            }
        }
        canvas.stroke(&points, 2.0, ink, dash);
    }
}

fn temperatures(
    canvas: &mut Canvas,
    fitted: &Fitted,
    rect: Rect,
    (from_s, to_s): (f64, f64),
    heading: &str,
) {
    let within = |time_s: f64| (from_s..=to_s).contains(&time_s);
    let seen = fitted.points.iter().filter(|p| within(p.time_s) && p.used).map(|p| p.measured_c);
    let drawn = fitted
        .curve
        .iter()
        .filter(|moment| within(moment.time_s))
        .flat_map(|moment| [moment.winding_c, moment.backing_c, moment.around_c]);
    let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
    for celsius in seen.chain(drawn).filter(|c| c.is_finite()) {
        (low, high) = (low.min(celsius), high.max(celsius));
    }
    if low > high {
        (low, high) = (20.0, 30.0);
    }
    let air = 0.04 * (high - low) + 0.2;
    let axis = ValueAxis::new(low - air, high + air, rect);
    let panel = Panel { rect, from_s, to_s, axis };
    panel.ground(canvas, heading);
    for point in fitted.points.iter().filter(|point| within(point.time_s)) {
        reading(canvas, (panel.x(point.time_s), axis.y(point.measured_c)), point);
    }
    for moment in fitted.curve.iter().filter(|moment| within(moment.time_s)) {
        if let Some(celsius) = moment.measured_backing_c {
            dot(canvas, (panel.x(moment.time_s), axis.y(celsius)), 1.6, READING);
        }
    }
    panel.line(canvas, fitted, |moment| moment.around_c, GREEN, &[2.0, 4.0]);
    panel.line(canvas, fitted, |moment| moment.backing_c, BLUE, &[9.0, 5.0]);
    panel.line(canvas, fitted, |moment| moment.winding_c, VERMILION, &[]);
    canvas.frame(rect, SOFT_INK);
}

fn residuals(canvas: &mut Canvas, fitted: &Fitted, rect: Rect, (from_s, to_s): (f64, f64)) {
    let used = fitted.points.iter().filter(|point| point.used);
    let most = used.map(|point| (point.measured_c - point.fitted_c).abs()).fold(0.05, f64::max);
    let axis = ValueAxis::new(-1.1 * most, 1.1 * most, rect);
    let panel = Panel { rect, from_s, to_s, axis };
    let heading = format!("Reading less fit, K (dashed: {:.2} K rms)", fitted.residual_k);
    panel.ground(canvas, &heading);
    for point in &fitted.points {
        reading(canvas, (panel.x(point.time_s), axis.y(point.measured_c - point.fitted_c)), point);
    }
    canvas.level_line(rect.left, rect.right, axis.y(0.0), VERMILION);
    for level in [-fitted.residual_k, fitted.residual_k] {
        let y = axis.y(level);
        canvas.stroke(&[(rect.left, y), (rect.right, y)], 1.2, SOFT_INK, &[8.0, 4.0]);
    }
    canvas.frame(rect, SOFT_INK);
}

/// A dot, or a cross for one that was set aside.
fn reading(canvas: &mut Canvas, (x, y): (f64, f64), point: &Point) {
    if point.used {
        dot(canvas, (x, y), 1.6, READING);
    } else {
        canvas.stroke(&[(x - 4.0, y - 4.0), (x + 4.0, y + 4.0)], 1.6, INK, &[]);
        canvas.stroke(&[(x - 4.0, y + 4.0), (x + 4.0, y - 4.0)], 1.6, INK, &[]);
    }
}

fn dot(canvas: &mut Canvas, (x, y): (f64, f64), radius: f64, ink: Rgb) {
    canvas.stroke(&[(x - 0.01, y), (x + 0.01, y)], 2.0 * radius, ink, &[]);
}

/// What the lines are, inside the lower right of the larger view.
fn key(canvas: &mut Canvas, rect: Rect) {
    let lines: [(&str, Rgb, &[f64]); 3] = [
        ("winding, fitted", VERMILION, &[]),
        ("backing, modelled", BLUE, &[9.0, 5.0]),
        ("around", GREEN, &[2.0, 4.0]),
    ];
    let names = ["reading of the winding", "set aside"];
    let left = rect.left;
    let mut y = rect.bottom + 56.0;
    let text_x = left + 44.0;
    for (name, ink, dash) in lines {
        canvas.stroke(&[(left, y), (left + 34.0, y)], 2.0, ink, dash);
        draw_beside(canvas, (text_x, y), Anchor::Left, LABEL, INK, name);
        y += 24.0;
    }
    for (name, used) in names.into_iter().zip([true, false]) {
        let point = Point { time_s: 0.0, measured_c: 0.0, fitted_c: 0.0, used };
        reading(canvas, (left + 17.0, y), &point);
        draw_beside(canvas, (text_x, y), Anchor::Left, LABEL, INK, name);
        y += 24.0;
    }
}

fn table(canvas: &mut Canvas, words: &FitWords, top: f64) {
    let ends = [LEFT + 230.0, LEFT + 330.0, LEFT + 440.0, LEFT + 530.0, LEFT + 630.0];
    let mut y = top;
    for (number, row) in std::iter::once(&words.head).chain(&words.rows).enumerate() {
        for (column, (cell, end)) in row.iter().zip(ends).enumerate() {
            let (x, anchor) = if column == 0 { (LEFT, Anchor::Left) } else { (end, Anchor::Right) };
            let ink = if number == 0 { SOFT_INK } else { INK };
            draw(canvas, (x, y), anchor, HEADING, ink, &fit(cell, HEADING, 225.0));
        }
        y += 27.0;
    }
    canvas.level_line(LEFT, LEFT + 630.0, top + 8.0, GRID);
    let left = LEFT + 690.0;
    let mut y = top;
    for line in &words.lines {
        for piece in broken(line, RIGHT - left) {
            draw(canvas, (left, y), Anchor::Left, LABEL, INK, &piece);
            y += 21.0;
        }
        y += 6.0;
    }
}

/// A sentence in lines no wider than `room`.
fn broken(text: &str, room: f64) -> Vec<String> {
    let mut lines = vec![String::new()];
    for word in text.split_whitespace() {
        let Some(line) = lines.last_mut() else { continue };
        let longer = if line.is_empty() { word.to_owned() } else { format!("{line} {word}") };
        if width(&longer, LABEL) <= room || line.is_empty() {
            *line = longer;
        } else {
            lines.push(word.to_owned());
        }
    }
    lines
}
