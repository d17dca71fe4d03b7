//! Level lines of a sampled field: marching squares with linear interpolation along cell sides (Lorensen and Cline 1987,
//! "Marching cubes", in the plane), and what is done with the holes.

use super::grid::Grid;
use super::winding::Scan;
use crate::geom::{Point, Ring};

/// Points of a ring at which it is asked what lies around it. Common practice, no source.
const WINDING_SAMPLES: usize = 8;

/// Cells that are looked at together. Measured, no source.
const ALIKE: usize = 32;

/// Traces the zero line: negative inside, outer rings clockwise as seen with y down, holes the other way. Rings with an
/// area under a hundredth of a cell are noise and left out.
pub(super) fn zero_rings(grid: &Grid, values: &[f32]) -> Vec<Ring> {
    let mut steps = steps(grid, values);
    steps.sort_unstable();
    let mut done = vec![false; steps.len()];
    let mut rings = Vec::new();
    for start in 0..steps.len() {
        let mut points = Vec::new();
        let mut at = start;
        while !done[at] {
            done[at] = true;
            points.push(crossing(grid, values, steps[at].0));
            let Ok(next) = steps.binary_search_by_key(&steps[at].1, |step| step.0) else { break };
            at = next;
        }
        let ring = Ring::new(points);
        if ring.points().len() > 2 && ring.area_mm2() > grid.cell() * grid.cell() * 0.01 {
            rings.push(ring);
        }
    }
    rings
}

/// One piece of a level line in each cell: from the side where it enters to the side where it leaves. Sides are numbered
/// 2 x node to the right of a node, 2 x node + 1 below it; every crossed side starts exactly one step.
fn steps(grid: &Grid, values: &[f32]) -> Vec<(u64, u64)> {
    let columns = grid.columns();
    let mut steps = Vec::new();
    let signs = |row: usize| -> Vec<u8> {
        values[row * columns..(row + 1) * columns].iter().map(|value| u8::from(*value < 0.0)).collect()
    };
    let mut above = signs(0);
    for row in 0..grid.rows() - 1 {
        let below = signs(row + 1);
        for column in crossed(&above, &below) {
            let node = row * columns + column;
            // Clockwise from the upper left.
            let corners = [node, node + 1, node + columns + 1, node + columns];
            let inside = corners.map(|corner| values[corner] < 0.0);
            let sides = [2 * node, 2 * (node + 1) + 1, 2 * (node + columns), 2 * node + 1];
            let middle_inside = corners.iter().map(|corner| values[*corner]).sum::<f32>() < 0.0;
            for side in 0..4 {
                if inside[side] && !inside[(side + 1) % 4] {
                    let ahead = (1..4).map(|turn| (side + turn) % 4);
                    let enters = |side: &usize| !inside[*side] && inside[(*side + 1) % 4];
                    // On a saddle the middle decides whether the two inside corners hang together.
                    let end = if middle_inside { ahead.clone().find(enters) } else { ahead.rev().find(enters) };
                    let end = end.expect("a line that leaves a cell also enters it");
                    steps.push((sides[side] as u64, sides[end] as u64));
                }
            }
        }
        above = below;
    }
    steps
}

/// The columns of cells between two rows of signs that have not the same sign at all four corners.
fn crossed(above: &[u8], below: &[u8]) -> Vec<usize> {
    let mut found = Vec::new();
    let last = above.len() - 1;
    for start in (0..last).step_by(ALIKE) {
        let end = (start + ALIKE).min(last);
        let sign = above[start];
        // Most of a grid is far from any line: a stretch of one sign is passed at once.
        let differs = above[start..=end].iter().chain(&below[start..=end]).fold(0, |all, other| all | (other ^ sign));
        if differs != 0 {
            let uneven = |column: &usize| {
                let corners = [above[column + 1], below[*column], below[column + 1]];
                corners.iter().any(|corner| *corner != above[*column])
            };
            found.extend((start..end).filter(uneven));
        }
    }
    found
}

