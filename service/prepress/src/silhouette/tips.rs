//! Tips of the traced line, put back to where alpha says that they end.
//!
//! Between pixel centres the line cuts sharp tips short by one or two pixels, on a coarse picture half a millimetre.
//! Filters that make pictures smaller keep area: around a tip, the sum of alpha is the area of the true shape. So a tip
//! whose two sides run straight towards each other is moved outward until the area inside of the line is that sum; past
//! where its sides meet, which blur brings too near, only by a share of that. Conservation of area as in Hirt and Nichols,
//! "Volume of Fluid (VOF) Method for the Dynamics of Free Boundaries" (1981). In a shadow, which has an area of its own, it is
//! moved to where its sides meet; tips of thin strokes have no such sides (see `stroke_end`).
//!
//! Guarantee: only tips move, outward by at most [`MOST_PX`], never beyond the canvas; rings still do not touch or cross.

use std::collections::{BTreeMap, BTreeSet};

use super::plane::{CLEAR_ALPHA, Plane};
use super::stroke_end;
use crate::cancel::Cancel;
use crate::fault::Fault;
use crate::geom::{Point, Ring, Vec2, crosses};

/// Steps along the line at which a turn is looked for first, cheaply: a step is a pixel and a half at most.
const STEPS: usize = 3;

/// So much of the line to each side of a tip is its own, which may run through the cells of its new place. A stroke thinner than
/// a pixel has a drawn line of many short steps.
const BESIDE_STEPS: usize = 8;

/// A side of a tip is looked at from so far to so far behind it: nearer the line is cut short, and farther begins what a small
/// tip stands on. Of seven ranges tried on clip art of 400 and 6000 pixels, this brought the two lines closest.
const SIDE_PX: (f64, f64) = (1.0, 2.0);

/// So far behind it, a tip is so many times as wide as at the end of its sides: strokes with round or square ends are not.
/// Tips of 20 to 90 degrees are 1.4 times as wide.
const ROOT_PX: f64 = 3.5;
const WIDENS: f64 = 1.2;

/// Cosine of the widest angle between the sides of a tip, about 100 degrees: corners of wider ones are hardly cut.
const LEAST_COSINE: f64 = -0.2;

/// Sine of the narrowest, 10 degrees: ends of strokes have no tip.
const LEAST_SINE: f64 = 0.17;

/// A tip is cut off straight where two points stand out alike, to so much, and are no more than so far from each other.
const ALIKE_PX: f64 = 0.2;
const FLAT_PX: f64 = 1.3;

/// A tip moves so far at most, and not at all for less than the other.
pub(super) const MOST_PX: f64 = 1.5;
const LEAST_PX: f64 = 0.03;

/// Share of the way that area asks for past where the sides meet: the line beside a tip is cut short a little too. Of shares from
/// nothing to all tried on clip art of 300 to 900 and 6000 pixels, this brought the two lines closest.
const PAST_MEETING: f64 = 1.0 / 3.0;

/// And past that place at most.
const MOST_PAST_PX: f64 = 1.0;

/// Half pixels of the line beside a tip that may lie near its new place.
const LOOKED_AT: usize = 12;

/// Area is compared so far behind a tip, before it and to both sides of it: as far as a filter blurs it.
const BEHIND_PX: f64 = 1.5;
const BEFORE_PX: f64 = 2.5;
const BESIDE_PX: f64 = 2.0;

/// The most alpha before a tip that still is a shadow, as a share of the threshold: more is art, or a picture so blurred that its
/// tip is not cut short by pixels.
const SHADE_SHARE: f64 = 0.78;

/// Moves the tips of rings that were traced on a plane at a threshold.
pub(super) fn sharpen(
    plane: &Plane<'_>,
    threshold: f64,
    rings: Vec<Ring>,
    cancel: &Cancel,
) -> Result<Vec<Ring>, Fault> {
    let mut tips = Tips { plane, threshold, taken: BTreeSet::new() };
    let sharpened = rings.into_iter().enumerate().map(|(number, ring)| {
        cancel.check_every(64, number)?;
        tips.sharpened(ring, cancel)
    });
    sharpened.collect()
}

struct Tips<'a> {
    plane: &'a Plane<'a>,
    threshold: f64,
    /// Cells in which tips were moved.
    taken: BTreeSet<(i64, i64)>,
}

/// A tip of a ring, to be replaced.
struct Tip {
    /// Place in the ring of the first point that goes, and how many go.
    first: usize,
    count: usize,
    /// What comes there.
    points: [Point; 3],
}

/// The line behind a tip on one side of it.
struct Side {
    /// Points of the ring between the tip and the nearer place on the side.
    steps: usize,
    near: Point,
    far: Point,
    /// Still farther behind.
    root: Point,
}

