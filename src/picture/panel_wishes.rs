//! What was asked of the coils, and what became of it: granted, or cut, and by what.

use super::axes::ValueAxis;
use super::colour::{GREEN, ORANGE, PAPER, PURPLE, Rgb, SKY, SOFT_INK, VERMILION, mix};
use super::column::{Asked, MeanCell};
use super::page::{Page, Sample, cells};

const FLUID: Sample<'static> = Sample::Line(1.8, GREEN, &[]);

fn granted_ink(_: i64, _: i64) -> Rgb {
    mix(PAPER, SKY, 0.75)
}

fn heat_ink(_: i64, _: i64) -> Rgb {
    VERMILION
}

/// Slanting lines.
fn rail_ink(x: i64, y: i64) -> Rgb {
    if (x + y).rem_euclid(6) < 3 { ORANGE } else { mix(PAPER, ORANGE, 0.25) }
}

/// Dots.
fn driver_ink(x: i64, y: i64) -> Rgb {
    if x.rem_euclid(4) < 2 && y.rem_euclid(4) < 2 { PURPLE } else { mix(PAPER, PURPLE, 0.3) }
}

/// Draws the panel.
pub(super) fn draw(page: &mut Page<'_>) {
    let (rect, song) = (page.layout.wishes, page.song);
    let by_heat = if song.gained.is_some() { "cut by plan and heat" } else { "cut by heat" };
    let keys = [
        (Sample::Line(1.2, SOFT_INK, &[][..]), "asked"),
        (Sample::Area(granted_ink), "granted"),
        (Sample::Area(heat_ink), by_heat),
        (Sample::Area(rail_ink), "cut by a rail"),
        (Sample::Area(driver_ink), "cut by the driver"),
    ];
    let mut keys = keys.to_vec();
    if song.fluid_late_s().is_some() {
        keys.insert(0, (FLUID, "the fluid"));
    }
    let title = "Asked of the coils, and what became of it";
    page.heading(rect, title, "1 = one coil at full duty", &keys);

    let pixels: Vec<Option<[f64; 5]>> = cells(page.layout.columns, rect.width())
        .into_iter()
        .map(|columns| {
            let mut here = Asked::default();
            song.columns().get(columns).unwrap_or(&[]).iter().for_each(|c| here.join(&c.asked));
            means(&here)
        })
        .collect();
    let most = pixels.iter().flatten().map(|[asked, ..]| *asked).fold(0.0, f64::max);
    if pixels.iter().all(Option::is_none) {
        page.nothing(rect, "the file holds no meter readings");
    } else {
        let axis = ValueAxis::new(0.0, if most > 0.0 { 1.05 * most } else { 1.0 }, rect);
        page.time_marks(rect, true, false);
        let ticks = axis.ticks_for(page.label());
        page.value_marks(rect, &axis, &ticks);
        areas(page, &axis, &pixels);
        fluid(page, &axis);
    }
    page.time_marks(rect, false, true);
    page.frame(rect);
}

/// What the fluid will do: its heights added up, where it is known how it follows.
fn fluid(page: &mut Page<'_>, axis: &ValueAxis) {
    let (rect, song) = (page.layout.wishes, page.song);
    if song.fluid_late_s().is_none() {
        return;
    }
    let cells = cells(page.layout.columns, rect.width());
    let points: Vec<(f64, f64)> = rect
        .columns()
        .zip(cells)
        .filter_map(|(x, columns)| {
            let mut here = MeanCell::default();
            song.columns().get(columns)?.iter().for_each(|column| here.join(&column.fluid));
            // What overshoots stays within the panel.
            Some((x as f64 + 0.5, axis.y(here.mean()?).max(rect.top)))
        })
        .collect();
    page.canvas.stroke(&points, page.px(1.8), GREEN, &[]);
}

/// Asked, granted, heat, rail, driver; `None` where no meter says.
fn means(asked: &Asked) -> Option<[f64; 5]> {
    let mean = |cell: &MeanCell| cell.mean().map(|mean| mean.max(0.0));
    Some([
        mean(&asked.wished)?,
        mean(&asked.granted)?,
        mean(&asked.heat)?,
        mean(&asked.rail)?,
        mean(&asked.driver)?,
    ])
}

/// Stacks what was granted and what was cut; the line on top is what was asked.
fn areas(page: &mut Page<'_>, axis: &ValueAxis, pixels: &[Option<[f64; 5]>]) {
    let rect = page.layout.wishes;
    let inks: [fn(i64, i64) -> Rgb; 4] = [granted_ink, heat_ink, rail_ink, driver_ink];
    let mut outline = Vec::new();
    for (x, parts) in rect.columns().zip(pixels) {
        let Some([asked, parts @ ..]) = parts else {
            page.canvas.stroke(&outline, page.px(1.0), SOFT_INK, &[]);
            outline.clear();
            continue;
        };
        let mut sum = 0.0;
        for (part, ink) in parts.iter().zip(inks) {
            page.canvas.fill_column(x, axis.y(sum + part), axis.y(sum), ink);
            sum += part;
        }
        outline.push((x as f64 + 0.5, axis.y(*asked)));
    }
    page.canvas.stroke(&outline, page.px(1.0), SOFT_INK, &[]);
}
