//! A part made ready for the search: few corners, never inside the true outline, and discs that tell how deep two meet.

use pulp::{Arch, NullaryFnOnce};

use super::super::body::Body;
use super::super::mask::simplified;
use super::super::part::{Part, turned_bounds};
use crate::geom::{Point, Pose, Rect, Ring, Vec2, squared_distance};
use crate::order::Rotate;

/// By how much an outline may be simplified outward, as a share of its longest side. Measured: less gains no density, and the
/// search is slower.
const SIMPLER: f64 = 0.002;
/// Outlines of more corners are simplified to either side first, and kept farther apart by what that may stray.
const MANY_CORNERS: usize = 400;
/// Most discs of a part, and the share of its area after which no more are added. Measured on strips: with fewer, deep
/// overlaps are judged badly; with more, the search is slower.
const MOST_DISCS: usize = 16;
const COVERED: f64 = 0.92;
/// Points across the longest side among which the discs' centres are sought.
const GRID: usize = 28;
/// Discs are worked on in so many at a time.
pub(super) const LANES: usize = 8;

/// Angles at which a part may stand, degrees in the feed frame.
#[derive(Clone, Debug)]
pub(super) enum Angles {
    /// Any.
    Any,
    /// These.
    Of(Vec<f64>),
}

/// A part made ready.
#[derive(Clone, Debug)]
pub(in crate::gang) struct Shape {
    /// Outline of few corners; its area contains the true one, but for the stray that is in `grown`.
    rings: Vec<Ring>,
    /// Hull of the true outline, for its bounding box.
    hull: Ring,
    discs: Vec<(Point, f64)>,
    /// By how much the outline and the discs count as grown: half the gutter, and what the outline may stray.
    pub(super) grown: f64,
    /// Bleed outside the true outline, to be kept inside the window.
    pub(super) reach: f64,
    /// Side of a square of the hull's area, mm.
    pub(super) size: f64,
    /// Area of the true outline, mm².
    pub(super) area: f64,
    /// Longest distance of two corners, about.
    pub(super) diameter: f64,
    /// How it may be turned.
    pub(super) angles: Angles,
}

impl Shape {
    /// Of a part; its distance from others of its kind is `gutter`.
    pub(in crate::gang) fn new(part: &Part, rotate: Rotate, gutter: f64) -> Shape {
        let angles = match rotate {
            Rotate::Free => Angles::Any,
            Rotate::QuarterTurns | Rotate::HalfTurns | Rotate::None => {
                Angles::Of(part.turns.iter().map(|turn| turn.angle_deg).collect())
            }
        };
        Shape { reach: part.reach, angles, ..Shape::of(&part.rings, gutter) }
    }

    fn of(rings: &[Ring], gutter: f64) -> Shape {
        let hull = Ring::hull_of(rings);
        let bounds = hull.bounds();
        let diameter = bounds.width().hypot(bounds.height());
        let tolerance = SIMPLER * bounds.width().max(bounds.height());
        let mut stray = 0.0_f64;
        let coarse = |ring: &Ring| {
            let mut points = ring.points().to_vec();
            if points.len() > MANY_CORNERS {
                stray = stray.max(tolerance / 2.0);
                points = simplified(&points, tolerance / 2.0);
            }
            Ring::new(simplified_outward(points, tolerance))
        };
        let simple: Vec<Ring> = rings.iter().map(coarse).collect();
        Shape {
            discs: discs(rings),
            rings: simple,
            grown: gutter / 2.0 + stray,
            reach: 0.0,
            size: hull.area_mm2().sqrt(),
            area: rings.iter().map(Ring::area_mm2).sum::<f64>().max(1e-9),
            hull,
            diameter,
            angles: Angles::Any,
        }
    }

    /// A free zone in the feed frame: pieces with a bleed of `reach` keep `radius` and their bleed from it, and `spare`.
    pub(in crate::gang) fn obstacle(outline: &[Point], radius: f64, reach: f64, gutter: f64, spare: f64) -> Shape {
        let grown = radius + reach + spare - gutter / 2.0;
        let ring = Ring::new(outline.to_vec());
        let mut shape = Shape { grown, angles: Angles::Of(vec![0.0]), ..Shape::of(std::slice::from_ref(&ring), 0.0) };
        if outline.len() == 1 {
            (shape.rings, shape.hull) = (vec![ring.clone()], ring);
            shape.discs = vec![(outline[0], 0.0)];
        }
        shape.size = shape.size.max(radius);
        shape.diameter = shape.diameter.max(2.0 * radius);
        shape
    }
}

/// A shape at an angle, about its own origin. Its memory is used again for the next angle.
#[derive(Clone, Debug, Default)]
pub(super) struct Turned {
    /// Degrees clockwise.
    pub(super) angle_deg: f64,
    /// Bounding box of the true outline.
    pub(super) bounds: Rect,
    discs: Vec<Discs>,
    /// Outline of few corners, of this angle or of one before.
    outline: Body,
    has_outline: bool,
}

/// Some discs, grown as their shape is. Those that fill up the last have no radius and lie far away.
#[derive(Clone, Copy, Debug)]
struct Discs {
    x: [f32; LANES],
    y: [f32; LANES],
    radius: [f32; LANES],
}

