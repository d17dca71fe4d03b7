//! Outside corners sharper than the cutting radius, rounded outward: a disc of that radius is rolled along inside, and where
//! a corner pokes out of what the disc reaches, the disc is pushed on until it touches the corner's tip. So nothing of the
//! shape is cut away, and the line leaves it no farther than a disc must.

use std::collections::BTreeMap;

use super::edges::{Edges, Nearest};
use super::field::{FAR, Field};
use super::grid::Grid;
use super::near::Squares;
use super::strip::Reach;
use super::trace::zero_rings;
use crate::cancel::Cancel;
use crate::fault::Fault;
use crate::geom::{Point, Rect, Ring, Vec2, squared_distance};

/// How far a corner may poke out of its disc: a share of the 0.05 mm by which a border may be less than asked; the rest is
/// the curve fit's.
const POKE_MM: f64 = 0.008;

/// A push longer than this must run inside the shape all the way, or it could lead across a gap to another body, mm.
const BLIND_PUSH_MM: f64 = 2.0;

/// Farthest push of a disc along a straight line; a corner farther out is a curved hair and gets a disc of its own around
/// the art. A corner of 45 degrees pokes out by 1.8 mm at the default radius, a tip with hollow flanks by more.
const PUSH_MM: f64 = 4.0;

/// Steps of the search for how far a disc fits, each halving what is left of two cells, and how often it turns.
const FITTING_STEPS: usize = 6;
const FITTING_TURNS: usize = 3;

/// Side of the squares into which the edges of the cores are sorted, mm. Measured, no source.
const SQUARE_MM: f64 = 1.0;

/// Strokes that are told this far beyond their edge are painted one by one, mm; farther the nodes of each would be many.
const PAINTED_MM: f64 = 1.0;

/// An edge this near to a corner's tip that looks back at it is the other side of a gap, mm: what a push moves an arc outward
/// by that is nearly round enough, and the grid's cell.
const GAP_MM: f64 = 0.2;

/// Cosine of the angle between both sides' ways out, from which they look at each other. Common practice, no source.
const FACING_COSINE: f64 = -0.5;

/// What rounding needs to know.
pub(super) struct Corners<'a> {
    /// The shape, measured inside to more than the radius.
    pub(super) shape: &'a Field<'a>,
    /// Its rings.
    pub(super) rings: &'a [Ring],
    /// The art, measured outside.
    pub(super) art: &'a Field<'a>,
    /// Radius of the disc.
    pub(super) radius: f64,
    /// The border makes corners round enough; discs do better for the sake of the curve fit, but close no gap for it.
    pub(super) is_round: bool,
}

