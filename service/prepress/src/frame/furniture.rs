//! Where label and scale bars stand: in margins that have room, else in a strip that the window gives up.
//!
//! The few arrangements there are (label on one of four sides, each bar on one of two) are all tried; the one that costs
//! the least window, then shortens bars and label the least, is taken. Things on one side stand in line, flush with the
//! window's edges, outside of the marks' clear zones.

use crate::frame::sides::{Along, Extent, SIDES, clockwise_of, on, opposite, window};
use crate::frame::{LabelBox, Mark, ScaleBar, marks};
use crate::geom::{Point, Rect};
use crate::lettering::{self, Weight};
use crate::order::{FeedEdge, LabelPlace, Stock};
use crate::units::Mm;

/// Size of the lettering after a scale bar. Common practice, no source: read at arm's length.
pub const BAR_LETTERING: Mm = Mm::of(2.0);
/// Between a scale bar's end and its lettering.
pub const BAR_LETTERING_GAP: Mm = Mm::of(1.4);
/// Length of a scale bar's end ticks.
pub const BAR_TICK: Mm = Mm::of(2.4);

/// Length of a scale bar where it fits: the contract's.
const BAR_MM: f64 = 100.0;
/// A shorter bar measures nothing.
const BAR_LEAST_MM: f64 = 5.0;
/// From the window's edge to a bar's line, where there is room.
const BAR_FROM_WINDOW_MM: f64 = 2.6;
/// Depth of a label that still holds the QR code of the longest run name (37 bytes, version 3, 29 modules: ISO/IEC 18004)
/// with its quiet zone towards the window, at modules of 4 dots of 300 to the inch.
const LABEL_LEAST_DEPTH_MM: f64 = 11.0;
/// Depth at which the same code has modules of 0.5 mm; a deeper label gains nothing.
const LABEL_DEPTH_MM: f64 = 16.5;
/// Lengths of a label that are tried: code and text.
const LABEL_LENGTHS_MM: [f64; 3] = [110.0, 80.0, 60.0];
/// A shorter label cannot be read.
const LABEL_LEAST_MM: f64 = 12.0;
/// Air between things on one side.
const GAP_MM: f64 = 5.0;
/// Air between a mark's clear zone and what is printed.
const AIR_MM: f64 = 0.5;

/// What a millimetre missing from a bar or a label is worth in window, mm². Common practice, no source: with these a strip
/// of two millimetres is given up for a full bar, and none for a longer label.
const MISSING_BAR_MM2: f64 = 10.0;
const MISSING_LABEL_MM2: f64 = 2.0;
const CRAMPED_LABEL_MM2: f64 = 60.0;
const CRAMPED_LABEL_MM: f64 = 40.0;

/// Which side each thing stands on.
#[derive(Clone, Copy, Debug)]
pub(super) struct Plan {
    label: FeedEdge,
    label_mm: f64,
    across: FeedEdge,
    along: FeedEdge,
}

/// The best arrangement for an extent; `None` with `label: none`.
pub(super) fn choose(stock: &Stock, extent: Extent) -> Option<Plan> {
    if stock.label == LabelPlace::None {
        return None;
    }
    let feed = stock.feed_edge;
    let (far, next) = (opposite(feed), clockwise_of(feed));
    let mut best: Option<(f64, Plan)> = None;
    for label in [far, feed, opposite(next), next] {
        for label_mm in LABEL_LENGTHS_MM {
            for across in [far, feed] {
                for along in [opposite(next), next] {
                    let plan = Plan { label, label_mm, across, along };
                    let cost = plan.cost(stock, extent);
                    if best.as_ref().is_none_or(|(least, _)| cost < least - 1e-6) {
                        best = Some((cost, plan));
                    }
                }
            }
        }
    }
    best.map(|(_, plan)| plan)
}

impl Plan {
    /// How deep a strip each side of the window gives up.
    pub(super) fn strips(&self, stock: &Stock) -> [f64; 4] {
        SIDES.map(|side| {
            let label = if side == self.label { LABEL_LEAST_DEPTH_MM } else { 0.0 };
            let bar = if side == self.across || side == self.along { BAR_TICK.mm() } else { 0.0 };
            (label.max(bar) - room(stock, side)).max(0.0)
        })
    }

    /// Window given up, and what is missing, as an area.
    fn cost(&self, stock: &Stock, extent: Extent) -> f64 {
        let whole = window(stock, extent, [0.0; 4]);
        let left = window(stock, extent, self.strips(stock));
        let rows = marks::rows(stock, extent, left);
        let (label, bars) = self.place(stock, extent, left, &marks::stand(stock, extent, &rows));
        let bars: f64 = bars.iter().map(|bar| bar.length.mm()).sum();
        let label = label.map_or(0.0, |label| label.area.width().max(label.area.height()));
        whole.area() - left.area()
            + (2.0 * BAR_MM - bars) * MISSING_BAR_MM2
            + (LABEL_LENGTHS_MM[0] - label) * MISSING_LABEL_MM2
            + (CRAMPED_LABEL_MM - label).max(0.0) * CRAMPED_LABEL_MM2
    }

