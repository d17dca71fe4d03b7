//! Sides of a sheet, and coordinates along and away from them.

use crate::geom::{Point, Rect};
use crate::order::{FeedEdge, Margins, Stock};

/// Width and height of a sheet or length, mm.
#[derive(Clone, Copy, Debug)]
pub(super) struct Extent {
    pub(super) width: f64,
    pub(super) height: f64,
}

/// All four sides, clockwise from the top: the index of strips.
pub(super) const SIDES: [FeedEdge; 4] = [FeedEdge::Top, FeedEdge::Right, FeedEdge::Bottom, FeedEdge::Left];

/// Its place in [`SIDES`].
pub(super) fn index(side: FeedEdge) -> usize {
    match side {
        FeedEdge::Top => 0,
        FeedEdge::Right => 1,
        FeedEdge::Bottom => 2,
        FeedEdge::Left => 3,
    }
}

/// The side across the sheet.
pub(super) fn opposite(side: FeedEdge) -> FeedEdge {
    SIDES[(index(side) + 2) % 4]
}

/// The next side, clockwise.
pub(super) fn clockwise_of(side: FeedEdge) -> FeedEdge {
    SIDES[(index(side) + 1) % 4]
}

/// The side's name as the contract writes it.
pub(super) fn word(side: FeedEdge) -> &'static str {
    ["top", "right", "bottom", "left"][index(side)]
}

/// The length for a side, mm.
pub(super) fn on(margins: &Margins, side: FeedEdge) -> f64 {
    match side {
        FeedEdge::Top => margins.top.mm(),
        FeedEdge::Right => margins.right.mm(),
        FeedEdge::Bottom => margins.bottom.mm(),
        FeedEdge::Left => margins.left.mm(),
    }
}

/// What margins and strips leave. Never inside out: a box without area where nothing is left.
pub(super) fn window(stock: &Stock, extent: Extent, strips: [f64; 4]) -> Rect {
    let inset = |side: FeedEdge| on(&stock.margins, side) + strips[index(side)];
    let (left, top) = (inset(FeedEdge::Left), inset(FeedEdge::Top));
    let right = (extent.width - inset(FeedEdge::Right)).max(left);
    let bottom = (extent.height - inset(FeedEdge::Bottom)).max(top);
    Rect::new(left, top, right, bottom)
}

/// How far a point is from a box; zero inside.
pub(super) fn distance_to_box(point: Point, area: Rect) -> f64 {
    let dx = (area.x0 - point.x).max(point.x - area.x1).max(0.0);
    let dy = (area.y0 - point.y).max(point.y - area.y1).max(0.0);
    dx.hypot(dy)
}

/// Coordinates of a side as somebody reads along it: `u` the way text runs, `depth` from the sheet's edge inwards. Text
/// stands upright at top and bottom, reads upwards at the left and downwards at the right.
#[derive(Clone, Copy, Debug)]
pub(super) struct Along {
    pub(super) side: FeedEdge,
    pub(super) extent: Extent,
}

impl Along {
    /// A place on the sheet.
    pub(super) fn point(self, u: f64, depth: f64) -> Point {
        let Extent { width, height } = self.extent;
        match self.side {
            FeedEdge::Top => Point::new(u, depth),
            FeedEdge::Right => Point::new(width - depth, u),
            FeedEdge::Bottom => Point::new(u, height - depth),
            FeedEdge::Left => Point::new(depth, height - u),
        }
    }

    /// `(u, depth)` of a place on the sheet.
    pub(super) fn coordinates(self, point: Point) -> (f64, f64) {
        let Extent { width, height } = self.extent;
        match self.side {
            FeedEdge::Top => (point.x, point.y),
            FeedEdge::Right => (point.y, width - point.x),
            FeedEdge::Bottom => (point.x, height - point.y),
            FeedEdge::Left => (height - point.y, point.x),
        }
    }

    /// The stretch of the side that a box faces.
    pub(super) fn span(self, area: Rect) -> (f64, f64) {
        let (a, _) = self.coordinates(Point::new(area.x0, area.y0));
        let (b, _) = self.coordinates(Point::new(area.x1, area.y1));
        (a.min(b), a.max(b))
    }

    /// How far text is turned clockwise.
    pub(super) fn rotation_deg(self) -> f64 {
        match self.side {
            FeedEdge::Top | FeedEdge::Bottom => 0.0,
            FeedEdge::Right => 90.0,
            FeedEdge::Left => 270.0,
        }
    }
}
