//! What of the art moves the line: specks left out, holes that cannot stay open dropped, floating parts told apart and
//! bridged.

use std::cmp::Ordering;
use std::collections::{BTreeMap, BTreeSet};
use std::ops::Range;

use rayon::prelude::*;

use super::Bridge;
use super::edges::{Edges, Nearest};
use super::field::Field;
use super::near::{Placed, grouped};
use super::straight::straightened;
use super::trace::fill_holes;
use crate::cancel::Cancel;
use crate::fault::Fault;
use crate::geom::{Point, Rect, Region, Ring, Vec2};

/// Two parts whose bordered edges come nearer than this touch for sure on the grid: a sixth of a cell, so that no thin
/// gap is left to chance. What is farther apart is bridged.
const TOUCHING_MM: f64 = 0.02;

/// Places where two parts are no farther from each other than this over the least, mm, have a say in where their bridge stands.
/// The very closest place jumps along round or parallel edges by millimetres for a hundredth in their distance.
const NEARLY_CLOSEST_MM: f64 = 0.2;

/// Such places hang together within so many cells; the bridge stands amid those around the closest one.
const LINK_CELLS: f64 = 2.0;

/// A bridge ends off the art by this share of the border at most, which covers its end all the same: between two tips that
/// are equally close, the art's own nearest place lies on either.
const OFF_ART: f64 = 0.25;

/// Steps of the search for the closest points of two parts; each step halves the error or better on smooth edges.
const CLOSEST_STEPS: usize = 24;

/// Art without specks.
pub(super) struct Art {
    /// Outer rings that stand free, each a part of its own, then holes.
    pub(super) rings: Vec<Ring>,
    /// How many of `rings` are outer rings.
    pub(super) parts: usize,
    /// The boxes of specks left out.
    pub(super) specks: Vec<Rect>,
}

impl Art {
    /// Sorts the rings of an edge. `hole_floor_mm`: the narrowest hole that could stay open; `None`: all are filled.
    ///
    /// # Errors
    /// `order.not_finite`; `art.blank` when nothing but specks is left.
    pub(super) fn sort_out(edge: &Region, speck_mm: f64, hole_floor_mm: Option<f64>) -> Result<Art, Fault> {
        if edge.rings.iter().flat_map(Ring::points).any(|point| !point.is_finite()) {
            return Err(Fault::NotFinite);
        }
        let drawn = edge.rings.iter().filter(|ring| ring.points().len() > 2);
        let (outer, holes): (Vec<&Ring>, Vec<&Ring>) = drawn.partition(|ring| ring.signed_area() >= 0.0);
        let across = |ring: &Ring| ring.bounds().width().max(ring.bounds().height());
        let narrow = |ring: &Ring| ring.bounds().width().min(ring.bounds().height());
        let (large, specks): (Vec<&Ring>, Vec<&Ring>) = outer.into_iter().partition(|ring| across(ring) >= speck_mm);
        let specks = specks.into_iter().map(Ring::bounds).collect();
        let mut rings: Vec<Ring> = large.into_par_iter().map(straightened).collect();
        let open = |ring: &&Ring| hole_floor_mm.is_some_and(|floor| narrow(ring) > floor);
        rings.extend(holes.into_iter().filter(open).map(straightened));
        let mut rings = fill_holes(rings, |_| true).rings;
        rings.sort_by_key(|ring| ring.signed_area() < 0.0);
        let parts = rings.iter().filter(|ring| ring.signed_area() >= 0.0).count();
        if parts == 0 { Err(Fault::ArtBlank) } else { Ok(Art { rings, parts, specks }) }
    }

    /// Its edges, each owned by the number of its part.
    pub(super) fn edges(&self) -> Edges {
        let mut edges = Edges::default();
        for (number, ring) in self.rings.iter().enumerate() {
            let owner = if number < self.parts { number } else { self.part_around(ring) };
            edges.push_ring(ring, owner as u32);
        }
        edges
    }

    /// The smallest part around a hole.
    fn part_around(&self, hole: &Ring) -> usize {
        let point = hole.points()[0];
        let around = (0..self.parts).filter(|part| {
            let ring = &self.rings[*part];
            ring.bounds().contains(point) && ring.contains(point)
        });
        around.min_by(|a, b| self.rings[*a].area_mm2().total_cmp(&self.rings[*b].area_mm2())).unwrap_or(0)
    }
}

/// The closest places of two parts.
#[derive(Clone, Copy, Debug)]
struct Gap {
    width: f64,
    from: Point,
    to: Point,
}

/// What has to be joined in a field.
pub(super) struct Apart {
    /// The gaps that need a bridge.
    gaps: BTreeMap<Pair, Gap>,
    /// The widest gap that joined two parts, when all that need it hang together; `None` when some do not.
    pub(super) widest: Option<f64>,
}

