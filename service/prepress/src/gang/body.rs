//! An outline turned by an angle, for exact distances in double precision.
//!
//! Edges are kept in groups of neighbours with their boxes, so that a distance below a cutoff looks at few pairs of edges.

use crate::geom::{Point, Pose, Rect, Ring, Vec2, squared_distance};

/// Edges in a group. Measured: 4 to 16 are equally fast.
const GROUP_EDGES: usize = 8;

/// Outline of a rigid piece, turned about its own origin.
#[derive(Clone, Debug, Default)]
pub(super) struct Body {
    edges: Vec<(Point, Point)>,
    groups: Vec<Group>,
    /// First edge of each ring, and the end.
    starts: Vec<usize>,
    /// Bounding box.
    pub(super) bounds: Rect,
}

#[derive(Clone, Copy, Debug)]
struct Group {
    bounds: Rect,
    from: usize,
    to: usize,
}

impl Body {
    /// Turns an outline clockwise.
    pub(super) fn new(rings: &[Ring], angle_deg: f64) -> Body {
        let mut body = Body::default();
        body.turn(rings, angle_deg);
        body
    }

    /// Turns an outline clockwise, in the memory of what was here.
    pub(super) fn turn(&mut self, rings: &[Ring], angle_deg: f64) {
        let turn = Pose { rotation_deg: angle_deg, ..Pose::default() }.to_affine();
        self.edges.clear();
        self.groups.clear();
        self.starts.clear();
        self.starts.push(0);
        for ring in rings.iter().filter(|ring| !ring.points().is_empty()) {
            let first = self.edges.len();
            self.edges.extend(ring.edges().map(|(a, b)| (turn * a, turn * b)));
            self.starts.push(self.edges.len());
            self.group(first);
        }
        self.bounds = self.groups.iter().map(|group| group.bounds).reduce(|a, b| a.union(b)).unwrap_or(Rect::ZERO);
    }

    fn group(&mut self, first: usize) {
        let mut from = first;
        while from < self.edges.len() {
            let to = (from + GROUP_EDGES).min(self.edges.len());
            let boxes = self.edges[from..to].iter().map(|(a, b)| Rect::from_points(*a, *b));
            let bounds = boxes.reduce(|a, b| a.union(b)).unwrap_or(Rect::ZERO);
            self.groups.push(Group { bounds, from, to });
            from = to;
        }
    }