impl Tips<'_> {
    fn sharpened(&mut self, ring: Ring, cancel: &Cancel) -> Result<Ring, Fault> {
        let points = ring.points();
        let count = points.len();
        if count < 4 * STEPS {
            return Ok(ring);
        }
        let mut moved: Vec<Tip> = Vec::new();
        // The sharpest of points beside each other.
        let mut best: Option<(usize, f64)> = None;
        let mut next = sharpness(points, 0);
        for at in 0..=count {
            cancel.check_every(1 << 12, at)?;
            let sharp = if at < count { next } else { None };
            next = sharpness(points, (at + 1) % count);
            match (sharp, best) {
                (Some(sharp), Some((_, most))) if sharp <= most => {}
                (Some(sharp), _) => best = Some((at, sharp)),
                (None, Some((place, _))) => {
                    moved.extend(self.tip(points, Start::of(points, place)));
                    best = None;
                }
                (None, None) => {
                    if at < count && next.is_none() && is_blunt(points, at) {
                        moved.extend(self.tip(points, Start::between(points, at, (at + 1) % count)));
                    }
                }
            }
        }
        Ok(if moved.is_empty() { ring } else { replaced(points, &moved) })
    }

    /// The tip at a point of a ring, where it is one and can be moved.
    fn tip(&mut self, points: &[Point], start: Start) -> Option<Tip> {
        let count = points.len();
        let tip = start.tip;
        let (left, right) = (side(points, tip, start.left, count - 1), side(points, tip, start.right, 1));
        // From the first point that goes to the last.
        let first = (start.left + 1 + count - left.steps) % count;
        let goes = (start.right + right.steps + count - first) % count;
        if goes == 0 || goes + 2 * STEPS > count {
            return None;
        }
        let (apex, moved) = if self.is_drawn(tip) {
            let behind = left.root.midpoint(right.root);
            stroke_end::of(self.plane, behind, tip)?
        } else {
            self.apex(tip, (&left, &right), (0..goes).map(|step| points[(first + step) % count]))?
        };
        if moved.is_nan() || moved < LEAST_PX {
            return None;
        }
        let beside = BESIDE_STEPS.min((count - goes) / 2);
        let own: Vec<Point> =
            (0..goes + 2 * beside).map(|step| points[(first + count - beside + step) % count]).collect();
        let points = [left.near, apex, right.near];
        self.is_free(&own, beside, points).then_some(Tip { first, count: goes, points })
    }

    /// Where a tip ends whose sides run towards each other, and how much farther that is than the line; `goes` are the line's
    /// points between them.
    fn apex(
        &self,
        tip: Point,
        (left, right): (&Side, &Side),
        goes: impl Iterator<Item = Point>,
    ) -> Option<(Point, f64)> {
        let (to_left, to_right) = ((left.near - left.far).normalize(), (right.near - right.far).normalize());
        // Of the angle between them; the inside lies in it.
        let (sine, cosine) = (to_right.cross(to_left), to_right.dot(to_left));
        let widens = (left.root - right.root).hypot() >= WIDENS * (left.far - right.far).hypot();
        if !(sine >= LEAST_SINE && cosine >= LEAST_COSINE && widens) {
            return None;
        }
        let meet = left.near + to_left * (to_right.cross(right.near - left.near) / sine);
        let middle = left.near.midpoint(right.near);
        let along = (meet - middle).normalize();
        let height = (tip - middle).dot(along);
        let meeting = (meet - middle).dot(along);
        let ground = self.plane.largest_before(tip, along);
        if !(height > 0.0 && meeting > height && f64::from(ground) <= SHADE_SHARE * self.threshold) {
            return None;
        }
        let ends = if ground <= CLEAR_ALPHA {
            let cap: Vec<Point> = [left.near].into_iter().chain(goes).chain([right.near]).collect();
            let base = (right.near - left.near).cross(along).abs();
            let by_area = 2.0 * (Ring::new(cap).signed_area() + self.missing(tip, along)) / base;
            by_area.min(meeting + (PAST_MEETING * (by_area - meeting)).clamp(0.0, MOST_PAST_PX))
        } else {
            meeting
        };
        let ends = ends.min(height + MOST_PX);
        Some((middle + along * ends, ends - height))
    }

    /// Whether a tip lies at a thin stroke, whose drawn sides are not its own.
    fn is_drawn(&self, tip: Point) -> bool {
        let (x, y) = cell_of(tip);
        let near = |at: i64, size: usize| (at - 2).max(0) as usize..((at + 2).max(0) as usize).min(size);
        near(y, self.plane.height)
            .any(|y| near(x, self.plane.width).any(|x| self.plane.is_raised(y * self.plane.width + x)))
    }

    /// Part of a pixel that is covered.
    fn share(&self, x: i64, y: i64) -> f64 {
        (f64::from(self.plane.alpha(x, y)) / (2.0 * self.threshold)).min(1.0)
    }

    /// By how much the area inside of the line around a tip is smaller than the sum of alpha there.
    fn missing(&self, tip: Point, along: Vec2) -> f64 {
        let reach = (BEFORE_PX.hypot(BESIDE_PX)).ceil() as i64;
        let (x, y) = cell_of(tip);
        let cells = (y - reach..=y + reach).flat_map(|y| (x - reach..=x + reach).map(move |x| (x, y)));
        let near = cells.filter(|(x, y)| {
            let off = Point::new(*x as f64, *y as f64) - tip;
            let (before, beside) = (off.dot(along), off.cross(along));
            (-BEHIND_PX..=BEFORE_PX).contains(&before) && beside.abs() <= BESIDE_PX
        });
        near.map(|cell| self.missing_in(cell)).sum()
    }

    /// By how much that is so in one cell.
    fn missing_in(&self, (x, y): (i64, i64)) -> f64 {
        let shares = [(x - 1, y - 1), (x, y - 1), (x, y), (x - 1, y)].map(|(x, y)| self.share(x, y));
        let places = [(0.0, 0.0), (1.0, 0.0), (1.0, 1.0), (0.0, 1.0)].map(|(x, y)| Point::new(x, y));
        let mut inside = Vec::with_capacity(6);
        for at in 0..4 {
            let (here, next) = (shares[at], shares[(at + 1) % 4]);
            if here >= 0.5 {
                inside.push(places[at]);
            }
            if (here >= 0.5) != (next >= 0.5) {
                inside.push(places[at].lerp(places[(at + 1) % 4], (0.5 - here) / (next - here)));
            }
        }
        shares.iter().sum::<f64>() / 4.0 - Ring::new(inside).signed_area()
    }

    /// Whether a tip's new place keeps clear of all other lines; then its cells are taken. `own` is the tip's line, of which all
    /// but so many points `beside` it go.
    fn is_free(&mut self, own: &[Point], beside: usize, [left, apex, right]: [Point; 3]) -> bool {
        let (before, after) = (own[..=beside].windows(2), own[beside..].windows(2));
        let outward = before.map(|edge| (edge[1], edge[0])).chain(after.map(|edge| (edge[0], edge[1])));
        // How often the line runs through a cell.
        let mut own_cells: BTreeMap<(i64, i64), usize> = BTreeMap::new();
        for cells in outward.map(|edge| cells_along(edge).collect::<BTreeSet<_>>()) {
            cells.into_iter().for_each(|cell| *own_cells.entry(cell).or_default() += 1);
        }
        let new_edges = [(left, apex), (apex, right)];
        let behind_left = own[..beside].iter().copied().chain([left]);
        let behind_right = [right].into_iter().chain(own[own.len() - beside..].iter().copied());
        let behind: [Vec<Point>; 2] = [behind_left.collect(), behind_right.collect()];
        let edges = behind.iter().flat_map(|side| side.windows(2));
        let mut crossed = edges.flat_map(|edge| new_edges.map(|new| crosses((edge[0], edge[1]), new)));
        if crossed.any(|crosses| crosses) {
            return false;
        }
        // With those of the points that go, so that no two tips can have any in common.
        let goes = own[beside..own.len() - beside].iter().copied();
        let cells = cells_around(&[left, apex, right].into_iter().chain(goes).collect::<Vec<_>>());
        let is_clear = |cell: &(i64, i64)| self.changes(*cell) <= 2 * own_cells.get(cell).copied().unwrap_or(0);
        let is_free = cells.iter().all(|cell| !self.taken.contains(cell) && self.on_canvas(*cell) && is_clear(cell));
        if is_free {
            self.taken.extend(cells);
        }
        is_free
    }

    /// How often coverage changes around a cell: twice for each line through it.
    fn changes(&self, (x, y): (i64, i64)) -> usize {
        let covered = [(x - 1, y - 1), (x, y - 1), (x, y), (x - 1, y)]
            .map(|(x, y)| f64::from(self.plane.alpha(x, y)) > self.threshold);
        (0..4).filter(|at| covered[*at] != covered[(at + 1) % 4]).count()
    }

    fn on_canvas(&self, (x, y): (i64, i64)) -> bool {
        x > 0 && y > 0 && x < self.plane.width as i64 && y < self.plane.height as i64
    }
}

