//! Pictures of one finished sticker for the customer: as it will look once it is cut, upright, on a ground.
//!
//! What is printed past the outermost cut is not shown, kept holes show the ground, and a soft shadow outside tells the
//! sticker from it. On stock that is printed in CMYK colours are what its inks show (see `inks`). Nothing here changes what
//! is made. Looks are common practice, no source.

mod inks;
mod raster;
mod shadow;
mod vector;

use base64::Engine;
use base64::engine::general_purpose::STANDARD;

pub use raster::png;
pub use vector::svg;

use crate::geom::{BezPath, Rect};
use crate::order::Ground;
use crate::sticker::{Cut, Sticker};
use crate::units::Mm;

/// Room around the sticker, as a share of its longest side: the shadow and some air.
const MARGIN_SHARE: f64 = 0.07;

/// Width of cut lines, in the sticker's millimetres.
const CUT_LINE: Mm = Mm::of(0.2);

/// Squares of the chequer of see-through stock along the picture's longest side.
const CHEQUERS: f64 = 24.0;

/// Standard base64 (RFC 4648, section 4).
pub fn base64(bytes: &[u8]) -> String {
    STANDARD.encode(bytes)
}

/// What a ground looks like; `None`: alpha.
fn ground(ground: Ground) -> Option<[u8; 3]> {
    match ground {
        Ground::Neutral => Some([226, 223, 218]),
        Ground::Dark => Some([41, 42, 46]),
        Ground::Transparent => None,
    }
}

/// The area that a proof shows, mm.
fn area(sticker: &Sticker) -> Rect {
    let margin = sticker.overall.width().max(sticker.overall.height()) * MARGIN_SHARE;
    sticker.overall.inflate(margin, margin)
}

/// All lines of cuts as one path. Filled by the even-odd rule, through cuts are what is left of a sticker.
fn all_lines(cuts: &[Cut]) -> BezPath {
    cuts.iter().flat_map(|cut| cut.line.path().elements().iter().copied()).collect()
}
