//! The only place that decides what is art and what is ground.
//!
//! In: an [`Artwork`] and the backdrop options. Out: a [`CutOut`], whose alpha is the anti-aliased coverage and whose edge
//! is its 50 % iso-line at sub-pixel accuracy.

use std::sync::Arc;

use image::RgbaImage;

use crate::cancel::Cancel;
use crate::fault::Fault;
use crate::finding::Place;
use crate::geom::Region;
use crate::intake::Artwork;
use crate::order::Backdrop;

/// What became of the backdrop.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum BackdropFound {
    /// The picture has transparency of its own.
    None,
    /// Opaque backdrop, removed.
    Removed,
    /// Opaque, left as it is by order.
    Kept,
    /// Opaque, and could not be told apart from the art for sure: left as it is.
    CannotTell,
}

impl BackdropFound {
    /// The contract's word.
    pub fn word(self) -> &'static str {
        match self {
            BackdropFound::None => "none",
            BackdropFound::Removed => "removed",
            BackdropFound::Kept => "kept",
            BackdropFound::CannotTell => "cannot_tell",
        }
    }
}

/// Art without its ground.
#[derive(Clone, Debug)]
pub struct CutOut {
    /// Straight alpha, cropped to nothing: same size as the artwork.
    pub pixels: Arc<RgbaImage>,
    /// The 50 % iso-line of alpha in pixel coordinates: the centre of the top-left pixel is (0.5, 0.5). Outer rings and
    /// holes. Outside the canvas counts as transparent, so art that touches the canvas edge ends there straight.
    pub edge: Region,
    /// The box of the edge, in whole pixels.
    pub visible: Place,
    /// What became of the backdrop.
    pub backdrop: BackdropFound,
}

/// Separates art from ground.
///
/// # Errors
/// `art.blank` when nothing is left, `run.cancelled`.
pub fn cut_out(_artwork: &Artwork, _order: Backdrop, _cancel: &Cancel) -> Result<CutOut, Fault> {
    unimplemented!()
}
