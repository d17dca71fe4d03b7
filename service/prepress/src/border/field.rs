//! Exact Euclidean distance from edges, in a band around them.
//!
//! Measured strip by strip, each alone (see `strip`), and then across the strips' borders.

use std::ops::Range;

use rayon::prelude::*;

use super::edges::{Edges, Nearest};
use super::grid::Grid;
use super::strip::{NOTHING, Reach, Strip};
use crate::cancel::Cancel;
use crate::fault::Fault;
use crate::geom::Point;

/// A value for nodes out of reach: larger than any distance, small enough to interpolate with.
pub(super) const FAR: f32 = 1.0e6;

/// Distances from edges.
pub(super) struct Field<'a> {
    grid: Grid,
    edges: &'a Edges,
    inside: Vec<bool>,
    /// Of each node; beside each other, because neighbours are asked for their distances far more often than for edges.
    distances: Vec<f32>,
    nearest: Vec<u32>,
}

impl<'a> Field<'a> {
    /// Measures; `inside` says for each node which side it is on (empty: all outside).
    pub(super) fn measure(
        grid: Grid,
        edges: &'a Edges,
        inside: Vec<bool>,
        reach: Reach,
        cancel: &Cancel,
    ) -> Result<Field<'a>, Fault> {
        let inside = if inside.is_empty() { vec![false; grid.nodes()] } else { inside };
        let (distances, nearest) = (vec![FAR; grid.nodes()], vec![NOTHING; grid.nodes()]);
        let mut field = Field { grid, edges, inside, distances, nearest };
        field.spread(|strip| strip.seed(cancel), reach, cancel)?;
        Ok(field)
    }

    /// Goes farther than it was measured, as if it had been so from the start.
    pub(super) fn widen(&mut self, (from, to): (Reach, Reach), cancel: &Cancel) -> Result<(), Fault> {
        self.spread(|strip| Ok(strip.rim(from)), to, cancel)
    }

    /// Spreads in each strip from the nodes that it names, then on across the strips' borders.
    fn spread(
        &mut self,
        seeds: impl Fn(&mut Strip<'_>) -> Result<Vec<u32>, Fault> + Sync,
        reach: Reach,
        cancel: &Cancel,
    ) -> Result<(), Fault> {
        let rows = self.grid.strips();
        self.strips(&rows).into_par_iter().try_for_each(|mut strip| {
            let seeds = seeds(&mut strip)?;
            strip.spread(&seeds, reach, cancel)
        })?;
        let columns = self.grid.columns();
        let borders = rows.iter().skip(1).map(|strip| strip.start);
        let beside_borders = borders.flat_map(|row| (row - 1) * columns..(row + 1) * columns);
        let reached = beside_borders.filter(|node| self.nearest[*node] != NOTHING).map(|node| node as u32);
        let seeds: Vec<u32> = reached.collect();
        let all = 0..self.grid.rows();
        self.strips(&[all]).into_iter().try_for_each(|mut whole| whole.spread(&seeds, reach, cancel))
    }

    /// Strips of these rows, which are all of one height but perhaps the last.
    fn strips(&mut self, rows: &[Range<usize>]) -> Vec<Strip<'_>> {
        let nodes = rows[0].len() * self.grid.columns();
        let values = self.distances.chunks_mut(nodes).zip(self.nearest.chunks_mut(nodes));
        let strips = rows.iter().zip(values.zip(self.inside.chunks(nodes)));
        strips
            .map(|(rows, ((distances, nearest), inside))| Strip {
                grid: self.grid.strip(rows),
                edges: self.edges,
                inside,
                distances,
                nearest,
            })
            .collect()
    }

    /// The grid.
    pub(super) fn grid(&self) -> Grid {
        self.grid
    }

    /// The edges.
    pub(super) fn edges(&self) -> &Edges {
        self.edges
    }

    /// Signed distance at a node: negative inside, plus or minus [`FAR`] out of reach.
    pub(super) fn signed(&self, node: usize) -> f32 {
        signed(self.distances[node], self.inside[node])
    }

    /// The signed distances at all nodes, with a length added.
    pub(super) fn signed_plus(&self, length: f64) -> Vec<f32> {
        let length = length as f32;
        self.distances.iter().zip(&self.inside).map(|(distance, inside)| signed(*distance, *inside) + length).collect()
    }

    /// Signed distance at a point between nodes, by linear interpolation.
    pub(super) fn signed_at(&self, point: Point) -> f64 {
        let (x, y) = self.grid.in_cells(point);
        let nodes = self.grid.around(point);
        let (right, down) = (x.fract().max(0.0), y.fract().max(0.0));
        let [a, b, c, d] = nodes.map(|node| f64::from(self.signed(node)));
        (a + (b - a) * right) * (1.0 - down) + (c + (d - c) * right) * down
    }

    /// The edge nearest to a node, within reach.
    pub(super) fn nearest_edge(&self, node: usize) -> Option<u32> {
        Some(self.nearest[node]).filter(|edge| *edge != NOTHING)
    }

    /// What is nearest to any point within reach.
    pub(super) fn nearest_to(&self, point: Point) -> Option<Nearest> {
        let candidates = self.grid.around(point).into_iter().filter_map(|node| self.nearest_edge(node));
        candidates.map(|edge| self.edges.nearest_from(edge, point)).min_by(|a, b| a.distance.total_cmp(&b.distance))
    }
}

fn signed(distance: f32, inside: bool) -> f32 {
    if inside { -distance.max(f32::MIN_POSITIVE) } else { distance }
}
