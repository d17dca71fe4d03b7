//! Exact Euclidean distance from edges, in a band around them.
//!
//! Seeded exactly: every node within a cell of an edge gets the distance to the nearest edge itself. From there the
//! nearest edge spreads from node to node in order of distance (Danielsson 1980, "Euclidean distance mapping"; ordered
//! propagation after Cuisenaire and Macq 1999, "Fast Euclidean distance transformation by propagation using multiple
//! neighborhoods"), and each node walks along its ring to the nearest place. What spreads is the edge and not a sampled
//! site, so the distance is that of the true polyline; what can go wrong is only the choice among edges that are almost
//! equally far, by less than a tenth of a cell (Danielsson 1980, section 3, for eight neighbours).

use super::edges::{AROUND, Edges, Nearest};
use super::grid::Grid;
use crate::cancel::Cancel;
use crate::fault::Fault;
use crate::geom::{Point, Rect};

/// No edge is within reach.
const NOTHING: u32 = u32::MAX;

/// A value for nodes out of reach: larger than any distance, small enough to interpolate with.
pub(super) const FAR: f32 = 1.0e6;

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

/// Distances from edges.
pub(super) struct Field<'a> {
    grid: Grid,
    edges: &'a Edges,
    inside: Vec<bool>,
    /// Of each node; beside each other, because neighbours are asked for their distances far more often than for edges.
    distances: Vec<f32>,
    nearest: Vec<u32>,
}

/// A node in a bucket, with the distance that put it there.
type Waiting = (u32, f32);

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
        let seeds = field.seed(cancel)?;
        field.spread(&seeds, reach, cancel)?;
        Ok(field)
    }

    /// Goes farther than it was measured, as if it had been so from the start.
    pub(super) fn widen(&mut self, (from, to): (Reach, Reach), cancel: &Cancel) -> Result<(), Fault> {
        let rim = 2.0 * self.grid.cell();
        let limit = |inside: bool| if inside { from.inward - rim } else { from.outward - rim };
        let is_rim = |node: &usize| {
            self.nearest[*node] != NOTHING && f64::from(self.distances[*node]) > limit(self.inside[*node])
        };
        let seeds: Vec<u32> = (0..self.nearest.len()).filter(is_rim).map(|node| node as u32).collect();
        self.spread(&seeds, to, cancel)
    }

    /// The nodes near edges, each once.
    fn seed(&mut self, cancel: &Cancel) -> Result<Vec<u32>, Fault> {
        let mut seeds = Vec::new();
        let near = self.grid.cell() * 1.05;
        for (index, &(from, to)) in self.edges.ends().iter().enumerate() {
            if index.is_multiple_of(4096) {
                cancel.check()?;
            }
            // A long edge is walked in short steps, or its box would cover the whole grid.
            let steps = (from.distance(to) / (self.grid.cell() * 3.0)).ceil().max(1.0) as usize;
            for step in 0..steps {
                let start = from.lerp(to, step as f64 / steps as f64);
                let end = from.lerp(to, (step + 1) as f64 / steps as f64);
                self.seed_box(index as u32, Rect::from_points(start, end).inflate(near, near), &mut seeds);
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

    fn spread(&mut self, seeds: &[u32], reach: Reach, cancel: &Cancel) -> Result<(), Fault> {
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
