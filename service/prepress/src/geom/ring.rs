//! A closed polyline.

use super::{Affine, Point, Rect, squared_distance};
use crate::units::Mm;

/// A closed polyline: the last point is joined to the first and is not repeated. Millimetres unless its owner says
/// otherwise (silhouette edges are in pixels until they are scaled).
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Ring {
    points: Vec<Point>,
}

impl Ring {
    /// From points; a repeated closing point and repeated neighbours are dropped.
    pub fn new(mut points: Vec<Point>) -> Ring {
        points.dedup();
        while points.len() > 1 && points.first() == points.last() {
            points.pop();
        }
        Ring { points }
    }

    /// An axis-parallel rectangle.
    pub fn rectangle(rect: Rect) -> Ring {
        Ring::new(vec![
            Point::new(rect.x0, rect.y0),
            Point::new(rect.x1, rect.y0),
            Point::new(rect.x1, rect.y1),
            Point::new(rect.x0, rect.y1),
        ])
    }

    /// The convex hull of all points of rings; fewer than three points when they lie on one line.
    ///
    /// Source: A. M. Andrew, "Another efficient algorithm for convex hulls in two dimensions", 1979.
    pub fn hull_of(rings: &[Ring]) -> Ring {
        let mut points: Vec<Point> = rings.iter().flat_map(|ring| ring.points()).copied().collect();
        points.sort_by(|a, b| a.x.total_cmp(&b.x).then(a.y.total_cmp(&b.y)));
        points.dedup();
        if points.len() < 3 {
            return Ring::new(points);
        }
        let mut hull: Vec<Point> = Vec::new();
        for pass in 0..2 {
            let base = hull.len();
            for index in 0..points.len() {
                let point = if pass == 0 { points[index] } else { points[points.len() - 1 - index] };
                while hull.len() >= base + 2 {
                    let (a, b) = (hull[hull.len() - 2], hull[hull.len() - 1]);
                    if (b - a).cross(point - a) > 0.0 {
                        break;
                    }
                    hull.pop();
                }
                hull.push(point);
            }
            hull.pop();
        }
        Ring::new(hull)
    }

    /// Its points.
    pub fn points(&self) -> &[Point] {
        &self.points
    }

    /// Its edges, the closing one included.
    pub fn edges(&self) -> impl Iterator<Item = (Point, Point)> + '_ {
        let next = self.points.iter().cycle().skip(1);
        self.points.iter().copied().zip(next.copied())
    }

    /// So many points at even steps around it, from one of its own on; fewer where rounding loses the last.
    pub(crate) fn at_even_steps(&self, first: usize, count: usize) -> Vec<Point> {
        let step = self.perimeter().mm() / count as f64;
        let mut points = Vec::with_capacity(count);
        let mut walked = 0.0;
        for index in 0..self.points.len() {
            let from = self.points[(first + index) % self.points.len()];
            let to = self.points[(first + index + 1) % self.points.len()];
            let length = from.distance(to);
            while points.len() < count && points.len() as f64 * step <= walked + length {
                points.push(from.lerp(to, ((points.len() as f64 * step - walked) / length).clamp(0.0, 1.0)));
            }
            walked += length;
        }
        points
    }

    /// How far a point is from the nearest edge.
    pub(crate) fn distance_to_edges(&self, point: Point) -> f64 {
        self.edges().map(|edge| squared_distance(point, edge)).fold(f64::INFINITY, f64::min).sqrt()
    }

    /// Twice-summed shoelace over two: positive when the ring runs clockwise as seen with y down.
    pub fn signed_area(&self) -> f64 {
        self.edges().map(|(a, b)| a.x * b.y - b.x * a.y).sum::<f64>() / 2.0
    }

    /// Enclosed area, mm².
    pub fn area_mm2(&self) -> f64 {
        self.signed_area().abs()
    }

    /// Length around.
    pub fn perimeter(&self) -> Mm {
        Mm::of(self.edges().map(|(a, b)| a.distance(b)).sum())
    }

    /// Bounding box; of an empty ring a zero box at the origin.
    pub fn bounds(&self) -> Rect {
        let Some(first) = self.points.first() else { return Rect::ZERO };
        let start = Rect::from_points(*first, *first);
        self.points.iter().fold(start, |bounds, point| bounds.union_pt(*point))
    }

    /// Whether a point lies inside, by the even-odd rule; points on the line may go either way.
    pub fn contains(&self, point: Point) -> bool {
        let crosses = |(a, b): &(Point, Point)| {
            (a.y > point.y) != (b.y > point.y) && point.x < (b.x - a.x) * (point.y - a.y) / (b.y - a.y) + a.x
        };
        self.edges().filter(crosses).count() % 2 == 1
    }

    /// Every point moved by a transform.
    #[must_use]
    pub fn transformed(&self, transform: Affine) -> Ring {
        Ring { points: self.points.iter().map(|point| transform * *point).collect() }
    }

    /// The same ring run the other way.
    #[must_use]
    pub fn reversed(&self) -> Ring {
        Ring { points: self.points.iter().rev().copied().collect() }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn hull_of_a_square_with_points_inside_has_four_corners() {
        let corners = [(0.0, 0.0), (4.0, 0.0), (4.0, 4.0), (0.0, 4.0)];
        let inside = [(1.0, 1.0), (2.0, 0.0), (3.0, 2.5), (2.0, 4.0)];
        let points = corners.iter().chain(&inside).map(|(x, y)| Point::new(*x, *y)).collect();
        assert_eq!(Ring::hull_of(&[Ring::new(points)]).points().len(), 4);
    }

    #[test]
    fn a_square_has_its_area_perimeter_and_inside() {
        let ring = Ring::rectangle(Rect::new(1.0, 2.0, 4.0, 6.0));
        assert!((ring.signed_area() - 12.0).abs() < 1e-12, "clockwise with y down is positive");
        assert!((ring.perimeter().mm() - 14.0).abs() < 1e-12);
        assert!(ring.contains(Point::new(2.0, 3.0)));
        assert!(!ring.contains(Point::new(0.0, 3.0)));
        assert!((ring.reversed().signed_area() + 12.0).abs() < 1e-12);
    }
}
