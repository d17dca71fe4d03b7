//! Geometric shapes centred on the origin, and how much room is left inside them at a distance from their edge.
//!
//! Source of the distance to an ellipse: Eberly, "Distance from a Point to an Ellipse, an Ellipsoid, or a Hyperellipsoid"
//! (2013), the bisection of section 2.9.

use super::circle::smallest_circle;
use crate::cutline;
use crate::geom::{CutLine, Point, Ring, Vec2};
use crate::units::Mm;

/// Rounding of doubles in containment tests, mm. Larger would let art creep into the border, smaller would refuse art that
/// was scaled to touch.
const ROUNDING_MM: f64 = 1e-9;

/// A corner's or an ellipse's form.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Form {
    /// A rectangle whose corners have a radius in mm; zero for sharp ones.
    Rectangle(f64),
    /// An ellipse.
    Ellipse,
}

/// A geometric shape, mm, centred on the origin.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Plate {
    /// Its form.
    pub(super) form: Form,
    /// Width, mm.
    pub(super) width: f64,
    /// Height, mm.
    pub(super) height: f64,
}

impl Plate {
    /// Its cut line, centred on a point.
    pub(super) fn line(&self, centre: Point) -> CutLine {
        let (width, height) = (Mm::of(self.width), Mm::of(self.height));
        match self.form {
            Form::Rectangle(radius) => {
                let most = self.width.min(self.height) / 2.0;
                cutline::rounded_rectangle(centre, width, height, Mm::of(radius.clamp(0.0, most)))
            }
            Form::Ellipse => cutline::ellipse(centre, width, height),
        }
    }

    /// The corner radius that fits.
    fn radius(&self) -> f64 {
        match self.form {
            Form::Rectangle(radius) => radius.clamp(0.0, self.width.min(self.height) / 2.0),
            Form::Ellipse => 0.0,
        }
    }

    /// Whether a point lies inside, at least `clear` mm from the edge.
    pub(super) fn keeps(&self, point: Vec2, clear: f64) -> bool {
        let (x, y) = (point.x.abs(), point.y.abs());
        let (half_width, half_height) = (self.width / 2.0 - clear, self.height / 2.0 - clear);
        if x > half_width + ROUNDING_MM || y > half_height + ROUNDING_MM {
            return false;
        }
        match self.form {
            Form::Rectangle(_) => {
                let radius = (self.radius() - clear).max(0.0);
                let (dx, dy) = (x - (half_width - radius), y - (half_height - radius));
                dx <= 0.0 || dy <= 0.0 || dx.hypot(dy) <= radius + ROUNDING_MM
            }
            Form::Ellipse => self.ellipse_keeps(x, y, clear),
        }
    }

    fn ellipse_keeps(&self, x: f64, y: f64, clear: f64) -> bool {
        let (a, b) = (self.width / 2.0, self.height / 2.0);
        // The ellipse shrunk in proportion until its narrow ends are `clear` away lies inside what is asked.
        let shrunk = 1.0 - clear / a.min(b);
        let level = (x / a).hypot(y / b);
        if level <= shrunk {
            return true;
        }
        if level > 1.0 + ROUNDING_MM {
            return false;
        }
        let distance = if a >= b { distance_to_ellipse(a, b, x, y) } else { distance_to_ellipse(b, a, y, x) };
        distance >= clear - ROUNDING_MM
    }

    /// The largest scale at which every point, taken from `centre`, is kept; zero when there is no room.
    pub(super) fn largest_scale(&self, points: &[Point], centre: Point, clear: f64) -> f64 {
        let reach = |of: fn(Vec2) -> f64| points.iter().map(|point| of(*point - centre).abs()).fold(0.0, f64::max);
        let room = |side: f64, far: f64| if far > 0.0 { (side / 2.0 - clear) / far } else { f64::INFINITY };
        let mut scale = room(self.width, reach(|v| v.x)).min(room(self.height, reach(|v| v.y)));
        if !scale.is_finite() || scale <= 0.0 {
            return 0.0;
        }
        for point in points {
            let offset = *point - centre;
            if self.keeps(offset * scale, clear) {
                continue;
            }
            // The shape is convex and holds its centre, so that every smaller scale keeps what a larger one keeps.
            let (mut low, mut high) = (0.0, scale);
            for _ in 0..60 {
                let middle = (low + high) / 2.0;
                if self.keeps(offset * middle, clear) { low = middle } else { high = middle }
            }
            scale = low;
        }
        scale
    }

