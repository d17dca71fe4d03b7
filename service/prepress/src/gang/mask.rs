//! The cells that a grown outline touches, as runs per row.
//!
//! Conservative: a cell that the grown outline only touches is in the mask. Two pieces whose masks share no cell are
//! therefore at least two growths apart.

use crate::geom::{Point, Rect, squared_distance};

/// What an outline may stick into a cell without counting, mm: so that sizes in whole cells take whole cells. Far under the
/// layout's tolerance of a millionth of a millimetre.
const TOUCH_MM: f64 = 1e-7;

/// A run of cells in a row.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Run {
    /// First cell.
    pub(super) from: i32,
    /// One past the last cell.
    pub(super) to: i32,
}

/// Cells by rows.
#[derive(Clone, Debug, Default)]
pub(super) struct Mask {
    /// Row of the first entry.
    pub(super) top: i32,
    runs: Vec<Run>,
    /// Where each row's runs begin, and the end.
    starts: Vec<u32>,
}

impl Mask {
    /// Rows in the mask.
    #[inline(always)]
    pub(super) fn rows(&self) -> usize {
        self.starts.len().saturating_sub(1)
    }

    /// Runs of the row at `top + index`.
    #[inline(always)]
    pub(super) fn row(&self, index: usize) -> &[Run] {
        &self.runs[self.starts[index] as usize..self.starts[index + 1] as usize]
    }

    /// Rasterises rings grown by `growth`, everything in mm from the corner of cell (0, 0).
    pub(super) fn of(rings: &[Vec<Point>], growth: f64, cell: f64) -> Mask {
        let points = rings.iter().flatten();
        let Some(bounds) = points.map(|p| Rect::from_points(*p, *p)).reduce(|a, b| a.union(b)) else {
            return Mask::default();
        };
        let (top, bottom) = touched(bounds.y0 - growth, bounds.y1 + growth, cell);
        let mut rows: Vec<Vec<Run>> = vec![Vec::new(); (bottom - top).max(0) as usize];
        let mut crossings: Vec<Vec<f64>> = vec![Vec::new(); rows.len()];
        for ring in rings {
            crossings.iter_mut().for_each(Vec::clear);
            for (index, a) in ring.iter().enumerate() {
                let b = ring[(index + 1) % ring.len()];
                Capsule { a: *a, b, radius: growth }.draw(&mut rows, top, cell);
                cross(*a, b, &mut crossings, top, cell);
            }
            fill(&mut rows, &mut crossings, cell);
        }
        Mask::from_rows(top, rows)
    }

    /// From runs of rows, in any order.
    pub(super) fn from_rows(top: i32, rows: Vec<Vec<Run>>) -> Mask {
        let mut mask = Mask { top, runs: Vec::new(), starts: vec![0] };
        for mut row in rows {
            row.sort_unstable_by_key(|run| (run.from, run.to));
            let first = mask.runs.len();
            for run in row {
                match mask.runs[first..].last_mut() {
                    Some(last) if run.from <= last.to => last.to = last.to.max(run.to),
                    _ => mask.runs.push(run),
                }
            }
            mask.starts.push(mask.runs.len() as u32);
        }
        mask
    }
}

/// Cells that an interval touches: first and one past the last.
fn touched(from: f64, to: f64, cell: f64) -> (i32, i32) {
    let first = ((from + TOUCH_MM) / cell).floor() as i32;
    let end = ((to - TOUCH_MM) / cell).ceil() as i32;
    (first, end.max(first + 1))
}

/// Where an edge crosses the middle lines of rows.
fn cross(a: Point, b: Point, crossings: &mut [Vec<f64>], top: i32, cell: f64) {
    let (low, high) = if a.y < b.y { (a, b) } else { (b, a) };
    let first = (low.y / cell - 0.5).ceil() as i32 - top;
    for row in first.max(0)..crossings.len() as i32 {
        let y = (f64::from(row + top) + 0.5) * cell;
        if y >= high.y {
            break;
        }
        crossings[row as usize].push(low.x + (high.x - low.x) * (y - low.y) / (high.y - low.y));
    }
}

/// Cells of the inside by the even-odd rule. A cell that the inside touches away from a row's middle line is either crossed
/// by the line, which the capsules cover, or wholly inside.
fn fill(rows: &mut [Vec<Run>], crossings: &mut [Vec<f64>], cell: f64) {
    for (row, xs) in rows.iter_mut().zip(crossings) {
        xs.sort_unstable_by(f64::total_cmp);
        for pair in xs.chunks_exact(2) {
            let (from, to) = touched(pair[0], pair[1], cell);
            row.push(Run { from, to });
        }
    }
}

/// All points within a radius of a segment.
pub(super) struct Capsule {
    /// One end.
    pub(super) a: Point,
    /// The other.
    pub(super) b: Point,
    /// The radius.
    pub(super) radius: f64,
}

