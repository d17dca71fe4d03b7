//! What a drawing would cost to render, added up before it is rendered.
//!
//! A short file can ask for hours: a million full-page shapes by references to references, nested patterns, filters over
//! regions far larger than the page. The renderer has no brake, so what it would do is estimated in nanoseconds of one core
//! and held against a budget. The weights were measured on drawings of one kind each, at 1000 to 3000 px; a machine may be
//! half as fast or twice.

use resvg::tiny_skia::{Rect, Transform};
use resvg::usvg::filter::{Filter, Kind};
use resvg::usvg::{Fill, Group, Node, Paint, Path, Stroke, Tree};

use crate::fault::Fault;

/// Work up to which a drawing is rendered as large as it was asked for: half of the time that a child has for it, in
/// nanoseconds.
pub(super) const COMFORTABLE_NS: f64 = 1.5e9;

/// Work that a drawing may take when it cannot be made smaller: all of that time.
pub(super) const MOST_NS: f64 = 3e9;

/// One pixel of a plain fill.
const PLAIN_NS: f64 = 1.0;

/// One pixel of a gradient or pattern.
const SHADED_NS: f64 = 6.0;

/// One pixel of a layer: cleared, drawn on, laid over another.
const LAYER_NS: f64 = 9.0;

/// One pixel of the canvas: cleared, made straight, handed on.
const CANVAS_NS: f64 = 4.0;

/// One pixel of an embedded picture, opened and drawn.
const PICTURE_NS: f64 = 12.0;

/// One pixel blurred.
const BLUR_NS: f64 = 140.0;

/// One pixel and octave of noise.
const NOISE_NS: f64 = 90.0;

/// One pixel and one place of a kernel or brush.
const KERNEL_NS: f64 = 8.0;

/// One pixel of any other step of a filter.
const STEP_NS: f64 = 30.0;

/// Pixels of layers alive at one time, 4 bytes each: 1 GiB. A longer list of nested groups is refused.
const MAX_LIVE_PX: f64 = 256e6;

/// What looking at any node counts for, so that endless nesting of empty nodes also ends.
const NODE_NS: f64 = 2000.0;

/// Refuses a drawing that would take too long or too much memory to render.
pub(super) fn check(tree: &Tree, to_canvas: Transform, canvas_px: (u32, u32), most_ns: f64) -> Result<(), Fault> {
    let (width, height) = (f64::from(canvas_px.0), f64::from(canvas_px.1));
    let mut tally = Tally { to_canvas, width, height, most_ns, spent_ns: width * height * CANVAS_NS };
    tally.group(tree.root(), width * height)
}

struct Tally {
    to_canvas: Transform,
    width: f64,
    height: f64,
    most_ns: f64,
    spent_ns: f64,
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
            self.work(layer_px * (LAYER_NS + steps))?;
            if live_px > MAX_LIVE_PX {
                return Err(Fault::ArtOverLimit { measured: live_px, limit: MAX_LIVE_PX, unit: "pixels" });
            }
        }
        for node in group.children() {
            self.work(NODE_NS)?;
            match node {
                Node::Group(inner) => self.group(inner, live_px)?,
                Node::Path(path) => self.shape(path.abs_stroke_bounding_box(), paint_ns(path))?,
                Node::Text(text) => self.shape(text.abs_stroke_bounding_box(), SHADED_NS)?,
                Node::Image(image) => {
                    self.work(f64::from(image.size().width()) * f64::from(image.size().height()) * PICTURE_NS)?;
                    self.shape(image.abs_bounding_box(), PICTURE_NS)?;
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

    fn shape(&mut self, bounds: Rect, pixel_ns: f64) -> Result<(), Fault> {
        let area_px = self.area_px(bounds, 0.0);
        self.work(area_px * pixel_ns)
    }

    fn work(&mut self, nanoseconds: f64) -> Result<(), Fault> {
        self.spent_ns += nanoseconds;
        if self.spent_ns <= self.most_ns {
            return Ok(());
        }
        Err(Fault::ArtOverLimit { measured: self.spent_ns / 1e9, limit: self.most_ns / 1e9, unit: "s" })
    }

    /// Nanoseconds for each pixel of the layer that a filter's steps take, roughly.
    fn filter_cost(&self, filter: &Filter, group: &Group) -> f64 {
        let (scale_x, scale_y) = self.to_canvas.pre_concat(group.abs_transform()).get_scale();
        let side = |radius: f32, scale: f32, limit: f64| (2.0 * f64::from(radius * scale)).clamp(1.0, limit.max(1.0));
        let passes = |kind: &Kind| {
            if let Kind::Turbulence(noise) = kind {
                NOISE_NS * f64::from(noise.num_octaves())
            } else if let Kind::Morphology(brush) = kind {
                let (width, height) = (brush.radius_x().get(), brush.radius_y().get());
                KERNEL_NS * side(width, scale_x, self.width) * side(height, scale_y, self.height)
            } else if let Kind::ConvolveMatrix(kernel) = kind {
                KERNEL_NS * f64::from(kernel.matrix().columns()) * f64::from(kernel.matrix().rows())
            } else if matches!(kind, Kind::GaussianBlur(_) | Kind::DropShadow(_)) {
                BLUR_NS
            } else {
                STEP_NS
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

/// Nanoseconds for each pixel that a path fills.
fn paint_ns(path: &Path) -> f64 {
    let paints = path.fill().map(Fill::paint).into_iter().chain(path.stroke().map(Stroke::paint));
    paints.map(|paint| if matches!(paint, Paint::Color(_)) { PLAIN_NS } else { SHADED_NS }).sum()
}