impl Corners<'_> {
    /// Where discs are pushed: from a place where they fit to a place where they touch a tip. With them every place of the
    /// shape's edge lies within [`POKE_MM`] of a disc in the shape or of one of these, but for corners round enough beside a gap.
    ///
    /// # Errors
    /// `run.cancelled`.
    pub(super) fn strokes(&self, cancel: &Cancel) -> Result<Vec<(Point, Point)>, Fault> {
        let grid = self.shape.grid();
        let cores = Sorted::of(Edges::of_rings(&zero_rings(&grid, &self.shape.signed_plus(self.radius))), grid);
        let mut sides = None;
        let mut poking = self.poking(&cores, cancel)?;
        poking.sort_by(|a, b| b.0.total_cmp(&a.0));
        let reach = self.radius + POKE_MM;
        let mut ends: BTreeMap<(i64, i64), Vec<(Point, Point)>> = BTreeMap::new();
        let key = |point: Point| ((point.x / reach).floor() as i64, (point.y / reach).floor() as i64);
        let mut strokes = Vec::new();
        for (distance, tip, foot) in poking {
            let Some(foot) = foot else { continue };
            let (x, y) = key(tip);
            let near = (-1..=1).flat_map(|dy| (-1..=1).map(move |dx| (x + dx, y + dy)));
            let mut near = near.filter_map(|key| ends.get(&key)).flatten();
            if near.any(|stroke| squared_distance(tip, *stroke).sqrt() <= reach) {
                continue;
            }
            let stroke = if distance < f64::from(FAR) { self.pushed(foot, tip) } else { Some((foot, foot)) };
            let Some((foot, end)) = stroke else { continue };
            if self.is_round && sides.get_or_insert_with(|| Sides::of(self.shape.edges(), grid)).face(tip, tip - end) {
                continue;
            }
            ends.entry(key(end)).or_default().push((foot, end));
            strokes.push((foot, end));
        }
        Ok(strokes)
    }

    /// Places of the edge that poke out of what a disc reaches: how far they are from where it fits, and from where it is
    /// pushed.
    fn poking(&self, cores: &Sorted, cancel: &Cancel) -> Result<Vec<(f64, Point, Option<Point>)>, Fault> {
        let mut poking = Vec::new();
        for ring in self.rings {
            cancel.check()?;
            let points = ring.points();
            for (index, point) in points.iter().enumerate() {
                let before = points[(index + points.len() - 1) % points.len()];
                if self.is_reached(*point, points[(index + 1) % points.len()] - before) {
                    continue;
                }
                match cores.nearest_to(*point, self.radius + PUSH_MM) {
                    Some(nearest) if nearest.distance <= self.radius + POKE_MM => {}
                    Some(nearest) if self.may_push(*point, nearest.foot, nearest.distance - self.radius) => {
                        poking.push((nearest.distance, *point, Some(nearest.foot)));
                    }
                    _ => poking.push((f64::from(FAR), *point, self.art.nearest_to(*point).map(|nearest| nearest.foot))),
                }
            }
        }
        Ok(poking)
    }

    /// From where a disc fits to where it touches a tip; `None` where it reaches the tip without a push. What the grid tells
    /// of cores is clipped at their corners, by up to half a cell: from there on the disc goes as far as it fits, towards
    /// the tip and along the side that it touches, in turn.
    fn pushed(&self, mut foot: Point, tip: Point) -> Option<(Point, Point)> {
        for _ in 0..FITTING_TURNS {
            foot = self.farthest_fit(foot, tip - foot);
            if let Some(side) = self.shape.nearest_to(foot) {
                let along = Vec2::new(side.foot.y - foot.y, foot.x - side.foot.x);
                foot = self.farthest_fit(foot, along * ((tip - foot).dot(along) / along.hypot2().max(1e-12)));
            }
        }
        let distance = foot.distance(tip);
        (distance > self.radius + POKE_MM).then(|| (foot, tip + (foot - tip) * (self.radius / distance)))
    }

    /// How far a disc may be moved some way, at most two cells.
    fn farthest_fit(&self, from: Point, way: Vec2) -> Point {
        let fits = |place: Point| {
            self.shape.nearest_to(place).is_none_or(|nearest| nearest.distance >= self.radius - POKE_MM / 4.0)
        };
        let (mut low, mut high) = (0.0, (2.0 * self.shape.grid().cell() / way.hypot().max(1e-12)).min(1.0));
        if fits(from + way * high) {
            return from + way * high;
        }
        for _ in 0..FITTING_STEPS {
            let middle = (low + high) / 2.0;
            (low, high) = if fits(from + way * middle) { (middle, high) } else { (low, middle) };
        }
        from + way * low
    }

    /// Whether a disc that touches the edge from inside at a place fits: straight inward from it is a place deep enough.
    fn is_reached(&self, point: Point, along: Vec2) -> bool {
        // The shape lies to the right of its rings.
        let inward = Vec2::new(-along.y, along.x) / along.hypot().max(1e-12);
        -self.shape.signed_at(point + inward * self.radius) >= self.radius - POKE_MM / 2.0
    }

    /// Whether a disc may be pushed so far in a straight line.
    fn may_push(&self, tip: Point, foot: Point, push: f64) -> bool {
        let grid = self.shape.grid();
        let steps = (tip.distance(foot) / grid.cell()) as usize;
        let is_inside = |point: Point| grid.around(point).iter().any(|node| self.shape.signed(*node) < 0.0);
        push <= BLIND_PUSH_MM
            || push <= PUSH_MM && (1..steps).all(|step| is_inside(tip.lerp(foot, step as f64 / steps as f64)))
    }
}

/// A shape's edges, to be asked which of them look at a place.
struct Sides<'a> {
    edges: &'a Edges,
    middles: Vec<Point>,
    squares: Squares,
}

