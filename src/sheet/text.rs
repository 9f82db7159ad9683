//! A sheet as plain text.

use super::Block;

/// Sentences are broken at this width.
const WIDTH: usize = 96;

/// Sets the blocks as text for a terminal or a printer.
pub fn text(blocks: &[Block]) -> String {
    let mut out = String::new();
    for block in blocks {
        match block {
            Block::Title(title) => {
                out += &format!("{title}\n{}\n", "=".repeat(title.chars().count()))
            }
            Block::Heading(heading) => out += &format!("\n{heading}\n"),
            Block::Table { head, rows } => table(&mut out, head, rows),
            Block::Line(line) => wrap(&mut out, "  ", line),
            Block::Step(step) => wrap(&mut out, "  [ ] ", step),
        }
    }
    out
}

fn table(out: &mut String, head: &[&str], rows: &[Vec<String>]) {
    let head: Vec<String> = head.iter().map(|&cell| cell.to_owned()).collect();
    let lines = || std::iter::once(&head).chain(rows);
    let width = |column: usize| {
        lines().filter_map(|line| line.get(column)).map(|cell| cell.chars().count()).max()
    };
    let widths: Vec<usize> = (0..head.len()).map(|column| width(column).unwrap_or(0)).collect();
    for line in lines() {
        let mut text = String::new();
        for (column, (cell, &width)) in line.iter().zip(&widths).enumerate() {
            // Names stand to the left, all else to the right.
            text += &match column {
                0 => format!("  {cell:<width$}"),
                _ => format!("  {cell:>width$}"),
            };
        }
        *out += text.trim_end();
        out.push('\n');
    }
}

/// Adds `text` broken at spaces to lines of the sheet's width: after `first`, which later lines
/// leave blank.
pub fn wrap(out: &mut String, first: &str, text: &str) {
    let mut line = first.to_owned();
    let mut empty = true;
    for word in text.split_whitespace() {
        if !empty && line.chars().count() + 1 + word.chars().count() > WIDTH {
            *out += line.trim_end();
            out.push('\n');
            line = " ".repeat(first.chars().count());
            empty = true;
        }
        if !empty {
            line.push(' ');
        }
        line += word;
        empty = false;
    }
    *out += line.trim_end();
    out.push('\n');
}
