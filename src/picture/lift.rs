//! Pull against current for several distances of the magnet, of each kind of coil, and a map of the
//! bias over all coils.

use std::io::Write;

use super::PictureError;
use super::axes::{ValueAxis, short};
use super::canvas::{Canvas, Rect};
use super::colour::{BLUE, GREEN, GRID, INK, ORANGE, PURPLE, Ramp, Rgb, SOFT_INK, VERMILION};
use super::text::{Anchor, draw, draw_beside, fit};
use crate::sheet::lift::{CURVE_US, CoilLift, KindLift, LiftSheet, curve_u};

const PAGE: (u32, u32) = (1600, 900);
/// What every further kind of coil adds below, and how many kinds are drawn.
const FURTHER: u32 = 780;
const KINDS: usize = 6;
const LEFT: f64 = 100.0;
const LABEL: f64 = 15.0;
const HEADING: f64 = 18.0;

/// One look for each distance, from the furthest to the nearest.
const LOOKS: [(Rgb, &[f64]); 5] = [
    (PURPLE, &[2.0, 5.0]),
    (ORANGE, &[8.0, 5.0]),
    (BLUE, &[]),
    (GREEN, &[8.0, 5.0]),
    (VERMILION, &[2.0, 5.0]),
];

/// Draws the page as a PNG.
///
/// # Errors
/// When the picture cannot be written.
pub fn draw_lift(sheet: &LiftSheet, out: impl Write) -> Result<(), PictureError> {
    let kinds = sheet.kinds.get(..KINDS).unwrap_or(&sheet.kinds);
    let further = (1..).zip(kinds.iter().skip(1)).last().map_or(0, |(further, _)| further);
    let mut canvas = Canvas::new(PAGE.0, PAGE.1 + FURTHER * further);
    let title = format!(
        "{}: magnets {:.1} mm behind the coils' front copper",
        sheet.display, sheet.behind_mm
    );
    draw(&mut canvas, (LEFT, 52.0), Anchor::Left, 26.0, INK, &fit(&title, 26.0, 1400.0));
    let curves = Rect { left: LEFT, top: 130.0, right: 820.0, bottom: 760.0 };
    let map = Rect { left: 930.0, top: 130.0, right: 1560.0, bottom: 760.0 };
    for (kind, down) in kinds.iter().zip(0..) {
        let down = f64::from(FURTHER * down);
        let rect = Rect { top: curves.top + down, bottom: curves.bottom + down, ..curves };
        pull(&mut canvas, kind, rect);
    }
    coils(&mut canvas, &sheet.coils, map);
    canvas.write_png(out)
}

fn pull(canvas: &mut Canvas, kind: &KindLift, rect: Rect) {
    let heading = format!("Pull over weight, \"{}\" by itself", kind.name);
    let at = (rect.left, rect.top - 14.0);
    draw(canvas, at, Anchor::Left, HEADING, INK, &fit(&heading, HEADING, rect.width()));
    let values = || kind.curves.iter().flat_map(|(_, pulls)| pulls).copied();
    let most = values().fold(1.2, f64::max).min(12.0);
    let least = values().fold(0.0, f64::min).max(-2.0);
    let axis = ValueAxis::new(least, most * 1.05, rect);
    for tick in axis.ticks_for(LABEL) {
        canvas.level_line(rect.left, rect.right, axis.y(tick), GRID);
        let at = (rect.left - 9.0, axis.y(tick));
        draw_beside(canvas, at, Anchor::Right, LABEL, INK, &short(tick));
    }
    let x = |u: f64| rect.left + (u + 1.0) / 2.0 * rect.width();
    for percent in [-100, -50, 0, 50, 100_i32] {
        let across = x(f64::from(percent) / 100.0);
        canvas.upright_line(across, rect.top, rect.bottom, GRID);
        let words = percent.to_string();
        draw(canvas, (across, rect.bottom + 22.0), Anchor::Middle, LABEL, INK, &words);
    }
    let words = format!("current, percent of full ({:.3} A)", kind.full_a);
    let middle = f64::midpoint(rect.left, rect.right);
    draw(canvas, (middle, rect.bottom + 46.0), Anchor::Middle, LABEL, INK, &words);
    let lifts = axis.y(1.0);
    canvas.stroke(&[(rect.left, lifts), (rect.right, lifts)], 1.6, INK, &[]);
    draw_beside(canvas, (rect.left + 8.0, lifts - 12.0), Anchor::Left, LABEL, INK, "lifts");
    for ((_, pulls), (ink, dash)) in kind.curves.iter().zip(LOOKS) {
        let inside = |y: f64| (least..=most * 1.05).contains(&y);
        let mut run: Vec<(f64, f64)> = Vec::new();
        for (place, pull) in pulls.iter().take(CURVE_US).enumerate() {
            if inside(*pull) {
                run.push((x(curve_u(place)), axis.y(*pull)));
            } else if !run.is_empty() {
                canvas.stroke(&std::mem::take(&mut run), 2.2, ink, dash);
            }
        }
        canvas.stroke(&run, 2.2, ink, dash);
    }
    if let Some(u) = kind.law.lift_u.filter(|u| u.abs() <= 1.0) {
        dot(canvas, (x(u), lifts), 5.0, BLUE);
    }
    canvas.frame(rect, SOFT_INK);
    let mut left = rect.left;
    for ((mm, _), (ink, dash)) in kind.curves.iter().zip(LOOKS) {
        let y = rect.bottom + 82.0;
        canvas.stroke(&[(left, y), (left + 34.0, y)], 2.2, ink, dash);
        let words = format!("{mm:.1} mm");
        draw_beside(canvas, (left + 42.0, y), Anchor::Left, LABEL, INK, &words);
        left += 140.0;
    }
}

