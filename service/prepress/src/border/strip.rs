//! Distances in a strip of rows.
//!
//! Seeded exactly: every node within a cell of an edge gets the distance to the nearest edge itself. From there the
//! nearest edge spreads from node to node in order of distance (Danielsson 1980, "Euclidean distance mapping"; ordered
//! propagation after Cuisenaire and Macq 1999, "Fast Euclidean distance transformation by propagation using multiple
//! neighborhoods"), and each node walks along its ring to the nearest place. What spreads is the edge and not a sampled
//! site, so the distance is that of the true polyline; what can go wrong is only the choice among edges that are almost
//! equally far, by less than a tenth of a cell (Danielsson 1980, section 3, for eight neighbours).

use super::edges::{AROUND, Edges};
use super::grid::Grid;
use crate::cancel::Cancel;
use crate::fault::Fault;
use crate::geom::{Point, Rect};

/// No edge is within reach.
pub(super) const NOTHING: u32 = u32::MAX;

/// Buckets in a cell: finer ones keep the order truer, which spares corrections. Measured, no source.
const BUCKETS_PER_CELL: f64 = 2.0;

/// Buckets in use at once: a node's neighbours are at most a diagonal farther than itself, and seeds at most a cell and a half
/// from their edge.
const BUCKETS: usize = 8;

/// What an edge must be nearer by, mm, to be taken instead of another one: beside a corner two are equally far, and
/// rounding would pass every node to and fro between them.
const NEARER_MM: f32 = 1e-5;

/// How far the band goes on both sides, mm.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Reach {
    /// Into the region.
    pub(super) inward: f64,
    /// Out of it.
    pub(super) outward: f64,
}

/// Some rows of a field.
pub(super) struct Strip<'a> {
    /// Its own nodes.
    pub(super) grid: Grid,
    /// All edges.
    pub(super) edges: &'a Edges,
    /// Which side its nodes are on.
    pub(super) inside: &'a [bool],
    /// How far they are from the nearest edge.
    pub(super) distances: &'a mut [f32],
    /// That edge.
    pub(super) nearest: &'a mut [u32],
}

/// A node in a bucket, with the distance that put it there.
type Waiting = (u32, f32);

