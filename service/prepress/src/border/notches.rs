//! Inside corners of the grown shape, put where they are.
//!
//! A level line that is traced from cell to cell cuts inside corners off: a right angle by up to half a cell, a narrow notch by
//! much more, and by how much hangs on where the grid happens to lie. Shrinking would hand all of that on to the border. But
//! the corner itself is known: it is as far from the art on its one side as from that on the other. So where the line turns
//! outward within a cell, the place between both sides is found by Newton's method and put in between, as in Kobbelt et al.
//! 2001, "Feature sensitive surface extraction from volume data", with exact distances in place of tangents. Where the sides
//! are ragged or hardly come nearer to each other no such step finds it, and the middle between them is followed instead.
//!
//! Guarantee: what is put in is no nearer to the art than the line should be, but for what chords take, and no new edge
//! crosses an old or a new one. Corners at bridges and discs stay as they were traced.

#[cfg(test)]
mod tests;

use std::collections::BTreeMap;

use rayon::prelude::*;

use super::edges::Nearest;
use super::field::Field;
use super::near::Squares;
use crate::cancel::Cancel;
use crate::fault::Fault;
use crate::geom::{Point, Ring, Vec2, crosses};

/// Sine of the least turn that is looked at: what is rounder loses a hundredth of a millimetre.
const LEAST_TURN_SINE: f64 = 0.3;

/// Points of the line between the place where it is nearest to another side and the one where it turns, at most.
const SLID: usize = 4;

/// Sine of the angle between both sides under which they hardly come nearer to each other.
const LEAST_SINE: f64 = 0.03;

/// Sine of the angle between the line and the side of a cell under which it is not said where they cross.
const LEAST_SLOPE: f64 = 0.2;

/// Steps of Newton's method, none longer than a cell, and how short the last one is, mm. Most corners take three.
const STEPS: usize = 12;
const CLOSE_MM: f64 = 1e-6;

/// The same for the places beside a corner, which matter less.
const CROSSING_STEPS: usize = 3;

/// What a corner may be nearer to the art than the line should be, mm.
const SLACK_MM: f64 = 5e-4;

/// Pairs of sides between which a corner is looked for.
const SIDES_TRIED: usize = 4;

/// Cells to a step along the middle between both sides.
const FOLLOWED_CELLS: f64 = 0.5;

/// Steps across the gap at each of those.
const ACROSS: usize = 2;

/// Halvings of the last of those, beyond which a corner lies.
const HALVINGS: usize = 8;

/// Cells from the line in which a corner is looked for: a notch of eight degrees loses as much.
const REACH_CELLS: f64 = 12.0;

/// Cells from a turn in which the line is kept, to be asked what a corner and its way would cross.
const KEPT_CELLS: f64 = REACH_CELLS + 8.0;

/// What a corner stands out by over the line that cut it off, as a share of that: less is rounding.
const LEAST_HEIGHT: f64 = 1e-3;

/// What a chord between a place of the line and a corner may be nearer to the art than the line should be, mm: a twentieth of
/// what fitting takes. Round art has round flanks: at 3.5 mm from it a chord over the whole reach would lose about 0.1 mm.
const FLANK_MM: f64 = 2e-3;

/// Times that such a chord is halved at most: more than enough on fine grids; rough ones promise less.
const FLANK_HALVINGS: usize = 4;

/// Points of which is asked at once what is nearest to them. Common practice, no source.
const TOGETHER: usize = 4096;

/// Fewest points of a ring that can have inside corners and a line between them.
const FEWEST: usize = 8;