/// The gaps of a minimum spanning tree (Kruskal 1956) over the parts: those that the border joins already are joined for
/// nothing, those in filled holes need nothing, the others are bridged where the gap from art to art is in reach.
pub(super) fn apart(field: &Field<'_>, art: &Art, swallowed: &[Ring], border: f64, reach: f64) -> Apart {
    let mut gaps: Vec<(Pair, Gap)> = gaps(field, reach).into_iter().collect();
    gaps.sort_by(|a, b| a.1.width.total_cmp(&b.1.width).then(a.0.cmp(&b.0)));
    let boxes: Vec<_> = swallowed.iter().map(|ring| (ring.bounds(), ring)).collect();
    let in_hole: Vec<bool> = (0..art.parts)
        .map(|part| {
            let point = art.rings[part].points()[0];
            boxes.iter().any(|(bounds, ring)| bounds.contains(point) && ring.contains(point))
        })
        .collect();
    let mut joined: Vec<usize> = (0..art.parts).collect();
    let (mut bridged, mut widest) = (BTreeMap::new(), 0.0_f64);
    for ((one, other), gap) in gaps {
        let (first, second) = (root(&mut joined, one as usize), root(&mut joined, other as usize));
        if first == second || gap.width > reach || in_hole[one as usize] || in_hole[other as usize] {
            continue;
        }
        joined[first.max(second)] = first.min(second);
        widest = widest.max(gap.width);
        if gap.width > 2.0 * border - TOUCHING_MM {
            bridged.insert((one, other), gap);
        }
    }
    let roots = (0..art.parts).filter(|part| !in_hole[*part]).map(|part| root(&mut joined, part));
    let are_one = roots.collect::<BTreeSet<_>>().len() <= 1;
    Apart { gaps: bridged, widest: are_one.then_some(widest) }
}

fn root(joined: &mut [usize], part: usize) -> usize {
    let mut at = part;
    while joined[at] != at {
        joined[at] = joined[joined[at]];
        at = joined[at];
    }
    at
}

/// Two parts by their numbers, the lower first.
type Pair = (u32, u32);

/// Where two parts' zones meet: how far it is from art to art there, the node, and the edges of both.
type Meeting = (f64, usize, u32, u32);

/// A bridge as it is built.
#[derive(Clone, Copy)]
pub(super) struct Bridging {
    pub(super) bridge: Bridge,
    /// How far apart its parts are there: more than its own length, where its ends lie off the art.
    pub(super) gap: f64,
}

/// Bridges over gaps, each amid the places where its parts are nearly as close as at the closest one. How far their ends may lie
/// off the art hangs on the border.
///
/// # Errors
/// `run.cancelled`.
pub(super) fn bridges(
    field: &Field<'_>,
    Apart { gaps, .. }: &Apart,
    (art, border): (&Art, f64),
    cancel: &Cancel,
) -> Result<Vec<Bridging>, Fault> {
    if gaps.is_empty() {
        return Ok(Vec::new());
    }
    let grid = field.grid();
    let slack = NEARLY_CLOSEST_MM + 2.0 * grid.cell();
    let of_strip = |nodes: Range<usize>| {
        cancel.check()?;
        let mut close: BTreeMap<Pair, Vec<Close>> = BTreeMap::new();
        each_meeting(field, nodes, |pair, (width, node, one, other)| {
            if let Some(gap) = gaps.get(&pair).filter(|gap| width <= gap.width + slack) {
                close.entry(pair).or_default().extend(Close::at(field.edges(), grid.point(node), (one, other), gap));
            }
        });
        Ok(close)
    };
    let strips: Vec<BTreeMap<Pair, Vec<Close>>> =
        node_strips(field).into_par_iter().map(of_strip).collect::<Result<_, Fault>>()?;
    let mut close: BTreeMap<Pair, Vec<Close>> = BTreeMap::new();
    for (pair, found) in strips.into_iter().flatten() {
        close.entry(pair).or_default().extend(found);
    }
    let bridge = |(pair, gap): (&Pair, &Gap)| {
        cancel.check()?;
        let lengths = (LINK_CELLS * grid.cell(), OFF_ART * border);
        let amid = close.get(pair).and_then(|close| amid(field.edges(), art, (close, gap), lengths));
        Ok(amid.unwrap_or(Bridging { bridge: Bridge { from: gap.from, to: gap.to }, gap: gap.width }))
    };
    gaps.par_iter().map(bridge).collect()
}

/// A place between two parts where they are nearly as close as anywhere.
#[derive(Clone, Copy)]
struct Close {
    at: Point,
    /// The nearest places of both.
    feet: [Nearest; 2],
    /// How much closer they are than those that have no say any more, mm.
    weight: f64,
}

impl Close {
    fn at(edges: &Edges, at: Point, (one, other): (u32, u32), gap: &Gap) -> Option<Close> {
        let feet = [one, other].map(|edge| edges.nearest_from(edge, at));
        let weight = gap.width + NEARLY_CLOSEST_MM - (feet[0].distance + feet[1].distance);
        (weight > 0.0).then_some(Close { at, feet, weight })
    }
}

impl Placed for Close {
    fn place(&self) -> Point {
        self.at
    }
}