impl<'a> Sides<'a> {
    fn of(edges: &'a Edges, grid: Grid) -> Sides<'a> {
        let middles: Vec<Point> = edges.ends().iter().map(|(from, to)| from.midpoint(*to)).collect();
        // Edges of level lines are no longer than a cell and a half, but beside their inside corners.
        let longest = edges.ends().iter().map(|(from, to)| from.distance(*to)).fold(1.5 * grid.cell(), f64::max);
        let squares = Squares::of(&middles, GAP_MM + longest / 2.0);
        Sides { edges, middles, squares }
    }

    /// Whether some edge near a place of an edge looks at it, whose way out is given.
    fn face(&self, place: Point, out: Vec2) -> bool {
        self.squares.near(&self.middles, place).any(|edge| {
            let (from, to) = self.edges.ends()[edge];
            // The shape lies to the right of its rings.
            let outward = Vec2::new(to.y - from.y, from.x - to.x);
            self.edges.distance2(edge as u32, place) <= GAP_MM * GAP_MM
                && outward.dot(out) < FACING_COSINE * outward.hypot() * out.hypot()
        })
    }
}

/// Edges sorted into squares, to be asked for the nearest one.
struct Sorted {
    edges: Edges,
    grid: Grid,
    columns: usize,
    rows: usize,
    squares: Vec<Vec<u32>>,
}

impl Sorted {
    fn of(edges: Edges, grid: Grid) -> Sorted {
        let squares = |nodes: usize| (nodes as f64 * grid.cell() / SQUARE_MM) as usize + 1;
        let (columns, rows) = (squares(grid.columns()), squares(grid.rows()));
        let mut sorted =
            Sorted { edges: Edges::default(), grid, columns, rows, squares: vec![Vec::new(); columns * rows] };
        for (index, (from, to)) in edges.ends().iter().enumerate() {
            // Edges of level lines are no longer than a cell and a half.
            let (column, row) = sorted.square(from.midpoint(*to));
            sorted.squares[row * columns + column].push(index as u32);
        }
        sorted.edges = edges;
        sorted
    }

    fn square(&self, point: Point) -> (usize, usize) {
        let (x, y) = self.grid.in_cells(point);
        let at = |cells: f64, count: usize| ((cells * self.grid.cell() / SQUARE_MM).max(0.0) as usize).min(count - 1);
        (at(x, self.columns), at(y, self.rows))
    }

    /// The nearest edge within a distance.
    fn nearest_to(&self, point: Point, most: f64) -> Option<Nearest> {
        let (column, row) = self.square(point);
        let mut best: Option<(u32, f64)> = None;
        for ring in 0..self.columns.max(self.rows) {
            let free = (ring as f64 - 1.0) * SQUARE_MM - 2.0 * self.grid.cell();
            if free > most || best.is_some_and(|(_, distance2)| free > 0.0 && free * free > distance2) {
                break;
            }
            for row_at in row.saturating_sub(ring)..=(row + ring).min(self.rows - 1) {
                let is_end = row_at.abs_diff(row) == ring;
                let step = if is_end || ring == 0 { 1 } else { 2 * ring };
                let columns = (0..=2 * ring).step_by(step).filter_map(|offset| (column + offset).checked_sub(ring));
                for column_at in columns.filter(|column| *column < self.columns) {
                    for edge in &self.squares[row_at * self.columns + column_at] {
                        let distance2 = self.edges.distance2(*edge, point);
                        if best.is_none_or(|(_, least)| distance2 < least) {
                            best = Some((*edge, distance2));
                        }
                    }
                }
            }
        }
        let (edge, distance2) = best.filter(|(_, distance2)| *distance2 <= most * most)?;
        Some(Nearest { edge, foot: self.edges.foot(edge, point), distance: distance2.sqrt() })
    }
}

/// Round-ended strokes of a radius: tells nodes' values, negative inside, exact to `outward` outside; a node may be told
/// several, of which the least is true.
///
/// # Errors
/// `run.cancelled`.
pub(super) fn stamp(
    grid: &Grid,
    strokes: &[(Point, Point)],
    (radius, outward): (f64, f64),
    cancel: &Cancel,
    mut tell: impl FnMut(usize, f32),
) -> Result<(), Fault> {
    if strokes.is_empty() {
        return Ok(());
    }
    let edges = Edges::of_strokes(strokes);
    let most = radius + outward + 2.0 * grid.cell();
    if outward > PAINTED_MM {
        let reach = Reach { inward: 0.0, outward: most };
        let field = Field::measure(*grid, &edges, Vec::new(), reach, cancel)?;
        field.signed_plus(-radius).into_iter().enumerate().for_each(|(node, value)| tell(node, value));
        return Ok(());
    }
    for (index, (from, to)) in strokes.iter().enumerate() {
        cancel.check_every(256, index)?;
        let (columns, rows) = grid.nodes_within(Rect::from_points(*from, *to).inflate(most, most));
        for row in rows {
            for column in columns.clone() {
                let distance = edges.distance2(index as u32, grid.place(column, row)).sqrt();
                if distance <= most {
                    tell(row * grid.columns() + column, (distance - radius) as f32);
                }
            }
        }
    }
    Ok(())
}
