//! Straight edges that know their neighbours, so that the nearest one is found by walking.

use crate::geom::{Point, Ring, Vec2};

/// Line segments; those of a ring are linked.
#[derive(Clone, Debug, Default)]
pub(super) struct Edges {
    ends: Vec<(Point, Point)>,
    spans: Vec<Span>,
    links: Vec<(u32, u32)>,
    owner: Vec<u32>,
}

/// An edge as its start, its vector and the inverse square of its length: a foot without a division.
#[derive(Clone, Copy, Debug)]
struct Span {
    from: Point,
    along: Vec2,
    inverse: f64,
}

impl Span {
    fn of((from, to): (Point, Point)) -> Span {
        let along = to - from;
        let length2 = along.hypot2();
        Span { from, along, inverse: if length2 > 0.0 { 1.0 / length2 } else { 0.0 } }
    }
}

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
            self.spans.push(Span::of(ends));
            self.links.push((first + (index + count - 1) % count, first + (index + 1) % count));
            self.owner.push(owner);
        }
    }

    /// Strokes on their own, each owned by its position.
    pub(super) fn of_strokes(strokes: &[(Point, Point)]) -> Edges {
        let own = |index: usize| (index as u32, index as u32);
        Edges {
            ends: strokes.to_vec(),
            spans: strokes.iter().copied().map(Span::of).collect(),
            links: (0..strokes.len()).map(own).collect(),
            owner: (0..strokes.len() as u32).collect(),
        }
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
        let Span { from, along, inverse } = self.spans[edge as usize];
        from + along * ((point - from).dot(along) * inverse).clamp(0.0, 1.0)
    }

    /// Squared distance of a point from one edge.
    pub(super) fn distance2(&self, edge: u32, point: Point) -> f64 {
        self.foot(edge, point).distance_squared(point)
    }

    /// Walks from an edge along its ring while that brings it nearer to a point.
    pub(super) fn walk(&self, edge: u32, point: Point) -> (u32, f64) {
        let mut best = (edge, self.distance2(edge, point));
        for forward in [false, true] {
            let mut at = best.0;
            loop {
                let (back, ahead) = self.links[at as usize];
                let next = if forward { ahead } else { back };
                let distance2 = self.distance2(next, point);
                if distance2 >= best.1 {
                    break;
                }
                best = (next, distance2);
                at = next;
            }
        }
        best
    }

    /// Like [`Edges::walk`], with the foot.
    pub(super) fn nearest_from(&self, edge: u32, point: Point) -> Nearest {
        let (edge, distance2) = self.walk(edge, point);
        Nearest { edge, foot: self.foot(edge, point), distance: distance2.sqrt() }
    }
}
