//! Closed Bézier paths that a blade can follow: contours fitted to a region, and exact geometric shapes.

use crate::cancel::Cancel;
use crate::fault::Fault;
use crate::geom::{CutLine, Point, Region};
use crate::order::Cutting;
use crate::units::Mm;

/// Fits one closed path to each ring of a region, within 0.05 mm of it: the outermost first, then the others by area,
/// falling.
///
/// # Errors
/// `cutline.broken` when a promise cannot be kept, `run.cancelled`.
pub fn draw(_region: &Region, _cutting: &Cutting, _cancel: &Cancel) -> Result<Vec<CutLine>, Fault> {
    unimplemented!()
}

/// An axis-parallel rectangle with corners of a radius (zero: sharp), centred on a point.
pub fn rounded_rectangle(_centre: Point, _width: Mm, _height: Mm, _corner_radius: Mm) -> CutLine {
    unimplemented!()
}

/// An ellipse (equal sides: a circle) centred on a point.
pub fn ellipse(_centre: Point, _width: Mm, _height: Mm) -> CutLine {
    unimplemented!()
}
