//! Outside corners sharper than the cutting radius, rounded outward: a disc of that radius is rolled along inside (an
//! opening), and where the corner pokes out of what the disc reaches, the disc is pushed on until it touches the corner's
//! tip. So nothing of the shape is cut away, and the line leaves it no farther than a disc must.

use std::collections::BTreeMap;

use super::edges::Edges;
use super::field::{FAR, Field, Reach};
use super::grid::Grid;
use super::trace::zero_rings;
use super::winding::inside_flags;
use crate::cancel::Cancel;
use crate::fault::Fault;
use crate::geom::{Point, Ring};

/// How far a corner may poke out of its disc: a share of the 0.05 mm by which a border may be less than asked; the rest is
/// the curve fit's.
const POKE_MM: f64 = 0.008;

/// A push longer than this must run inside the shape all the way, or it could lead across a gap to another body, mm.
const BLIND_PUSH_MM: f64 = 2.0;

/// Farthest push of a disc along a straight line; a corner farther out is a curved hair and gets a disc of its own around
/// the art. A corner of 45 degrees pokes out by 1.8 mm at the default radius, a tip with hollow flanks by more.
const PUSH_MM: f64 = 4.0;

/// What rounding needs to know.
pub(super) struct Corners<'a> {
    /// The shape, measured inside to at least the radius.
    pub(super) shape: &'a Field<'a>,
    /// Its rings.
    pub(super) rings: &'a [Ring],
    /// The art, measured outside.
    pub(super) art: &'a Field<'a>,
    /// Radius of the disc.
    pub(super) radius: f64,
    /// How far outside the shape is measured when holes matter.
    pub(super) outward: f64,
}

impl Corners<'_> {
    /// Values of the rounded shape: negative inside.
    ///
    /// # Errors
    /// `run.cancelled`.
    pub(super) fn rounded(&self, cancel: &Cancel) -> Result<Vec<f32>, Fault> {
        let grid = self.shape.grid();
        let depth = self.shape.signed_plus(self.radius);
        let cores = zero_rings(&grid, &depth);
        let edges = Edges::of_rings(&cores);
        let outward = self.radius + PUSH_MM.max(self.outward) + 2.0 * grid.cell();
        let reach = Reach { inward: 0.0, outward };
        let core = Field::measure(grid, &edges, inside_flags(&grid, &cores), reach, cancel)?;
        let strokes = self.strokes(&core);
        let mut values = core.signed_plus(-self.radius);
        stamp(&grid, &strokes, (self.radius, self.outward), cancel, |node, value| {
            values[node] = values[node].min(value)
        })?;
        Ok(values)
    }

    /// Whether a disc may be pushed so far in a straight line.
    fn may_push(&self, tip: Point, foot: Point, push: f64) -> bool {
        let grid = self.shape.grid();
        let steps = (tip.distance(foot) / grid.cell()) as usize;
        let is_inside = |point: Point| grid.around(point).iter().any(|node| self.shape.signed(*node) < 0.0);
        push <= BLIND_PUSH_MM
            || push <= PUSH_MM && (1..steps).all(|step| is_inside(tip.lerp(foot, step as f64 / steps as f64)))
    }

    /// Where discs are pushed: from a place where they fit to a place where they touch the tip.
    fn strokes(&self, core: &Field<'_>) -> Vec<(Point, Point)> {
        let reach = self.radius + POKE_MM;
        let mut poking: Vec<(f64, Point, Option<Point>)> = Vec::new();
        for point in self.rings.iter().flat_map(Ring::points) {
            match core.nearest_to(*point) {
                Some(nearest) if nearest.distance <= reach => {}
                Some(nearest) if self.may_push(*point, nearest.foot, nearest.distance - self.radius) => {
                    poking.push((nearest.distance, *point, Some(nearest.foot)));
                }
                _ => poking.push((f64::from(FAR), *point, self.art.nearest_to(*point).map(|nearest| nearest.foot))),
            }
        }
        poking.sort_by(|a, b| b.0.total_cmp(&a.0));
        let mut ends: BTreeMap<(i64, i64), Vec<(Point, Point)>> = BTreeMap::new();
        let key = |point: Point| ((point.x / reach).floor() as i64, (point.y / reach).floor() as i64);
        let mut strokes = Vec::new();
        for (distance, tip, foot) in poking {
            let Some(foot) = foot else { continue };
            let (x, y) = key(tip);
            let near = (-1..=1).flat_map(|dy| (-1..=1).map(move |dx| (x + dx, y + dy)));
            let mut near = near.filter_map(|key| ends.get(&key)).flatten();
            if near.any(|(from, to)| distance_from_stroke(tip, *from, *to) <= reach) {
                continue;
            }
            let pushed = distance < f64::from(FAR);
            let end = if pushed { tip + (foot - tip) * (self.radius / distance) } else { foot };
            ends.entry(key(end)).or_default().push((foot, end));
            strokes.push((foot, end));
        }
        strokes
    }
}

fn distance_from_stroke(point: Point, from: Point, to: Point) -> f64 {
    let along = to - from;
    let share = if along.hypot2() > 0.0 { ((point - from).dot(along) / along.hypot2()).clamp(0.0, 1.0) } else { 0.0 };
    (from + along * share).distance(point)
}

/// Round-ended strokes of a radius: tells each node's value, negative inside, exact to `outward` outside.
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
    let reach = Reach { inward: 0.0, outward: radius + outward + 2.0 * grid.cell() };
    let field = Field::measure(*grid, &edges, Vec::new(), reach, cancel)?;
    field.signed_plus(-radius).into_iter().enumerate().for_each(|(node, value)| tell(node, value));
    Ok(())
}
