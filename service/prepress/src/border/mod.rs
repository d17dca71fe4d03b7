//! Grows a solid border around art, in millimetres, and makes it safe to peel.
//!
//! In: the art's edge and what was ordered. Out: the bordered shape, and what was done to it. All of it happens on a grid
//! of distances that is fixed by tolerance (see `grid`), so the picture's size does not matter.
//!
//! 1. The art is grown by the border **and** the inside radius (level line of the exact distance, with its inside corners
//!    where they are, see `notches`).
//! 2. Floating parts within reach are bridged, amid where they are close; those that nearly touch get a stitch, and step 3
//!    sees to their width. Holes are filled or kept.
//! 3. Places narrower than the minimum width get discs of half that width along their medial axis,
//!    but for tips that taper out of a body: nothing tears there.
//! 4. Where the border is hardly wider than the outside radius or thinner, corners are rounded outward; what that joins gets
//!    its width too. If the border makes them round enough by itself, nothing is joined for it.
//! 5. The shape is shrunk by the inside radius. Growing first and shrinking last is a closing (Serra 1982, "Image analysis
//!    and mathematical morphology", II.C): every inside corner turns at least that radius, and nothing of the border is
//!    lost. Steps 2 to 4 happen in between, so their own inside corners are rounded too, and hairlines stay wide enough for
//!    the grid.
//! 6. Shallow dents between the waves of ragged art are filled, by at most a tenth of the border, and where the steps above
//!    moved the line by as much again, 0.1 mm at most (see `dents`).
//!
//! Guarantees, on grids that are not rough: a disc of radius r becomes one of r + d within 0.01 mm; the border is nowhere
//! less than asked by more than 0.02 mm, and more only where steps 2 to 6 ask for it. Left to others: fitting curves
//! (`cutline`), judging what was done (`preflight`).

mod corners;
mod dents;
mod edges;
mod field;
mod grid;
mod medial;
mod near;
mod notches;
mod parts;
mod shape;
mod straight;
mod strip;
mod taper;
mod trace;
mod winding;

#[cfg(test)]
mod tests;

use crate::cancel::Cancel;
use crate::fault::Fault;
use crate::geom::{Affine, Point, Rect, Region};
use crate::order::{Cutting, HolesKept, Parts};
use crate::units::Mm;

/// How a border is grown.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Growth {
    /// Border around the art; zero keeps the art's own edge.
    pub border: Mm,
    /// Which holes stay open.
    pub keep_holes_wider_than: HolesKept,
    /// What is done with floating parts.
    pub parts: Parts,
    /// Limits of blade and hand.
    pub cutting: Cutting,
}

/// A bridge between two parts.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bridge {
    /// One end.
    pub from: Point,
    /// Other end.
    pub to: Point,
}

/// A place that was thickened.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Thickening {
    /// Its middle.
    pub at: Point,
    /// How narrow it was.
    pub width_before: Mm,
}

/// Art with its border, and what was done.
#[derive(Clone, Debug, PartialEq)]
pub struct Grown {
    /// The bordered shape: every part, kept holes as holes.
    pub region: Region,
    /// Parts of the art itself, specks apart, and apart from what lies in filled holes.
    pub art_parts: usize,
    /// Parts of `region`. More than one only where parts are out of reach (or `SetAside` forbade bridging); the caller
    /// decides what that means.
    pub parts: usize,
    /// Bridges built, from the art's edge to the art's edge, amid where two parts are close: up to 0.2 mm longer than the gap at
    /// the closest place, by which the reach is measured.
    pub bridges: Vec<Bridge>,
    /// Places thickened: one for each thin stretch, at its narrowest.
    pub thickenings: Vec<Thickening>,
    /// Narrowest place of the bordered shape before thickening; `None` when wider than could matter: over twice the
    /// minimum width, and over 3 mm.
    pub thinnest: Option<Mm>,
    /// The boxes of specks left out.
    pub specks: Vec<Rect>,
    /// The cutting radius rounded the border outward by more than 0.05 mm somewhere although no border was there to hide
    /// it (border thinner than the radius).
    pub radius_wins: bool,
}

impl Grown {
    /// Moved, or scaled by a hair: widths and counts stay as they are.
    pub(crate) fn transformed(&self, by: Affine) -> Grown {
        let bridge = |bridge: &Bridge| Bridge { from: by * bridge.from, to: by * bridge.to };
        let thickening = |place: &Thickening| Thickening { at: by * place.at, ..*place };
        Grown {
            region: self.region.transformed(by),
            bridges: self.bridges.iter().map(bridge).collect(),
            thickenings: self.thickenings.iter().map(thickening).collect(),
            specks: self.specks.iter().map(|speck| by.transform_rect_bbox(*speck)).collect(),
            ..*self
        }
    }
}

/// Grows the border: the art's edge (mm) in, the bordered shape out. Costs time with the area in the band around the edge,
/// not with the number of its points.
///
/// # Errors
/// `run.cancelled`; `art.blank` when nothing but specks is left; `order.not_finite`; `size.too_large` over 200 m.
pub fn grow(art: &Region, growth: &Growth, cancel: &Cancel) -> Result<Grown, Fault> {
    shape::grow(art, growth, cancel)
}

/// The box of what [`grow`] makes, in a tenth of its time: good to about 0.1 mm, but where a thin place comes and goes with
/// less.
///
/// # Errors
/// As [`grow`].
pub(crate) fn rough_bounds(art: &Region, growth: &Growth, cancel: &Cancel) -> Result<Rect, Fault> {
    shape::rough_bounds(art, growth, cancel)
}
