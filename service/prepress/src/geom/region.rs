//! An area bounded by rings.

use super::{Affine, Rect, Ring};

/// An area of the plane: outer rings run clockwise as seen with y down (positive [`Ring::signed_area`]), holes the other
/// way. Rings do not cross.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Region {
    /// Outer rings and holes, in no particular order.
    pub rings: Vec<Ring>,
}

impl Region {
    /// From rings whose direction already says outer or hole.
    pub fn new(rings: Vec<Ring>) -> Region {
        Region { rings }
    }

    /// The outer rings.
    pub fn outer(&self) -> impl Iterator<Item = &Ring> {
        self.rings.iter().filter(|ring| ring.signed_area() > 0.0)
    }

    /// The holes.
    pub fn holes(&self) -> impl Iterator<Item = &Ring> {
        self.rings.iter().filter(|ring| ring.signed_area() < 0.0)
    }

    /// Area with holes subtracted, mm².
    pub fn area_mm2(&self) -> f64 {
        self.rings.iter().map(Ring::signed_area).sum()
    }

    /// Bounding box; `None` when there is no ring.
    pub fn bounds(&self) -> Option<Rect> {
        self.rings.iter().map(Ring::bounds).reduce(|a, b| a.union(b))
    }

    /// Every ring moved by a transform that keeps orientation.
    #[must_use]
    pub fn transformed(&self, transform: Affine) -> Region {
        Region { rings: self.rings.iter().map(|ring| ring.transformed(transform)).collect() }
    }
}
