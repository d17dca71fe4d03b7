//! A sheet with everything that is printed and cut on it, in sheet millimetres.

mod clips;
mod cuts;
mod furniture;
pub(crate) mod qr;

use std::sync::Arc;

pub use clips::clip_bleeds;
pub use furniture::SCALE_BAR_LINE;

use crate::frame::Frame;
use crate::geom::{Affine, BezPath, CutLine, Pose, Rect, Ring};
use crate::order::{FeedEdge, Stock};
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

impl Placement {
    /// Box of its outermost lines on the sheet.
    pub fn bounds(&self) -> Rect {
        let transform = self.pose.to_affine();
        let rings = self.sticker.outermost.iter();
        let on_sheet = rings.map(|ring| ring_bounds(ring, transform)).reduce(|a, b| a.union(b));
        on_sheet.unwrap_or_else(|| Rect::from_points(self.pose.origin(), self.pose.origin()))
    }
}

/// Box of a ring after a transform.
fn ring_bounds(ring: &Ring, transform: Affine) -> Rect {
    let mut points = ring.points().iter().map(|point| transform * *point);
    let start = points.next().unwrap_or_default();
    points.fold(Rect::from_points(start, start), |bounds, point| bounds.union_pt(point))
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

/// What is printed beside stickers, in 100 % black: filled paths (nonzero winding) in sheet millimetres.
#[derive(Clone, Debug)]
pub struct Furniture {
    /// Register marks.
    pub marks: Vec<BezPath>,
    /// Label text, QR code, scale bars and their lettering.
    pub lettering: Vec<BezPath>,
}

impl Sheet {
    /// Its folder in the run: `sheet-001`.
    pub fn folder(&self) -> String {
        format!("sheet-{:03}", self.number)
    }

    /// From the window's feed side to the farthest outermost line; nothing on an empty sheet.
    pub fn used_length(&self) -> Mm {
        let window = self.frame.window;
        let reach = |bounds: Rect| match self.stock.feed_edge {
            FeedEdge::Top => bounds.y1 - window.y0,
            FeedEdge::Right => window.x1 - bounds.x0,
            FeedEdge::Bottom => window.y1 - bounds.y0,
            FeedEdge::Left => bounds.x1 - window.x0,
        };
        let lengths = self.placements.iter().map(|placement| reach(placement.bounds()));
        Mm::of(lengths.fold(0.0, f64::max))
    }

    /// Area inside outermost lines, holes not subtracted, mm².
    pub fn placed_area_mm2(&self) -> f64 {
        self.placements.iter().map(|placement| placement.sticker.area_mm2).sum()
    }

    /// Marks, label, QR code and scale bars.
    pub fn furniture(&self) -> Furniture {
        furniture::draw(self)
    }

    /// Every cut of the sheet in cutting order: all kiss cuts, then all through cuts, inner before outer, those far from
    /// the feed edge first.
    pub fn cuts(&self) -> (Vec<SheetCut<'_>>, Vec<SheetCut<'_>>) {
        cuts::in_order(self)
    }
}

#[cfg(test)]
pub(crate) mod tests;
