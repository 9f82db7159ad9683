//! Puts the page together.

use std::io::Write;

use super::axes::{clock, short};
use super::canvas::Canvas;
use super::colour::{INK, SOFT_INK, VERMILION};
use super::layout::{Layout, Size};
use super::page::Page;
use super::text::{self, Anchor};
use super::timeline::Timeline;
use super::{
    PictureError, panel_duty, panel_heat, panel_levels, panel_supply, panel_wishes, summary,
};

/// Draws the song and writes it as a PNG.
///
/// # Errors
/// [`PictureError::Size`] for a size that cannot be, [`PictureError::Write`] when `out` fails.
pub fn draw(song: &Timeline, size: Size, out: impl Write) -> Result<(), PictureError> {
    let layout = Layout::new(song, size)?;
    let mut page = Page { canvas: Canvas::new(size.width, size.height), layout, song };
    header(&mut page);
    panel_levels::draw(&mut page);
    panel_duty::draw(&mut page);
    panel_heat::draw(&mut page);
    panel_supply::draw(&mut page);
    panel_wishes::draw(&mut page);
    footer(&mut page);
    page.canvas.write_png(out)
}

/// Names, figures and the sentence.
fn header(page: &mut Page<'_>) {
    let (song, about) = (page.song, page.song.about());
    let left = page.layout.duty.left;
    let right = page.layout.page.right - page.px(24.0);
    let facts = format!(
        "{}   {} frames/s   {} coils",
        clock(song.length().0),
        short(about.rate.per_second()),
        about.coils
    );
    let size = page.px(18.0);
    let at = (right, page.px(44.0));
    let width = page.write(at, Anchor::Right, size, SOFT_INK, &facts);
    let title = if about.mapping.is_empty() {
        about.display.clone()
    } else {
        format!("{} · {}", about.display, about.mapping)
    };
    let size = page.px(27.0);
    let title = text::fit(&title, size, right - width - left - page.px(30.0));
    page.write((left, page.px(44.0)), Anchor::Left, size, INK, &title);

    let size = page.px(17.0);
    let (mut x, mut baseline) = (left, page.px(74.0));
    for warning in summary::warnings(song) {
        let width = page.write((x, baseline), Anchor::Left, size, VERMILION, &warning);
        x += width + page.px(10.0);
    }
    for line in two_lines(&summary::sentence(song), size, right - x, right - left) {
        page.write((x, baseline), Anchor::Left, size, INK, &line);
        (x, baseline) = (left, baseline + page.px(23.0));
    }
}

/// Breaks a text between words after as much as fits in the first line; what does not fit in the
/// second is cut.
fn two_lines(words: &str, size: f64, first_room: f64, second_room: f64) -> [String; 2] {
    let fits = |end: &usize| text::width(words.get(..*end).unwrap_or(words), size) <= first_room;
    let mut breaks: Vec<usize> = words.match_indices(' ').map(|(at, _)| at).collect();
    breaks.push(words.len());
    let end = breaks.into_iter().rev().find(fits).unwrap_or(0);
    let (first, second) = words.split_at(end);
    [first.to_owned(), text::fit(second.trim_start(), size, second_room)]
}

/// Names the time axis.
fn footer(page: &mut Page<'_>) {
    let rect = page.layout.wishes;
    let unit = if page.layout.length_s >= 3600.0 { "h:min:s" } else { "min:s" };
    let mut words = format!("time, {unit}");
    let lead = page.song.about().lead.0;
    if lead > 0.0 {
        words += &format!(" (each frame is sent {:.0} ms ahead of its sound)", 1000.0 * lead);
    }
    if let Some(late_s) = page.song.fluid_late_s() {
        let way = if late_s < 0.0 { "early" } else { "late" };
        words += &format!("; the fluid will be {:.0} ms {way}", 1000.0 * late_s.abs());
    }
    let at = ((rect.left + rect.right) / 2.0, rect.bottom + page.px(42.0));
    let size = page.label();
    page.write(at, Anchor::Middle, size, SOFT_INK, &words);
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_sentence_breaks_between_words_and_loses_none() {
        let words = "Asked 4.1 coils on average, 83 % granted; heat took 15 %, supply 2 %.";
        for room in [40.0, 200.0, 400.0, 5000.0] {
            let [first, second] = two_lines(words, 17.0, room, 5000.0);
            assert!(text::width(&first, 17.0) <= room, "'{first}' is wider than {room}");
            assert_eq!(format!("{first} {second}").trim(), words);
        }
    }
}