    /// The centre, among those near the middle of the points' box, at which they can be drawn largest, with that scale.
    ///
    /// The largest scale is a concave function of the centre (scaled points in a convex shape are a convex condition on
    /// scale and centre together), so that a compass search (Kolda, Lewis and Torczon 2003) from two good starts finds it.
    pub(super) fn best_centre(&self, hull: &[Point], middle: Point, clear: f64) -> (Point, f64) {
        let scale_at = |centre: Point| self.largest_scale(hull, centre, clear);
        let mut best = (middle, scale_at(middle));
        let far = hull.iter().map(|point| point.distance(middle)).fold(0.0, f64::max);
        if let Some(start) = self.stretched_circle_centre(hull) {
            let scale = scale_at(start);
            best = if scale > best.1 * (1.0 + 1e-6) { (start, scale) } else { best };
        }
        let mut step = far / 16.0;
        while step > far * 2e-4 {
            let around = (0..8).map(|eighth| {
                let turn = f64::from(eighth) * std::f64::consts::FRAC_PI_4;
                best.0 + Vec2::new(turn.cos(), turn.sin()) * step
            });
            let found =
                around.map(|centre| (centre, scale_at(centre))).fold(best, |a, b| if b.1 > a.1 { b } else { a });
            if found.1 > best.1 * (1.0 + 1e-6) { best = found } else { step /= 2.0 }
        }
        best
    }

    /// The centre of the smallest circle after stretching the shape to a circle: without border, the best for an ellipse.
    fn stretched_circle_centre(&self, hull: &[Point]) -> Option<Point> {
        let aspect = self.width / self.height;
        let stretched: Vec<Point> = hull.iter().map(|point| Point::new(point.x, point.y * aspect)).collect();
        smallest_circle(&stretched).map(|disc| Point::new(disc.centre.x, disc.centre.y / aspect))
    }

    /// The line at a distance inside its own: exact for rectangles and circles, a polygon within 0.002 mm for ellipses,
    /// whose parallels are no ellipses. `None` when nothing is left.
    pub(super) fn inset_line(&self, by: f64) -> Option<CutLine> {
        let (width, height) = (self.width - 2.0 * by, self.height - 2.0 * by);
        if width <= 0.0 || height <= 0.0 {
            return None;
        }
        let inset = Plate { width, height, ..*self };
        match self.form {
            Form::Rectangle(_) => {
                let form = Form::Rectangle((self.radius() - by).max(0.0));
                Some(Plate { form, ..inset }.line(Point::ORIGIN))
            }
            Form::Ellipse if by <= 0.0 || (self.width - self.height).abs() < 1e-9 => Some(inset.line(Point::ORIGIN)),
            Form::Ellipse => CutLine::polygon(&self.ellipse_parallel(by)),
        }
    }

    /// Points of the inner parallel of an ellipse; where it would cross itself, only the part that keeps the distance.
    fn ellipse_parallel(&self, by: f64) -> Ring {
        let (a, b) = (self.width / 2.0, self.height / 2.0);
        // Sagitta of a chord on a circle of the larger half axis, at most 0.002 mm: source elementary geometry.
        let steps = (std::f64::consts::PI / (0.004 / a.max(b)).sqrt().min(0.05)).ceil() as u32 * 2;
        let points = (0..steps).filter_map(|step| {
            let turn = f64::from(step) / f64::from(steps) * std::f64::consts::TAU;
            let normal = Vec2::new(turn.cos() * b, turn.sin() * a).normalize();
            let inner = Vec2::new(a * turn.cos(), b * turn.sin()) - normal * by;
            self.keeps(inner, by - 1e-6).then(|| inner.to_point())
        });
        Ring::new(points.collect())
    }
}

