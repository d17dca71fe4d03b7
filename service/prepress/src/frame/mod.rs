//! The fixed parts of a sheet or length of roll, before any sticker is placed: the window, the register marks with their
//! clear zones, where label and scale bars stand.
//!
//! All in sheet coordinates: millimetres, origin at the sheet's top-left corner, y down.

use crate::fault::Fault;
use crate::geom::{Point, Rect};
use crate::order::Stock;
use crate::units::Mm;

/// A register mark.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Mark {
    /// Centre of the disc.
    pub centre: Point,
    /// Diameter of the disc.
    pub diameter: Mm,
    /// Clear zone around the disc's edge.
    pub clear: Mm,
}

/// A scale bar: a line with end ticks, axis-parallel, with its length lettered beside it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ScaleBar {
    /// One end.
    pub from: Point,
    /// Other end: exactly `length` away.
    pub to: Point,
    /// 100 mm, or as long as fits.
    pub length: Mm,
}

/// Where the label stands.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LabelBox {
    /// Its box on the sheet.
    pub area: Rect,
    /// Text runs along x for 0, and is turned clockwise by quarter turns for a label in a side margin.
    pub rotation_deg: f64,
}

/// What no sticker's print or cut may touch, though inside the window.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum KeepOut {
    /// A mark's disc with its clear zone.
    Disc {
        /// Centre.
        centre: Point,
        /// Radius, clear zone included.
        radius: Mm,
    },
    /// A band across a roll, or any other box.
    Box(Rect),
}

/// The forme that stickers are locked into.
#[derive(Clone, Debug, PartialEq)]
pub struct Frame {
    /// Width of the sheet or roll.
    pub width: Mm,
    /// Height of the sheet; of a roll, the longest length.
    pub height: Mm,
    /// Where cut lines and bleeds must stay.
    pub window: Rect,
    /// Free zones in the window.
    pub keep_outs: Vec<KeepOut>,
    /// Register marks. On a roll: those of a length used in full; [`Frame::cut_to`] gives the ones that a shorter length has.
    pub marks: Vec<Mark>,
    /// Scale bars; empty with `label: none`.
    pub scale_bars: Vec<ScaleBar>,
    /// The label; `None` with `label: none`.
    pub label: Option<LabelBox>,
}

impl Frame {
    /// The frame of a length of roll that is cut off after `used` of its window (measured from the window's feed side). For
    /// a sheet, the frame unchanged.
    #[must_use]
    pub fn cut_to(&self, _stock: &Stock, _used: Mm) -> Frame {
        unimplemented!()
    }
}

/// Lays out the frame of a stock.
///
/// # Errors
/// `stock.broken`: a margin under `unprintable_mm`, or with marks under `unprintable_mm` + diameter; a mark outside the
/// printable area; no window left. It says the margin needed.
pub fn lay_out(_stock: &Stock) -> Result<Frame, Fault> {
    unimplemented!()
}