    /// Its edges, ring after ring.
    pub(super) fn edges(&self) -> impl Iterator<Item = (Point, Point)> + '_ {
        self.edges.iter().copied()
    }

    /// Its corners, ring after ring.
    pub(super) fn corners(&self) -> impl Iterator<Item = Point> + '_ {
        self.edges.iter().map(|(a, _)| *a)
    }

    /// Whether a point lies inside one of the rings.
    pub(super) fn contains(&self, point: Point) -> bool {
        let crosses = |(a, b): &&(Point, Point)| {
            (a.y > point.y) != (b.y > point.y) && point.x < (b.x - a.x) * (point.y - a.y) / (b.y - a.y) + a.x
        };
        let inside = |span: &[usize]| self.edges[span[0]..span[1]].iter().filter(crosses).count() % 2 == 1;
        self.starts.windows(2).any(inside)
    }

    /// Distance from a point to the lines of the outline.
    pub(super) fn distance_to_lines(&self, point: Point) -> f64 {
        let mut best = f64::INFINITY;
        for group in &self.groups {
            if box_gap_sq(group.bounds, Vec2::ZERO, Rect::from_points(point, point)) < best {
                let edges = &self.edges[group.from..group.to];
                best = edges.iter().map(|edge| squared_distance(point, *edge)).fold(best, f64::min);
            }
        }
        best.sqrt()
    }

    /// Distance from a point to the piece, 0 inside.
    pub(super) fn distance_to_point(&self, point: Point) -> f64 {
        if self.contains(point) { 0.0 } else { self.distance_to_lines(point) }
    }

    /// Distance between two pieces when the other is shifted by `offset` against this one; 0 where they meet, and `cutoff`
    /// where they are farther apart. Exact up to rounding (about 1e-13 mm).
    pub(super) fn clearance(&self, other: &Body, offset: Vec2, cutoff: f64) -> f64 {
        let mut best = cutoff * cutoff;
        if box_gap_sq(self.bounds, offset, other.bounds) >= best {
            return cutoff;
        }
        if self.swallows(other, offset) || other.swallows(self, -offset) {
            return 0.0;
        }
        let near = |group: &&Group| box_gap_sq(group.bounds, offset, other.bounds) < best;
        let mine: Vec<&Group> = self.groups.iter().filter(near).collect();
        let near = |group: &&Group| box_gap_sq(self.bounds, offset, group.bounds) < best;
        let theirs: Vec<&Group> = other.groups.iter().filter(near).collect();
        for a in mine {
            for b in &theirs {
                if box_gap_sq(a.bounds, offset, b.bounds) >= best {
                    continue;
                }
                best = self.edges_gap_sq(a, other, b, offset, best);
                if best <= 0.0 {
                    return 0.0;
                }
            }
        }
        best.sqrt()
    }

    /// Whether two pieces are nearer than `need` when the other is shifted by `offset` against this one.
    pub(super) fn is_nearer(&self, other: &Body, offset: Vec2, need: f64) -> bool {
        let need_sq = need * need;
        let near = |a: Rect, b: Rect| box_gap_sq(a, offset, b) < need_sq;
        for a in self.groups.iter().filter(|a| near(a.bounds, other.bounds)) {
            for b in other.groups.iter().filter(|b| near(a.bounds, b.bounds)) {
                if self.edges_gap_sq(a, other, b, offset, need_sq) < need_sq {
                    return true;
                }
            }
        }
        self.swallows(other, offset) || other.swallows(self, -offset)
    }

    /// A lower bound of how deep two pieces run into one another: 0 when they only touch. Looks at corners and at the middles of
    /// edges, and at crossings of edges; coinciding outlines count as one inside the other.
    pub(super) fn depth(&self, other: &Body, offset: Vec2) -> f64 {
        let into = |body: &Body, point: Point| if body.contains(point) { body.distance_to_lines(point) } else { 0.0 };
        let samples =
            |edges: &[(Point, Point)]| edges.iter().flat_map(|(a, b)| [*a, a.midpoint(*b)]).collect::<Vec<_>>();
        let theirs = samples(&other.edges).into_iter().map(|point| into(self, point + offset)).fold(0.0, f64::max);
        let mine = samples(&self.edges).into_iter().map(|point| into(other, point - offset)).fold(0.0, f64::max);
        let crossing = self.edges.iter().any(|a| {
            other.edges.iter().any(|b| {
                let b = (b.0 + offset, b.1 + offset);
                let slack = |edge: (Point, Point)| (edge.1 - edge.0).hypot() * 1e-6;
                let side = |edge: (Point, Point), point: Point| (edge.1 - edge.0).cross(point - edge.0);
                let apart = |edge: (Point, Point), p: Point, q: Point| {
                    let (p, q, slack) = (side(edge, p), side(edge, q), slack(edge));
                    (p > slack && q < -slack) || (p < -slack && q > slack)
                };
                apart(*a, b.0, b.1) && apart(b, a.0, a.1)
            })
        });
        let same = self.bounds.center().distance(other.bounds.center() + offset) < 1e-6
            && (self.bounds.width() - other.bounds.width()).abs() < 1e-6;
        if crossing || same { 1.0 } else { theirs.max(mine) }
    }

    /// Whether a ring of the other has its first corner inside one of ours.
    fn swallows(&self, other: &Body, offset: Vec2) -> bool {
        let firsts = &other.starts[..other.starts.len().saturating_sub(1)];
        firsts.iter().any(|first| {
            let point = other.edges[*first].0 + offset;
            self.bounds.inflate(1e-9, 1e-9).contains(point) && self.contains(point)
        })
    }

    /// How far this piece can move in a direction (a unit vector), at most `limit`, until it comes nearer than `need` to another
    /// that is shifted by `offset` against it. Nothing when it is nearer already. Exact up to rounding.
    pub(super) fn travel(&self, other: &Body, offset: Vec2, direction: Vec2, need: f64, limit: f64) -> f64 {
        let mut way = limit;
        let swept = |bounds: Rect, way: f64| bounds.union(bounds + direction * way).inflate(need, need);
        if !meet(swept(self.bounds, way), other.bounds + offset) {
            return way;
        }
        if self.clearance(other, offset, need) < need {
            return 0.0;
        }
        for a in self.groups.iter() {
            if !meet(swept(a.bounds, way), other.bounds + offset) {
                continue;
            }
            for b in &other.groups {
                if meet(swept(a.bounds, way), b.bounds + offset) {
                    let theirs = other.edges[b.from..b.to].iter().map(|(p, q)| (*p + offset, *q + offset));
                    way = edges_travel(&self.edges[a.from..a.to], theirs, direction, need, way);
                }
            }
        }
        way
    }

    fn edges_gap_sq(&self, a: &Group, other: &Body, b: &Group, offset: Vec2, cutoff_sq: f64) -> f64 {
        let mut best = cutoff_sq;
        for (p, q) in &other.edges[b.from..b.to] {
            let moved = (*p + offset, *q + offset);
            let moved_box = Rect::from_points(moved.0, moved.1);
            if box_gap_sq(a.bounds, Vec2::ZERO, moved_box) >= best {
                continue;
            }
            for edge in &self.edges[a.from..a.to] {
                if box_gap_sq(Rect::from_points(edge.0, edge.1), Vec2::ZERO, moved_box) < best {
                    best = best.min(edge_edge_sq(*edge, moved));
                }
            }
        }
        best
    }
}