impl Strip<'_> {
    /// The nodes at the rim of what was reached.
    pub(super) fn rim(&self, reached: Reach) -> Vec<u32> {
        let width = 2.0 * self.grid.cell();
        let limit = |inside: bool| if inside { reached.inward - width } else { reached.outward - width };
        let is_rim = |node: &usize| {
            self.nearest[*node] != NOTHING && f64::from(self.distances[*node]) > limit(self.inside[*node])
        };
        (0..self.nearest.len()).filter(is_rim).map(|node| node as u32).collect()
    }

    /// The nodes near edges, each once.
    pub(super) fn seed(&mut self, cancel: &Cancel) -> Result<Vec<u32>, Fault> {
        let mut seeds = Vec::new();
        let near = self.grid.cell() * 1.05;
        let (top, bottom) = (self.grid.y_of(0) - near, self.grid.y_of(self.grid.rows() - 1) + near);
        let is_beside = |from: Point, to: Point| from.y.max(to.y) < top || from.y.min(to.y) > bottom;
        for (index, &(from, to)) in self.edges.ends().iter().enumerate() {
            if index.is_multiple_of(4096) {
                cancel.check()?;
            }
            if is_beside(from, to) {
                continue;
            }
            // A long edge is walked in short steps, or its box would cover the whole grid.
            let steps = (from.distance(to) / (self.grid.cell() * 3.0)).ceil().max(1.0) as usize;
            for step in 0..steps {
                let start = from.lerp(to, step as f64 / steps as f64);
                let end = from.lerp(to, (step + 1) as f64 / steps as f64);
                if !is_beside(start, end) {
                    self.seed_box(index as u32, Rect::from_points(start, end).inflate(near, near), &mut seeds);
                }
            }
        }
        Ok(seeds)
    }

    fn seed_box(&mut self, edge: u32, bounds: Rect, seeds: &mut Vec<u32>) {
        let (columns, rows) = self.grid.nodes_within(bounds);
        for row in rows {
            for column in columns.clone() {
                let node = row * self.grid.columns() + column;
                let distance = self.edges.distance2(edge, self.grid.place(column, row)).sqrt() as f32;
                if distance < self.distances[node] {
                    if self.nearest[node] == NOTHING {
                        seeds.push(node as u32);
                    }
                    (self.distances[node], self.nearest[node]) = (distance, edge);
                }
            }
        }
    }

    /// Spreads from nodes whose edges are known, as far as there are strip and reach. What lies on the strip's first and last
    /// rows goes no farther.
    pub(super) fn spread(&mut self, seeds: &[u32], reach: Reach, cancel: &Cancel) -> Result<(), Fault> {
        let width = self.grid.cell() / BUCKETS_PER_CELL;
        let bucket_of = |distance: f32| (f64::from(distance) / width) as usize;
        let count = (reach.inward.max(reach.outward) / width) as usize + 2;
        let mut seeds: Vec<Waiting> = seeds.iter().map(|node| (*node, self.distances[*node as usize])).collect();
        seeds.sort_by_key(|seed| bucket_of(seed.1));
        let mut seeds = seeds.into_iter().peekable();
        // Used again and again: most of their memory is in the processor's reach then.
        let mut buckets: [Vec<Waiting>; BUCKETS] = Default::default();
        for bucket in 0..count {
            cancel.check()?;
            let mut next = 0;
            buckets[bucket % BUCKETS]
                .splice(0..0, std::iter::from_fn(|| seeds.next_if(|seed| bucket_of(seed.1) == bucket)));
            while let Some(&(node, distance)) = buckets[bucket % BUCKETS].get(next) {
                next += 1;
                // A node that came nearer in between was done already, or waits for it.
                if self.distances[node as usize].total_cmp(&distance).is_eq() {
                    self.settle(node as usize, reach, &mut |distance, node| {
                        let at = bucket_of(distance).max(bucket);
                        debug_assert!(at < bucket + BUCKETS, "a neighbour is no farther than a diagonal");
                        if at < count {
                            buckets[at % BUCKETS].push((node, distance));
                        }
                    });
                }
            }
            buckets[bucket % BUCKETS].clear();
        }
        Ok(())
    }

    /// Offers a node's edge to its neighbours.
    fn settle(&mut self, node: usize, reach: Reach, push: &mut impl FnMut(f32, u32)) {
        let columns = self.grid.columns();
        let (column, row) = (node % columns, node / columns);
        let place = self.grid.place(column, row);
        let (edge, distance2) = self.edges.walk(self.nearest[node], place);
        (self.distances[node], self.nearest[node]) = (distance2.sqrt() as f32, edge);
        if column == 0 || row == 0 || column + 1 == columns || row + 1 == self.grid.rows() {
            return;
        }
        let distances = self.edges.distances_around(edge, place, self.grid.cell());
        let known = self.around(node);
        // Which neighbours come nearer is beyond guessing: they are all compared at once, and only those that do are gone
        // through.
        let nearer = |mask: u32, at: usize| mask | u32::from(distances[at] < known[at] - NEARER_MM) << at;
        let mut nearer = (0..AROUND.len()).fold(0, nearer);
        while nearer != 0 {
            let at = nearer.trailing_zeros() as usize;
            nearer &= nearer - 1;
            let (right, down) = AROUND[at];
            let other = node.wrapping_add_signed(down * columns as isize + right);
            let limit = if self.inside[other] { reach.inward } else { reach.outward };
            if self.nearest[other] != edge && f64::from(distances[at]) <= limit {
                (self.distances[other], self.nearest[other]) = (distances[at], edge);
                push(distances[at], other as u32);
            }
        }
    }

    /// The distances of a node's neighbours, in the order of [`AROUND`]; of a node that is not at the grid's rim.
    fn around(&self, node: usize) -> [f32; 8] {
        // Three at a time: a check of bounds for each of the eight costs a quarter of all measuring.
        let row = |first: usize| -> [f32; 3] {
            let [a, b, c] = self.distances[first..first + 3] else { unreachable!("three nodes") };
            [a, b, c]
        };
        let columns = self.grid.columns();
        let [above, own, below] = [row(node - columns - 1), row(node - 1), row(node + columns - 1)];
        [above[0], above[1], above[2], own[0], own[2], below[0], below[1], below[2]]
    }
}
