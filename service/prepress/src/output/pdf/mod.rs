//! What every PDF of the house shares: painting in millimetres, and a document that is finished the right way.
//!
//! In: paths, matrices and colours in sheet millimetres, y down. Out: bytes of a PDF 1.6 file that repeat.
//!
//! `printpdf` writes the pages, their operators and their layers; [`Document`] then mends on the `lopdf` document what
//! `printpdf` 0.12 gets wrong or cannot say:
//!
//! * the header says 1.3; page boxes are written as x, y, width, height instead of two corners;
//! * the ID is drawn at random and the Info dictionary carries empty fields and a PDF/X version;
//! * optional content groups have a Usage dictionary with keys that do not belong there, and a foreign creator;
//! * `OP` and `op` of graphics states are swapped: the states are written here instead;
//! * pictures are unpacked, scaled and packed again: pre-packed streams are added here and only named in the page;
//! * strokes of several rings come out as one broken path: paths go through as plain operators;
//! * without its text layout feature it subsets no fonts: the one font of the pick list is embedded here;
//! * `PdfSaveOptions::default()` drops unknown operators (`secure`) and shrinks pictures: both are switched off.
//!
//! Coordinates pass through `f32`, the only real number that both libraries have: at most 0.0005 pt, 0.0002 mm, on the
//! longest roll.

mod canvas;
mod document;
mod font;
#[cfg(test)]
pub(super) mod specimen;
mod text;

pub(super) use canvas::{Canvas, Ink};
pub(super) use document::{Document, Group, Leaf, Meta, Resources};
pub(super) use font::{Align, Fonts, Style};
use text::{literal, text_string};
