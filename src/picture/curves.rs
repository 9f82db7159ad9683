//! Figures over one size: a strip each, one below the other, with one axis across.

use std::io::Write;

use super::PictureError;
use super::axes::{ValueAxis, short};
use super::canvas::{Canvas, Rect};
use super::colour::{BLUE, GRID, INK, SOFT_INK, VERMILION};
use super::text::{Anchor, draw as write, draw_beside, fit, width};

/// One strip.
#[derive(Debug, Clone, PartialEq)]
pub struct Curve {
    /// What it shows, with its unit.
    pub label: String,
    /// One value per place across; nothing where there is none.
    pub values: Vec<Option<f64>>,
    /// Whether its largest value is to be marked.
    pub mark_most: bool,
}

/// A page of strips.
#[derive(Debug, Clone, PartialEq)]
pub struct Curves {
    /// Above all strips.
    pub title: String,
    /// Below them: what goes across, with its unit.
    pub across: String,
    /// Places across, rising.
    pub places: Vec<f64>,
    /// From top to bottom.
    pub curves: Vec<Curve>,
}

const WIDTH: u32 = 1200;
const LEFT: f64 = 96.0;
const RIGHT: f64 = 40.0;
const TOP: f64 = 78.0;
const STRIP: f64 = 170.0;
/// Between strips: the label of the next stands there.
const GAP: f64 = 54.0;
const BOTTOM: f64 = 84.0;
const TITLE: f64 = 26.0;
const LABEL: f64 = 19.0;
const NUMBER: f64 = 17.0;

/// Draws the page as a PNG.
///
/// # Errors
/// When the picture cannot be written.
pub fn draw(page: &Curves, out: impl Write) -> Result<(), PictureError> {
    let strips = page.curves.len().clamp(1, 12);
    let inner = strips as f64 * (STRIP + GAP) - GAP;
    let height = TOP + GAP + inner + BOTTOM;
    let mut canvas = Canvas::new(WIDTH, pixels(height));
    let room = f64::from(WIDTH) - LEFT - RIGHT;
    let title = fit(&page.title, TITLE, room + LEFT - RIGHT);
    write(&mut canvas, (RIGHT, 52.0), Anchor::Left, TITLE, INK, &title);
    let mut strip =
        Rect { left: LEFT, top: TOP + GAP, right: LEFT + room, bottom: TOP + GAP + STRIP };
    let across = Across::new(&page.places, strip);
    for (number, curve) in page.curves.iter().take(strips).enumerate() {
        one(&mut canvas, curve, &across, strip);
        if number + 1 == strips {
            across.numbers(&mut canvas, strip.bottom + 26.0);
            let middle = (strip.left + strip.right) / 2.0;
            let at = (middle, strip.bottom + 58.0);
            write(&mut canvas, at, Anchor::Middle, LABEL, INK, &page.across);
        }
        strip.top += STRIP + GAP;
        strip.bottom += STRIP + GAP;
    }
    canvas.write_png(out)
}

fn one(canvas: &mut Canvas, curve: &Curve, across: &Across<'_>, strip: Rect) {
    let label = fit(&curve.label, LABEL, strip.width());
    write(canvas, (strip.left, strip.top - 12.0), Anchor::Left, LABEL, INK, &label);
    let known = || curve.values.iter().copied().flatten().filter(|value| value.is_finite());
    let most = known().fold(0.0_f64, f64::max);
    let least = known().fold(0.0_f64, f64::min);
    let axis = ValueAxis::new(least * 1.08, if most > 0.0 { most * 1.08 } else { 1.0 }, strip);
    for tick in axis.ticks(4.5) {
        canvas.level_line(strip.left, strip.right, axis.y(tick), GRID);
        let at = (strip.left - 10.0, axis.y(tick));
        draw_beside(canvas, at, Anchor::Right, NUMBER, SOFT_INK, &short(tick));
    }
    for tick in across.ticks() {
        canvas.upright_line(across.x(tick), strip.top, strip.bottom, GRID);
    }
    canvas.frame(strip, SOFT_INK);
    // A gap in the values is a gap in the line.
    for run in across.runs(curve) {
        let points: Vec<_> = run.iter().map(|(x, value)| (*x, axis.y(*value))).collect();
        canvas.stroke(&points, 2.2, BLUE, &[]);
        for point in points {
            dot(canvas, point, 6.0, BLUE);
        }
    }
    if curve.mark_most {
        let best = across.runs(curve).into_iter().flatten().max_by(|a, b| a.1.total_cmp(&b.1));
        if let Some((x, value)) = best {
            mark(canvas, strip, (x, axis.y(value)), &format!("most: {}", short(value)));
        }
    }
}

