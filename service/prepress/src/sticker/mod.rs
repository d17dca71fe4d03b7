//! What is printed and cut for one finished sticker.
//!
//! The frame of a sticker: millimetres, y down, upright, origin at the centre of the outermost line's bounding box.

mod plane;

use std::sync::Arc;

pub use plane::Plane;

use crate::cancel::Cancel;
use crate::fault::Fault;
use crate::geom::{Affine, CutLine, Pose, Rect, Ring};
use crate::order::{Backing, Design, Page, Stock};
use crate::outline::Outlined;
use crate::silhouette::CutOut;
use crate::units::{Mm, Ppi};

/// A printed picture, compressed once and embedded as it is.
#[derive(Clone, Debug)]
pub struct Print {
    /// Width.
    pub width_px: u32,
    /// Height.
    pub height_px: u32,
    /// Its resolution.
    pub ppi: Ppi,
    /// RGB, three channels. Colour under transparent pixels is the nearest edge colour, so that resampling shows no rim.
    pub colour: Plane,
    /// Alpha, one channel.
    pub alpha: Plane,
    /// White ink coverage, one channel; only on clear and metallic stock.
    pub white: Option<Plane>,
}

/// A picture in a sticker's frame.
#[derive(Clone, Debug)]
pub struct PlacedPrint {
    /// The picture; several places may share one.
    pub print: Arc<Print>,
    /// From the picture's pixels (x right, y down, (0, 0) its top-left corner) to the sticker's millimetres.
    pub to_mm: Affine,
}

/// A cut line with the piece it belongs to.
#[derive(Clone, Debug)]
pub struct Cut {
    /// The line.
    pub line: CutLine,
    /// On a sticker sheet, the piece's id.
    pub piece: Option<String>,
}

/// A finished sticker, upright.
#[derive(Clone, Debug)]
pub struct Sticker {
    /// Kiss cuts.
    pub kiss: Vec<Cut>,
    /// Through cuts.
    pub through: Vec<Cut>,
    /// The outermost line of each part, as polylines within 0.005 mm of the true line: what ganging keeps apart.
    pub outermost: Vec<Ring>,
    /// What is printed, in painting order.
    pub prints: Vec<PlacedPrint>,
    /// How far print reaches past the outermost line: the stock's bleed, or zero where nothing is printed there.
    pub reach: Mm,
    /// Box of the outermost lines, centred on the origin.
    pub overall: Rect,
    /// Finished width, of the kiss cut for a kiss cut.
    pub finished_width: Mm,
    /// Finished height.
    pub finished_height: Mm,
    /// Area inside the outermost lines, holes not subtracted.
    pub area_mm2: f64,
}

/// Makes the sticker of a fitted design (`backing` as given to [`crate::outline::fit`]).
///
/// # Errors
/// `run.cancelled`.
pub fn make(
    _cut_out: &CutOut,
    _outlined: &Outlined,
    _design: &Design,
    _backing: Option<&Backing>,
    _stock: &Stock,
    _cancel: &Cancel,
) -> Result<Sticker, Fault> {
    unimplemented!()
}

/// A piece where it stands on its page.
#[derive(Clone, Debug)]
pub struct PlacedPiece {
    /// The piece's id.
    pub piece: String,
    /// The piece, made as a die cut of its own.
    pub sticker: Arc<Sticker>,
    /// In the page's frame: origin at its centre.
    pub pose: Pose,
}

/// Makes a sticker sheet of its pieces: their through lines become kiss cuts, the page's edge is the through cut.
pub fn assemble_page(_page: &Page, _pieces: &[PlacedPiece]) -> Sticker {
    unimplemented!()
}
