//! Narrow places, found on the medial axis: the centres of the largest discs that fit, where the border is touched on
//! opposite sides (Blum 1967, "A transformation for extracting new descriptors of shape").

use std::ops::Range;

use rayon::prelude::*;

use super::edges::AROUND;
use super::field::Field;
use super::near::{Placed, Squares, grouped};
use super::trace::nodes_inside;
use crate::cancel::Cancel;
use crate::fault::Fault;
use crate::geom::{Point, Ring, Vec2};

/// Cosine of the angle between the two feet of a medial disc, seen from its centre, from which it measures a width: over
/// 120 degrees. Corners blunter than 60 degrees are no necks. Found with prototypes, no source.
const OPPOSITE_COSINE: f64 = -0.5;

/// Medial points within so many cells of each other hang together.
const LINK_CELLS: f64 = 2.5;

/// A medial point is the tip of its branch when its neighbours' mean lies so many cells to one side: 0 in mid-branch, 1.25
/// at an end.
const TIP_CELLS: f64 = 0.7;

/// Cosine of the angle that at least one disc of a group must reach: 135 degrees. At a corner of 60 degrees the feet of all
/// discs are 120 degrees apart and nothing is narrow; a strip, a neck and a dot reach 180. So corners of 45 to 60 degrees
/// are not taken for necks for all that edges are uneven. Measured, no source.
const NECK_COSINE: f64 = -0.707;

/// Feet on both sides are equally far, to this share of a cell.
const UNEVEN_CELLS: f64 = 0.5;

/// Share of the distance from the edge under which two feet are too near to each other to be opposite: half of what a
/// neck needs.
const NEAR_SHARE: f64 = 0.85;

/// A disc that touches the edge on opposite sides.
#[derive(Clone, Copy, Debug)]
pub(super) struct Disc {
    /// Its centre.
    pub(super) centre: Point,
    /// Its radius.
    pub(super) radius: f64,
    /// From one foot to the other, of length one.
    pub(super) across: Vec2,
    /// Cosine of the angle between its feet.
    cosine: f64,
}

impl Placed for Disc {
    fn place(&self) -> Point {
        self.centre
    }
}

/// Discs of the medial axis with radii from `least` to `most`, in groups that hang together. Smaller ones do not survive
/// the shrinking; right at the edge they are the grid's own noise.
pub(super) fn groups(field: &Field<'_>, least: f64, most: f64, cancel: &Cancel) -> Result<Vec<Vec<Disc>>, Fault> {
    let grid = field.grid();
    let last = grid.rows() - 1;
    let in_strip = |rows: Range<usize>| {
        cancel.check()?;
        let mut discs = discs(field, rows.start..rows.end.min(last), (least, most));
        discs.retain(|disc| disc.radius > least && disc.radius < most);
        Ok(discs)
    };
    let discs: Vec<Vec<Disc>> = grid.strips().into_par_iter().map(in_strip).collect::<Result<_, Fault>>()?;
    let mut groups = grouped(&discs.concat(), grid.cell() * LINK_CELLS);
    groups.retain(|group| group.iter().any(|disc| disc.cosine < NECK_COSINE));
    Ok(groups)
}

/// Discs between the nodes of some rows, and to the row after them, with radii of about `least` to `most`.
fn discs(field: &Field<'_>, rows: Range<usize>, (least, most): (f64, f64)) -> Vec<Disc> {
    let grid = field.grid();
    let columns = grid.columns();
    let slack = 1.5 * grid.cell();
    let mut discs = Vec::new();
    let mut feet = [vec![None; columns], vec![None; columns]];
    find_feet(field, rows.start, &mut feet[0]);
    for row in rows {
        let [above, below] = &mut feet;
        find_feet(field, row + 1, below);
        for column in 1..columns - 1 {
            let Some(own) = above[column] else { continue };
            if own.depth > least - slack && own.depth < most + slack {
                // Diagonal neighbours too: around the centre of a circle only they have feet on opposite sides.
                let next = [above[column + 1], below[column - 1], below[column], below[column + 1]];
                discs.extend(next.into_iter().flatten().filter_map(|next| disc(field, &own, &next)));
            }
        }
        feet.swap(0, 1);
    }
    discs
}

/// A node inside, and the place of the edge that is nearest to it.
#[derive(Clone, Copy)]
struct Foot {
    node: Point,
    depth: f64,
    edge: u32,
    foot: Point,
}

/// The feet of a row of nodes.
fn find_feet(field: &Field<'_>, row: usize, feet: &mut [Option<Foot>]) {
    let columns = field.grid().columns();
    for (column, found) in feet.iter_mut().enumerate() {
        let node = row * columns + column;
        let depth = -f64::from(field.signed(node));
        *found = field.nearest_edge(node).filter(|_| depth > 0.0).map(|edge| {
            let node = field.grid().place(column, row);
            Foot { node, depth, edge, foot: field.edges().foot(edge, node) }
        });
    }
}

