//! A build sheet on paper: black on white, pages of A4 shape one below the other.

use std::io::Write;

use super::PictureError;
use super::canvas::Canvas;
use super::colour::Rgb;
use super::text::{Anchor, draw, fit, width};
use crate::sheet::Block;

/// A4 at 150 dots per inch: 210 mm by 297 mm.
pub const PAGE: (u32, u32) = (1240, 1754);

/// Sheets end after so many pages; the text and the JSON form have no end.
const MOST_PAGES: u32 = 12;

const BLACK: Rgb = [0, 0, 0];
const MARGIN: f64 = 80.0;
const TITLE: f64 = 34.0;
const HEADING: f64 = 23.0;
const BODY: f64 = 18.0;
/// Height of a line over the size of its letters.
const LEADING: f64 = 1.45;
/// Between columns, pixels.
const GAP: f64 = 22.0;
/// The box of a step, pixels.
const BOX: f64 = 15.0;

/// Something at a place of the whole roll of pages.
enum Mark {
    Text { at: (f64, f64), anchor: Anchor, size: f64, text: String },
    Rule { y: f64 },
    Tick { y: f64 },
}

/// Draws the blocks as a PNG; its height is a whole number of pages.
///
/// # Errors
/// When the picture cannot be written.
pub fn draw_sheet(blocks: &[Block], out: impl Write) -> Result<(), PictureError> {
    let mut roll = Roll::default();
    for block in blocks {
        roll.block(block);
    }
    let mut canvas = Canvas::new(PAGE.0, PAGE.1 * (roll.page + 1));
    let right = f64::from(PAGE.0) - MARGIN;
    for mark in &roll.marks {
        match mark {
            Mark::Text { at, anchor, size, text } => {
                draw(&mut canvas, *at, *anchor, *size, BLACK, text);
            }
            Mark::Rule { y } => canvas.level_line(MARGIN, right, *y, BLACK),
            Mark::Tick { y } => {
                let corners = [
                    (MARGIN, *y),
                    (MARGIN, y - BOX),
                    (MARGIN + BOX, y - BOX),
                    (MARGIN + BOX, *y),
                    (MARGIN, *y),
                ];
                canvas.stroke(&corners, 1.5, BLACK, &[]);
            }
        }
    }
    canvas.write_png(out)
}

/// Pages one below the other, filled from the top.
#[derive(Default)]
struct Roll {
    marks: Vec<Mark>,
    page: u32,
    /// Used of this page, pixels below its upper margin.
    used: f64,
    full: bool,
}

impl Roll {
    /// Baseline of a new line with letters of a size; turns the page where it ends.
    fn line(&mut self, size: f64) -> Option<f64> {
        let height = size * LEADING;
        let room = f64::from(PAGE.1) - 2.0 * MARGIN;
        if self.used + height > room {
            if self.page + 1 == MOST_PAGES {
                self.full = true;
            } else {
                self.page += 1;
                self.used = 0.0;
            }
        }
        if self.full {
            return None;
        }
        self.used += height;
        let top = f64::from(self.page) * f64::from(PAGE.1) + MARGIN;
        Some(top + self.used - (LEADING - 1.0) * size)
    }

    fn text(&mut self, x: f64, y: f64, anchor: Anchor, size: f64, text: String) {
        self.marks.push(Mark::Text { at: (x, y), anchor, size, text });
    }

    fn block(&mut self, block: &Block) {
        match block {
            Block::Title(title) => self.single(title, TITLE),
            Block::Heading(heading) => {
                self.used += HEADING * 0.6;
                self.single(heading, HEADING);
            }
            Block::Table { head, rows } => self.table(head, rows),
            Block::Line(line) => self.sentence(line, 0.0),
            Block::Step(step) => {
                let first = self.marks.len();
                self.sentence(step, BOX * 1.8);
                if let Some(Mark::Text { at: (_, y), .. }) = self.marks.get(first) {
                    let y = *y;
                    self.marks.push(Mark::Tick { y });
                }
            }
        }
    }

    fn single(&mut self, text: &str, size: f64) {
        let Some(y) = self.line(size) else { return };
        self.text(MARGIN, y, Anchor::Left, size, fit(text, size, text_room()));
    }

