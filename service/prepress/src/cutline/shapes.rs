//! Geometric shapes: arcs as cubics.

use std::f64::consts::FRAC_PI_2;

use crate::geom::{BezPath, CutLine, Point, Vec2};

/// Radial error of one cubic for a quarter circle of radius 1 with handles of 4/3 tan(angle/4). Goldapp 1991,
/// "Approximation of circular arcs by cubic polynomials": 2.73e-4, falling with the sixth power of the angle.
const QUARTER_ERROR: f64 = 2.73e-4;

/// Radial error allowed, mm; promised is 0.001.
const ERROR_MM: f64 = 0.0008;

/// Cubics for a quarter circle of a radius.
fn cubics_in_quarter(radius: f64) -> usize {
    (radius * QUARTER_ERROR / ERROR_MM).powf(1.0 / 6.0).ceil().max(1.0) as usize
}

/// Adds a quarter of an ellipse, clockwise as seen with y down, from `centre + start` to `centre + end`, the two
/// half-axes that bound it.
fn quarter(path: &mut BezPath, centre: Point, start: Vec2, end: Vec2, arrive: Point) {
    let count = cubics_in_quarter(start.hypot().max(end.hypot()));
    let step = FRAC_PI_2 / count as f64;
    let handle = 4.0 / 3.0 * (step / 4.0).tan();
    for index in 0..count {
        let (sin, cos) = (step * index as f64).sin_cos();
        let (next_sin, next_cos) = (step * (index + 1) as f64).sin_cos();
        let from = centre + start * cos + end * sin;
        let to = if index + 1 == count { arrive } else { centre + start * next_cos + end * next_sin };
        let leave = (end * cos - start * sin) * handle;
        let land = (end * next_cos - start * next_sin) * handle;
        path.curve_to(from + leave, to - land, to);
    }
}

/// See [`super::rounded_rectangle`].
pub(super) fn rounded_rectangle(centre: Point, width: f64, height: f64, corner_radius: f64) -> CutLine {
    let half = Vec2::new(width.abs() / 2.0, height.abs() / 2.0);
    let radius = corner_radius.clamp(0.0, half.x.min(half.y));
    let corners = [Vec2::new(1.0, -1.0), Vec2::new(1.0, 1.0), Vec2::new(-1.0, 1.0), Vec2::new(-1.0, -1.0)];
    let start = centre + Vec2::new(radius - half.x, -half.y);
    let mut path = BezPath::new();
    path.move_to(start);
    let mut at = start;
    for (index, corner) in corners.into_iter().enumerate() {
        let tip = centre + Vec2::new(half.x * corner.x, half.y * corner.y);
        let middle = tip - corner * radius;
        // Clockwise: top and bottom corners are entered from the side that a quarter turn back points to.
        let (enter, leave) = if index % 2 == 0 {
            (Vec2::new(0.0, corner.y * radius), Vec2::new(corner.x * radius, 0.0))
        } else {
            (Vec2::new(corner.x * radius, 0.0), Vec2::new(0.0, corner.y * radius))
        };
        let arrive = if index == 3 { start } else { middle + leave };
        if (middle + enter).distance(at) > 1e-9 {
            path.line_to(middle + enter);
        }
        if radius > 0.0 {
            quarter(&mut path, middle, enter, leave, arrive);
        }
        at = arrive;
    }
    path.close_path();
    CutLine::new(path).expect("lengths are finite, and four corners make a path")
}

/// See [`super::ellipse`].
pub(super) fn ellipse(centre: Point, width: f64, height: f64) -> CutLine {
    let (across, down) = (Vec2::new(width.abs() / 2.0, 0.0), Vec2::new(0.0, height.abs() / 2.0));
    let mut path = BezPath::new();
    let top = centre - down;
    path.move_to(top);
    quarter(&mut path, centre, -down, across, centre + across);
    quarter(&mut path, centre, across, down, centre + down);
    quarter(&mut path, centre, down, -across, centre - across);
    quarter(&mut path, centre, -across, -down, top);
    path.close_path();
    CutLine::new(path).expect("lengths are finite, and four quarters make a path")
}