    /// Label and bars in what the window leaves.
    pub(super) fn place(
        &self,
        stock: &Stock,
        extent: Extent,
        window: Rect,
        marks: &[Mark],
    ) -> (Option<LabelBox>, Vec<ScaleBar>) {
        let mut taken = Vec::new();
        let site = |side| Site::new(stock, Along { side, extent }, window);
        let label = site(self.label).label(self.label_mm, marks);
        taken.extend(label.map(|label| label.area));
        let mut bars = Vec::new();
        for side in [self.across, self.along] {
            if let Some((bar, area)) = site(side).bar(marks, &taken) {
                bars.push(bar);
                taken.push(area);
            }
        }
        (label, bars)
    }
}

/// Depth between the printer's edge and the margin's end.
fn room(stock: &Stock, side: FeedEdge) -> f64 {
    (on(&stock.margins, side) - on(&stock.unprintable, side)).max(0.0)
}

/// The strip along one side in which things stand.
struct Site {
    along: Along,
    /// The stretch that the window faces.
    span: (f64, f64),
    /// Depth of the printer's edge.
    outer: f64,
    /// Depth of the window's edge.
    inner: f64,
}

impl Site {
    fn new(stock: &Stock, along: Along, window: Rect) -> Site {
        let (_, a) = along.coordinates(Point::new(window.x0, window.y0));
        let (_, b) = along.coordinates(Point::new(window.x1, window.y1));
        Site { along, span: along.span(window), outer: on(&stock.unprintable, along.side), inner: a.min(b) }
    }

    /// The label, beside the window; `None` where there is no room for any.
    fn label(&self, wanted: f64, marks: &[Mark]) -> Option<LabelBox> {
        let depth = (self.inner - self.outer).min(LABEL_DEPTH_MM);
        let depths = (self.inner - depth, self.inner);
        let free = self.free(depths, marks, &[]);
        let (start, end) = roomiest(&free, wanted)?;
        let length = wanted.min(end - start);
        if length < LABEL_LEAST_MM || depth < LABEL_LEAST_MM / 2.0 {
            return None;
        }
        let area = self.area((start, start + length), depths);
        Some(LabelBox { area, rotation_deg: self.along.rotation_deg() })
    }

    /// A bar with its lettering, and the box that both take.
    fn bar(&self, marks: &[Mark], taken: &[Rect]) -> Option<(ScaleBar, Rect)> {
        let lettering = lettering::line("100 mm", BAR_LETTERING, Weight::Regular).width.mm() + BAR_LETTERING_GAP.mm();
        let half = BAR_TICK.mm() / 2.0;
        let line = self.inner - BAR_FROM_WINDOW_MM.min((self.inner - self.outer) / 2.0);
        let depths = (line - half, line + half);
        let free = self.free(depths, marks, taken);
        let (start, end) = roomiest(&free, BAR_MM + lettering)?;
        let fits = end - start - lettering;
        let length = if fits >= BAR_MM { BAR_MM } else { fits.floor() };
        if length < BAR_LEAST_MM {
            return None;
        }
        // Flush with the window's far edge where that is the edge at hand.
        let whole = length + lettering;
        let at_end = end >= self.span.1 - 1e-9 && start > self.span.0 + 1e-9;
        let start = if at_end { end - whole } else { start };
        let bar = ScaleBar {
            from: self.along.point(start, line),
            to: self.along.point(start + length, line),
            length: Mm::of(length),
        };
        Some((bar, self.area((start, start + whole), depths)))
    }

    fn area(&self, span: (f64, f64), depths: (f64, f64)) -> Rect {
        Rect::from_points(self.along.point(span.0, depths.0), self.along.point(span.1, depths.1))
    }

    /// Stretches of the side, in reading order, that neither a mark's clear zone nor another thing takes.
    fn free(&self, depths: (f64, f64), marks: &[Mark], taken: &[Rect]) -> Vec<(f64, f64)> {
        let by_mark = |mark: &Mark| {
            let (u, depth) = self.along.coordinates(mark.centre);
            let radius = mark.clear_radius().mm() + AIR_MM;
            let away = (depths.0 - depth).max(depth - depths.1).max(0.0);
            (away < radius).then(|| {
                let half = (radius * radius - away * away).sqrt();
                (u - half, u + half)
            })
        };
        let by_thing = |area: &Rect| {
            let (low, high) = self.along.span(*area);
            let site = self.area(self.span, depths);
            let apart = area.x0 >= site.x1 || site.x0 >= area.x1 || area.y0 >= site.y1 || site.y0 >= area.y1;
            (!apart).then_some((low - GAP_MM, high + GAP_MM))
        };
        let mut blocked: Vec<(f64, f64)> =
            marks.iter().filter_map(by_mark).chain(taken.iter().filter_map(by_thing)).collect();
        blocked.sort_by(|a, b| a.0.total_cmp(&b.0));
        let mut free = Vec::new();
        let mut from = self.span.0;
        for (low, high) in blocked {
            if low > from {
                free.push((from, low.min(self.span.1)));
            }
            from = from.max(high);
        }
        free.push((from, self.span.1));
        free.retain(|(low, high)| high > low);
        free
    }
}

/// The first stretch that holds a length, else the longest.
fn roomiest(free: &[(f64, f64)], wanted: f64) -> Option<(f64, f64)> {
    let length = |stretch: &&(f64, f64)| stretch.1 - stretch.0;
    let holds = |stretch: &&(f64, f64)| length(stretch) >= wanted - 1e-9;
    let longest = || free.iter().max_by(|a, b| length(a).total_cmp(&length(b)));
    free.iter().find(holds).or_else(longest).copied()
}