/// How far a point stands out between the points some steps before and after it, if the line turns there, around the inside, by
/// as much as around the widest tip.
fn sharpness(points: &[Point], at: usize) -> Option<f64> {
    let count = points.len();
    let before = points[if at >= STEPS { at - STEPS } else { at + count - STEPS }];
    let after = points[if at + STEPS < count { at + STEPS } else { at + STEPS - count }];
    let (to, from) = (points[at] - before, after - points[at]);
    turns(to, from).then(|| (points[at] - before.midpoint(after)).hypot())
}

/// Whether one way turns into another around the inside, by as much as around the widest tip.
fn turns(to: Vec2, from: Vec2) -> bool {
    to.cross(from) > 0.0 && to.dot(from) < -LEAST_COSINE * (to.hypot2() * from.hypot2()).sqrt()
}

/// Whether the line turns by as much from before an edge to behind it, though at neither end alone.
fn is_blunt(points: &[Point], at: usize) -> bool {
    let count = points.len();
    if (points[at] - points[(at + 1) % count]).hypot2() > FLAT_PX * FLAT_PX {
        return false;
    }
    let place = |ahead: usize| points[(at + count + 1 + ahead - STEPS) % count];
    let middle = place(STEPS - 1).midpoint(place(STEPS));
    let (to, from) = (middle - place(0), place(2 * STEPS - 1) - middle);
    turns(to, from)
}

