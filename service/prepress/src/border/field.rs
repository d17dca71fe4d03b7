//! Exact Euclidean distance from edges, in a band around them.
//!
//! Seeded exactly: every node within a cell of an edge gets the distance to the nearest edge itself. From there the
//! nearest edge spreads from node to node in order of distance (Danielsson 1980, "Euclidean distance mapping"; ordered
//! propagation after Cuisenaire and Macq 1999, "Fast Euclidean distance transformation by propagation using multiple
//! neighborhoods"), and each node walks along its ring to the nearest place. What spreads is the edge and not a sampled
//! site, so the distance is that of the true polyline; what can go wrong is only the choice among edges that are almost
//! equally far, by less than a tenth of a cell (Danielsson 1980, section 3, for eight neighbours).

use super::edges::{Edges, Nearest};
use super::grid::Grid;
use crate::cancel::Cancel;
use crate::fault::Fault;
use crate::geom::{Point, Rect, Vec2};

/// No edge is within reach.
const NOTHING: u32 = u32::MAX;

/// A value for nodes out of reach: larger than any distance, small enough to interpolate with.
pub(super) const FAR: f32 = 1.0e6;

/// Buckets in a cell: finer ones keep the order truer, which spares corrections. Measured, no source.
const BUCKETS_PER_CELL: f64 = 2.0;

/// Steps to the neighbours of a node: columns to the right, rows down.
const AROUND: [(isize, isize); 8] = [(-1, -1), (0, -1), (1, -1), (-1, 0), (1, 0), (-1, 1), (0, 1), (1, 1)];

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
    distance: Vec<f32>,
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
        let distance = vec![FAR; grid.nodes()];
        let nearest = vec![NOTHING; grid.nodes()];
        let inside = if inside.is_empty() { vec![false; grid.nodes()] } else { inside };
        let mut field = Field { grid, edges, inside, distance, nearest };
        let seeds = field.seed(cancel)?;
        field.spread(&seeds, reach, cancel)?;
        Ok(field)
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
                if distance < self.distance[node] {
                    if self.nearest[node] == NOTHING {
                        seeds.push(node as u32);
                    }
                    self.distance[node] = distance;
                    self.nearest[node] = edge;
                }
            }
        }
    }

    fn spread(&mut self, seeds: &[u32], reach: Reach, cancel: &Cancel) -> Result<(), Fault> {
        let width = self.grid.cell() / BUCKETS_PER_CELL;
        let bucket_of = |distance: f32| (f64::from(distance) / width) as usize;
        let most = reach.inward.max(reach.outward);
        let mut buckets: Vec<Vec<u32>> = vec![Vec::new(); (most / width) as usize + 2];
        for &node in seeds {
            let bucket = bucket_of(self.distance[node as usize]);
            if bucket < buckets.len() {
                buckets[bucket].push(node);
            }
        }
        let mut settled = vec![false; self.nearest.len()];
        for bucket in 0..buckets.len() {
            cancel.check()?;
            let mut next = 0;
            while let Some(&node) = buckets[bucket].get(next) {
                next += 1;
                let node = node as usize;
                // A node that came nearer in between was done already.
                if !std::mem::replace(&mut settled[node], true) {
                    self.settle(node, reach, &mut |distance, node| {
                        settled[node as usize] = false;
                        let at = bucket_of(distance).max(bucket);
                        if at < buckets.len() {
                            buckets[at].push(node);
                        }
                    });
                }
            }
            buckets[bucket] = Vec::new();
        }
        Ok(())
    }

    /// Offers a node's edge to its neighbours.
    fn settle(&mut self, node: usize, reach: Reach, push: &mut impl FnMut(f32, u32)) {
        let columns = self.grid.columns();
        let (column, row) = (node % columns, node / columns);
        let place = self.grid.place(column, row);
        let (edge, distance2) = self.edges.walk(self.nearest[node], place);
        let own = distance2.sqrt();
        self.nearest[node] = edge;
        self.distance[node] = own as f32;
        if column == 0 || row == 0 || column + 1 == self.grid.columns() || row + 1 == self.grid.rows() {
            return;
        }
        let cell = self.grid.cell();
        for (right, down) in AROUND {
            let other = node.wrapping_add_signed(down * columns as isize + right);
            // The edge is at most a step nearer there than here, so that a node which is nearer yet gains nothing.
            let step = if right == 0 || down == 0 { cell } else { cell * std::f64::consts::SQRT_2 };
            if self.nearest[other] == edge || f64::from(self.distance[other]) <= own - step {
                continue;
            }
            let there = place + Vec2::new(right as f64 * cell, down as f64 * cell);
            let distance = self.edges.distance2(edge, there).sqrt() as f32;
            let limit = if self.inside[other] { reach.inward } else { reach.outward };
            if distance < self.distance[other] && f64::from(distance) <= limit {
                self.distance[other] = distance;
                self.nearest[other] = edge;
                push(distance, other as u32);
            }
        }
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
        signed(self.distance[node], self.inside[node])
    }

    /// The signed distances at all nodes, with a length added.
    pub(super) fn signed_plus(&self, length: f64) -> Vec<f32> {
        let length = length as f32;
        self.distance.iter().zip(&self.inside).map(|(distance, inside)| signed(*distance, *inside) + length).collect()
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
