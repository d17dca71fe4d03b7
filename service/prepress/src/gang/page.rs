//! Arranges the pieces of a sticker sheet on its page, upright or nearly so, and fills the gaps with smaller copies.

use crate::cancel::Cancel;
use crate::fault::Fault;
use crate::geom::{Pose, Ring};
use crate::units::Mm;

/// One size of one piece.
#[derive(Clone, Debug)]
pub struct PagePiece {
    /// True outermost lines in the piece's own frame.
    pub outermost: Vec<Ring>,
    /// Copies that must be placed; 0 for the smaller sizes that fill gaps.
    pub copies: u32,
    /// Whether more than `copies` may be placed to fill gaps.
    pub fills: bool,
}

/// A page to arrange.
#[derive(Clone, Debug)]
pub struct PagePlan {
    /// Width of the page.
    pub width: Mm,
    /// Height of the page.
    pub height: Mm,
    /// Radius of its corners.
    pub corner_radius: Mm,
    /// Between kiss-cut lines.
    pub gap: Mm,
    /// From kiss-cut lines to the page's edge.
    pub edge: Mm,
    /// Every size of every piece.
    pub pieces: Vec<PagePiece>,
}

/// Places every required copy, then fills. Poses are in the page's frame: origin at the page's centre. A function of the
/// plan alone.
///
/// # Errors
/// `page.full` with a page size that would hold the required copies, `run.cancelled`.
pub fn arrange_page(_plan: &PagePlan, _cancel: &Cancel) -> Result<Vec<(usize, Pose)>, Fault> {
    unimplemented!()
}
