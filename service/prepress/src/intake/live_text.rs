//! Words of a drawing that no bundled face was asked for, or has no letters for: they look different here.

use resvg::tiny_skia::Rect;
use resvg::usvg::{Font, FontFamily, FontStretch, FontStyle, Group, Node, Text, Tree};

use super::drawing::{MAX_WORD_CHARACTERS, MAX_WORDS};
use crate::lettering;

/// The family of the bundled faces.
const BUNDLED_FAMILY: &str = "Noto Sans";

/// Words in another face that stand on the canvas, each once, in the order of the drawing.
pub(super) fn words(tree: &Tree) -> Vec<String> {
    let size = tree.size();
    let mut search = Search { canvas: Rect::from_xywh(0.0, 0.0, size.width(), size.height()), found: Vec::new() };
    search.look(tree.root());
    search.found
}

struct Search {
    canvas: Option<Rect>,
    found: Vec<String>,
}

impl Search {
    fn look(&mut self, group: &Group) {
        for node in group.children() {
            if self.found.len() >= MAX_WORDS {
                return;
            }
            match node {
                Node::Group(inner) => self.look(inner),
                Node::Text(text) if self.is_seen(text) => self.look_at(text),
                Node::Text(_) | Node::Path(_) | Node::Image(_) => {}
            }
            node.subroots(|root| self.look(root));
        }
    }

    /// Whether any of a text stands on the canvas; what cannot be told counts.
    fn is_seen(&self, text: &Text) -> bool {
        let place = text.abs_stroke_bounding_box();
        self.canvas.is_none_or(|canvas| {
            place.left() < canvas.right()
                && place.right() > canvas.left()
                && place.top() < canvas.bottom()
                && place.bottom() > canvas.top()
        })
    }

    fn look_at(&mut self, text: &Text) {
        for chunk in text.chunks() {
            let is_ours = chunk.spans().iter().all(|span| asks_for_ours(span.font()));
            let words: String = chunk.text().split_whitespace().collect::<Vec<_>>().join(" ");
            let words: String = words.chars().take(MAX_WORD_CHARACTERS).collect();
            let looks_the_same = words.is_empty() || (is_ours && has_letters(&words));
            if !looks_the_same && !self.found.contains(&words) {
                self.found.push(words);
            }
        }
    }
}

/// Whether the face asked for is a bundled one: the family in any case of letters (CSS Fonts 4, 5.1), upright, neither
/// condensed nor expanded, regular or bold.
fn asks_for_ours(font: &Font) -> bool {
    let is_family = matches!(
        font.families().first(),
        Some(FontFamily::Named(name)) if name.eq_ignore_ascii_case(BUNDLED_FAMILY)
    );
    let is_plain = font.style() == FontStyle::Normal && font.stretch() == FontStretch::Normal;
    is_family && is_plain && matches!(font.weight(), 400 | 700)
}

/// Whether the bundled faces have every letter.
fn has_letters(words: &str) -> bool {
    let Ok(face) = ttf_parser::Face::parse(lettering::REGULAR, 0) else { return false };
    words.chars().all(|letter| letter.is_whitespace() || face.glyph_index(letter).is_some())
}