/// Where a tip is looked at from, and the points of the ring before and after that.
#[derive(Clone, Copy)]
struct Start {
    tip: Point,
    left: usize,
    right: usize,
}

impl Start {
    /// At a point; where the point beside it stands out as much, the tip is cut off straight, and half way between them.
    fn of(points: &[Point], at: usize) -> Start {
        let count = points.len();
        let (left, right) = ((at + count - 1) % count, (at + 1) % count);
        let own = sharpness(points, at).unwrap_or(0.0);
        let beside = |place: usize| {
            let as_much = sharpness(points, place).is_some_and(|sharp| sharp >= own - ALIKE_PX);
            as_much && (points[place] - points[at]).hypot() < FLAT_PX
        };
        if beside(right) {
            Start::between(points, at, right)
        } else if beside(left) {
            Start::between(points, left, at)
        } else {
            Start { tip: points[at], left, right }
        }
    }

    fn between(points: &[Point], left: usize, right: usize) -> Start {
        Start { tip: points[left].midpoint(points[right]), left, right }
    }
}

/// The line from a tip on, by so many places at a time.
fn side(points: &[Point], tip: Point, first: usize, stride: usize) -> Side {
    let count = points.len();
    let mut side = Side { steps: 0, near: tip, far: tip, root: tip };
    let (mut from, mut next, mut passed) = (tip, first, 0.0);
    for steps in 0..count {
        let length = (points[next] - from).hypot();
        let between = |reach: f64| from.lerp(points[next], (reach - passed) / length);
        if passed < SIDE_PX.0 {
            side.steps = steps;
            side.near = between(SIDE_PX.0);
        }
        if passed < SIDE_PX.1 {
            side.far = between(SIDE_PX.1);
        }
        if passed + length >= ROOT_PX {
            side.root = between(ROOT_PX);
            break;
        }
        passed += length;
        from = points[next];
        next = (next + stride) % count;
    }
    side
}

/// A ring with its tips at their new places.
fn replaced(points: &[Point], tips: &[Tip]) -> Ring {
    let count = points.len();
    let mut goes = vec![false; count];
    for tip in tips {
        (0..tip.count).for_each(|step| goes[(tip.first + step) % count] = true);
    }
    let comes: BTreeMap<usize, [Point; 3]> = tips.iter().map(|tip| (tip.first, tip.points)).collect();
    let mut after = Vec::with_capacity(count + 2 * tips.len());
    for (place, point) in points.iter().enumerate() {
        if !goes[place] {
            after.push(*point);
        } else if let Some(points) = comes.get(&place) {
            after.extend(points);
        }
    }
    Ring::new(after)
}

/// The cell between four pixel centres that a place lies in, by its lower right pixel.
fn cell_of(place: Point) -> (i64, i64) {
    ((place.x + 0.5).floor() as i64, (place.y + 0.5).floor() as i64)
}

/// All cells in the box around some places.
fn cells_around(places: &[Point]) -> Vec<(i64, i64)> {
    let cells: Vec<(i64, i64)> = places.iter().copied().map(cell_of).collect();
    let range =
        |of: fn(&(i64, i64)) -> i64| cells.iter().map(of).min().unwrap_or(0)..=cells.iter().map(of).max().unwrap_or(-1);
    range(|cell| cell.1).flat_map(|y| range(|cell| cell.0).map(move |x| (x, y))).collect()
}

/// The cells on an edge of the traced line, of a long one those at its beginning: edges lie in one cell, or on one row or
/// column.
fn cells_along((from, to): (Point, Point)) -> impl Iterator<Item = (i64, i64)> {
    let count = (2.0 * (to - from).hypot()).ceil().max(1.0);
    (0..LOOKED_AT.min(count as usize)).map(move |step| cell_of(from.lerp(to, (step as f64 + 0.5) / count)))
}
