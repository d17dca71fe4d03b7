//! Fewer points on a ring: those of a picture's edge lie a pixel apart, on a large picture far closer than the grid can tell.
//!
//! Sklansky and Gonzalez 1980, "Fast polygonal approximation of digitized curves": from a point on, the directions that
//! pass all points so far within the tolerance are a sector; a piece ends where the next point lies outside of it.

use crate::geom::{Point, Ring, Vec2};

/// How far a point that is left out may lie from the piece that passes it, mm: a thirtieth of what a border may lack.
/// Larger eats into the border, smaller leaves more edges to measure from. Measured, no source.
const STRAIGHT_MM: f64 = 0.0015;

/// A ring on some of the points, within [`STRAIGHT_MM`] of all of them. Linear in points.
pub(super) fn straightened(ring: &Ring) -> Ring {
    let points = ring.points();
    let Some(&first) = points.first() else { return ring.clone() };
    let mut kept = vec![first];
    let mut sector = Sector::from(first);
    let mut last = first;
    for &point in points[1..].iter().chain([&first]) {
        if !sector.takes(point) {
            kept.push(last);
            sector = Sector::from(last);
            sector.takes(point);
        }
        last = point;
    }
    if kept.len() < 3 { ring.clone() } else { Ring::new(kept) }
}

/// The directions from a point that pass all points so far.
struct Sector {
    apex: Point,
    /// Its two sides, turned by less than half a turn from the first to the second; none before the first point that is
    /// far enough away to tell.
    sides: Option<(Vec2, Vec2)>,
    farthest: f64,
}

impl Sector {
    fn from(apex: Point) -> Sector {
        Sector { apex, sides: None, farthest: 0.0 }
    }

    /// Narrows the sector to what passes a point too; whether a straight piece to that point passes all before it.
    fn takes(&mut self, point: Point) -> bool {
        let off = point - self.apex;
        let distance = off.hypot();
        // A line that turns back is not passed by a piece that ends short of where it was.
        if distance < self.farthest - STRAIGHT_MM {
            return false;
        }
        self.farthest = self.farthest.max(distance);
        if distance <= 2.0 * STRAIGHT_MM {
            return self.sides.is_none();
        }
        if self.sides.is_some_and(|(from, to)| from.cross(off) < 0.0 || off.cross(to) < 0.0) {
            return false;
        }
        let sin = STRAIGHT_MM / distance;
        let (along, aside) = (off * ((1.0 - sin * sin).sqrt() / distance), Vec2::new(-off.y, off.x) * (sin / distance));
        let (mut from, mut to) = (along - aside, along + aside);
        if let Some((low, high)) = self.sides {
            from = if from.cross(low) > 0.0 { low } else { from };
            to = if high.cross(to) > 0.0 { high } else { to };
        }
        self.sides = Some((from, to));
        true
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_finely_drawn_ring_keeps_few_points_and_all_of_its_shape() {
        let point = |n: u32| {
            let angle = f64::from(n) / 5000.0 * std::f64::consts::TAU;
            let radius = 20.0 + 4.0 * (5.0 * angle).cos() + 0.4 * STRAIGHT_MM * f64::from(n % 3);
            Point::new(radius * angle.cos(), radius * angle.sin())
        };
        let ring = Ring::new((0..5000).map(point).collect());
        let straight = straightened(&ring);
        assert!(straight.points().len() < 600, "{}", straight.points().len());
        let off = ring.points().iter().map(|point| straight.distance_to_edges(*point)).fold(0.0, f64::max);
        assert!(off <= STRAIGHT_MM + 1e-9, "{off}");
        assert!((straight.area_mm2() / ring.area_mm2() - 1.0).abs() < 1e-4);
    }

    #[test]
    fn needles_spikes_and_dots_stay_what_they_are() {
        let needle = [(0.0, 0.0), (10.0, 0.001), (20.0, 0.0), (20.0, 0.3), (10.0, 0.3), (0.0, 0.3)];
        let spike = [(0.0, 0.0), (5.0, 0.0), (5.0, 8.0), (5.0005, 0.0), (10.0, 0.0), (10.0, 5.0), (0.0, 5.0)];
        let dot = [(0.0, 0.0), (0.001, 0.0), (0.001, 0.001), (0.0, 0.001)];
        for (corners, kept) in [(&needle[..], 4), (&spike[..], 7), (&dot[..], 4)] {
            let ring = Ring::new(corners.iter().map(|(x, y)| Point::new(*x, *y)).collect());
            let straight = straightened(&ring);
            assert_eq!(straight.points().len(), kept, "{straight:?}");
            let off = ring.points().iter().map(|point| straight.distance_to_edges(*point)).fold(0.0, f64::max);
            assert!(off <= STRAIGHT_MM, "{off}");
        }
    }
}
