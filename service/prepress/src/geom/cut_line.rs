//! A closed path that a blade follows.

use kurbo::{ParamCurveArclen, PathSeg, Shape};

use super::{Affine, BezPath, PathEl, Point, Rect, Ring};
use crate::units::Mm;

/// One closed path of straight lines and cubic Béziers: one subpath, starting with a move and ending with a close.
#[derive(Clone, Debug, PartialEq)]
pub struct CutLine {
    path: BezPath,
}

impl CutLine {
    /// From a path that is one closed subpath of lines and cubics with finite coordinates; `None` for anything else.
    pub fn new(path: BezPath) -> Option<CutLine> {
        let elements = path.elements();
        let starts = matches!(elements.first(), Some(PathEl::MoveTo(_)));
        let ends = matches!(elements.last(), Some(PathEl::ClosePath));
        let inner = elements.get(1..elements.len().saturating_sub(1)).unwrap_or_default();
        let drawable = inner.iter().all(|element| matches!(element, PathEl::LineTo(_) | PathEl::CurveTo(..)));
        (starts && ends && drawable && !inner.is_empty() && path.is_finite()).then_some(CutLine { path })
    }

    /// A closed polygon.
    pub fn polygon(ring: &Ring) -> Option<CutLine> {
        let (first, rest) = ring.points().split_first()?;
        let mut path = BezPath::new();
        path.move_to(*first);
        rest.iter().for_each(|point| path.line_to(*point));
        path.close_path();
        CutLine::new(path)
    }

    /// The path itself.
    pub fn path(&self) -> &BezPath {
        &self.path
    }

    /// Exact bounding box.
    pub fn bounds(&self) -> Rect {
        self.path.bounding_box()
    }

    /// Enclosed area, mm².
    pub fn area_mm2(&self) -> f64 {
        self.path.area().abs()
    }

    /// Length around, to 0.001 mm.
    pub fn length(&self) -> Mm {
        Mm::of(self.path.segments().map(|segment| segment.arclen(1e-3)).sum())
    }

    /// How many nodes it has: places where one piece ends and the next begins.
    pub fn nodes(&self) -> usize {
        // A path starts with a move and ends with a close.
        self.path.elements().len().saturating_sub(2)
    }

    /// Where it starts.
    pub fn start(&self) -> Point {
        self.path.segments().next().map_or(Point::ORIGIN, |segment| match segment {
            PathSeg::Line(line) => line.p0,
            PathSeg::Quad(quad) => quad.p0,
            PathSeg::Cubic(cubic) => cubic.p0,
        })
    }

    /// Moved by a transform.
    #[must_use]
    pub fn transformed(&self, transform: Affine) -> CutLine {
        CutLine { path: transform * &self.path }
    }

    /// A polyline that stays within `tolerance` of the path.
    pub fn flattened(&self, tolerance: Mm) -> Ring {
        let mut points = Vec::new();
        kurbo::flatten(&self.path, tolerance.mm(), |element| match element {
            PathEl::MoveTo(point) | PathEl::LineTo(point) => points.push(point),
            PathEl::QuadTo(..) | PathEl::CurveTo(..) | PathEl::ClosePath => {}
        });
        Ring::new(points)
    }
}
