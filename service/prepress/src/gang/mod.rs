//! Places copies on sheets and rolls: true shapes, free rotation, nothing nearer than the gutter. Also arranges the pieces
//! of a sticker sheet on their page.
//!
//! In: outlines in mm about their own origins, numbers of copies, a frame. Out: a pose for every copy, or why it has none.
//! Guaranteed, by a last gate on true outlines in double precision: the gutter between outermost lines, the window and the
//! free zones with each sticker's bleed, and that no copy is lost or invented. Aimed at: few sheets, then a short last one.
//!
//! How: a lot alone stands in rows of its best periodic pattern, in blocks of boxes or in rows of discs (`lattice`, `lone`);
//! a lot of a mix that fills whole containers better alone takes those first (`choose`). Of the rest every outline, grown by
//! half the gutter, is drawn into cells so that no cell that it touches is left out; a container is a map of bits, and a part
//! goes where it touches most among the free places near the feed edge, in many rotations (`fill`). Exact slides take up the
//! slack of the cells (`settle`). Containers are filled one after another, several tries each, and several whole layouts are
//! compared (`plan`). Above `draft` a guided separation then shortens what the map made (`improve`, `separate`). Copies are
//! given to orders after the geometry (`assign`). The sources of each method stand with it.

mod assign;
mod body;
mod choose;
mod feed;
mod fill;
mod fit;
mod gate;
mod improve;
mod lattice;
mod lone;
mod map;
mod mask;
mod nest;
mod page;
mod part;
mod pick;
mod plan;
mod rng;
mod separate;
mod settle;
#[cfg(test)]
mod tests;

pub use page::{PagePiece, PagePlan, arrange_page, check_page};

use crate::cancel::Cancel;
use crate::fault::Fault;
use crate::frame::Frame;
use crate::geom::{Pose, Ring};
use crate::order::{Effort, FeedEdge, Rotate, Stock};
use crate::units::Mm;

/// One design in a number of copies.
#[derive(Clone, Debug)]
pub struct Lot {
    /// True outermost lines in the sticker's frame.
    pub outermost: Vec<Ring>,
    /// Print past the outermost line, which must stay inside the window and out of keep-outs.
    pub reach: Mm,
    /// How it may be turned.
    pub rotate: Rotate,
    /// Who wants copies. All interchangeable.
    pub claims: Vec<Claim>,
    /// Fillers are placed after all others and open no sheet and no length of roll.
    pub filler: bool,
}

/// Copies of a lot for one item of one order.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Claim {
    /// The caller's number of the order: claims with one number belong together.
    pub order: usize,
    /// The caller's number of the item.
    pub item: usize,
    /// How many copies.
    pub copies: u32,
    /// Sorts as text; earlier goes on earlier sheets.
    pub due: Option<String>,
}

/// What is laid out: one stock.
#[derive(Clone)]
pub struct Nesting<'a> {
    /// The forme.
    pub frame: &'a Frame,
    /// Whether the container is a roll: one long container, then the next.
    pub roll: bool,
    /// Where the used length counts from.
    pub feed_edge: FeedEdge,
    /// Least distance between outermost lines.
    pub gutter: Mm,
    /// The lots.
    pub lots: Vec<Lot>,
    /// Amount of work.
    pub effort: Effort,
    /// Optional hard stop: returns true when improvement must end. A complete layout is always made first.
    pub out_of_time: &'a (dyn Fn() -> bool + Sync),
    /// Seed.
    pub seed: u64,
    /// Assign copies so that orders touch few sheets.
    pub keep_orders_together: bool,
}

/// A copy on a sheet.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Placed {
    /// Index of the lot.
    pub lot: usize,
    /// Index of the claim in the lot.
    pub claim: usize,
    /// Copy number within the claim, from 1.
    pub copy: u32,
    /// Where, already rounded ([`Pose::rounded`]).
    pub pose: Pose,
}

/// Copies that found no place.
#[derive(Clone, Debug)]
pub struct Unplaced {
    /// Index of the lot.
    pub lot: usize,
    /// Index of the claim in the lot.
    pub claim: usize,
    /// Copy numbers.
    pub copies: Vec<u32>,
    /// Why: `size.too_large`. `None` for fillers that found no room.
    pub fault: Option<FaultTooLarge>,
}

/// A sticker larger than the window.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FaultTooLarge {
    /// The side that does not fit, bleed included.
    pub measured: Mm,
    /// What the window has.
    pub limit: Mm,
    /// By which factor the sticker would have to shrink to fit, under 1.
    pub shrink: f64,
}

/// A layout, checked on true outlines in double precision.
#[derive(Clone, Debug)]
pub struct Layout {
    /// For each sheet (or length of roll) what stands on it, in reading order from the feed edge.
    pub sheets: Vec<Vec<Placed>>,
    /// What found no place.
    pub unplaced: Vec<Unplaced>,
    /// `out_of_time` said stop.
    pub stopped_early: bool,
}

/// By how much a sticker is too large for an empty frame in every rotation that it may have; `None` when it fits.
pub fn too_large(frame: &Frame, stock: &Stock, rotate: Rotate, outermost: &[Ring], reach: Mm) -> Option<FaultTooLarge> {
    fit::too_large(frame, stock, rotate, outermost, reach)
}

/// Progress of a nesting: 0 to 1.
pub type Progress<'a> = &'a (dyn Fn(f64) + Sync);

/// Nests all lots of one stock.
///
/// The geometry follows from outlines and numbers alone: names and the order of lots do not change it. The same on any
/// number of threads, unless `out_of_time` stops it early.
///
/// # Errors
/// `order.not_finite` for outlines or lengths that are not finite, or longer than any sheet (1e8 mm); `gang.layout_broken` when the last gate fails and repair
/// does not help (our fault); `run.cancelled`.
pub fn nest(nesting: &Nesting<'_>, progress: Progress<'_>, cancel: &Cancel) -> Result<Layout, Fault> {
    nest::nest(nesting, progress, cancel)
}