/// A bridge amid the close places that hang together, within a length, with the closest one; its ends lie off the art by another
/// length at most. `None` where nothing is close amid them, as where they lie all around a part.
fn amid(edges: &Edges, art: &Art, (close, gap): (&[Close], &Gap), (link, off_art): (f64, f64)) -> Option<Bridging> {
    let middle = gap.from.midpoint(gap.to);
    let off_middle = |place: &Close| place.at.distance_squared(middle);
    let groups = grouped(close, link).into_iter();
    let groups = groups.map(|group| (group.iter().map(off_middle).fold(f64::INFINITY, f64::min), group));
    let (_, group) = groups.min_by(|a, b| a.0.total_cmp(&b.0))?;
    let total: f64 = group.iter().map(|place| place.weight).sum();
    // What is nearest to the mean of feet is steady, what is nearest to a place amid the gap is not. Between two tips the mean
    // itself is steadier still.
    let end = |side: usize| {
        let sum: Vec2 = group.iter().map(|place| place.feet[side].foot.to_vec2() * place.weight).sum();
        let mean = (sum / total).to_point();
        let off_mean = |place: &&Close| place.feet[side].foot.distance_squared(mean);
        let nearest = group.iter().min_by(|a, b| off_mean(a).total_cmp(&off_mean(b)))?;
        let nearest = edges.nearest_from(nearest.feet[side].edge, mean);
        let is_within = || art.rings[edges.owner(nearest.edge) as usize].contains(mean);
        let off_art = if off_art > 0.0 && !is_within() { off_art } else { 0.0 };
        let share = if nearest.distance > off_art { off_art / nearest.distance } else { 1.0 };
        Some((nearest.foot, nearest.foot.lerp(mean, share)))
    };
    let ((one, from), (other, to)) = (end(0)?, end(1)?);
    let bridging = Bridging { bridge: Bridge { from, to }, gap: one.distance(other) };
    (bridging.gap <= gap.width + NEARLY_CLOSEST_MM).then_some(bridging)
}

/// The nodes of strips of the grid, without the last row, which has none below.
fn node_strips(field: &Field<'_>) -> Vec<Range<usize>> {
    let grid = field.grid();
    let (columns, last) = (grid.columns(), grid.rows() - 1);
    grid.strips().into_iter().map(|rows| rows.start * columns..rows.end.min(last) * columns).collect()
}

/// The closest places of all parts that are neighbours in the field. The shortest gap between two groups of parts has no
/// third part in between, so its middle lies where their distance zones meet: neighbours are enough for the tree.
fn gaps(field: &Field<'_>, reach: f64) -> BTreeMap<Pair, Gap> {
    let (grid, edges) = (field.grid(), field.edges());
    let of_strip = |nodes: Range<usize>| {
        let (mut nearest, most) = (BTreeMap::new(), reach + 2.0 * grid.cell());
        each_meeting(field, nodes, |pair, meeting| {
            if meeting.0 <= most {
                keep_nearer(&mut nearest, pair, meeting);
            }
        });
        nearest
    };
    let strips: Vec<BTreeMap<Pair, Meeting>> = node_strips(field).into_par_iter().map(of_strip).collect();
    let mut nearest = BTreeMap::new();
    for (pair, found) in strips.into_iter().flatten() {
        keep_nearer(&mut nearest, pair, found);
    }
    nearest.into_iter().map(|(pair, (_, node, a, b))| (pair, closest(edges, grid.point(node), a, b))).collect()
}

/// Calls with all meetings of parts between some nodes and those beside and below them.
fn each_meeting(field: &Field<'_>, nodes: Range<usize>, mut call: impl FnMut(Pair, Meeting)) {
    let (grid, edges) = (field.grid(), field.edges());
    for node in nodes {
        let Some(edge) = field.nearest_edge(node) else { continue };
        for next in [node + 1, node + grid.columns()] {
            // Most neighbours have one nearest edge.
            let Some(other) = field.nearest_edge(next).filter(|other| *other != edge) else { continue };
            let (a, b) = (edges.owner(edge), edges.owner(other));
            let width = f64::from(field.signed(node).abs() + field.signed(next).abs());
            match a.cmp(&b) {
                Ordering::Less => call((a, b), (width, node, edge, other)),
                Ordering::Greater => call((b, a), (width, node, other, edge)),
                Ordering::Equal => {}
            }
        }
    }
}

fn keep_nearer(nearest: &mut BTreeMap<Pair, Meeting>, pair: Pair, found: Meeting) {
    let best = nearest.entry(pair).or_insert(found);
    if found.0 < best.0 {
        *best = found;
    }
}

/// Walks to the closest points of two edges' rings, from a place between them.
fn closest(edges: &Edges, between: Point, mut one: u32, mut other: u32) -> Gap {
    let mut from = edges.nearest_from(one, between).foot;
    let mut to = from;
    for _ in 0..CLOSEST_STEPS {
        let there = edges.nearest_from(other, from);
        let here = edges.nearest_from(one, there.foot);
        let still = here.foot.distance(from) < 1e-6;
        (one, other, from, to) = (here.edge, there.edge, here.foot, there.foot);
        if still {
            break;
        }
    }
    Gap { width: from.distance(to), from, to }
}
