//! Current of each supply over time against its limit.
//!
//! Up to four rails get a strip each, in A; more are rows of colour, in per cent of their limits.

use super::axes::{ValueAxis, short};
use super::canvas::Rect;
use super::colour::{BLUE, INK, PAPER, Ramp, Rgb, SKY, SOFT_INK, VERMILION, mix};
use super::layout::MOST_RAIL_LINES;
use super::page::{Page, Sample, cells};
use super::text::{self, Anchor};
use crate::frame::RailHead;

const LIMIT_DASH: &[f64] = &[10.0, 4.0];

fn peak_ink(_: i64, _: i64) -> Rgb {
    mix(PAPER, SKY, 0.55)
}

/// Draws the panel.
pub(super) fn draw(page: &mut Page<'_>) {
    let (rect, song) = (page.layout.supply, page.song);
    let rails = &song.about().rails;
    match rails.len() {
        0 => {
            page.heading(rect, "Supply current", "", &[]);
            page.nothing(rect, "the file names no rails");
            page.frame(rect);
        }
        n if n <= MOST_RAIL_LINES => strips(page),
        _ => rows(page),
    }
    page.time_marks(rect, false, false);
}

fn strips(page: &mut Page<'_>) {
    let (rect, song) = (page.layout.supply, page.song);
    let keys = [
        (Sample::Line(2.0, BLUE, &[][..]), "mean"),
        (Sample::Area(peak_ink), "highest frame"),
        (Sample::Line(1.5, VERMILION, LIMIT_DASH), "limit of the mean"),
    ];
    page.heading(rect, "Supply current per rail, A", "", &keys);
    let count = song.about().rails.len() as f64;
    let gap = page.px(8.0).round();
    let height = (rect.height() - gap * (count - 1.0)) / count;
    for (rail, head) in song.about().rails.iter().enumerate() {
        let top = rect.top + rail as f64 * (height + gap);
        let strip = Rect { top: top.round(), bottom: (top + height).round(), ..rect };
        one(page, strip, rail, head);
    }
}

/// One rail.
fn one(page: &mut Page<'_>, strip: Rect, rail: usize, head: &RailHead) {
    let song = page.song;
    let peaks = song.columns().iter().filter_map(|column| column.rails.get(rail)?.peak);
    let highest = peaks.fold(0.0, f64::max);
    let limit = if head.limit_a.is_finite() { head.limit_a } else { 0.0 };
    let axis = ValueAxis::new(0.0, 1.12 * limit.max(highest), strip);
    page.time_marks(strip, true, false);
    let ticks = axis.ticks((strip.height() / (2.0 * page.label())).max(1.0));
    // A low strip has room for one number only, and that has to be the limit.
    let low = strip.height() < 3.2 * page.label();
    let ticks = if low && limit > 0.0 { vec![limit] } else { ticks };
    page.value_marks(strip, &axis, &ticks);

    let mut means = Vec::new();
    for (x, columns) in strip.columns().zip(cells(page.layout.columns, strip.width())) {
        let here = columns.filter_map(|column| song.columns().get(column)?.rails.get(rail));
        let (sum, frames, peak) = here.fold((0.0, 0.0, 0.0_f64), |(sum, frames, peak), cell| {
            (sum + cell.sum, frames + cell.frames, peak.max(cell.peak.unwrap_or(0.0)))
        });
        if frames > 0.0 {
            page.canvas.fill_column(x, axis.y(peak), strip.bottom, peak_ink);
            means.push((x as f64 + 0.5, axis.y(sum / frames)));
        }
    }
    page.canvas.stroke(&means, page.px(1.8), BLUE, &[]);
    if limit > 0.0 {
        let ends = [(strip.left, axis.y(limit)), (strip.right, axis.y(limit))];
        page.canvas.stroke(&ends, page.px(1.5), VERMILION, &page.dash(LIMIT_DASH));
    }
    page.frame(strip);
    name(page, strip, head, highest);
}

/// Writes beside a strip whose it is.
fn name(page: &mut Page<'_>, strip: Rect, head: &RailHead, highest: f64) {
    let (size, x) = (page.px(13.0), strip.right + page.px(18.0));
    let room = page.layout.page.right - x - page.px(6.0);
    let volts = format!("{}, {} V", head.name, short(head.volts));
    let load = format!("to {} of {} A", short(highest), short(head.limit_a));
    let middle = (strip.top + strip.bottom) / 2.0;
    for (words, ink, dy) in [(volts, INK, -0.62), (load, SOFT_INK, 0.62)] {
        let words = text::fit(&words, size, room);
        let at = (x, middle + dy * size);
        page.write_beside(at, Anchor::Left, size, ink, &words);
    }
}

/// Many rails.
fn rows(page: &mut Page<'_>) {
    let (rect, song) = (page.layout.supply, page.song);
    let rails = &song.about().rails;
    page.heading(rect, "Supply current, % of each rail's limit", "mean; rows are rails", &[]);
    let ramp = Ramp::levels();
    let value = |column: usize, rail: usize| {
        let mean = song.columns().get(column)?.rails.get(rail)?.mean()?;
        Some(mean / rails.get(rail)?.limit_a).filter(|share| share.is_finite())
    };
    page.raster(rect, rails.len(), value, |v| ramp.colour(v));
    page.colour_bar(rect, |v| ramp.colour(v), &ValueAxis::new(0.0, 100.0, rect), "%");
    let (size, room) = (page.label(), rect.left - page.px(14.0));
    let fit = (rect.height() / (1.25 * size)).max(1.0);
    let every = (rails.len() as f64 / fit).ceil().max(1.0);
    for (at, rail) in rails.iter().enumerate() {
        if at as f64 % every == 0.0 {
            let y = rect.bottom - (at as f64 + 0.5) / rails.len() as f64 * rect.height();
            page.mark_left(rect, y, &text::fit(&rail.name, size, room));
        }
    }
    page.frame(rect);
}