/// Where discs that fill up are put: far from any window.
const NOWHERE: f32 = 1e9;

impl Turned {
    /// Turns a shape.
    pub(super) fn new(shape: &Shape, angle_deg: f64) -> Turned {
        let mut turned = Turned::default();
        turned.turn(shape, angle_deg);
        turned.outline(shape);
        turned
    }

    /// Turns a shape in place of what was here.
    pub(super) fn turn(&mut self, shape: &Shape, angle_deg: f64) {
        let turn = Pose { rotation_deg: angle_deg, ..Pose::default() }.to_affine();
        self.angle_deg = angle_deg;
        self.bounds = turned_bounds(std::slice::from_ref(&shape.hull), angle_deg);
        self.has_outline = false;
        self.discs.clear();
        for discs in shape.discs.chunks(LANES) {
            let mut lanes = Discs { x: [NOWHERE; LANES], y: [NOWHERE; LANES], radius: [0.0; LANES] };
            for (lane, (centre, radius)) in discs.iter().enumerate() {
                let at = turn * *centre;
                (lanes.x[lane], lanes.y[lane]) = (at.x as f32, at.y as f32);
                lanes.radius[lane] = (radius + shape.grown) as f32;
            }
            self.discs.push(lanes);
        }
    }

    /// The outline at this angle, turned when it is first asked for: most trials are judged by their discs alone.
    pub(super) fn outline(&mut self, shape: &Shape) -> &Body {
        if !self.has_outline {
            self.outline.turn(&shape.rings, self.angle_deg);
            self.has_outline = true;
        }
        &self.outline
    }

    /// The outline of what stands: turned when it was put there.
    pub(super) fn standing(&self) -> &Body {
        debug_assert!(self.has_outline, "what stands has been turned");
        &self.outline
    }

    /// How deep the discs of two shapes meet when the other is shifted by `offset` against this one: the sum over pairs of
    /// discs of the depth times the smaller radius, mm²; pairs that do not meet count with a depth that fades with their
    /// distance. Whether any pair meets, too.
    ///
    /// Source: J. Gardeyn, G. Vanden Berghe, T. Wauters, *An open-source heuristic to reboot 2D nesting research*, 2025, the
    /// overlap proxy by poles of inaccessibility.
    pub(super) fn depth(&self, other: &Turned, offset: Vec2, fade: f32) -> (f32, bool) {
        Arch::new().dispatch(Depth { discs: &self.discs, others: &other.discs, offset, fade })
    }
}

/// The sum of [`Turned::depth`], on the widest registers that the machine has.
struct Depth<'a> {
    discs: &'a [Discs],
    others: &'a [Discs],
    offset: Vec2,
    fade: f32,
}

impl NullaryFnOnce for Depth<'_> {
    type Output = (f32, bool);

    #[inline(always)]
    fn call(self) -> (f32, bool) {
        let (dx, dy, fade) = (self.offset.x as f32, self.offset.y as f32, self.fade);
        let mut sums = [0.0f32; LANES];
        let mut deepest = [f32::NEG_INFINITY; LANES];
        for own in self.discs.iter().flat_map(Discs::each) {
            let (x, y, radius) = (own.0 - dx, own.1 - dy, own.2);
            for theirs in self.others {
                for lane in 0..LANES {
                    let (u, v) = (theirs.x[lane] - x, theirs.y[lane] - y);
                    let depth = radius + theirs.radius[lane] - (u * u + v * v).sqrt();
                    let faded = fade * fade / (2.0 * fade - depth.min(fade));
                    let counted = if depth >= fade { depth } else { faded };
                    sums[lane] += counted * radius.min(theirs.radius[lane]);
                    deepest[lane] = deepest[lane].max(depth);
                }
            }
        }
        (sums.iter().sum(), deepest.iter().fold(f32::NEG_INFINITY, |a, b| a.max(*b)) > 0.0)
    }
}

impl Discs {
    #[inline(always)]
    fn each(&self) -> impl Iterator<Item = (f32, f32, f32)> + '_ {
        (0..LANES).filter(|lane| self.x[*lane] < NOWHERE).map(|lane| (self.x[lane], self.y[lane], self.radius[lane]))
    }
}

/// An outline of fewer corners that contains the given one: dents of at most `tolerance` are filled, and short edges between
/// outward corners go where their neighbours meet within `tolerance`.
fn simplified_outward(mut points: Vec<Point>, tolerance: f64) -> Vec<Point> {
    points.dedup();
    let twice_area: f64 =
        (0..points.len()).map(|i| points[i].to_vec2().cross(points[(i + 1) % points.len()].to_vec2())).sum();
    if twice_area < 0.0 {
        points.reverse();
    }
    // Corners at which a change was refused are not asked again until a neighbour changes.
    let mut refused = vec![false; points.len()];
    while points.len() > 4 {
        let cheapest = (0..points.len()).filter(|index| !refused[*index]).filter_map(|index| change(&points, index));
        let Some(change) = cheapest.min_by(|a, b| a.cost.total_cmp(&b.cost)) else { break };
        if change.cost > tolerance {
            break;
        }
        let (count, index) = (points.len(), change.index);
        let next = (index + 1) % count;
        if change.is_clear(&points) {
            match change.corner {
                Some(corner) => {
                    points[index] = corner;
                    points.remove(next);
                    refused.remove(next);
                }
                None => {
                    points.remove(index);
                    refused.remove(index);
                }
            }
            let around = index.min(points.len() - 1) + points.len();
            (around - 3..around + 4).for_each(|near| refused[near % points.len()] = false);
        } else {
            refused[index] = true;
        }
    }
    points
}