/// A ring around the largest value, and the value beside it.
fn mark(canvas: &mut Canvas, strip: Rect, (x, y): (f64, f64), text: &str) {
    dot(canvas, (x, y), 12.0, VERMILION);
    let right = x + 14.0 + width(text, NUMBER) < strip.right;
    let (anchor, at) = if right { (Anchor::Left, x + 14.0) } else { (Anchor::Right, x - 14.0) };
    draw_beside(canvas, (at, (y + 18.0).min(strip.bottom - 14.0)), anchor, NUMBER, VERMILION, text);
}

/// A round spot.
fn dot(canvas: &mut Canvas, (x, y): (f64, f64), size: f64, colour: [u8; 3]) {
    canvas.stroke(&[(x, y), (x, y)], size, colour, &[]);
    // A line without length draws nothing on some strokes, so it gets a little.
    canvas.stroke(&[(x - 0.05, y), (x + 0.05, y)], size, colour, &[]);
}

/// The axis across.
struct Across<'a> {
    places: &'a [f64],
    low: f64,
    high: f64,
    strip: Rect,
}

impl<'a> Across<'a> {
    fn new(places: &'a [f64], strip: Rect) -> Self {
        let low = places.first().copied().unwrap_or(0.0);
        let last = places.last().copied().unwrap_or(1.0);
        let high = if last > low { last } else { low + 1.0 };
        Self { places, low, high, strip }
    }

    fn x(&self, value: f64) -> f64 {
        // Room for the outermost dots.
        let inset = 14.0;
        let share = (value - self.low) / (self.high - self.low);
        self.strip.left + inset + share * (self.strip.width() - 2.0 * inset)
    }

    fn ticks(&self) -> Vec<f64> {
        // The values themselves where they are few.
        if self.places.len() <= 16 {
            return self.places.to_vec();
        }
        ValueAxis::new(self.low, self.high, self.strip).ticks(12.0)
    }

    fn numbers(&self, canvas: &mut Canvas, y: f64) {
        for tick in self.ticks() {
            write(canvas, (self.x(tick), y), Anchor::Middle, NUMBER, SOFT_INK, &short(tick));
        }
    }

    /// Values without a gap between them, with their places in pixels.
    fn runs(&self, curve: &Curve) -> Vec<Vec<(f64, f64)>> {
        let mut runs = vec![Vec::new()];
        for (place, value) in self.places.iter().zip(&curve.values) {
            match value.filter(|value| value.is_finite()) {
                Some(value) => {
                    if let Some(run) = runs.last_mut() {
                        run.push((self.x(*place), value));
                    }
                }
                None => runs.push(Vec::new()),
            }
        }
        runs.retain(|run| !run.is_empty());
        runs
    }
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "a few thousand pixels"
)]
fn pixels(height: f64) -> u32 {
    height.round() as u32
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::indexing_slicing, reason = "tests stop at the first surprise")]
mod tests {
    use super::*;

    fn page(values: Vec<Option<f64>>) -> Curves {
        let places = (0..values.len()).map(|n| n as f64).collect();
        let curve = Curve { label: "field, mT".into(), values, mark_most: true };
        Curves { title: "a".into(), across: "layers".into(), places, curves: vec![curve; 3] }
    }

    #[test]
    fn gaps_split_the_line_and_nothing_is_drawn_of_what_is_not_finite() {
        let page = page(vec![Some(1.0), Some(2.0), None, Some(f64::NAN), Some(3.0)]);
        let strip = Rect { left: 0.0, top: 0.0, right: 128.0, bottom: 50.0 };
        let across = Across::new(&page.places, strip);
        let lengths: Vec<_> = across.runs(&page.curves[0]).iter().map(Vec::len).collect();
        assert_eq!(lengths, [2, 1]);
        let mut png = Vec::new();
        draw(&page, &mut png).unwrap();
        let picture = image::load_from_memory(&png).unwrap().to_rgb8();
        assert_eq!(picture.width(), WIDTH);
        let blue = picture.pixels().filter(|pixel| pixel.0 == BLUE).count();
        assert!(blue > 500, "{blue} pixels of line");
    }

    #[test]
    fn pages_without_values_can_be_drawn() {
        for page in [page(vec![]), page(vec![None; 4]), page(vec![Some(0.0)])] {
            draw(&page, &mut Vec::new()).unwrap();
        }
    }
}
