//! A sheet with everything that is printed and cut on it, in sheet millimetres.

use std::sync::Arc;

use crate::frame::Frame;
use crate::geom::{BezPath, CutLine, Pose};
use crate::order::Stock;
use crate::sticker::Sticker;
use crate::units::Mm;

/// One physical sticker on a sheet.
#[derive(Clone, Debug)]
pub struct Placement {
    /// From 1 on each sheet.
    pub placement: u32,
    /// The order; `None` for fillers.
    pub order: Option<String>,
    /// The item.
    pub item: Option<String>,
    /// Copy number.
    pub copy: u32,
    /// The contract's word for the product.
    pub product: &'static str,
    /// A shop's own sticker in an offcut.
    pub filler: bool,
    /// Where it stands.
    pub pose: Pose,
    /// What it is.
    pub sticker: Arc<Sticker>,
    /// The item's tags.
    pub tags: Vec<String>,
    /// Where neighbours stand closer than their bleeds reach: the area in sheet millimetres that this placement may print
    /// on. `None`: all of it.
    pub clip: Option<BezPath>,
}

/// One sheet, or one length of roll.
#[derive(Clone, Debug)]
pub struct Sheet {
    /// From 1, over the whole run.
    pub number: u32,
    /// Sheets in the run.
    pub of: u32,
    /// The run's name.
    pub run: String,
    /// The run's date.
    pub date: Option<String>,
    /// Its stock.
    pub stock: Arc<Stock>,
    /// The fixed parts, cut to length on a roll.
    pub frame: Frame,
    /// What stands on it.
    pub placements: Vec<Placement>,
}

impl Sheet {
    /// Its folder in the run: `sheet-001`.
    pub fn folder(&self) -> String {
        format!("sheet-{:03}", self.number)
    }

    /// From the window's feed side to the farthest outermost line.
    pub fn used_length(&self) -> Mm {
        unimplemented!()
    }

    /// Area inside outermost lines, holes not subtracted, mm².
    pub fn placed_area_mm2(&self) -> f64 {
        self.placements.iter().map(|placement| placement.sticker.area_mm2).sum()
    }
}

/// A cut line on the sheet with what its path in the SVG says.
#[derive(Clone, Debug)]
pub struct SheetCut<'a> {
    /// `p1-kiss`, `p1-through-2`, …
    pub id: String,
    /// Whose it is.
    pub placement: &'a Placement,
    /// The piece of a sticker sheet.
    pub piece: Option<&'a str>,
    /// In sheet millimetres.
    pub line: CutLine,
}

/// What is printed beside stickers, in 100 % black: filled paths in sheet millimetres.
#[derive(Clone, Debug)]
pub struct Furniture {
    /// Register marks.
    pub marks: Vec<BezPath>,
    /// Label text, QR code, scale bars and their lettering.
    pub lettering: Vec<BezPath>,
}

impl Sheet {
    /// Marks, label, QR code and scale bars.
    pub fn furniture(&self) -> Furniture {
        unimplemented!()
    }

    /// Every cut of the sheet in cutting order: all kiss cuts, then all through cuts, inner before outer, those far from
    /// the feed edge first.
    pub fn cuts(&self) -> (Vec<SheetCut<'_>>, Vec<SheetCut<'_>>) {
        unimplemented!()
    }
}

/// Where the gutter is under twice the bleed, clips what each placement prints on the middle line to its near neighbours.
pub fn clip_bleeds(_placements: &mut [Placement], _gutter: Mm) {
    unimplemented!()
}
