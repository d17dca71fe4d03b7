//! Fits art and lines to the size ordered: the finished sticker's geometry, before any pixel is printed.
//!
//! In: a cut-out (edge in pixels), the design or product, the stock. Out: where the art lands and the kiss and through
//! lines, in the sticker's frame: millimetres, origin at the centre of the outermost line's bounding box.
//! Guarantees the finished size within 0.1 mm of the order.

mod backing;
mod circle;
mod contour;
mod plate;
#[cfg(test)]
pub(crate) mod samples;
mod shapes;

use crate::border::Grown;
use crate::cancel::Cancel;
use crate::fault::Fault;
use crate::geom::{Affine, CutLine, Point, Rect, Region};
use crate::order::{Backing, Colour, Design, Shape, Size, Stock, Thresholds, White};
use crate::silhouette::CutOut;
use crate::units::Mm;

/// Finished sides over this are refused before any grid is made. Larger than any window (a roll's length cut off is at most
/// 5080 mm), so that nothing that fits is lost; grids grow with the square of it.
pub const LARGEST_SIDE: Mm = Mm::of(6000.0);

/// How far flattened lines may leave the true ones, mm. Larger would eat into promised distances, smaller only costs time.
pub(crate) const FLATNESS: Mm = Mm::of(0.005);

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
    /// How far print reaches past the outermost line: the stock's bleed, or zero where nothing is printed there.
    pub reach: Mm,
    /// What the border did; `None` for geometric shapes.
    pub grown: Option<Grown>,
}

/// Art and its own lines, wherever they happen to lie.
struct Drawn {
    art_to_mm: Affine,
    lines: Vec<CutLine>,
    outer_lines: usize,
    crop: Option<CutLine>,
    grown: Option<Grown>,
}

/// The art's edge with its exact box, in pixels.
struct ArtEdge<'a> {
    region: &'a Region,
    bounds: Rect,
}

/// Fits a design; `backing` makes it a kiss cut.
///
/// # Errors
/// `size.too_small`, `size.too_large` over 6,000 mm, `shape.parts`, `art.blank`, `cutline.broken`, `run.cancelled`.
pub fn fit(
    cut_out: &CutOut,
    design: &Design,
    backing: Option<&Backing>,
    stock: &Stock,
    thresholds: &Thresholds,
    cancel: &Cancel,
) -> Result<Outlined, Fault> {
    cancel.check()?;
    let bounds =
        cut_out.edge.bounds().filter(|bounds| bounds.is_finite() && bounds.width() > 0.0 && bounds.height() > 0.0);
    let art = ArtEdge { region: &cut_out.edge, bounds: bounds.ok_or(Fault::ArtBlank)? };
    let least_side = Mm::of(thresholds.least_side_mm);
    refuse_hopeless_order(design, least_side)?;
    let drawn = match design.outline.shape {
        Shape::Contour => contour::fit(&art, design, stock, least_side, cancel)?,
        Shape::Rectangle | Shape::RoundedRectangle { .. } | Shape::Circle | Shape::Ellipse => {
            shapes::fit(&art, design, least_side)?
        }
    };
    let face = box_of(&drawn.lines)?;
    refuse_size(face.width(), face.height(), design.outline.border, least_side)?;
    let through = match backing {
        Some(backing) => backing::around(&drawn, design, backing, stock, cancel)?,
        None => Vec::new(),
    };
    let overall = if backing.is_some() { box_of(&through)? } else { face };
    Ok(centred(drawn, through, overall, face, print_reach(design, backing, stock)))
}

/// Moves everything so that the middle of `overall` is the origin.
fn centred(drawn: Drawn, around: Vec<CutLine>, overall: Rect, face: Rect, reach: Mm) -> Outlined {
    let shift = -overall.center().to_vec2();
    let shifted = |lines: Vec<CutLine>| -> Vec<CutLine> {
        lines.iter().map(|line| line.transformed(Affine::translate(shift))).collect()
    };
    let lines = shifted(drawn.lines);
    let (kiss, through) = if around.is_empty() { (Vec::new(), lines) } else { (lines, shifted(around)) };
    Outlined {
        art_to_mm: Affine::translate(shift) * drawn.art_to_mm,
        kiss,
        through,
        outer_lines: drawn.outer_lines,
        crop: drawn.crop.map(|line| line.transformed(Affine::translate(shift))),
        finished_width: Mm::of(face.width()),
        finished_height: Mm::of(face.height()),
        overall: overall + shift,
        reach,
        grown: drawn.grown.map(|grown| grown.transformed(Affine::translate(shift))),
    }
}

/// The box of all lines.
fn box_of(lines: &[CutLine]) -> Result<Rect, Fault> {
    let bounds = lines.iter().map(CutLine::bounds).reduce(|a, b| a.union(b));
    bounds.filter(Rect::is_finite).ok_or_else(|| Fault::CutLineBroken { reason: "no line was drawn".to_owned() })
}

/// Whether an area in this colour puts ink on the stock: white does not on a white face, and where white ink is printed
/// it does.
pub(crate) fn colour_is_printed(colour: Colour, white: White, stock: &Stock) -> bool {
    let in_white_ink = stock.face.takes_white_ink() && white == White::All;
    colour != Colour::WHITE || in_white_ink
}

/// How far print reaches past the outermost line.
fn print_reach(design: &Design, backing: Option<&Backing>, stock: &Stock) -> Mm {
    let outline = &design.outline;
    let prints = match backing {
        Some(backing) => backing.colour.is_some_and(|colour| colour_is_printed(colour, design.white, stock)),
        None => outline.border <= Mm::ZERO || colour_is_printed(outline.border_colour, design.white, stock),
    };
    if prints { stock.bleed.max(Mm::ZERO) } else { Mm::ZERO }
}

/// Lengths that no art can mend.
fn refuse_hopeless_order(design: &Design, least_side: Mm) -> Result<(), Fault> {
    let (shortest, longest) = match design.size {
        Size::Width(length) | Size::Height(length) | Size::Longest(length) => (length, length),
        Size::Both { width, height } => (width.min(height), width.max(height)),
    };
    refuse_size(shortest.mm(), longest.mm(), design.outline.border, least_side)
}

/// `size.too_small` and `size.too_large` for a finished box.
fn refuse_size(width: f64, height: f64, border: Mm, least_side: Mm) -> Result<(), Fault> {
    if !(width.is_finite() && height.is_finite()) {
        return Err(Fault::NotFinite);
    }
    // A millionth of a millimetre forgives the rounding of a box that was drawn at exactly the limit.
    let (shortest, longest) = (width.min(height), width.max(height));
    if shortest <= 2.0 * border.mm() + 1e-6 {
        return Err(Fault::SizeTooSmall { measured: Mm::of(shortest), limit: border * 2.0 });
    }
    if shortest < least_side.mm() - 1e-6 {
        return Err(Fault::SizeTooSmall { measured: Mm::of(shortest), limit: least_side });
    }
    if longest > LARGEST_SIDE.mm() {
        return Err(Fault::SizeTooLarge { measured: Mm::of(longest), limit: LARGEST_SIDE, would_fit: None });
    }
    Ok(())
}

/// The transform that scales about a point of the picture and sets that point on the origin.
fn about(centre: Point, scale: f64) -> Affine {
    Affine::scale(scale) * Affine::translate(-centre.to_vec2())
}

#[cfg(test)]
mod tests;
