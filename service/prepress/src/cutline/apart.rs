//! How far a line and its ring lie apart.
//!
//! Cubics are fitted to places at even steps along the ring; what lies between two of them, or beside a cubic that runs ahead
//! of the ring in a sharp turn, is measured here, both ways.

use crate::geom::{Point, Ring, squared_distance};

/// How far along the other ring the place nearest to a point is looked for, from that of the point before, mm, besides twice
/// the way between those points. Common practice, no source.
const LOOK_MM: f64 = 0.5;

/// The farthest that a point of either ring lies from the other, mm; more than that where they do not run alike. Linear in
/// their points.
pub(super) fn farthest(one: &Ring, other: &Ring) -> f64 {
    from(one, other).max(from(other, one))
}

/// The farthest that a ring's points lie from another, followed along both.
fn from(ring: &Ring, other: &Ring) -> f64 {
    let edges: Vec<(Point, Point)> = other.edges().collect();
    let Some(mut last) = ring.points().first().copied() else { return 0.0 };
    let all = edges.iter().map(|edge| squared_distance(last, *edge)).enumerate();
    let Some((mut at, _)) = all.min_by(|a, b| a.1.total_cmp(&b.1)) else { return f64::INFINITY };
    let mut farthest2 = 0.0_f64;
    for point in ring.points() {
        let reach = LOOK_MM + 2.0 * last.distance(*point);
        let start = at;
        let mut nearest2 = squared_distance(*point, edges[start]);
        for step in [1, edges.len() - 1] {
            let (mut next, mut walked) = (start, 0.0);
            for _ in 1..edges.len() {
                if walked >= reach {
                    break;
                }
                next = (next + step) % edges.len();
                walked += edges[next].0.distance(edges[next].1);
                let there = squared_distance(*point, edges[next]);
                if there < nearest2 {
                    (at, nearest2) = (next, there);
                }
            }
        }
        farthest2 = farthest2.max(nearest2);
        last = *point;
    }
    farthest2.sqrt()
}

#[cfg(test)]
mod tests {
    use std::f64::consts::PI;

    use super::*;
    use crate::geom::Vec2;

    fn disc(radius: f64, count: usize, turned: f64) -> Ring {
        let angle = |index: usize| turned + index as f64 / count as f64 * 2.0 * PI;
        Ring::new((0..count).map(|index| (Vec2::from_angle(angle(index)) * radius).to_point()).collect())
    }

    #[test]
    fn circles_lie_apart_by_their_radii_wherever_they_start() {
        for turned in [0.0, 1.0, 4.0] {
            let (inner, outer) = (disc(10.0, 900, 0.0), disc(10.03, 700, turned));
            assert!((farthest(&inner, &outer) - 0.03).abs() < 0.001, "{turned}");
            assert!(farthest(&inner, &disc(10.0, 900, turned)) < 0.001, "{turned}");
        }
    }

    #[test]
    fn a_spike_on_either_ring_counts() {
        let ring = disc(10.0, 900, 0.0);
        let mut points = ring.points().to_vec();
        points[300] = (points[300].to_vec2() * 1.02).to_point();
        let spiked = Ring::new(points);
        assert!((farthest(&ring, &spiked) - 0.2).abs() < 0.001);
        assert!((farthest(&spiked, &ring) - 0.2).abs() < 0.001);
    }

    #[test]
    fn what_runs_close_by_does_not_stand_in_for_an_end_cut_off() {
        // Two legs 0.1 mm apart, and a line that cuts their end off.
        let legs = |length: f64| {
            let points = [(0.0, 0.0), (length, 0.0), (length, 0.1), (0.0, 0.1), (0.0, 5.0), (-5.0, 5.0), (-5.0, 0.0)];
            Ring::new(points.iter().map(|(x, y)| Point::new(*x, *y)).collect())
        };
        assert!((farthest(&legs(8.0), &legs(7.0)) - 1.0).abs() < 0.001);
    }

    #[test]
    fn needles_and_dots_are_no_trouble() {
        let dot = Ring::new([(0.0, 0.0), (1e-9, 0.0), (0.0, 1e-9)].map(|(x, y)| Point::new(x, y)).to_vec());
        assert!(farthest(&dot, &dot) < 1e-9);
        assert!((farthest(&dot, &disc(1.0, 100, 0.0)) - 1.0).abs() < 0.01);
        assert!(farthest(&Ring::default(), &dot).is_infinite());
    }
}
