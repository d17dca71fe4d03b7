//! Text as filled outlines in the bundled font: no reader of our files needs a font, and every one draws the same.
//!
//! Left to right, one line, without shaping: labels and tables, not typesetting. A character without a glyph becomes an
//! open box; marks that only steer direction or joining (Unicode general category Cf in the ranges below) take no room, so
//! that an id with a right-to-left mark cannot reorder what stands beside it.

use kurbo::{BezPath, Point};
use ttf_parser::{Face, GlyphId, OutlineBuilder};

use crate::units::Mm;

/// The bundled regular face: Noto Sans, SIL Open Font License 1.1.
pub const REGULAR: &[u8] = include_bytes!("../assets/NotoSans-Regular.ttf");

/// The bundled bold face: Noto Sans, SIL Open Font License 1.1.
pub const BOLD: &[u8] = include_bytes!("../assets/NotoSans-Bold.ttf");

/// Which face.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Weight {
    /// For running text.
    Regular,
    /// For what must be seen first.
    Bold,
}

/// One line of text.
#[derive(Clone, Debug)]
pub struct Lettering {
    /// Filled outlines (nonzero winding), mm, y down; the baseline runs along y = 0 from the origin.
    pub path: BezPath,
    /// Where the next character would stand.
    pub width: Mm,
}

/// Sets one line at a size (the em).
///
/// # Panics
/// Never: the bundled fonts are parsed by a test.
pub fn line(text: &str, size: Mm, weight: Weight) -> Lettering {
    let data = match weight {
        Weight::Regular => REGULAR,
        Weight::Bold => BOLD,
    };
    let face = Face::parse(data, 0).expect("the bundled fonts are well formed");
    let scale = size.mm() / f64::from(face.units_per_em());
    let mut pen = Pen { path: BezPath::new(), scale, x: 0.0 };
    for glyph in text.chars().filter_map(|character| glyph_of(&face, character)) {
        face.outline_glyph(glyph, &mut pen);
        pen.x += f64::from(face.glyph_hor_advance(glyph).unwrap_or(0)) * scale;
    }
    Lettering { width: Mm::of(pen.x), path: pen.path }
}

/// The text cut so that it fits a width, with an ellipsis where something was left out.
pub fn elided(text: &str, size: Mm, weight: Weight, width: Mm) -> String {
    if line(text, size, weight).width <= width {
        return text.to_owned();
    }
    let characters: Vec<char> = text.chars().collect();
    let shortened = |count: usize| characters[..count].iter().collect::<String>().trim_end().to_owned() + "…";
    (0..characters.len())
        .rev()
        .map(shortened)
        .find(|candidate| line(candidate, size, weight).width <= width)
        .unwrap_or_default()
}

/// The glyph of a character: the empty box where the font has none, nothing for marks without a shape of their own.
pub(crate) fn glyph_of(face: &Face<'_>, character: char) -> Option<GlyphId> {
    let shapeless = matches!(
        character,
        '\u{00AD}' | '\u{200B}'..='\u{200F}' | '\u{202A}'..='\u{202E}' | '\u{2060}'..='\u{206F}' | '\u{FE00}'..='\u{FE0F}' | '\u{FEFF}'
    );
    (!shapeless && !character.is_control()).then(|| face.glyph_index(character).unwrap_or(GlyphId(0)))
}

struct Pen {
    path: BezPath,
    scale: f64,
    x: f64,
}

impl Pen {
    fn at(&self, x: f32, y: f32) -> Point {
        Point::new(self.x + f64::from(x) * self.scale, -f64::from(y) * self.scale)
    }
}

impl OutlineBuilder for Pen {
    fn move_to(&mut self, x: f32, y: f32) {
        self.path.move_to(self.at(x, y));
    }

    fn line_to(&mut self, x: f32, y: f32) {
        self.path.line_to(self.at(x, y));
    }

    fn quad_to(&mut self, x1: f32, y1: f32, x: f32, y: f32) {
        self.path.quad_to(self.at(x1, y1), self.at(x, y));
    }

    fn curve_to(&mut self, x1: f32, y1: f32, x2: f32, y2: f32, x: f32, y: f32) {
        self.path.curve_to(self.at(x1, y1), self.at(x2, y2), self.at(x, y));
    }

    fn close(&mut self) {
        self.path.close_path();
    }
}

#[cfg(test)]
mod tests {
    use kurbo::Shape;

    use super::*;

    #[test]
    fn both_faces_set_text_above_the_baseline() {
        for weight in [Weight::Regular, Weight::Bold] {
            let set = line("HxЖΩé", Mm::of(10.0), weight);
            let bounds = set.path.bounding_box();
            assert!(bounds.y0 < -6.0 && bounds.y1 < 0.5, "{bounds:?}");
            assert!(bounds.x1 <= set.width.mm() + 1.0 && set.width.mm() > 25.0);
        }
    }

    #[test]
    fn characters_without_a_glyph_are_boxes_and_direction_marks_take_no_room() {
        assert!(line("🦊", Mm::of(10.0), Weight::Regular).width.mm() > 1.0);
        let plain = line("ab", Mm::of(10.0), Weight::Regular);
        let marked = line("a\u{200F}\u{202E}b", Mm::of(10.0), Weight::Regular);
        assert!((plain.width.mm() - marked.width.mm()).abs() < 1e-9);
    }

    #[test]
    fn long_text_is_elided_to_its_box() {
        let short = elided("a long line of text", Mm::of(4.0), Weight::Regular, Mm::of(15.0));
        assert!(short.ends_with('…') && short.len() < 19);
        assert!(line(&short, Mm::of(4.0), Weight::Regular).width <= Mm::of(15.0));
    }
}
