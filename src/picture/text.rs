//! Text in the one font that is part of the program, so that every machine draws the same.

use std::sync::OnceLock;

use ab_glyph::{Font, FontRef, Glyph, GlyphId, Point, PxScale, ScaleFont};

use super::canvas::Canvas;
use super::colour::Rgb;

/// A cut-down, renamed copy of a free font: see `font-LICENSE.txt`.
const FONT: &[u8] = include_bytes!("font.ttf");

/// Which part of a text stands at the given place.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Anchor {
    /// Its left end.
    Left,
    /// Its middle.
    Middle,
    /// Its right end.
    Right,
}

/// Height of a capital letter over the size of the font.
pub const CAPITAL: f64 = 0.729;

fn font() -> Option<&'static FontRef<'static>> {
    static PARSED: OnceLock<Option<FontRef<'static>>> = OnceLock::new();
    PARSED.get_or_init(|| FontRef::try_from_slice(FONT).ok()).as_ref()
}

/// The font's own scale for a size in pixels per em.
#[expect(clippy::cast_possible_truncation, reason = "sizes are small numbers")]
fn scale(font: &FontRef<'_>, size: f64) -> PxScale {
    PxScale::from(size as f32 * font.height_unscaled() / font.units_per_em().unwrap_or(2048.0))
}

/// Places the glyphs from x = 0 on; returns them with the width.
fn place(font: &FontRef<'_>, text: &str, size: f64) -> (Vec<Glyph>, f64) {
    let scale = scale(font, size);
    let scaled = font.as_scaled(scale);
    let mut x = 0.0;
    let mut before: Option<GlyphId> = None;
    let mut glyphs = Vec::with_capacity(text.len());
    for letter in text.chars() {
        let id = font.glyph_id(letter);
        x += before.map_or(0.0, |before| scaled.kern(before, id));
        glyphs.push(Glyph { id, scale, position: Point { x, y: 0.0 } });
        x += scaled.h_advance(id);
        before = Some(id);
    }
    (glyphs, f64::from(x))
}

/// Width of a text in pixels.
pub fn width(text: &str, size: f64) -> f64 {
    font().map_or(0.0, |font| place(font, text, size).1)
}

/// The text, or as much of its beginning as fits, with an ellipsis.
pub fn fit(text: &str, size: f64, room: f64) -> String {
    if width(text, size) <= room {
        return text.to_owned();
    }
    let mut kept: Vec<char> = text.chars().collect();
    while kept.pop().is_some() {
        let shorter: String = kept.iter().collect::<String>().trim_end().to_owned() + "…";
        if width(&shorter, size) <= room {
            return shorter;
        }
    }
    String::new()
}

/// Draws a text on a baseline; returns its width.
#[expect(clippy::cast_possible_truncation, reason = "pixel positions inside the picture")]
pub fn draw(
    canvas: &mut Canvas,
    (x, baseline): (f64, f64),
    anchor: Anchor,
    size: f64,
    colour: Rgb,
    text: &str,
) -> f64 {
    let Some(font) = font() else { return 0.0 };
    let (glyphs, width) = place(font, text, size);
    let left = match anchor {
        Anchor::Left => x,
        Anchor::Middle => x - width / 2.0,
        Anchor::Right => x - width,
    };
    for mut glyph in glyphs {
        glyph.position.x += left as f32;
        glyph.position.y += baseline.round() as f32;
        let Some(outline) = font.outline_glyph(glyph) else { continue };
        let corner = outline.px_bounds().min;
        outline.draw(|dx, dy, cover| {
            let x = i64::from(corner.x as i32) + i64::from(dx);
            let y = i64::from(corner.y as i32) + i64::from(dy);
            canvas.blend(x, y, colour, f64::from(cover));
        });
    }
    width
}

/// Draws a text centred on a height.
pub fn draw_beside(
    canvas: &mut Canvas,
    (x, middle): (f64, f64),
    anchor: Anchor,
    size: f64,
    colour: Rgb,
    text: &str,
) -> f64 {
    draw(canvas, (x, middle + size * CAPITAL / 2.0), anchor, size, colour, text)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_font_holds_every_sign_the_pictures_use() {
        let font = font().into_iter().next();
        for letter in "AZaz09 .,:;%()/+-–−×·°µΩ→←…ÄÖÜäöüßéñ".chars() {
            let found = font.is_some_and(|font| font.glyph_id(letter).0 != 0);
            assert!(found, "no glyph for '{letter}'");
        }
    }

    #[test]
    fn long_names_are_shortened_to_their_room() {
        let text = "A display with a name far longer than any picture is wide";
        let short = fit(text, 20.0, 200.0);
        assert!(short.ends_with('…') && width(&short, 20.0) <= 200.0, "{short}");
        assert!(width(&short, 20.0) > 150.0, "{short} wastes room");
        assert_eq!(fit("tank", 20.0, 200.0), "tank");
    }
}
