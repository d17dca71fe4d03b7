//! Which side of a set of rings a point is on, by winding numbers: rings may touch or cross themselves and each other.

use super::grid::Grid;
use crate::geom::{Point, Rect, Ring};

/// Whether each node of a grid lies inside rings: winding number not zero (outer rings count up, holes down).
pub(super) fn inside_flags(grid: &Grid, rings: &[Ring]) -> Vec<bool> {
    let mut flags = vec![false; grid.nodes()];
    let mut crossings = crossings(grid, rings);
    crossings.sort_unstable_by(|a, b| a.row.cmp(&b.row).then(a.column.total_cmp(&b.column)));
    for row in crossings.chunk_by(|a, b| a.row == b.row) {
        let mut winding = 0;
        for pair in row.windows(2) {
            winding += pair[0].turn;
            if winding != 0 {
                let first = (pair[0].column.ceil().max(0.0) as usize).min(grid.columns());
                let end = (pair[1].column.ceil().max(0.0) as usize).min(grid.columns());
                let start = pair[0].row as usize * grid.columns();
                flags[start + first..start + end.max(first)].fill(true);
            }
        }
    }
    flags
}

/// Where a row of nodes crosses an edge.
struct Crossing {
    row: u32,
    column: f64,
    turn: i32,
}

fn crossings(grid: &Grid, rings: &[Ring]) -> Vec<Crossing> {
    let mut crossings = Vec::new();
    for (from, to) in rings.iter().flat_map(Ring::edges) {
        let (top, bottom) = if from.y <= to.y { (from, to) } else { (to, from) };
        for row in grid.rows_within(top.y, bottom.y) {
            let y = grid.y_of(row);
            if (top.y <= y) != (bottom.y <= y) {
                let x = top.x + (bottom.x - top.x) * (y - top.y) / (bottom.y - top.y);
                let (column, _) = grid.in_cells(Point::new(x, y));
                crossings.push(Crossing { row: row as u32, column, turn: if from.y <= to.y { 1 } else { -1 } });
            }
        }
    }
    crossings
}

/// Rings sorted into rows, to ask for winding numbers at single points.
pub(super) struct Scan<'a> {
    rings: &'a [Ring],
    top: f64,
    row_height: f64,
    rows: Vec<Vec<(u32, u32)>>,
}

impl<'a> Scan<'a> {
    /// Sorts the edges of rings into rows.
    pub(super) fn of(rings: &'a [Ring]) -> Scan<'a> {
        let bounds = rings.iter().map(Ring::bounds).reduce(|a, b| a.union(b)).unwrap_or(Rect::ZERO);
        let edges: usize = rings.iter().map(|ring| ring.points().len()).sum();
        let count = (edges / 4).clamp(1, 4096);
        let row_height = (bounds.height() / count as f64).max(1e-9);
        let mut scan = Scan { rings, top: bounds.y0, row_height, rows: vec![Vec::new(); count + 1] };
        for (owner, ring) in rings.iter().enumerate() {
            for (index, (from, to)) in ring.edges().enumerate() {
                let first = scan.row(from.y.min(to.y));
                let last = scan.row(from.y.max(to.y));
                scan.rows[first..=last].iter_mut().for_each(|row| row.push((owner as u32, index as u32)));
            }
        }
        scan
    }

    fn row(&self, y: f64) -> usize {
        (((y - self.top) / self.row_height).max(0.0) as usize).min(self.rows.len() - 1)
    }

    /// The winding number of a point, one ring left out.
    pub(super) fn winding_without(&self, point: Point, left_out: usize) -> i32 {
        let mut winding = 0;
        for &(owner, index) in &self.rows[self.row(point.y)] {
            if owner as usize == left_out {
                continue;
            }
            let points = self.rings[owner as usize].points();
            let from = points[index as usize];
            let to = points[(index as usize + 1) % points.len()];
            if (from.y <= point.y) != (to.y <= point.y) {
                let x = from.x + (to.x - from.x) * (point.y - from.y) / (to.y - from.y);
                if x <= point.x {
                    winding += if from.y <= to.y { 1 } else { -1 };
                }
            }
        }
        // With y down a clockwise ring goes up on its left side: it counts -1 there.
        -winding
    }
}

#[cfg(test)]
mod tests {
    use super::super::grid::Fineness;
    use super::*;

    #[test]
    fn a_hole_is_outside_and_an_island_in_it_is_inside() {
        let outer = Ring::rectangle(Rect::new(0.01, 0.01, 10.0, 10.0));
        let hole = Ring::rectangle(Rect::new(2.01, 2.01, 8.01, 8.01)).reversed();
        let island = Ring::rectangle(Rect::new(4.0, 4.0, 6.0, 6.0));
        let rings = [outer, hole, island];
        let scan = Scan::of(&rings);
        assert_eq!(scan.winding_without(Point::new(1.0, 5.0), usize::MAX), 1);
        assert_eq!(scan.winding_without(Point::new(3.0, 5.0), usize::MAX), 0);
        assert_eq!(scan.winding_without(Point::new(5.0, 5.0), usize::MAX), 1);
        assert_eq!(scan.winding_without(Point::new(5.0, 5.0), 1), 2);
        let grid = Grid::over(Rect::new(0.0, 0.0, 10.0, 10.0), 1.0, Fineness::Full).expect("a small grid");
        let flags = inside_flags(&grid, &rings);
        for (node, flag) in flags.iter().enumerate() {
            let point = grid.point(node);
            assert_eq!(*flag, scan.winding_without(point, usize::MAX) != 0, "{point:?}");
        }
    }
}
