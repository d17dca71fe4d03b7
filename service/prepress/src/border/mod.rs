//! Grows a solid border around art, in millimetres, and makes it safe to peel.

use crate::cancel::Cancel;
use crate::fault::Fault;
use crate::geom::{Point, Region};
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
    /// Parts of the art itself, specks apart.
    pub art_parts: usize,
    /// Parts of `region`. More than one only where parts are out of reach (or `SetAside` forbade bridging); the caller
    /// decides what that means.
    pub parts: usize,
    /// Bridges built.
    pub bridges: Vec<Bridge>,
    /// Places thickened: one for each thin stretch, at its narrowest.
    pub thickenings: Vec<Thickening>,
    /// Narrowest place of the bordered shape before thickening; `None` when wider than could matter.
    pub thinnest: Option<Mm>,
    /// Specks left out.
    pub specks: usize,
    /// The cutting radius rounded the border outward by more than 0.05 mm somewhere although no border was there to hide
    /// it (border thinner than the radius).
    pub radius_wins: bool,
}

/// Grows the border: the art's edge (mm) in, the bordered shape out.
///
/// # Errors
/// `run.cancelled`; `art.blank` when nothing but specks is left.
pub fn grow(_art: &Region, _growth: &Growth, _cancel: &Cancel) -> Result<Grown, Fault> {
    unimplemented!()
}