/// Whether two boxes meet, if only with their edges.
pub(super) fn meet(a: Rect, b: Rect) -> bool {
    a.x0 <= b.x1 && b.x0 <= a.x1 && a.y0 <= b.y1 && b.y0 <= a.y1
}

/// The way until the moving edges come within `need` of the standing ones: moving corners meet grown standing edges, or
/// standing corners meet grown moving edges.
fn edges_travel(
    moving: &[(Point, Point)],
    standing: impl Iterator<Item = (Point, Point)>,
    direction: Vec2,
    need: f64,
    limit: f64,
) -> f64 {
    let mut way = limit;
    for edge in standing {
        let reach = Rect::from_points(edge.0, edge.1).inflate(need, need);
        for own in moving {
            let bounds = Rect::from_points(own.0, own.1);
            if !meet(bounds.union(bounds + direction * way), reach) {
                continue;
            }
            way = way.min(ray_to_capsule(own.0, direction, edge, need));
            way = way.min(ray_to_capsule(own.1, direction, edge, need));
            way = way.min(ray_to_capsule(edge.0, -direction, *own, need));
            way = way.min(ray_to_capsule(edge.1, -direction, *own, need));
        }
    }
    way
}

/// Where a ray from outside enters the points within a radius of a segment; infinite when it does not. Sides and ends are met
/// one by one (e.g. C. Ericson, *Real-Time Collision Detection*, 2005, section 5.3.7).
fn ray_to_capsule(from: Point, direction: Vec2, (a, b): (Point, Point), radius: f64) -> f64 {
    let mut way = f64::INFINITY;
    for end in [a, b] {
        let away = from - end;
        let ahead = away.dot(direction);
        let inside = ahead * ahead - (away.hypot2() - radius * radius);
        if ahead < 0.0 && inside > 0.0 {
            way = way.min((-ahead - inside.sqrt()).max(0.0));
        }
    }
    let along = b - a;
    let length = along.hypot();
    if length > 0.0 {
        let normal = along.turn_90() * (1.0 / length);
        let height = normal.dot(from - a);
        let climb = normal.dot(direction);
        let (height, climb) = if height < 0.0 { (-height, -climb) } else { (height, climb) };
        if climb < 0.0 && height >= radius {
            let enters = (height - radius) / -climb;
            let t = (from + direction * enters - a).dot(along) / (length * length);
            if (0.0..=1.0).contains(&t) {
                way = way.min(enters);
            }
        }
    }
    way
}

