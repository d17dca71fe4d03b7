//! Fits art and lines to the size ordered: the finished sticker's geometry, before any pixel is printed.
//!
//! In: a cut-out (edge in pixels), the design or product, the stock. Out: where the art lands and the kiss and through
//! lines, in the sticker's frame: millimetres, origin at the centre of the outermost line's bounding box.
//! Guarantees the finished size within 0.1 mm of the order.

use crate::border::Grown;
use crate::cancel::Cancel;
use crate::fault::Fault;
use crate::geom::{Affine, CutLine, Rect};
use crate::order::{Backing, Design, Stock};
use crate::silhouette::CutOut;
use crate::units::Mm;

/// The lines of one finished sticker.
#[derive(Clone, Debug)]
pub struct Outlined {
    /// From the cut-out's pixels to the sticker's millimetres: scale and move only.
    pub art_to_mm: Affine,
    /// Kiss cuts: the outermost of each part first, then kept holes. Empty for a die cut.
    pub kiss: Vec<CutLine>,
    /// Through cuts, likewise.
    pub through: Vec<CutLine>,
    /// How many of the through (die cut) or kiss (kiss cut) lines are outermost lines of parts; the rest are kept holes.
    pub outer_lines: usize,
    /// With `art_fit: cover`: the line by which the art is cropped.
    pub crop: Option<CutLine>,
    /// The finished size: of the kiss cut for a kiss cut, else of the outermost line.
    pub finished_width: Mm,
    /// See `finished_width`.
    pub finished_height: Mm,
    /// Box of the outermost line.
    pub overall: Rect,
    /// What the border did; `None` for geometric shapes.
    pub grown: Option<Grown>,
}

/// Fits a design; `backing` makes it a kiss cut.
///
/// # Errors
/// `size.too_small`, `shape.parts`, `cutline.broken`, `run.cancelled`.
pub fn fit(
    _cut_out: &CutOut,
    _design: &Design,
    _backing: Option<&Backing>,
    _stock: &Stock,
    _cancel: &Cancel,
) -> Result<Outlined, Fault> {
    unimplemented!()
}