/// Distance from a point of the first quadrant to the ellipse with half axes `e0 >= e1`.
fn distance_to_ellipse(e0: f64, e1: f64, y0: f64, y1: f64) -> f64 {
    if y1 > 0.0 {
        if y0 <= 0.0 {
            return (y1 - e1).abs();
        }
        let (z0, z1) = (y0 / e0, y1 / e1);
        let level = z0 * z0 + z1 * z1 - 1.0;
        let ratio = (e0 / e1) * (e0 / e1);
        let root = ellipse_root(ratio, z0, z1, level);
        let (x0, x1) = (ratio * y0 / (root + ratio), y1 / (root + 1.0));
        return (x0 - y0).hypot(x1 - y1);
    }
    let (numerator, denominator) = (e0 * y0, e0 * e0 - e1 * e1);
    if numerator < denominator {
        let share = numerator / denominator;
        return (e0 * share - y0).hypot(e1 * (1.0 - share * share).max(0.0).sqrt());
    }
    (y0 - e0).abs()
}

/// Eberly's robust root: bisection until the doubles meet, at most 1074 halvings and about 60 in practice.
fn ellipse_root(ratio: f64, z0: f64, z1: f64, level: f64) -> f64 {
    let n0 = ratio * z0;
    let (mut low, mut high) = (z1 - 1.0, if level < 0.0 { 0.0 } else { n0.hypot(z1) - 1.0 });
    let mut root = 0.0;
    for _ in 0..100 {
        root = (low + high) / 2.0;
        if root <= low || root >= high {
            break;
        }
        let (r0, r1) = (n0 / (root + ratio), z1 / (root + 1.0));
        let value = r0 * r0 + r1 * r1 - 1.0;
        if value > 0.0 {
            low = root;
        } else if value < 0.0 {
            high = root;
        } else {
            break;
        }
    }
    root
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sampled_distance(a: f64, b: f64, x: f64, y: f64) -> f64 {
        (0..200_000)
            .map(|n| f64::from(n) / 200_000.0 * std::f64::consts::TAU)
            .map(|turn| (a * turn.cos() - x).hypot(b * turn.sin() - y))
            .fold(f64::INFINITY, f64::min)
    }

    #[test]
    fn distance_to_an_ellipse_agrees_with_dense_samples() {
        for (x, y) in [(1.0, 2.0), (29.0, 1.0), (10.0, 0.0), (0.0, 3.0), (0.0, 0.0), (20.0, 5.0)] {
            let exact = distance_to_ellipse(30.0, 10.0, x, y);
            assert!((exact - sampled_distance(30.0, 10.0, x, y)).abs() < 1e-6, "{x} {y}");
        }
    }

    #[test]
    fn a_corner_within_the_radius_is_not_kept() {
        let plate = Plate { form: Form::Rectangle(5.0), width: 40.0, height: 20.0 };
        // The corner's circle is about (15, 5) with radius 5; 2 mm inside it radius 3.
        assert!(plate.keeps(Vec2::new(15.0 + 2.1, 5.0 + 2.1), 2.0));
        assert!(!plate.keeps(Vec2::new(15.0 + 2.2, 5.0 + 2.2), 2.0));
        assert!(plate.keeps(Vec2::new(18.0, 0.0), 2.0) && !plate.keeps(Vec2::new(18.1, 0.0), 2.0));
    }

    #[test]
    fn a_triangle_is_drawn_larger_when_it_may_leave_the_middle_of_its_box() {
        let plate = Plate { form: Form::Ellipse, width: 40.0, height: 40.0 };
        let hull = [Point::new(0.0, 0.0), Point::new(6.0, 0.0), Point::new(3.0, 27f64.sqrt())];
        let (_, scale) = plate.best_centre(&hull, Point::new(3.0, 27f64.sqrt() / 2.0), 2.0);
        // Its circumradius is 6 / sqrt(3), the room 20 - 2.
        assert!((scale - 18.0 / (6.0 / 3f64.sqrt())).abs() < 0.01 * scale);
    }

    #[test]
    fn the_parallel_of_a_thin_ellipse_keeps_its_distance_and_crosses_nothing() {
        let plate = Plate { form: Form::Ellipse, width: 60.0, height: 20.0 };
        // Smallest radius of curvature is b^2 / a = 100 / 30 = 3.3 mm: 5 mm inside the plain parallel crosses itself.
        let ring = plate.ellipse_parallel(5.0);
        assert!(ring.points().len() > 100);
        for point in ring.points() {
            assert!(sampled_distance(30.0, 10.0, point.x, point.y) > 5.0 - 1e-3);
        }
        let bounds = ring.bounds();
        assert!((bounds.height() - 10.0).abs() < 0.01, "straight above the middle it is 5 mm inside");
    }
}
