//! Modelled temperatures over time against their bounds and limits.

use super::colour::{BLUE, GREEN, INK, Rgb, SOFT_INK, VERMILION};
use super::column::Column;
use super::page::{Page, Sample};
use super::text::Anchor;
use super::timeline::Timeline;

const WHOLE: &[f64] = &[];
const DASHED: &[f64] = &[8.0, 4.0];
const DOTTED: &[f64] = &[2.0, 3.0];
const DASH_DOT: &[f64] = &[9.0, 3.0, 2.0, 3.0];

/// One line of the panel.
struct Line {
    name: &'static str,
    /// The name speaks of the highest value rather than the last.
    highest: bool,
    colour: Rgb,
    width: f64,
    dash: &'static [f64],
    /// Temperature per column, C.
    values: Vec<Option<f64>>,
}

/// Draws the panel.
pub(super) fn draw(page: &mut Page<'_>) {
    let (rect, song) = (page.layout.heat, page.song);
    let title = "Modelled temperature, °C";
    let note = "the winding and the backing nearest their bounds; bound = limit less margin";
    page.heading(rect, title, note, &[]);
    let lines: Vec<Line> =
        lines(song).into_iter().filter(|line| line.values.iter().any(Option::is_some)).collect();
    if lines.is_empty() {
        page.nothing(rect, "the file holds no meter readings");
    } else {
        let axis = page.layout.heat_axis(song);
        page.time_marks(rect, true, false);
        let ticks = axis.ticks_for(page.label());
        page.value_marks(rect, &axis, &ticks);
        let mut labels = Vec::new();
        for line in lines {
            let points: Vec<_> = line.values.iter().map(|v| v.map(|v| axis.y(v))).collect();
            stroke(page, &points, &line);
            labels.extend(label(&line).map(|(value, words)| (axis.y(value), words, line)));
        }
        write_labels(page, labels);
    }
    page.time_marks(rect, false, false);
    page.frame(rect);
}

fn lines(song: &Timeline) -> Vec<Line> {
    let of = |value: &dyn Fn(&Column) -> Option<f32>| -> Vec<Option<f64>> {
        let finite = |c: f32| c.is_finite().then_some(f64::from(c));
        song.columns().iter().map(|column| value(column).and_then(finite)).collect()
    };
    let room = song.about().room_c;
    let room = Some(room).filter(|c| c.is_finite());
    let enclosure: Vec<_> = song.columns().iter().map(|column| column.enclosure_c).collect();
    // Where there is no enclosure the meters repeat the room.
    let apart = |c: &Option<f64>| c.is_some_and(|c| room.is_none_or(|r| (c - r).abs() > 0.05));
    let enclosure = if enclosure.iter().any(apart) { enclosure } else { Vec::new() };
    let line = |name, colour, width, dash, values| Line {
        name,
        highest: dash == WHOLE || dash == DASH_DOT,
        colour,
        width,
        dash,
        values,
    };
    vec![
        line("room", SOFT_INK, 1.3, DOTTED, vec![room; song.columns().len()]),
        line("enclosure", GREEN, 1.8, DASH_DOT, enclosure),
        line("backing limit", BLUE, 1.3, DOTTED, of(&|c| Some(c.backing?.limit_c))),
        line("backing bound", BLUE, 1.3, DASHED, of(&|c| Some(c.backing?.bound_c))),
        line("winding limit", VERMILION, 1.3, DOTTED, of(&|c| Some(c.winding?.limit_c))),
        line("winding bound", VERMILION, 1.3, DASHED, of(&|c| Some(c.winding?.bound_c))),
        line("backing", BLUE, 2.2, WHOLE, of(&|c| Some(c.backing?.now_c))),
        line("winding", VERMILION, 2.2, WHOLE, of(&|c| Some(c.winding?.now_c))),
    ]
}

/// Draws a line in pieces, leaving out columns that say nothing.
fn stroke(page: &mut Page<'_>, heights: &[Option<f64>], line: &Line) {
    let dash = page.dash(line.dash);
    let width = page.px(line.width);
    let mut piece: Vec<(f64, f64)> = Vec::new();
    for (column, height) in heights.iter().enumerate() {
        match height {
            Some(y) => piece.push((page.layout.x_of_column(column), *y)),
            None => {
                page.canvas.stroke(&piece, width, line.colour, &dash);
                piece.clear();
            }
        }
    }
    page.canvas.stroke(&piece, width, line.colour, &dash);
}

/// Where a line ends, and what to write beside that.
fn label(line: &Line) -> Option<(f64, String)> {
    let last = line.values.iter().rev().find_map(|value| *value)?;
    let highest = line.values.iter().flatten().fold(last, |top, value| top.max(*value));
    let words = if line.highest {
        format!("{}, max {highest:.0} °C", line.name)
    } else {
        format!("{} {last:.0} °C", line.name)
    };
    Some((last, words))
}

/// Writes names beside the ends of their lines, moved apart where they would touch.
fn write_labels(page: &mut Page<'_>, mut labels: Vec<(f64, String, Line)>) {
    let rect = page.layout.heat;
    labels.sort_by(|a, b| a.0.total_cmp(&b.0));
    let wanted: Vec<f64> = labels.iter().map(|label| label.0).collect();
    let apart = page.label() * 1.22;
    let places = spread(&wanted, apart, rect.top + apart / 3.0, rect.bottom - apart / 3.0);
    for ((y, words, line), place) in labels.iter().zip(places) {
        let start = rect.right + page.px(4.0);
        let bend = [(start, *y), (rect.right + page.px(18.0), place)];
        page.canvas.stroke(&bend, 1.0, SOFT_INK, &[]);
        let x = rect.right + page.px(20.0);
        let sample = Sample::Line(line.width, line.colour, line.dash);
        page.sample(sample, (x, place), page.px(24.0));
        let at = (x + page.px(30.0), place);
        let size = page.px(13.0);
        page.write_beside(at, Anchor::Left, size, INK, words);
    }
}

/// Moves sorted heights so that they lie `apart` from each other and between `top` and `bottom`,
/// each as near to where it wants to be as the ones above allow.
fn spread(wanted: &[f64], apart: f64, top: f64, bottom: f64) -> Vec<f64> {
    let mut places = Vec::with_capacity(wanted.len());
    let mut next = top;
    for y in wanted {
        let place = y.max(next);
        places.push(place);
        next = place + apart;
    }
    let mut floor = bottom;
    for place in places.iter_mut().rev() {
        *place = place.min(floor);
        floor = *place - apart;
    }
    places
}

#[cfg(test)]
#[allow(clippy::float_cmp, clippy::indexing_slicing, reason = "tests stop at the first surprise")]
mod tests {
    use super::*;

    #[test]
    fn labels_never_touch_and_never_leave_the_panel() {
        let places = spread(&[10.0, 11.0, 50.0, 99.0, 99.5], 15.0, 5.0, 100.0);
        assert!(places.windows(2).all(|p| p[1] - p[0] >= 15.0), "{places:?}");
        assert!(places.iter().all(|p| (5.0..=100.0).contains(p)), "{places:?}");
        assert_eq!(places[2], 50.0, "{places:?}");
    }
}