/// The medial disc whose centre lies between two neighbouring nodes.
fn disc(field: &Field<'_>, own: &Foot, next: &Foot) -> Option<Disc> {
    let (one, other) = (own.edge, next.edge);
    if one == other {
        return None;
    }
    let (from, to, foot, other_foot) = (own.node, next.node, own.foot, next.foot);
    let apart = other_foot - foot;
    // Seen from the centre the feet have to be 1.7 radii apart. Feet that are so near to each other seen from nodes beside
    // it are not, and most pairs of nodes end here.
    if apart.hypot() < own.depth * NEAR_SHARE - field.grid().cell() {
        return None;
    }
    // Where on from..to both feet are equally far.
    let middle = foot.midpoint(other_foot);
    let slope = (to - from).dot(apart);
    let along = if slope.abs() > 1e-12 { ((middle - from).dot(apart) / slope).clamp(0.0, 1.0) } else { 0.5 };
    let centre = from.lerp(to, along);
    // Seen from the centre the feet are elsewhere than seen from the nodes: close to the edge far from opposite.
    let (one, other) = (field.edges().nearest_from(one, centre), field.edges().nearest_from(other, centre));
    let radius = one.distance.min(other.distance);
    let uneven = UNEVEN_CELLS * field.grid().cell();
    let (mut a, mut b) = (one.foot - centre, other.foot - centre);
    // In a round dot every way leads to the one nearest place.
    let has_slid = a.dot(b) > 0.0 && foot.distance(centre).max(other_foot.distance(centre)) < radius + uneven;
    if has_slid {
        (a, b) = (foot - centre, other_foot - centre);
    }
    let reach = a.hypot() * b.hypot();
    let even = (one.distance - other.distance).abs() < uneven;
    let opposite = reach > 0.0 && even && a.dot(b) < OPPOSITE_COSINE * reach;
    let across = (b - a) / (b - a).hypot();
    opposite.then(|| Disc { centre, radius, across, cosine: a.dot(b) / reach })
}

/// The centre of the largest disc that fits into an outer ring, and its radius, to a hundredth of a cell; `None` of a ring too
/// small to hold a node, or one that reaches deeper than was measured.
pub(super) fn deepest(field: &Field<'_>, ring: &Ring) -> Option<(Point, f64)> {
    let grid = field.grid();
    let depth = |node: &usize| -field.signed(*node);
    let node = nodes_inside(&grid, ring).max_by(|a, b| depth(a).total_cmp(&depth(b)))?;
    field.nearest_edge(node)?;
    let (mut centre, mut step) = (grid.point(node), grid.cell() / 2.0);
    let mut radius = field.nearest_to(centre)?.distance;
    // Depth has one peak within a cell of its largest node, and falls off no faster than one goes: uphill, in ever smaller
    // steps.
    while step > grid.cell() / 200.0 {
        let around = AROUND.map(|(right, down)| centre + Vec2::new(right as f64, down as f64) * step);
        let higher = around.into_iter().filter_map(|point| Some((point, field.nearest_to(point)?.distance)));
        match higher.max_by(|a, b| a.1.total_cmp(&b.1)).filter(|best| best.1 > radius) {
            Some(best) => (centre, radius) = best,
            None => step /= 2.0,
        }
    }
    Some((centre, radius))
}

/// Some of the discs, so that each other one has one of them within `apart`.
pub(super) fn spread(discs: &[Disc], apart: f64) -> Vec<Disc> {
    let squares = Squares::of(discs, apart);
    let mut is_covered = vec![false; discs.len()];
    let mut kept = Vec::new();
    for (index, disc) in discs.iter().enumerate() {
        if !is_covered[index] {
            kept.push(*disc);
            squares.near(discs, disc.centre).for_each(|near| is_covered[near] = true);
        }
    }
    kept
}

/// A group's discs without those so near to a tip that a disc of `radius` there would reach past the shape's own end. Of a
/// group that is all tip the disc that best covers it stays.
pub(super) fn without_tips(group: &[Disc], radius: f64, link: f64) -> Vec<Disc> {
    let squares = Squares::of(group, link);
    let tips: Vec<Disc> =
        group.iter().filter(|disc| disc.radius < radius && is_tip(group, &squares, disc)).copied().collect();
    let room = |disc: &Disc| {
        let past = |tip: &Disc| disc.centre.distance(tip.centre) + tip.radius - radius;
        tips.iter().map(past).fold(f64::INFINITY, f64::min)
    };
    let kept: Vec<Disc> = group.iter().filter(|disc| room(disc) >= 0.0).copied().collect();
    if kept.is_empty() {
        return group.iter().max_by(|a, b| room(a).total_cmp(&room(b))).copied().into_iter().collect();
    }
    kept
}

fn is_tip(group: &[Disc], squares: &Squares, disc: &Disc) -> bool {
    let (mut sum, mut count) = (Vec2::ZERO, 0.0);
    for other in squares.near(group, disc.centre) {
        sum += group[other].centre - disc.centre;
        count += 1.0;
    }
    count < 2.0 || sum.hypot() / count > TIP_CELLS * squares.side / LINK_CELLS
}