/// Puts the corners back into the level lines at a distance from the art; `values` are those that were traced, which bridges and
/// discs may have lowered. Linear in the points of the rings.
///
/// # Errors
/// `run.cancelled`.
pub(super) fn sharpened(
    rings: Vec<Ring>,
    (art, distance): (&Field<'_>, f64),
    values: &[f32],
    cancel: &Cancel,
) -> Result<Vec<Ring>, Fault> {
    let mut notches = Notches { art, distance, values, edges: BTreeMap::new() };
    let turns: Vec<Vec<Turn>> = rings.iter().map(|ring| notches.turns_of(ring, cancel)).collect::<Result<_, _>>()?;
    let places =
        |(ring, turns): (&Ring, &Vec<Turn>)| turns.iter().map(|turn| ring.points()[turn.at]).collect::<Vec<_>>();
    let places: Vec<Point> = rings.iter().zip(&turns).flat_map(places).collect();
    let squares = Squares::of(&places, KEPT_CELLS * art.grid().cell());
    for (number, (from, to)) in rings.iter().flat_map(Ring::edges).enumerate() {
        cancel.check_every(TOGETHER, number)?;
        if squares.near(&places, from.midpoint(to)).next().is_some() {
            notches.add((from, to));
        }
    }
    rings.into_iter().zip(turns).map(|(ring, turns)| notches.sharpened(ring, turns, cancel)).collect()
}

type Edge = (Point, Point);

/// A corner between the places on its flanks.
type Corner = Vec<Point>;

/// Corners by the point of the ring before them.
type Corners = BTreeMap<usize, Corner>;

/// A place at which a ring turns outward: the point before it, and what is nearest to that and to the one after it.
struct Turn {
    at: usize,
    left: Nearest,
    right: Nearest,
}

struct Notches<'a> {
    art: &'a Field<'a>,
    distance: f64,
    values: &'a [f32],
    /// What runs through each cell near a turn, by its upper left node.
    edges: BTreeMap<usize, Vec<Edge>>,
}