/// Circles at the coils' places: the darker, the more bias.
fn coils(canvas: &mut Canvas, coils: &[CoilLift], rect: Rect) {
    let at = (rect.left, rect.top - 14.0);
    let heading = "Bias of all magnets, share of the lifting pull";
    draw(canvas, at, Anchor::Left, HEADING, INK, heading);
    let (mut low, mut high) = ([f64::INFINITY; 2], [f64::NEG_INFINITY; 2]);
    let (mut least, mut most) = (f64::INFINITY, f64::NEG_INFINITY);
    for coil in coils {
        for ((low, high), place) in low.iter_mut().zip(&mut high).zip(coil.place_mm) {
            (*low, *high) = (low.min(place), high.max(place));
        }
        (least, most) = (least.min(coil.law.q0), most.max(coil.law.q0));
    }
    canvas.frame(rect, SOFT_INK);
    let ([x0, y0], [x1, y1]) = (low, high);
    if !(x1 >= x0 && y1 >= y0) {
        return;
    }
    // Differences below a hundredth are none to the eye.
    let span = (most - least).max(0.01);
    let room = rect.width().min(rect.height()) - 90.0;
    let scale = room / (x1 - x0).max(y1 - y0).max(1.0);
    let nearest = nearest_mm(coils).unwrap_or(60.0 / scale);
    let radius = (0.42 * nearest * scale).clamp(3.0, 26.0);
    let ramp = Ramp::levels();
    let middle = (f64::midpoint(rect.left, rect.right), f64::midpoint(rect.top, rect.bottom));
    for coil in coils {
        let [x, y] = coil.place_mm;
        let at = (
            middle.0 + scale * (x - f64::midpoint(x0, x1)),
            middle.1 - scale * (y - f64::midpoint(y0, y1)),
        );
        dot(canvas, at, radius + 1.2, SOFT_INK);
        dot(canvas, at, radius, ramp.colour(0.15 + 0.7 * (coil.law.q0 - least) / span));
        if radius > 13.0 {
            let dark = (coil.law.q0 - least) / span > 0.45;
            let ink = if dark { [255, 255, 255] } else { INK };
            let words = format!("{:.2}", coil.law.q0);
            draw_beside(canvas, at, Anchor::Middle, 11.0, ink, &words);
        }
    }
    let worst = |coil: &CoilLift| coil.nearest.map_or(0.0, |(_, percent)| percent.abs());
    let crosstalk = coils.iter().map(worst).fold(0.0, f64::max);
    let words = format!(
        "from {least:.3} to {most:.3}; a neighbour's field is at most {crosstalk:.1} % of the own coil's"
    );
    draw(canvas, (rect.left, rect.bottom + 26.0), Anchor::Left, LABEL, INK, &words);
}

/// The least distance between two coils, mm.
fn nearest_mm(coils: &[CoilLift]) -> Option<f64> {
    let mut least = f64::INFINITY;
    for (number, coil) in coils.iter().enumerate() {
        for other in coils.iter().skip(number + 1) {
            let [dx, dy] = [0, 1].map(|axis: usize| {
                let place = |coil: &CoilLift| coil.place_mm.get(axis).copied().unwrap_or(0.0);
                place(coil) - place(other)
            });
            least = least.min(libm::hypot(dx, dy));
        }
    }
    least.is_finite().then_some(least)
}

fn dot(canvas: &mut Canvas, (x, y): (f64, f64), radius: f64, ink: Rgb) {
    canvas.stroke(&[(x - 0.01, y), (x + 0.01, y)], 2.0 * radius, ink, &[]);
}