/// Squared distance between a box and another shifted by `offset`.
fn box_gap_sq(a: Rect, offset: Vec2, b: Rect) -> f64 {
    let dx = (b.x0 + offset.x - a.x1).max(a.x0 - b.x1 - offset.x).max(0.0);
    let dy = (b.y0 + offset.y - a.y1).max(a.y0 - b.y1 - offset.y).max(0.0);
    dx * dx + dy * dy
}

/// Squared distance of two closed segments. Not crossing, the nearest points include an end (e.g. C. Ericson, *Real-Time
/// Collision Detection*, 2005, section 5.1.9).
fn edge_edge_sq(a: (Point, Point), b: (Point, Point)) -> f64 {
    let side = |edge: (Point, Point), point: Point| (edge.1 - edge.0).cross(point - edge.0);
    let (b0, b1) = (side(a, b.0), side(a, b.1));
    let (a0, a1) = (side(b, a.0), side(b, a.1));
    if ((b0 > 0.0 && b1 < 0.0) || (b0 < 0.0 && b1 > 0.0)) && ((a0 > 0.0 && a1 < 0.0) || (a0 < 0.0 && a1 > 0.0)) {
        return 0.0;
    }
    let ends = squared_distance(a.0, b).min(squared_distance(a.1, b));
    ends.min(squared_distance(b.0, a)).min(squared_distance(b.1, a))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn square(side: f64) -> Body {
        Body::new(&[Ring::rectangle(Rect::new(0.0, 0.0, side, side))], 0.0)
    }

    #[test]
    fn a_square_slides_to_the_gutter_and_past_a_neighbour_at_the_gutter() {
        let (a, b) = (square(10.0), square(10.0));
        let left = Vec2::new(-1.0, 0.0);
        let way = a.travel(&b, Vec2::new(-30.0, 3.0), left, 2.0, 100.0);
        assert!((way - 18.0).abs() < 1e-12, "{way}");
        let way = a.travel(&b, Vec2::new(-30.0, 12.0), left, 2.0 - 1e-7, 100.0);
        assert!((way - 100.0).abs() < 1e-12, "{way}: it passes along");
        let way = a.travel(&b, Vec2::new(-20.0, -11.0), left, 2.0, 100.0);
        assert!((way - (10.0 - 3f64.sqrt())).abs() < 1e-12, "{way}: corners meet at the gutter");
    }

    #[test]
    fn squares_apart_touching_crossing_and_inside() {
        let (big, small) = (square(10.0), square(2.0));
        assert!((big.clearance(&small, Vec2::new(13.0, 14.0), 9.0) - 5.0).abs() < 1e-12, "3-4-5 from corner to corner");
        assert!((big.clearance(&small, Vec2::new(13.0, 0.0), 2.0) - 2.0).abs() < 1e-12, "the cutoff");
        assert!(big.clearance(&small, Vec2::new(10.0, 0.0), 5.0) < 1e-12, "touching");
        assert!(big.clearance(&small, Vec2::new(9.0, 4.0), 5.0) < 1e-12, "crossing");
        assert!(big.clearance(&small, Vec2::new(4.0, 4.0), 1.0) < 1e-12, "swallowed");
        assert!(small.clearance(&big, Vec2::new(-4.0, -4.0), 1.0) < 1e-12, "swallowing");
    }
}
