//! Words of a drawing that no bundled face was asked for, or has no letters for: they look different here.

use resvg::usvg::{FontFamily, Group, Node, Text};

use super::drawing::{MAX_WORD_CHARACTERS, MAX_WORDS};
use crate::lettering;

/// The family of the bundled faces.
const BUNDLED_FAMILY: &str = "Noto Sans";

/// Words in another face, each once, in the order of the drawing.
pub(super) fn words(root: &Group) -> Vec<String> {
    let mut found = Vec::new();
    look(root, &mut found);
    found
}

fn look(group: &Group, found: &mut Vec<String>) {
    for node in group.children() {
        if found.len() >= MAX_WORDS {
            return;
        }
        match node {
            Node::Group(inner) => look(inner, found),
            Node::Text(text) => look_at_text(text, found),
            Node::Path(_) | Node::Image(_) => {}
        }
        node.subroots(|root| look(root, found));
    }
}

fn look_at_text(text: &Text, found: &mut Vec<String>) {
    for chunk in text.chunks() {
        let asks_for_ours = |family: &FontFamily| matches!(family, FontFamily::Named(name) if name == BUNDLED_FAMILY);
        let is_ours = chunk.spans().iter().all(|span| span.font().families().first().is_some_and(asks_for_ours));
        let words: String = chunk.text().split_whitespace().collect::<Vec<_>>().join(" ");
        let words: String = words.chars().take(MAX_WORD_CHARACTERS).collect();
        if !words.is_empty() && !(is_ours && has_letters(&words)) && !found.contains(&words) {
            found.push(words);
        }
    }
}

/// Whether the bundled faces have every letter.
fn has_letters(words: &str) -> bool {
    let Ok(face) = ttf_parser::Face::parse(lettering::REGULAR, 0) else { return false };
    words.chars().all(|letter| letter.is_whitespace() || face.glyph_index(letter).is_some())
}
