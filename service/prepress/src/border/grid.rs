//! The grid on which distances are sampled: square cells in millimetres, fixed by tolerance and not by the picture.

use std::ops::Range;

use crate::fault::Fault;
use crate::geom::{Point, Rect, Vec2};
use crate::units::Mm;

/// Cells in a millimetre. Distances are exact at the nodes; between them a level line of curvature radius r is off by
/// h²/8r, 0.004 mm for r = 0.5 mm. Fewer cells clip corners sharper than a cell by up to half a cell, but for those that are
/// put back (see `notches`); more cost time with their square. Measured, no source.
const CELLS_PER_MM: f64 = 8.0;

/// The same where everything is round: no line turns tighter than three of these cells. Measured, no source.
const EVEN_CELLS_PER_MM: f64 = 6.0;

/// The same where only the size of the outcome is asked for: four cells across the narrowest that is grown.
const ROUGH_CELLS_PER_MM: f64 = 3.0;

/// Rows of a strip at most: few enough for a strip to be in a processor's own memory, enough for little to cross its borders.
/// Common practice, no source.
const STRIP_ROWS: usize = 128;

/// Turns that a grid for even shapes asks for at least, mm.
pub(super) const EVEN_RADIUS_MM: f64 = 3.0 / EVEN_CELLS_PER_MM;

/// How finely distances are sampled.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Fineness {
    /// Within the promised tolerances.
    Full,
    /// The same for a shape whose turns are no tighter than [`EVEN_RADIUS_MM`].
    Even,
    /// Good to about a tenth of a millimetre.
    Rough,
}

/// Most nodes of a grid: 128 MiB of distances and feet. Above about 500 x 500 mm cells grow, and with them the clipping of
/// corners: half a cell, 0.1 mm for a sticker of 800 x 800 mm.
const MOST_NODES: f64 = 16.0e6;

/// Longest side that is taken at all: ordered sizes end at 100 m (the contract's table of sizes).
const LONGEST_SIDE_MM: f64 = 200_000.0;

/// Nodes of a square lattice.
#[derive(Clone, Copy, Debug)]
pub(super) struct Grid {
    origin: Point,
    cell: f64,
    columns: usize,
    rows: usize,
}

impl Grid {
    /// A grid over a box with a margin on every side.
    ///
    /// # Errors
    /// `size.too_large` over 200 m.
    pub(super) fn over(bounds: Rect, margin: f64, fineness: Fineness) -> Result<Grid, Fault> {
        let bounds = bounds.inflate(margin, margin);
        let longest = bounds.width().max(bounds.height());
        if longest.is_nan() || longest > LONGEST_SIDE_MM {
            let measured = Mm::checked(longest)?;
            return Err(Fault::SizeTooLarge { measured, limit: Mm::of(LONGEST_SIDE_MM), would_fit: None });
        }
        let cells = match fineness {
            Fineness::Full => CELLS_PER_MM,
            Fineness::Even => EVEN_CELLS_PER_MM,
            Fineness::Rough => ROUGH_CELLS_PER_MM,
        };
        let cell = (1.0 / cells).max((bounds.width() * bounds.height() / MOST_NODES).sqrt());
        // Two cells more on each side, so that every level line closes inside the grid.
        let columns = (bounds.width() / cell).ceil() as usize + 5;
        let rows = (bounds.height() / cell).ceil() as usize + 5;
        let origin = Point::new(bounds.x0 - 2.0 * cell, bounds.y0 - 2.0 * cell);
        Ok(Grid { origin, cell, columns, rows })
    }

    /// Its rows in strips that are dealt with side by side, all of one height but perhaps the last. They are the grid's and not
    /// the threads', so that any number of these comes to the same bytes.
    pub(super) fn strips(&self) -> Vec<Range<usize>> {
        let height = self.rows.div_ceil(self.rows.div_ceil(STRIP_ROWS));
        (0..self.rows).step_by(height).map(|first| first..(first + height).min(self.rows)).collect()
    }

    /// A strip on its own.
    pub(super) fn strip(&self, rows: &Range<usize>) -> Grid {
        Grid { origin: Point::new(self.origin.x, self.y_of(rows.start)), rows: rows.len(), ..*self }
    }

    /// Side of a cell, mm.
    pub(super) fn cell(&self) -> f64 {
        self.cell
    }

    /// Nodes in a row.
    pub(super) fn columns(&self) -> usize {
        self.columns
    }

    /// Rows of nodes.
    pub(super) fn rows(&self) -> usize {
        self.rows
    }

    /// All nodes.
    pub(super) fn nodes(&self) -> usize {
        self.columns * self.rows
    }

    /// Where a node is.
    pub(super) fn point(&self, node: usize) -> Point {
        self.place(node % self.columns, node / self.columns)
    }

    /// Where the node of a column and a row is.
    pub(super) fn place(&self, column: usize, row: usize) -> Point {
        self.origin + Vec2::new(column as f64 * self.cell, row as f64 * self.cell)
    }

    /// Height of a row of nodes.
    pub(super) fn y_of(&self, row: usize) -> f64 {
        self.origin.y + row as f64 * self.cell
    }

    /// A point in units of cells from the first node.
    pub(super) fn in_cells(&self, point: Point) -> (f64, f64) {
        ((point.x - self.origin.x) / self.cell, (point.y - self.origin.y) / self.cell)
    }

    /// Columns and rows of the nodes in a box, ends included, cut to the grid.
    pub(super) fn nodes_within(
        &self,
        bounds: Rect,
    ) -> (std::ops::RangeInclusive<usize>, std::ops::RangeInclusive<usize>) {
        let (left, top) = self.in_cells(Point::new(bounds.x0, bounds.y0));
        let (right, bottom) = self.in_cells(Point::new(bounds.x1, bounds.y1));
        let first = |value: f64| value.ceil().max(0.0) as usize;
        let last = |value: f64, count: usize| (value.floor().max(0.0) as usize).min(count - 1);
        (first(left)..=last(right, self.columns), first(top)..=last(bottom, self.rows))
    }

    /// Rows of nodes from one height to another and one more on each side: the numbers of rows are rounded, and whoever
    /// asks which of them an edge crosses compares heights itself.
    pub(super) fn rows_within(&self, top: f64, bottom: f64) -> std::ops::RangeInclusive<usize> {
        let first = ((top - self.origin.y) / self.cell).floor().max(0.0) as usize;
        let last = ((bottom - self.origin.y) / self.cell).ceil().max(0.0) as usize;
        first..=last.min(self.rows - 1)
    }

    /// The four nodes around a point: the first is the upper left one.
    pub(super) fn around(&self, point: Point) -> [usize; 4] {
        let (x, y) = self.in_cells(point);
        let column = (x.max(0.0) as usize).min(self.columns - 2);
        let row = (y.max(0.0) as usize).min(self.rows - 2);
        let node = row * self.columns + column;
        [node, node + 1, node + self.columns, node + self.columns + 1]
    }
}