impl Notches<'_> {
    fn turns_of(&self, ring: &Ring, cancel: &Cancel) -> Result<Vec<Turn>, Fault> {
        let points = ring.points();
        if points.len() < FEWEST {
            return Ok(Vec::new());
        }
        let feet = |points: &[Point]| {
            cancel.check()?;
            Ok(points.iter().map(|point| self.art.nearest_to(*point)).collect())
        };
        let feet: Vec<Vec<Option<Nearest>>> = points.par_chunks(TOGETHER).map(feet).collect::<Result<_, Fault>>()?;
        let feet: Vec<Option<Nearest>> = feet.into_iter().flatten().collect();
        let turn = |at: usize| {
            let next = (at + 1) % points.len();
            let (left, right) = (feet[at]?, feet[next]?);
            self.turns((points[at], left), (points[next], right)).then_some(Turn { at, left, right })
        };
        Ok((0..points.len()).filter_map(turn).collect())
    }

    fn sharpened(&mut self, ring: Ring, turns: Vec<Turn>, cancel: &Cancel) -> Result<Ring, Fault> {
        if turns.is_empty() {
            return Ok(ring);
        }
        let mut points = ring.points().to_vec();
        let mut corners = BTreeMap::new();
        for (number, Turn { at, left, right }) in turns.into_iter().enumerate() {
            cancel.check_every(16, number)?;
            if !self.put(&mut points, &mut corners, at, [left, right]) {
                let end = innermost(&points, at, [left, right]);
                if end != at {
                    self.put(&mut points, &mut corners, end, [left, right]);
                }
            }
        }
        let with_corners = points
            .into_iter()
            .enumerate()
            .flat_map(|(at, point)| std::iter::once(point).chain(corners.get(&at).into_iter().flatten().copied()));
        Ok(Ring::new(with_corners.collect()))
    }

    /// Puts the corner between two sides after a point of a ring, if there is none yet and it fits in.
    fn put(&mut self, points: &mut [Point], corners: &mut Corners, at: usize, [left, right]: [Nearest; 2]) -> bool {
        let count = points.len();
        let (next, last) = ((at + 1) % count, (at + count - 1) % count);
        if corners.contains_key(&at) {
            return true;
        }
        // The corner beside this one has put the point between them where it is.
        let (before, from) = match corners.get(&last).and_then(|corner| corner.last()) {
            Some(place) => (*place, points[at]),
            None => (points[last], self.crossing(points[at], [left, right])),
        };
        let (to, after) = match corners.get(&next).and_then(|corner| corner.first()) {
            Some(place) => (points[next], *place),
            None => (self.crossing(points[next], [right, left]), points[(next + 1) % count]),
        };
        let old = [(before, points[at]), (points[at], points[next]), (points[next], after)];
        // Where a corner lies hard beside a side of its cell, the line may only fit through where it was traced.
        for ends in [[from, to], [points[at], points[next]]] {
            let Some(corner) = self.corner(ends, [left, right]) else { continue };
            let way = [&[before, ends[0]], corner.as_slice(), &[ends[1], after]].concat();
            if self.replace(old, &way.windows(2).map(|ends| (ends[0], ends[1])).collect::<Vec<_>>()) {
                [points[at], points[next]] = ends;
                corners.insert(at, corner);
                return true;
            }
        }
        false
    }

    /// Whether the line turns outward between two of its points, and nothing but the art makes it do so.
    fn turns(&self, (from, left): (Point, Nearest), (to, right): (Point, Nearest)) -> bool {
        let (left, right) = ((from - left.foot).normalize(), (to - right.foot).normalize());
        let (sine, cosine) = (right.cross(left), left.dot(right));
        (sine >= LEAST_TURN_SINE || cosine < 0.0 && sine > -LEAST_SINE) && self.is_of_art(self.cell(from.midpoint(to)))
    }

    /// Where the line crosses the side of a cell that a point of it lies on: between two nodes that are nearest to different
    /// places distance does not grow evenly, and the point itself may be nearest to the wrong one.
    fn crossing(&self, point: Point, sides: [Nearest; 2]) -> Point {
        let is_there = |place: &Point| {
            let nearest = self.art.nearest_to(*place);
            nearest.is_some_and(|nearest| (nearest.distance - self.distance).abs() <= SLACK_MM)
        };
        sides.into_iter().filter_map(|side| self.crossing_of(point, side.edge)).find(is_there).unwrap_or(point)
    }

    /// The same if nothing but one edge's neighbourhood were there; `None` where it does not cross that side of the cell.
    fn crossing_of(&self, point: Point, edge: u32) -> Option<Point> {
        let grid = self.art.grid();
        let (x, y) = grid.in_cells(point);
        let is_upright = (x - x.round()).abs() < (y - y.round()).abs();
        let (at, along) = if is_upright { (y, Vec2::new(0.0, 1.0)) } else { (x, Vec2::new(1.0, 0.0)) };
        let mut place = point;
        for _ in 0..CROSSING_STEPS {
            let nearest = self.art.edges().nearest_from(edge, place);
            let slope = (place - nearest.foot).dot(along) / nearest.distance.max(CLOSE_MM);
            if slope.abs() < LEAST_SLOPE {
                return None;
            }
            place += along * ((self.distance - nearest.distance) / slope);
            if !(at.floor()..=at.ceil()).contains(&(at + (place - point).dot(along) / grid.cell())) {
                return None;
            }
        }
        Some(place)
    }

    /// Adds places along one flank, from one end to the other, moved out to where the line should be on that side.
    fn flank(&self, [from, to]: [Point; 2], edge: u32, halvings: usize, places: &mut Corner) {
        let middle = from.midpoint(to);
        let side = self.art.edges().nearest_from(edge, middle);
        let lack = self.distance - side.distance;
        if halvings == 0 || lack <= FLANK_MM {
            return;
        }
        let place = middle + (middle - side.foot) * (lack / side.distance.max(CLOSE_MM));
        self.flank([from, place], side.edge, halvings - 1, places);
        places.push(place);
        self.flank([place, to], side.edge, halvings - 1, places);
    }

    /// The corner between two points of the line.
    fn corner(&self, [from, to]: [Point; 2], sides: [Nearest; 2]) -> Option<Corner> {
        let chord = to - from;
        // The shape lies to the right of its rings, and the end of a notch in it.
        let into_notch = Vec2::new(-chord.y, chord.x);
        let corner = self.meeting(from.midpoint(to), into_notch, sides.map(|side| side.edge))?;
        let stands_out = chord.cross(corner - from) > LEAST_HEIGHT * chord.hypot2();
        stands_out.then(|| {
            let mut places = Corner::new();
            self.flank([from, corner], sides[0].edge, FLANK_HALVINGS, &mut places);
            places.push(corner);
            self.flank([corner, to], sides[1].edge, FLANK_HALVINGS, &mut places);
            places
        })
    }

    /// The place as far from the art as the line should be on both sides.
    fn meeting(&self, start: Point, into_notch: Vec2, mut sides: [u32; 2]) -> Option<Point> {
        let mut out = start;
        for _ in 0..SIDES_TRIED {
            let place = self.between(start, sides);
            // So far out nothing is measured any more.
            let Some(nearest) = self.art.nearest_to(place) else { break };
            if (nearest.distance - self.distance).abs() <= SLACK_MM {
                return Some(place);
            }
            if nearest.distance > self.distance {
                out = place;
                break;
            }
            self.replace_side(&mut sides, place, nearest);
        }
        self.followed((start, out), into_notch, sides)
    }

    /// A walk from an edge ends where ragged art is nearest for a while: what is nearest in truth is that side's.
    fn replace_side(&self, sides: &mut [u32; 2], place: Point, nearest: Nearest) {
        let likeness = |edge: u32| {
            let side = self.art.edges().nearest_from(edge, place);
            (place - side.foot).normalize().dot(place - nearest.foot)
        };
        sides[usize::from(likeness(sides[1]) > likeness(sides[0]))] = nearest.edge;
    }

    /// The place as far from two edges' neighbourhoods as the line should be, or as far as Newton's method comes.
    fn between(&self, start: Point, mut sides: [u32; 2]) -> Point {
        let cell = self.art.grid().cell();
        let mut place = start;
        for _ in 0..STEPS {
            let feet = self.feet(place, sides);
            let ways = feet.map(|side| (place - side.foot) / side.distance.max(CLOSE_MM));
            let lacks = feet.map(|side| self.distance - side.distance);
            let sine = ways[0].cross(ways[1]);
            if sine.abs() < LEAST_SINE {
                break;
            }
            let turned = ways.map(|way| Vec2::new(way.y, -way.x));
            let step = (turned[1] * lacks[0] - turned[0] * lacks[1]) / sine;
            let next = place + step * (cell / step.hypot()).min(1.0);
            if step.hypot() < CLOSE_MM || next.distance(start) > REACH_CELLS * cell {
                break;
            }
            place = next;
            sides = feet.map(|side| side.edge);
        }
        place
    }

    /// What is nearest to a place on two edges' sides of it.
    fn feet(&self, place: Point, sides: [u32; 2]) -> [Nearest; 2] {
        let edges = self.art.edges();
        let feet = sides.map(|edge| edges.nearest_from(edge, place));
        // Around a corner of the art itself a walk leads from one of its sides on to the other.
        if feet[0].edge == feet[1].edge { sides.map(|edge| edges.nearest_on(edge, place)) } else { feet }
    }

    /// Where the middle between both sides leads to a place as far from the art as the line should be: between sides that
    /// hardly come nearer to each other, or are ragged, no step of Newton's finds it.
    fn followed(&self, (start, out): (Point, Point), into_notch: Vec2, mut sides: [u32; 2]) -> Option<Point> {
        let is_out = |place: Point| self.art.nearest_to(place).is_some_and(|nearest| nearest.distance >= self.distance);
        let cell = self.art.grid().cell();
        let step = cell * FOLLOWED_CELLS;
        let (mut place, mut heading) = (out, into_notch.normalize());
        for _ in 0..(REACH_CELLS / FOLLOWED_CELLS) as usize {
            let ahead = self.amid(place + heading * step, &mut sides)?;
            let moved = ahead - place;
            let goes_on = moved.dot(heading) > 0.0 && (CLOSE_MM..2.0 * step).contains(&moved.hypot());
            let nearest = self.art.nearest_to(ahead).filter(|_| goes_on && ahead.distance(start) <= REACH_CELLS * cell);
            let Some(nearest) = nearest else { break };
            if nearest.distance < self.distance {
                let (mut out, mut within) = (0.0, 1.0);
                for _ in 0..HALVINGS {
                    let middle = (out + within) / 2.0;
                    (out, within) = if is_out(place.lerp(ahead, middle)) { (middle, within) } else { (out, middle) };
                }
                place = place.lerp(ahead, out);
                break;
            }
            (place, heading) = (ahead, moved.normalize());
        }
        (place != start).then_some(place)
    }

    /// A place moved across the gap until both its sides are about equally far.
    fn amid(&self, mut place: Point, sides: &mut [u32; 2]) -> Option<Point> {
        for _ in 0..ACROSS {
            let feet = self.feet(place, *sides);
            let [left, right] = feet.map(|side| (place - side.foot) / side.distance.max(CLOSE_MM));
            // Both ways differ by as much as the place moves nearer to the one side and away from the other.
            let across = left - right;
            if across.hypot() < LEAST_SINE {
                return None;
            }
            place += across * ((feet[1].distance - feet[0].distance) / across.hypot2());
            *sides = feet.map(|side| side.edge);
            let nearest = self.art.nearest_to(place)?;
            if nearest.distance < feet[0].distance.min(feet[1].distance) - SLACK_MM {
                self.replace_side(sides, place, nearest);
            }
        }
        Some(place)
    }

    /// Replaces edges by others, if those between the first and the last run through cells of the art alone and none of them
    /// crosses anything.
    fn replace(&mut self, old: [Edge; 3], new: &[Edge]) -> bool {
        let is_free = |edge: &Edge| {
            self.cells(*edge).into_iter().all(|cell| {
                let others = self.edges.get(&cell).into_iter().flatten().filter(|other| !old.contains(other));
                !others.chain(new).any(|other| other != edge && crosses(*other, *edge))
            })
        };
        let is_of_art = |edge: &Edge| self.cells(*edge).into_iter().all(|cell| self.is_of_art(cell));
        if !(new[1..new.len() - 1].iter().all(is_of_art) && new.iter().all(is_free)) {
            return false;
        }
        for edge in old {
            for cell in self.cells(edge) {
                self.edges.entry(cell).and_modify(|edges| edges.retain(|other| *other != edge));
            }
        }
        new.iter().for_each(|edge| self.add(*edge));
        true
    }

    fn add(&mut self, edge: Edge) {
        for cell in self.cells(edge) {
            self.edges.entry(cell).or_default().push(edge);
        }
    }

    /// The cells that an edge runs through; one of which it only cuts a corner may be missing.
    fn cells(&self, (from, to): Edge) -> Vec<usize> {
        let steps = (4.0 * from.distance(to) / self.art.grid().cell()).ceil().max(1.0) as usize;
        let places = (0..steps).map(|step| from.lerp(to, (step as f64 + 0.5) / steps as f64));
        let mut cells: Vec<usize> = places.map(|place| self.cell(place)).collect();
        cells.dedup();
        cells
    }

    fn cell(&self, place: Point) -> usize {
        self.art.grid().around(place)[0]
    }

    /// Whether nothing but the art tells what is inside around a cell: no bridge, no disc.
    fn is_of_art(&self, cell: usize) -> bool {
        let columns = self.art.grid().columns();
        let is_lowered = |node: usize| self.values[node] < self.art.signed(node) - self.distance as f32;
        ![cell, cell + 1, cell + columns + 1, cell + columns].into_iter().any(is_lowered)
    }
}

/// The edge of a ring, by its first point, at the end of a notch between two sides, from one near it on: in a narrow notch the
/// line may be nearer to the other side already before it turns, or still after that.
fn innermost(points: &[Point], at: usize, [left, right]: [Nearest; 2]) -> usize {
    let count = points.len();
    let next = |at: usize| (at + 1) % count;
    let ways = (points[at] - left.foot).normalize() - (points[next(at)] - right.foot).normalize();
    // The shape lies to the right of its rings: the line runs into the notch on the left side and back on the right one.
    let into_notch = Vec2::new(-ways.y, ways.x);
    let step = |from: usize, to: usize| (points[to] - points[from]).dot(into_notch);
    let (mut after, mut before) = (at, at);
    for _ in 0..SLID {
        if step(next(after), next(next(after))) > 0.0 {
            after = next(after);
        } else if step(before, (before + count - 1) % count) > 0.0 {
            before = (before + count - 1) % count;
        } else {
            break;
        }
    }
    if after == at { before } else { after }
}