impl Capsule {
    fn draw(&self, rows: &mut [Vec<Run>], top: i32, cell: f64) {
        let low = self.a.y.min(self.b.y) - self.radius;
        let high = self.a.y.max(self.b.y) + self.radius;
        let (first, end) = touched(low, high, cell);
        for row in first.max(top)..end.min(top + rows.len() as i32) {
            let (y0, y1) = (f64::from(row) * cell, f64::from(row + 1) * cell);
            let (left, right) = self.extent(y0, y1);
            let (from, to) = touched(left, right, cell);
            rows[(row - top) as usize].push(Run { from, to });
        }
    }

    /// Least and greatest x of the part between two levels. The capsule is convex: its leftmost point is below an end, and
    /// where a level cuts that off, the nearest level has the leftmost point that remains.
    fn extent(&self, y0: f64, y1: f64) -> (f64, f64) {
        let (west, east) = if self.a.x <= self.b.x { (self.a, self.b) } else { (self.b, self.a) };
        let left = if west.y >= y0 && west.y <= y1 {
            west.x - self.radius
        } else {
            self.section(if west.y < y0 { y0 } else { y1 }).0
        };
        let right = if east.y >= y0 && east.y <= y1 {
            east.x + self.radius
        } else {
            self.section(if east.y < y0 { y0 } else { y1 }).1
        };
        (left, right)
    }

    /// Least and greatest x at one level; the level is moved into the capsule's reach where it lies just outside.
    pub(super) fn section(&self, level: f64) -> (f64, f64) {
        let low = self.a.y.min(self.b.y) - self.radius;
        let high = self.a.y.max(self.b.y) + self.radius;
        let y = level.clamp(low, high);
        let mut span = (f64::INFINITY, f64::NEG_INFINITY);
        let mut widen = |x: f64| span = (span.0.min(x), span.1.max(x));
        for end in [self.a, self.b] {
            let half_sq = self.radius * self.radius - (y - end.y) * (y - end.y);
            if half_sq >= -1e-12 {
                let half = half_sq.max(0.0).sqrt();
                widen(end.x - half);
                widen(end.x + half);
            }
        }
        let along = self.b - self.a;
        let length = along.hypot();
        if length > 0.0 && along.y != 0.0 {
            let normal = along.turn_90() * (self.radius / length);
            for side in [normal, -normal] {
                let t = (y - self.a.y - side.y) / along.y;
                if (0.0..=1.0).contains(&t) {
                    widen(self.a.x + side.x + along.x * t);
                }
            }
        }
        if span.0 > span.1 {
            // Rounding left no section: the whole width is safe.
            span = (self.a.x.min(self.b.x) - self.radius, self.a.x.max(self.b.x) + self.radius);
        }
        span
    }
}

/// A simpler outline that stays within `tolerance` of the true one, for masks only, which are grown by the tolerance too.
///
/// Source: D. Douglas, T. Peucker, *Algorithms for the reduction of the number of points*, 1973.
pub(super) fn simplified(points: &[Point], tolerance: f64) -> Vec<Point> {
    if points.len() < 8 {
        return points.to_vec();
    }
    let far = |from: Point| {
        let key = |index: &usize| (points[*index] - from).hypot2();
        (0..points.len()).max_by(|a, b| key(a).total_cmp(&key(b))).unwrap_or(0)
    };
    let split = far(points[0]);
    let mut kept = vec![false; points.len() + 1];
    let at = |index: usize| points[index % points.len()];
    let mut open = vec![(0, split), (split, points.len())];
    (kept[0], kept[split]) = (true, true);
    while let Some((from, to)) = open.pop() {
        let gap = |index: usize| squared_distance(at(index), (at(from), at(to))).sqrt();
        let worst = (from + 1..to).map(|index| (index, gap(index))).max_by(|a, b| a.1.total_cmp(&b.1));
        if let Some((index, gap)) = worst.filter(|worst| worst.1 > tolerance) {
            debug_assert!(gap.is_finite(), "outlines are finite");
            kept[index] = true;
            open.push((from, index));
            open.push((index, to));
        }
    }
    (0..points.len()).filter(|index| kept[*index]).map(at).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geom::Ring;

    #[test]
    fn sizes_in_whole_cells_take_whole_cells() {
        let square = Ring::rectangle(Rect::new(1.0, 1.0, 51.0, 51.0)).points().to_vec();
        let mask = Mask::of(&[square], 1.0, 0.5);
        assert_eq!((mask.top, mask.rows()), (0, 104));
        assert_eq!(mask.row(50), [Run { from: 0, to: 104 }]);
    }

    #[test]
    fn no_cell_of_a_grown_triangle_is_left_out() {
        let triangle = vec![Point::new(3.3, 2.1), Point::new(17.8, 5.2), Point::new(8.4, 14.9)];
        let mask = Mask::of(std::slice::from_ref(&triangle), 1.25, 0.7);
        let body = super::super::body::Body::new(&[Ring::new(triangle)], 0.0);
        for sample in 0..40_000 {
            let point = Point::new(f64::from(sample % 200) * 0.1, f64::from(sample / 200) * 0.1);
            if body.distance_to_point(point) < 1.25 - 1e-6 {
                let (column, row) = ((point.x / 0.7).floor() as i32, (point.y / 0.7).floor() as i32);
                let runs = mask.row((row - mask.top) as usize);
                assert!(runs.iter().any(|run| run.from <= column && column < run.to), "{point:?}");
            }
        }
    }
}