/// A change of an outline at a corner, and how far out it goes.
struct Change {
    index: usize,
    cost: f64,
    /// Where the neighbours of the edge after the corner meet; nothing when the corner is a dent and goes.
    corner: Option<Point>,
}

impl Change {
    /// Whether no corner lies in what the change adds.
    fn is_clear(&self, points: &[Point]) -> bool {
        let count = points.len();
        let at = |index: usize| points[index % count];
        let triangle = match self.corner {
            Some(corner) => [at(self.index), corner, at(self.index + 1)],
            None => [at(self.index + count - 1), at(self.index), at(self.index + 1)],
        };
        let own = |point: &Point| triangle.contains(point);
        let inside = |point: &Point| {
            let side = |a: Point, b: Point| (b - a).cross(*point - a);
            let [a, b, c] = triangle;
            let sides = [side(a, b), side(b, c), side(c, a)];
            sides.iter().all(|side| *side >= -1e-12) || sides.iter().all(|side| *side <= 1e-12)
        };
        !points.iter().any(|point| !own(point) && inside(point))
    }
}

/// What could be changed at a corner of an outline whose inside is to the left of its edges (in the sense of the cross product).
fn change(points: &[Point], index: usize) -> Option<Change> {
    let count = points.len();
    let at = |index: usize| points[index % count];
    let (before, here, next, after) = (at(index + count - 1), at(index), at(index + 1), at(index + 2));
    let bend = (here - before).cross(next - here);
    if bend <= 0.0 {
        return Some(Change { index, cost: squared_distance(here, (before, next)).sqrt(), corner: None });
    }
    if (next - here).cross(after - next) <= 0.0 {
        return None;
    }
    let (into, out) = (here - before, next - after);
    let turn = into.cross(out);
    // Neighbours that run apart, or nearly side by side, meet nowhere near.
    if turn <= 1e-9 * into.hypot() * out.hypot() {
        return None;
    }
    let way = (next - here).cross(out) / turn;
    let corner = here + into * way;
    (way.is_finite() && way >= 0.0).then(|| Change {
        index,
        cost: squared_distance(corner, (here, next)).sqrt(),
        corner: Some(corner),
    })
}

/// Discs inside an outline that cover most of it: each next one the disc around a point of a grid, as large as the outline lets
/// it be, that covers most of what is not covered yet.
fn discs(rings: &[Ring]) -> Vec<(Point, f64)> {
    let body = Body::new(rings, 0.0);
    let bounds = body.bounds;
    let step = bounds.width().max(bounds.height()) / GRID as f64;
    let mut inside: Vec<(Point, f64)> = Vec::new();
    for row in 0..GRID {
        for col in 0..GRID {
            let at = Point::new(bounds.x0 + (col as f64 + 0.5) * step, bounds.y0 + (row as f64 + 0.5) * step);
            if bounds.contains(at) && body.contains(at) {
                inside.push((at, body.distance_to_lines(at)));
            }
        }
    }
    // A centre that a neighbour's disc swallows covers nothing that the neighbour does not.
    let swallowed = |spot: &(Point, f64)| {
        inside.iter().any(|other| other.1 > spot.1 && other.0.distance(spot.0) <= other.1 - spot.1 + 0.02 * step)
    };
    let centres: Vec<(Point, f64)> = inside.iter().filter(|spot| !swallowed(spot)).copied().collect();
    let mut open: Vec<Point> = inside.iter().map(|spot| spot.0).collect();
    let mut chosen: Vec<(Point, f64)> = Vec::new();
    let least_open = ((1.0 - COVERED) * inside.len() as f64) as usize;
    while chosen.len() < MOST_DISCS && open.len() > least_open {
        let covers = |disc: &(Point, f64)| open.iter().filter(|point| point.distance(disc.0) <= disc.1).count();
        let better =
            |a: &(usize, &(Point, f64)), b: &(usize, &(Point, f64))| a.0.cmp(&b.0).then(a.1.1.total_cmp(&b.1.1));
        let best = centres.iter().map(|disc| (covers(disc), disc)).max_by(better);
        let Some((_, disc)) = best.filter(|best| best.0 > 0) else { break };
        chosen.push(*disc);
        open.retain(|point| point.distance(disc.0) > disc.1);
    }
    if chosen.is_empty() {
        // A needle between the points of the grid.
        let middle = rings.first().and_then(|ring| ring.points().first()).copied().unwrap_or(Point::ORIGIN);
        chosen.push((middle, 0.0));
    }
    chosen
}