    /// Breaks a sentence into lines.
    fn sentence(&mut self, text: &str, indent: f64) {
        let room = text_room() - indent;
        let mut line = String::new();
        let mut lines = Vec::new();
        for word in text.split_whitespace() {
            let longer = if line.is_empty() { word.to_owned() } else { format!("{line} {word}") };
            if width(&longer, BODY) > room && !line.is_empty() {
                lines.push(std::mem::replace(&mut line, word.to_owned()));
            } else {
                line = longer;
            }
        }
        lines.push(line);
        for line in lines {
            let Some(y) = self.line(BODY) else { return };
            self.text(MARGIN + indent, y, Anchor::Left, BODY, fit(&line, BODY, room));
        }
    }

    fn table(&mut self, head: &[&'static str], rows: &[Vec<String>]) {
        let head: Vec<String> = head.iter().map(|&cell| cell.to_owned()).collect();
        let lines: Vec<&Vec<String>> = std::iter::once(&head).chain(rows).collect();
        let (size, ends) = columns(&lines, head.len());
        for (number, line) in lines.into_iter().enumerate() {
            let Some(y) = self.line(size) else { return };
            let mut start = MARGIN;
            for (column, (cell, &end)) in line.iter().zip(&ends).enumerate() {
                let (x, anchor) = match column {
                    0 => (start, Anchor::Left),
                    _ => (end, Anchor::Right),
                };
                let cell = fit(cell, size, end - start);
                self.text(x, y, anchor, size, cell);
                start = end + GAP;
            }
            if number == 0 {
                self.marks.push(Mark::Rule { y: y + size * 0.35 });
            }
        }
    }
}

fn text_room() -> f64 {
    f64::from(PAGE.0) - 2.0 * MARGIN
}

/// Letters as large as the page allows, and the right end of every column. What still does not
/// fit takes its room from the widest column.
fn columns(lines: &[&Vec<String>], count: usize) -> (f64, Vec<f64>) {
    let widths = |size: f64| -> Vec<f64> {
        let widest = |column: usize| {
            let cells = lines.iter().filter_map(|line| line.get(column));
            cells.map(|cell| width(cell, size)).fold(0.0, f64::max)
        };
        (0..count).map(widest).collect()
    };
    let total = |widths: &[f64]| widths.iter().map(|width| width + GAP).sum::<f64>() - GAP;
    let sizes = [BODY, BODY - 2.0, BODY - 4.0];
    let fits = |size: &&f64| total(&widths(**size)) <= text_room();
    let size = sizes.iter().find(fits).copied().unwrap_or(BODY - 4.0);
    let mut widths = widths(size);
    let over = total(&widths) - text_room();
    if over > 0.0
        && let Some(widest) = widths.iter_mut().max_by(|a, b| a.total_cmp(b))
    {
        *widest = (*widest - over).max(0.0);
    }
    let mut end = MARGIN - GAP;
    let ends = widths.into_iter().map(|width| {
        end += width + GAP;
        end
    });
    (size, ends.collect())
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::indexing_slicing, reason = "tests stop at the first surprise")]
mod tests {
    use super::*;

    fn size_of(blocks: &[Block]) -> (u32, u32) {
        let mut png = Vec::new();
        draw_sheet(blocks, &mut png).unwrap();
        let reader = png::Decoder::new(png.as_slice()).read_info().unwrap();
        (reader.info().width, reader.info().height)
    }

    #[test]
    fn long_sheets_take_more_pages_and_endless_ones_stop() {
        let line = |_| Block::Line("a line of the sheet".to_owned());
        let sheet = |lines: usize| (0..lines).map(line).collect::<Vec<_>>();
        assert_eq!(size_of(&sheet(5)), PAGE);
        assert_eq!(size_of(&sheet(100)), (PAGE.0, 2 * PAGE.1));
        assert_eq!(size_of(&sheet(5000)), (PAGE.0, MOST_PAGES * PAGE.1));
    }

    #[test]
    fn cells_keep_to_their_columns() {
        let wide = vec!["a very long name of a coil ".repeat(9), "1".to_owned(), "2".to_owned()];
        let (_, ends) = columns(&[&wide], 3);
        assert!(ends.windows(2).all(|pair| pair[0] < pair[1]), "{ends:?}");
        assert!(ends[2] <= MARGIN + text_room() + 1e-6, "{ends:?}");
    }
}
