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
