//! The only place that decides what is art and what is ground.
//!
//! In: an [`Artwork`] and the backdrop options. Out: a [`CutOut`], whose alpha is the anti-aliased coverage and whose edge
//! is its 50 % iso-line at sub-pixel accuracy, with sharp tips put back to where they end.

mod band;
mod bits;
mod checker;
mod frame_fit;
mod ground;
mod hairline;
mod judge;
pub(crate) mod oklab;
mod pale;
mod plane;
mod pocket;
mod removal;
mod stroke_end;
mod tiles;
mod tips;
mod trace;
mod unmix;
mod values;
mod veil;
mod white_rim;
mod window;

#[cfg(test)]
mod tests;

use std::sync::Arc;

use image::RgbaImage;

use crate::cancel::Cancel;
use crate::fault::Fault;
use crate::finding::Place;
use crate::geom::Region;
use crate::intake::Artwork;
use crate::order::Backdrop;

/// Alpha below which a pixel counts towards transparency of the picture's own: a little under opaque, for resampled and
/// lossy edges. Common practice, no source.
const TRANSPARENT_BELOW: u8 = 250;

/// Share of such pixels from which on the picture has transparency of its own. Less is a stray pixel, or the softened
/// corners of a window's picture: no cut-out of a sticker leaves so little around it. Common practice, no source.
const OWN_TRANSPARENCY_SHARE: f64 = 0.001;

/// Alpha of visible pixels that are not solid, 2 to 60 % (design, `transparency.haze`).
pub(crate) const TRANSLUCENT: std::ops::RangeInclusive<u8> = 6..=153;

/// Half of full coverage. No alpha is on it, so the line passes between pixels.
const HALF_COVERED: f64 = 127.5;

/// Alpha that nobody sees: a picture with no more than this is blank. 5 %. Common practice, no source.
const INVISIBLE_ALPHA: u8 = 12;

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
    /// An opaque grey chequerboard where transparency was meant, removed.
    CheckerRemoved,
    /// An opaque grey chequerboard that could not be told apart from the art for sure: left as it is.
    CheckerCannotTell,
}

impl BackdropFound {
    /// The contract's word.
    pub fn word(self) -> &'static str {
        match self {
            BackdropFound::None => "none",
            BackdropFound::Removed | BackdropFound::CheckerRemoved => "removed",
            BackdropFound::Kept => "kept",
            BackdropFound::CannotTell | BackdropFound::CheckerCannotTell => "cannot_tell",
        }
    }
}

/// Art without its ground.
#[derive(Clone, Debug)]
pub struct CutOut {
    /// Straight alpha, cropped to nothing: same size as the artwork.
    pub pixels: Arc<RgbaImage>,
    /// The 50 % iso-line of alpha, tips and small pale parts apart, in pixel coordinates: the centre of the top-left pixel is (0.5, 0.5). Outer
    /// rings and holes. Outside the canvas counts as transparent, so art that touches the canvas edge ends there straight.
    pub edge: Region,
    /// The box of the edge, in whole pixels.
    pub visible: Place,
    /// What became of the backdrop.
    pub backdrop: BackdropFound,
    /// Share of the visible pixels that are translucent, 2 to 60 %.
    pub translucent_share: f64,
}

/// Separates art from ground.
///
/// A picture with transparency of its own keeps its alpha. Of an opaque one the backdrop is removed as ordered: with
/// `auto` only when most of the canvas's edge is one even or evenly varying colour, or a chequerboard of greys. Where a
/// backdrop that is neither white nor black shows through holes it goes too. Art that is itself translucent over a
/// backdrop cannot be told from it and stays opaque.
///
/// Strokes thinner than half a pixel stay where they hang on to heavier art, about half a pixel wide; their alpha in
/// `pixels` stays as it is.
///
/// Where alpha nowhere reaches 50 % (a watermark, a glow), the line is at half of the largest alpha instead; around a small
/// part that stands alone and is even, but not solid, at half of its own.
///
/// # Errors
/// `art.blank` when nothing is left, `run.cancelled`.
pub fn cut_out(artwork: &Artwork, order: Backdrop, cancel: &Cancel) -> Result<CutOut, Fault> {
    let mut pixels = Arc::clone(&artwork.pixels);
    let mut plane = plane::Plane::of(&artwork.pixels, cancel)?;
    let largest_alpha = plane.counts.largest;
    if largest_alpha <= INVISIBLE_ALPHA {
        return Err(Fault::ArtBlank);
    }
    let reaches_half = f64::from(largest_alpha) > HALF_COVERED;
    let threshold = if reaches_half { HALF_COVERED } else { (f64::from(largest_alpha) / 2.0).floor() + 0.5 };
    let has_transparency =
        plane.counts.transparent as f64 >= OWN_TRANSPARENCY_SHARE * (plane.width * plane.height) as f64;
    let backdrop = if has_transparency { BackdropFound::None } else { removal::remove(&mut pixels, order, cancel)? };
    if !Arc::ptr_eq(&pixels, &artwork.pixels) {
        plane = plane::Plane::of(&pixels, cancel)?;
    }
    if reaches_half {
        pale::scale(&mut plane, cancel)?;
    }
    // Compression noise around a removed backdrop looks like strokes; there, thin strokes were never thinned by alpha.
    if reaches_half && backdrop == BackdropFound::None {
        hairline::keep(&mut plane, cancel)?;
    }
    let rings = trace::trace(&plane, threshold, cancel)?;
    let edge = Region::new(tips::sharpen(&plane, threshold, rings, cancel)?);
    let visible = edge.bounds().map(Place::around).ok_or(Fault::ArtBlank)?;
    let translucent_share = plane.counts.translucent_share();
    Ok(CutOut { pixels, edge, visible, backdrop, translucent_share })
}
