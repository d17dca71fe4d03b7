//! The fixed parts of a sheet or length of roll, before any sticker is placed: the window, the register marks with their
//! clear zones, where label and scale bars stand.
//!
//! All in sheet coordinates: millimetres, origin at the sheet's top-left corner, y down.
//!
//! On a roll the first row of corner discs stands in the leader and the last one in the trailer, each as near to the
//! length's end as `unprintable_mm` lets it; rows in between are a section length apart, counted from the first. The last
//! row never stands farther than a section length from the one before it.

mod checks;
mod furniture;
mod layers;
mod marks;
mod sides;

pub use furniture::{BAR_LETTERING, BAR_LETTERING_GAP, BAR_TICK};
pub use layers::{layer_id, layers_fault};

use crate::fault::Fault;
use crate::geom::{Point, Rect, Vec2};
use crate::order::{FeedEdge, Form, Stock};
use crate::units::Mm;
use furniture::Plan;
use sides::Extent;

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

impl Mark {
    /// Radius of the disc with its clear zone.
    pub fn clear_radius(&self) -> Mm {
        self.diameter / 2.0 + self.clear
    }
}

/// A scale bar: a line with end ticks, axis-parallel, with its length lettered beside it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ScaleBar {
    /// One end; its lettering reads from here to `to` and stands after it.
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
    /// Register marks, in order of the feed; those given by the stock for a sheet, in the order given. On a roll: those of a
    /// length used in full; [`Frame::cut_to`] gives the ones that a shorter length has.
    pub marks: Vec<Mark>,
    /// Scale bars; empty with `label: none`.
    pub scale_bars: Vec<ScaleBar>,
    /// The label; `None` with `label: none`, or where the sheet is too small for any.
    pub label: Option<LabelBox>,
}

impl Frame {
    /// The frame of a length of roll that is cut off after `used` of its window (measured from the window's feed side). For
    /// a sheet, the frame unchanged. Where the roll enters bottom first, everything moves by [`Frame::shift_to`].
    #[must_use]
    pub fn cut_to(&self, stock: &Stock, used: Mm) -> Frame {
        if matches!(stock.form, Form::Sheet { .. }) {
            return self.clone();
        }
        let used = used.max(Mm::ZERO).min(Mm::of(self.window.height()));
        let beside_window = self.height.mm() - self.window.height();
        let (plan, _) = whole(stock);
        build(stock, plan, Extent { width: self.width.mm(), height: beside_window + used.mm() })
    }

    /// By how much everything moves, in sheet coordinates, when a length is cut to a shorter frame: nothing unless a roll
    /// enters bottom first, because coordinates count from the top.
    pub fn shift_to(&self, shorter: &Frame, feed_edge: FeedEdge) -> Vec2 {
        match feed_edge {
            FeedEdge::Bottom => Vec2::new(0.0, shorter.height.mm() - self.height.mm()),
            FeedEdge::Top | FeedEdge::Right | FeedEdge::Left => Vec2::ZERO,
        }
    }

    fn extent(&self) -> Extent {
        Extent { width: self.width.mm(), height: self.height.mm() }
    }
}

/// Lays out the frame of a stock.
///
/// # Errors
/// `stock.broken`: a margin under `unprintable_mm`, or with marks under `unprintable_mm` + diameter; a mark outside the
/// printable area; no window left. It says the margin needed.
pub fn lay_out(stock: &Stock) -> Result<Frame, Fault> {
    checks::before(stock)?;
    checks::window(stock, sides::window(stock, ordered(stock), [0.0; 4]), "")?;
    let (plan, extent) = whole(stock);
    let frame = build(stock, plan, extent);
    checks::window(stock, frame.window, " beside the label")?;
    checks::marks(stock, &frame)?;
    Ok(frame)
}

/// The stock's own size; of a roll, its longest length.
fn ordered(stock: &Stock) -> Extent {
    match stock.form {
        Form::Sheet { width, height, .. } => Extent { width: width.mm(), height: height.mm() },
        Form::Roll { width, max_length, .. } => Extent { width: width.mm(), height: max_length.mm() },
    }
}

/// Where label and bars stand on a whole sheet or a roll's longest length, and how long that is. Shorter lengths keep the
/// arrangement, so that the window's feed side stays where it is.
fn whole(stock: &Stock) -> (Option<Plan>, Extent) {
    let extent = marks::without_dead_end(stock, ordered(stock), [0.0; 4]);
    let plan = furniture::choose(stock, extent);
    let strips = plan.map_or([0.0; 4], |plan| plan.strips(stock));
    (plan, marks::without_dead_end(stock, ordered(stock), strips))
}

/// The frame of an extent, with label and bars as planned.
fn build(stock: &Stock, plan: Option<Plan>, extent: Extent) -> Frame {
    let strips = plan.map_or([0.0; 4], |plan| plan.strips(stock));
    let window = sides::window(stock, extent, strips);
    let rows = marks::rows(stock, extent, window);
    let marks = marks::stand(stock, extent, &rows);
    let bands = marks::bands(stock, extent, &rows, window);
    let keep_outs = keep_outs(&marks, &bands, window);
    let (label, scale_bars) = plan.map_or((None, Vec::new()), |plan| plan.place(stock, extent, window, &marks));
    Frame { width: Mm::of(extent.width), height: Mm::of(extent.height), window, keep_outs, marks, scale_bars, label }
}

/// Bands, and the clear zones that reach into the window outside of bands.
fn keep_outs(marks: &[Mark], bands: &[Rect], window: Rect) -> Vec<KeepOut> {
    let reaches_in = |mark: &&Mark| {
        let radius = mark.clear_radius().mm();
        let (low, high) = ((mark.centre.y - radius).max(window.y0), (mark.centre.y + radius).min(window.y1));
        let holds = |band: &Rect| band.y0 <= low + TOLERANCE_MM && band.y1 >= high - TOLERANCE_MM;
        let in_band = low < high && bands.iter().any(holds);
        !in_band && sides::distance_to_box(mark.centre, window) < radius - TOLERANCE_MM
    };
    let discs =
        marks.iter().filter(reaches_in).map(|mark| KeepOut::Disc { centre: mark.centre, radius: mark.clear_radius() });
    bands.iter().map(|band| KeepOut::Box(*band)).chain(discs).collect()
}

/// Lengths that differ by less count as equal: far under what any printer resolves, far over rounding. Larger would let
/// marks stand where they must not; smaller would refuse stocks whose margins are exactly as wide as needed.
const TOLERANCE_MM: f64 = 1e-6;

#[cfg(test)]
pub(crate) mod tests;
