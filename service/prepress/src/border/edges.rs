//! Straight edges that know their neighbours, so that the nearest one is found by walking.

use crate::geom::{Point, Ring, Vec2};

/// Line segments; those of a ring are linked.
#[derive(Clone, Debug, Default)]
pub(super) struct Edges {
    ends: Vec<(Point, Point)>,
    spans: Vec<Span>,
    owner: Vec<u32>,
}

/// An edge as its start, its vector and the inverse square of its length: a foot without a division. The edges before and
/// after it on its ring stand beside them, so that a walk fetches each edge once.
#[derive(Clone, Copy, Debug)]
struct Span {
    from: Point,
    along: Vec2,
    inverse: f64,
    back: u32,
    ahead: u32,
}

impl Span {
    fn of((from, to): (Point, Point), back: u32, ahead: u32) -> Span {
        let along = to - from;
        let length2 = along.hypot2();
        Span { from, along, inverse: if length2 > 0.0 { 1.0 / length2 } else { 0.0 }, back, ahead }
    }

    fn foot(&self, point: Point) -> Point {
        self.from + self.along * ((point - self.from).dot(self.along) * self.inverse).clamp(0.0, 1.0)
    }

    fn distance2(&self, point: Point) -> f64 {
        self.foot(point).distance_squared(point)
    }
}

/// Steps from a point to its eight neighbours on a square lattice: columns to the right, rows down.
pub(super) const AROUND: [(isize, isize); 8] = [(-1, -1), (0, -1), (1, -1), (-1, 0), (1, 0), (-1, 1), (0, 1), (1, 1)];

/// What lies nearest to a point.
#[derive(Clone, Copy, Debug)]
pub(super) struct Nearest {
    /// The edge.
    pub(super) edge: u32,
    /// The point on it.
    pub(super) foot: Point,
    /// How far.
    pub(super) distance: f64,
}

impl Edges {
    /// The edges of rings, each owned by the ring's position.
    pub(super) fn of_rings<'a>(rings: impl IntoIterator<Item = &'a Ring>) -> Edges {
        let mut edges = Edges::default();
        for (owner, ring) in rings.into_iter().enumerate() {
            edges.push_ring(ring, owner as u32);
        }
        edges
    }

    /// Adds a ring's edges under an owner.
    pub(super) fn push_ring(&mut self, ring: &Ring, owner: u32) {
        let first = self.ends.len() as u32;
        let count = ring.points().len() as u32;
        for (index, ends) in ring.edges().enumerate() {
            let index = index as u32;
            self.ends.push(ends);
            self.spans.push(Span::of(ends, first + (index + count - 1) % count, first + (index + 1) % count));
            self.owner.push(owner);
        }
    }

    /// Strokes on their own, each owned by its position.
    pub(super) fn of_strokes(strokes: &[(Point, Point)]) -> Edges {
        let spans = strokes.iter().enumerate().map(|(own, ends)| Span::of(*ends, own as u32, own as u32));
        Edges { ends: strokes.to_vec(), spans: spans.collect(), owner: (0..strokes.len() as u32).collect() }
    }

    /// Both ends of every edge.
    pub(super) fn ends(&self) -> &[(Point, Point)] {
        &self.ends
    }

    /// The owner of an edge.
    pub(super) fn owner(&self, edge: u32) -> u32 {
        self.owner[edge as usize]
    }

    /// The point of one edge that is nearest to a point.
    pub(super) fn foot(&self, edge: u32, point: Point) -> Point {
        self.spans[edge as usize].foot(point)
    }

    /// Squared distance of a point from one edge.
    pub(super) fn distance2(&self, edge: u32, point: Point) -> f64 {
        self.spans[edge as usize].distance2(point)
    }

    /// Distances of a point's neighbours, a cell away, from one edge, in single precision: good to 1e-6 of themselves. All
    /// eight at once, because the processor computes four in the time of one.
    pub(super) fn distances_around(&self, edge: u32, point: Point, cell: f64) -> [f32; 8] {
        let span = &self.spans[edge as usize];
        let (off, along) = (point - span.from, span.along);
        let (x, y, along_x, along_y) = (off.x as f32, off.y as f32, along.x as f32, along.y as f32);
        let (inverse, cell) = (span.inverse as f32, cell as f32);
        let mut distances = [0.0; 8];
        for (distance, (right, down)) in distances.iter_mut().zip(AROUND) {
            let (x, y) = (x + right as f32 * cell, y + down as f32 * cell);
            let share = ((x * along_x + y * along_y) * inverse).clamp(0.0, 1.0);
            let (x, y) = (x - along_x * share, y - along_y * share);
            *distance = (x * x + y * y).sqrt();
        }
        distances
    }

    /// Walks from an edge along its ring while that brings it nearer to a point.
    pub(super) fn walk(&self, edge: u32, point: Point) -> (u32, f64) {
        let start = &self.spans[edge as usize];
        let own = (edge, start.distance2(point));
        let back = self.walk_on(own, point, start.back, |span| span.back);
        // After a step back what lies ahead is where it came from.
        if back.0 == edge { self.walk_on(own, point, start.ahead, |span| span.ahead) } else { back }
    }

    fn walk_on(&self, mut best: (u32, f64), point: Point, mut next: u32, on: impl Fn(&Span) -> u32) -> (u32, f64) {
        loop {
            let span = &self.spans[next as usize];
            let distance2 = span.distance2(point);
            if distance2 < best.1 {
                best = (next, distance2);
                next = on(span);
            } else {
                // Nothing is nearer to a place that is none either.
                return best;
            }
        }
    }

    /// Like [`Edges::walk`], with the foot.
    pub(super) fn nearest_from(&self, edge: u32, point: Point) -> Nearest {
        self.nearest_on(self.walk(edge, point).0, point)
    }

    /// What of one edge is nearest to a point.
    pub(super) fn nearest_on(&self, edge: u32, point: Point) -> Nearest {
        let foot = self.foot(edge, point);
        Nearest { edge, foot, distance: foot.distance(point) }
    }
}
