//! What a drawing would cost to render, added up before it is rendered.
//!
//! A short file can ask for hours: a million full-page shapes by references to references, nested patterns, filters over
//! regions far larger than the page. The renderer has no brake, so the sum of pixels touched is held against a budget.

use resvg::tiny_skia::{Rect, Transform};
use resvg::usvg::filter::{Filter, Kind};
use resvg::usvg::{Group, Node, Tree};

use crate::fault::Fault;

/// Pixels that a drawing may touch, counting every layer, filter step and shape: a few seconds of one core.
/// Measured on real drawings: a few hundred megapixels at 3000 px.
const MAX_TOUCHED_PX: f64 = 8e9;

/// Pixels of layers alive at one time, 4 bytes each: 1 GiB. A longer list of nested groups is refused.
const MAX_LIVE_PX: f64 = 256e6;

/// What looking at any node counts for, in pixels, so that endless nesting of empty nodes also ends.
const NODE_PX: f64 = 2000.0;

/// Refuses a drawing that would take too long or too much memory to render.
pub(super) fn check(tree: &Tree, to_canvas: Transform, canvas_px: (u32, u32)) -> Result<(), Fault> {
    let (width, height) = (f64::from(canvas_px.0), f64::from(canvas_px.1));
    let mut tally = Tally { to_canvas, width, height, touched_px: width * height };
    tally.group(tree.root(), width * height)
}

struct Tally {
    to_canvas: Transform,
    width: f64,
    height: f64,
    touched_px: f64,
}

impl Tally {
    fn group(&mut self, group: &Group, live_px: f64) -> Result<(), Fault> {
        let mut live_px = live_px;
        if group.should_isolate() {
            // Filters may draw as far as two canvases beyond the canvas: the renderer's own clamp.
            let around = if group.filters().is_empty() { 0.0 } else { 2.0 };
            let layer_px = self.area_px(group.abs_layer_bounding_box().to_rect(), around);
            let steps: f64 = group.filters().iter().map(|filter| self.filter_cost(filter, group)).sum();
            let results = group.filters().iter().map(|filter| filter.primitives().len()).sum::<usize>() as f64;
            live_px += layer_px * (1.0 + results);
            self.touch(layer_px * (2.0 + steps))?;
            within(live_px, MAX_LIVE_PX)?;
        }
        for node in group.children() {
            self.touch(NODE_PX)?;
            match node {
                Node::Group(inner) => self.group(inner, live_px)?,
                Node::Path(path) => self.shape(path.abs_stroke_bounding_box())?,
                Node::Text(text) => self.shape(text.abs_stroke_bounding_box())?,
                Node::Image(image) => {
                    self.touch(f64::from(image.size().width()) * f64::from(image.size().height()))?;
                    self.shape(image.abs_bounding_box())?;
                }
            }
            let mut outcome = Ok(());
            node.subroots(|root| {
                if outcome.is_ok() {
                    outcome = self.group(root, live_px);
                }
            });
            outcome?;
        }
        Ok(())
    }

    fn shape(&mut self, bounds: Rect) -> Result<(), Fault> {
        let area_px = self.area_px(bounds, 0.0);
        self.touch(area_px)
    }

    fn touch(&mut self, pixels: f64) -> Result<(), Fault> {
        self.touched_px += pixels;
        within(self.touched_px, MAX_TOUCHED_PX)
    }

    /// Passes over the layer that a filter's steps take, roughly.
    fn filter_cost(&self, filter: &Filter, group: &Group) -> f64 {
        let (scale_x, scale_y) = self.to_canvas.pre_concat(group.abs_transform()).get_scale();
        let side = |radius: f32, scale: f32, limit: f64| (2.0 * f64::from(radius * scale)).clamp(1.0, limit.max(1.0));
        let passes = |kind: &Kind| {
            if let Kind::Turbulence(noise) = kind {
                20.0 * f64::from(noise.num_octaves())
            } else if let Kind::Morphology(brush) = kind {
                side(brush.radius_x().get(), scale_x, self.width) * side(brush.radius_y().get(), scale_y, self.height)
            } else if let Kind::ConvolveMatrix(kernel) = kind {
                f64::from(kernel.matrix().columns()) * f64::from(kernel.matrix().rows())
            } else {
                4.0
            }
        };
        filter.primitives().iter().map(|primitive| passes(primitive.kind())).sum()
    }

    /// Area of a box in canvas units on the canvas, or on the canvas grown by so many of its own sizes on each side.
    fn area_px(&self, bounds: Rect, around: f64) -> f64 {
        // A box that cannot be computed counts as everything.
        let Some(bounds) = bounds.transform(self.to_canvas) else {
            return self.width * self.height * (1.0 + 2.0 * around).powi(2);
        };
        let overlap = |from: f32, to: f32, size: f64| {
            let low = f64::from(from).max(-around * size);
            let high = f64::from(to).min((1.0 + around) * size);
            if low > high { 0.0 } else { high - low + 1.0 }
        };
        overlap(bounds.left(), bounds.right(), self.width) * overlap(bounds.top(), bounds.bottom(), self.height)
    }
}

fn within(measured: f64, limit: f64) -> Result<(), Fault> {
    if measured <= limit { Ok(()) } else { Err(Fault::ArtOverLimit { measured, limit, unit: "px" }) }
}