fn crossing(grid: &Grid, values: &[f32], side: u64) -> Point {
    let from = (side / 2) as usize;
    let to = if side.is_multiple_of(2) { from + 1 } else { from + grid.columns() };
    let (start, end) = (f64::from(values[from]), f64::from(values[to]));
    grid.point(from).lerp(grid.point(to), (start / (start - end)).clamp(0.0, 1.0))
}

/// Rings of which narrow holes were filled.
pub(super) struct Filled {
    /// Outer rings and kept holes.
    pub(super) rings: Vec<Ring>,
    /// Outer rings that lie in what was filled.
    pub(super) swallowed: Vec<Ring>,
}

/// Fills holes that `keeps` does not want, and drops what lay inside them.
pub(super) fn fill_holes(rings: Vec<Ring>, keeps: impl Fn(&Ring) -> bool) -> Filled {
    let kept: Vec<Ring> = rings.into_iter().filter(|ring| ring.signed_area() > 0.0 || keeps(ring)).collect();
    if kept.len() < 2 {
        return Filled { rings: kept, swallowed: Vec::new() };
    }
    let scan = Scan::of(&kept);
    let windings: Vec<i32> = kept.iter().enumerate().map(|(own, ring)| least_winding(&scan, ring, own)).collect();
    let mut filled = Filled { rings: Vec::new(), swallowed: Vec::new() };
    for (ring, winding) in kept.into_iter().zip(windings) {
        match (ring.signed_area() > 0.0, winding) {
            (true, ..=0) | (false, 1) => filled.rings.push(ring),
            (true, _) => filled.swallowed.push(ring),
            // A hole in something swallowed.
            (false, _) => {}
        }
    }
    filled
}

/// The winding number of the other rings around a ring: the least at a few of its points, so that an outer ring that
/// merely overlaps another is not taken for one inside it.
fn least_winding(scan: &Scan<'_>, ring: &Ring, own: usize) -> i32 {
    let points = ring.points();
    let step = points.len().div_ceil(WINDING_SAMPLES);
    points.iter().step_by(step).map(|point| scan.winding_without(*point, own)).min().unwrap_or(0)
}

/// The largest value at a node inside a ring; negative infinity when it is too small to hold a node.
pub(super) fn largest_inside(grid: &Grid, values: &[f32], ring: &Ring) -> f32 {
    nodes_inside(grid, ring).map(|node| values[node]).fold(f32::NEG_INFINITY, f32::max)
}

/// The nodes inside a ring.
pub(super) fn nodes_inside(grid: &Grid, ring: &Ring) -> impl Iterator<Item = usize> + use<> {
    let mut crossings = Vec::new();
    for (from, to) in ring.edges() {
        let (top, bottom) = if from.y <= to.y { (from, to) } else { (to, from) };
        let rows = grid.rows_within(top.y, bottom.y);
        for row in rows.filter(|row| (top.y <= grid.y_of(*row)) != (bottom.y <= grid.y_of(*row))) {
            let x = top.x + (bottom.x - top.x) * (grid.y_of(row) - top.y) / (bottom.y - top.y);
            crossings.push((row, grid.in_cells(Point::new(x, top.y)).0));
        }
    }
    crossings.sort_unstable_by(|a, b| a.0.cmp(&b.0).then(a.1.total_cmp(&b.1)));
    let columns = grid.columns();
    let pairs = (0..crossings.len() / 2).map(move |pair| (crossings[2 * pair], crossings[2 * pair + 1]));
    pairs.filter(|(from, to)| from.0 == to.0).flat_map(move |(from, to)| {
        let start = from.0 * columns;
        let (first, end) = (from.1.ceil().max(0.0) as usize, to.1.ceil().max(0.0) as usize);
        start + first.min(columns)..start + end.min(columns)
    })
}
