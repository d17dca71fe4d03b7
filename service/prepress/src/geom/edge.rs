//! Straight edges by their ends.

use super::Point;

/// Squared distance of a point from an edge; of one without length from its end.
#[inline]
pub(crate) fn squared_distance(point: Point, (from, to): (Point, Point)) -> f64 {
    let along = to - from;
    let length_squared = along.hypot2();
    let share = if length_squared > 0.0 { ((point - from).dot(along) / length_squared).clamp(0.0, 1.0) } else { 0.0 };
    (point - (from + along * share)).hypot2()
}

/// Whether two edges cross or touch, other than at ends that they share.
pub(crate) fn crosses((a, b): (Point, Point), (c, d): (Point, Point)) -> bool {
    if a == c || a == d || b == c || b == d {
        return false;
    }
    let apart = |a: f64, b: f64, c: f64, d: f64| a.max(b) < c.min(d) || c.max(d) < a.min(b);
    if apart(a.x, b.x, c.x, d.x) || apart(a.y, b.y, c.y, d.y) {
        return false;
    }
    let side = |from: Point, to: Point, of: Point| (to - from).cross(of - from);
    side(a, b, c) * side(a, b, d) <= 0.0 && side(c, d, a) * side(c, d, b) <= 0.0
}
