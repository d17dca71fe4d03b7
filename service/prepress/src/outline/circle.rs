//! Smallest enclosing circles of points.
//!
//! Source: Welzl, "Smallest enclosing disks (balls and ellipsoids)" (1991), here in its incremental form (de Berg et al.,
//! "Computational Geometry", 4.7).

use crate::geom::{Point, Vec2};

/// A circle.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Disc {
    /// Its centre.
    pub(super) centre: Point,
    /// Its radius.
    pub(super) radius: f64,
}

impl Disc {
    /// Whether a point lies inside, give or take rounding of doubles.
    fn holds(&self, point: Point) -> bool {
        self.centre.distance(point) <= self.radius * (1.0 + 1e-12) + 1e-12
    }

    fn on_diameter(a: Point, b: Point) -> Disc {
        Disc { centre: a.midpoint(b), radius: a.distance(b) / 2.0 }
    }

    /// Through three points; of points on one line, over the two farthest.
    fn through(a: Point, b: Point, c: Point) -> Disc {
        let (u, v) = (b - a, c - a);
        let twice_area = 2.0 * u.cross(v);
        if twice_area.abs() <= f64::EPSILON * u.hypot2().max(v.hypot2()) {
            let pairs = [Disc::on_diameter(a, b), Disc::on_diameter(a, c), Disc::on_diameter(b, c)];
            return pairs.into_iter().fold(pairs[0], |wide, disc| if disc.radius > wide.radius { disc } else { wide });
        }
        let to_centre =
            Vec2::new(v.y * u.hypot2() - u.y * v.hypot2(), u.x * v.hypot2() - v.x * u.hypot2()) / twice_area;
        Disc { centre: a + to_centre, radius: to_centre.hypot() }
    }
}

/// The smallest circle that holds every point, expected linear time. Its radius is the true largest distance from its
/// centre, so that no point is outside.
pub(super) fn smallest_circle(points: &[Point]) -> Option<Disc> {
    let mut points = points.to_vec();
    shuffle(&mut points);
    let (first, rest) = points.split_first()?;
    let mut disc = Disc { centre: *first, radius: 0.0 };
    for (count, point) in rest.iter().enumerate() {
        if !disc.holds(*point) {
            disc = circle_touching(&points[..=count], *point);
        }
    }
    disc.radius = points.iter().map(|point| point.distance(disc.centre)).fold(0.0, f64::max);
    Some(disc)
}

/// The smallest circle over `points` that has `edge` on it.
fn circle_touching(points: &[Point], edge: Point) -> Disc {
    let mut disc = Disc { centre: edge, radius: 0.0 };
    for (second, a) in points.iter().enumerate() {
        if disc.holds(*a) {
            continue;
        }
        disc = Disc::on_diameter(edge, *a);
        for b in &points[..second] {
            if !disc.holds(*b) {
                disc = Disc::through(edge, *a, *b);
            }
        }
    }
    disc
}

/// A fixed permutation: the expected linear time needs an order that has nothing to do with the points. Multiplier and
/// increment are Knuth's for MMIX ("The Art of Computer Programming", volume 2, 3.3.4).
fn shuffle(points: &mut [Point]) {
    let mut state: u64 = 1;
    for last in (1..points.len()).rev() {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        let other = ((state >> 33) as usize) % (last + 1);
        points.swap(last, other);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn circle_of_an_obtuse_triangle_stands_on_its_longest_side() {
        // Of an obtuse triangle the smallest enclosing circle has the longest side as diameter.
        let points = [Point::new(0.0, 0.0), Point::new(10.0, 0.0), Point::new(5.0, 1.0)];
        let disc = smallest_circle(&points).expect("points");
        assert!((disc.radius - 5.0).abs() < 1e-9 && disc.centre.distance(Point::new(5.0, 0.0)) < 1e-9);
    }

    #[test]
    fn circle_of_an_equilateral_triangle_is_its_circumcircle() {
        // Circumradius = side / sqrt(3).
        let points = [Point::new(0.0, 0.0), Point::new(6.0, 0.0), Point::new(3.0, 27f64.sqrt())];
        let disc = smallest_circle(&points).expect("points");
        assert!((disc.radius - 6.0 / 3f64.sqrt()).abs() < 1e-9);
    }

    #[test]
    fn circle_of_points_on_a_circle_is_that_circle() {
        let around = |turn: u32| f64::from(turn).to_radians();
        let points: Vec<Point> =
            (0..360).map(|turn| Point::new(3.0 + 7.0 * around(turn).cos(), 7.0 * around(turn).sin())).collect();
        let disc = smallest_circle(&points).expect("points");
        assert!((disc.radius - 7.0).abs() < 1e-9 && disc.centre.distance(Point::new(3.0, 0.0)) < 1e-6);
    }

    #[test]
    fn one_point_and_none_are_no_trouble() {
        assert_eq!(smallest_circle(&[]), None);
        assert!(smallest_circle(&[Point::ORIGIN; 3]).is_some_and(|disc| disc.radius < 1e-12));
        let line: Vec<Point> = (0..9).map(|n| Point::new(f64::from(n), 0.0)).collect();
        assert!(smallest_circle(&line).is_some_and(|disc| (disc.radius - 4.0).abs() < 1e-9));
    }
}
