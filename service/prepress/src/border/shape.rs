//! The steps from art to bordered shape, in order.

use rayon::prelude::*;

use super::corners::{Corners, stamp};
use super::dents;
use super::edges::Edges;
use super::field::Field;
use super::grid::{EVEN_RADIUS_MM, Fineness, Grid};
use super::medial::{Disc, deepest, groups, spread, without_tips};
use super::near::grouped;
use super::notches;
use super::parts::{Art, Bridging, apart, bridges};
use super::strip::Reach;
use super::taper::Tapering;
use super::trace::{Filled, fill_holes, largest_inside, zero_rings};
use super::winding::inside_flags;
use super::{Grown, Growth, Thickening};
use crate::cancel::Cancel;
use crate::fault::Fault;
use crate::geom::{Point, Rect, Region, Ring};
use crate::order::Parts;
use crate::units::Mm;

/// Curves fitted later may turn a little tighter than the region: it is made this much rounder than asked, on the inside
/// and on the outside. Inside, the border grows at the ends of narrow notches by twice as much as the radius and more, so
/// that less is given away there. Measured on clip art, no source.
const INSIDE_RESERVE: f64 = 1.05;
const OUTSIDE_RESERVE: f64 = 1.1;

/// Least inside radius in mm: with less the grid could lose hairlines between growing and shrinking, and no blade turns
/// tighter. A right-angled inside corner moves by 0.04 mm.
const LEAST_RADIUS_MM: f64 = 0.1;

/// Least width of a bridge when no minimum width is asked for, mm. Common practice, no source.
const LEAST_BRIDGE_MM: f64 = 1.0;

/// Parts whose borders come as near as this get a stitch, mm: hardly more than those that touch, which get nothing. The usual
/// inside radius closes five times as much.
const STITCHED_MM: f64 = 0.2;

/// Radius of a stitch, mm: with the inside radius enough for the grid to hold it, but for art of more than a metre.
const STITCH_RADIUS_MM: f64 = 0.1;

/// A place is thin when it lacks more than this of the minimum width: the grid's own noise, mm.
const WIDTH_SLACK_MM: f64 = 0.005;

/// Discs and bridges are made wider than asked by this on each side, mm: a part of what the fit may take.
const WIDTH_RESERVE_MM: f64 = 0.02;

/// The border is made so much wider than asked, mm: what edges with fewer points and the grid take from it; more where
/// corners are rounded. At the end of a narrow notch this counts many times.
const BORDER_RESERVE_MM: f64 = 0.001;
const ROUNDED_RESERVE_MM: f64 = 0.005;

/// Rounds of thickening; what a round adds seldom makes a new narrow place, and never many. Measured, no source.
const THICKENING_ROUNDS: usize = 6;

/// Discs along a narrow place stand about so far apart, mm: between two of them the edge lacks 0.006 mm of its width.
const DISC_STEP_MM: f64 = 0.15;

/// Medial discs are looked at up to so many cells over half the minimum width, that those just under it have neighbours.
const LOOK_OVER_CELLS: f64 = 3.0;

/// Distance from a bridge or a thickening up to which a line moved because of it, mm.
const NEAR_PATCH_MM: f64 = 0.1;

/// Half the width up to which the narrowest place is looked for, at least, mm: `thinnest`.
const LEAST_LOOK_MM: f64 = 1.5;

/// Outward moves that are told, mm (`radius_wins`).
const TOLD_MM: f64 = 0.05;

/// Lengths of one growth, mm.
struct Lengths {
    border: f64,
    inside: f64,
    outside: f64,
    half_width: f64,
    /// Border and inside radius: how far the art is grown before it is shrunk again.
    grown: f64,
    kept_hole: Option<f64>,
    look: f64,
    reach: f64,
}

impl Lengths {
    fn of(growth: &Growth) -> Lengths {
        let cutting = &growth.cutting;
        let border = growth.border.mm().max(0.0);
        let inside = (cutting.inside_radius.mm() * INSIDE_RESERVE).max(LEAST_RADIUS_MM);
        let outside = cutting.outside_radius.mm().max(0.0);
        let reserve = if rounds(outside, border) { ROUNDED_RESERVE_MM } else { BORDER_RESERVE_MM };
        let half_width = (cutting.minimum_width.mm() / 2.0).max(0.0);
        Lengths {
            border,
            inside,
            outside,
            half_width,
            grown: border + reserve + inside,
            kept_hole: growth.keep_holes_wider_than.map(|width| width.mm().max(0.0)),
            look: (2.0 * half_width).max(LEAST_LOOK_MM),
            reach: cutting.bridge_reach_for(growth.border).mm().max(0.0),
        }
    }

    /// How fine a grid is needed.
    fn fineness(&self) -> Fineness {
        if self.rounds_corners() || self.inside < EVEN_RADIUS_MM { Fineness::Full } else { Fineness::Even }
    }

    /// How far outside the grown shape distances are needed to tell how wide its holes are.
    fn hole_depth(&self) -> f64 {
        self.kept_hole.map_or(0.0, |width| (width / 2.0 - self.inside).max(0.0))
    }

    /// How far from the art anything asks for distances.
    fn asked_of_art(&self, joins_parts: bool) -> f64 {
        let between = if joins_parts { self.reach / 2.0 } else { 0.0 };
        // Only bridges narrower than the disc that rounds corners ask so far from the art.
        let rounded = if self.half_width < self.outside { self.outside + self.inside } else { 0.0 };
        (self.grown + self.hole_depth()).max(between).max(rounded)
    }

    fn reach_around_art(&self, grid: &Grid, joins_parts: bool) -> Reach {
        Reach { inward: 0.0, outward: self.asked_of_art(joins_parts) + 2.0 * grid.cell() }
    }

    /// Bridges between parts. Most lie so near that the border joins them; only for others it is measured farther.
    fn bridges(&self, field: &mut Field<'_>, art: &Art, cancel: &Cancel) -> Result<Vec<Bridging>, Fault> {
        let swallowed = self.trace(&field.grid(), &field.signed_plus(-self.grown)).swallowed;
        let mut parts = apart(field, art, &swallowed, self.border, self.reach);
        let reach = [false, true].map(|joins_parts| self.reach_around_art(&field.grid(), joins_parts));
        let all_found = parts.widest.is_some_and(|widest| widest <= 2.0 * self.grown);
        if !all_found && reach[1].outward > reach[0].outward {
            field.widen((reach[0], reach[1]), cancel)?;
            parts = apart(field, art, &swallowed, self.border, self.reach);
        }
        bridges(field, &parts, (art, self.border), cancel)
    }

    /// Traces values and fills the holes that are not to be kept.
    fn trace(&self, grid: &Grid, values: &[f32]) -> Filled {
        fill_holes(zero_rings(grid, values), |hole| {
            let Some(width) = self.kept_hole else { return false };
            let depth = f64::from(largest_inside(grid, values, hole)) + self.inside;
            2.0 * depth > width
        })
    }

    /// Radius of the disc that rounds outside corners of the grown shape.
    fn rounding(&self) -> f64 {
        self.outside * OUTSIDE_RESERVE + self.inside
    }

    /// Rounds outward where the border is too thin to be round by itself.
    fn rounds_corners(&self) -> bool {
        rounds(self.outside, self.border)
    }
}

/// Whether a border is too thin to be as round by itself as a radius asks.
fn rounds(outside: f64, border: f64) -> bool {
    outside * OUTSIDE_RESERVE > border
}

/// One growth under way.
struct Work<'a> {
    lengths: &'a Lengths,
    grid: Grid,
    art: &'a Field<'a>,
    bridges: Vec<Bridging>,
    /// The art hangs together by itself, and no hole stays open.
    is_one: bool,
    fineness: Fineness,
    cancel: &'a Cancel,
}

/// See [`super::grow`].
pub(super) fn grow(edge: &Region, growth: &Growth, cancel: &Cancel) -> Result<Grown, Fault> {
    let lengths = Lengths::of(growth);
    on_grid(edge, growth, (&lengths, lengths.fineness()), cancel, |work, art| work.finish(art))
}

/// See [`super::rough_bounds`].
pub(super) fn rough_bounds(edge: &Region, growth: &Growth, cancel: &Cancel) -> Result<Rect, Fault> {
    on_grid(edge, growth, (&Lengths::of(growth), Fineness::Rough), cancel, |work, _| {
        let shaped = work.shape()?;
        Region::new(shaped.rings).bounds().ok_or(Fault::ArtBlank)
    })
}

/// Lays art out on a grid, measures it, and works on it.
fn on_grid<T>(
    edge: &Region,
    growth: &Growth,
    (lengths, fineness): (&Lengths, Fineness),
    cancel: &Cancel,
    run: impl FnOnce(&Work<'_>, &Art) -> Result<T, Fault>,
) -> Result<T, Fault> {
    let hole_floor = lengths.kept_hole.map(|width| width + 2.0 * lengths.border);
    let art = Art::sort_out(edge, growth.cutting.speck.mm(), hole_floor)?;
    let bounds = art.rings.iter().map(Ring::bounds).reduce(|a, b| a.union(b)).ok_or(Fault::ArtBlank)?;
    let margin = lengths.grown.max(lengths.half_width + lengths.inside) + lengths.outside + lengths.inside;
    let grid = Grid::over(bounds, margin, fineness)?;
    let joins_parts = art.parts > 1 && growth.parts != Parts::SetAside;
    let edges = art.edges();
    let reach = lengths.reach_around_art(&grid, false);
    let mut field = Field::measure(grid, &edges, inside_flags(&grid, &art.rings), reach, cancel)?;
    let bridges = if joins_parts { lengths.bridges(&mut field, &art, cancel)? } else { Vec::new() };
    let is_one = art.parts == 1 && lengths.kept_hole.is_none();
    run(&Work { lengths, grid, art: &field, bridges, is_one, fineness, cancel }, &art)
}

/// A shape with what was done to it.
struct Shaped {
    rings: Vec<Ring>,
    thin: Thin,
    /// Nodes at and near bridges and thickenings; empty: none.
    patched: Vec<bool>,
    /// Rounding moved the line outward by more than is left untold.
    moved: bool,
}

impl Work<'_> {
    fn finish(&self, art: &Art) -> Result<Grown, Fault> {
        let Shaped { rings, thin, patched, moved } = self.shape()?;
        let parts = rings.iter().filter(|ring| ring.signed_area() > 0.0).count();
        if parts == 0 {
            return Err(Fault::ArtBlank);
        }
        let closed = self.lengths.border < self.lengths.inside && self.closing_moved(&rings, &patched);
        let leave = dents::Leave::behind(self.lengths.border);
        let even = |ring| dents::filled(ring, leave, self.lengths.inside, |point| self.off_border(point), self.cancel);
        let rings = rings.into_par_iter().map(even).collect::<Result<_, _>>()?;
        Ok(Grown {
            region: Region::new(rings),
            art_parts: art.parts,
            parts,
            bridges: self.bridges.iter().map(|bridging| bridging.bridge).collect(),
            thickenings: thin.thickenings,
            thinnest: thin.thinnest.map(Mm::of),
            specks: art.specks.clone(),
            radius_wins: moved || closed,
        })
    }

    fn shape(&self) -> Result<Shaped, Fault> {
        let mut values = self.art.signed_plus(-self.lengths.grown);
        let mut patched = Vec::new();
        self.build(&self.bridges, &mut values, &mut patched)?;
        let (thin, moved, rings) = self.thicken(&mut values, &mut patched)?;
        Ok(Shaped { rings, thin, patched, moved })
    }

    /// Joins parts. Those that nearly touch get a stitch that holds them together, and what is thin then is thickened as where
    /// they touch: a whole bridge would be a knob on a sliver beside its body.
    fn build(&self, bridges: &[Bridging], values: &mut [f32], patched: &mut Vec<bool>) -> Result<(), Fault> {
        let radius = self.lengths.half_width.max(LEAST_BRIDGE_MM / 2.0);
        let is_thickened = self.lengths.half_width >= LEAST_BRIDGE_MM / 2.0;
        let stitched = |bridging: &&Bridging| is_thickened && bridging.gap <= 2.0 * self.lengths.border + STITCHED_MM;
        let (near, far): (Vec<&Bridging>, Vec<&Bridging>) = bridges.iter().partition(stitched);
        for (bridges, radius) in [(near, STITCH_RADIUS_MM), (far, radius)] {
            let strokes: Vec<(Point, Point)> =
                bridges.into_iter().map(|bridging| (bridging.bridge.from, bridging.bridge.to)).collect();
            self.patch(&strokes, radius, values, patched)?;
        }
        Ok(())
    }

    /// Adds strokes of a radius, grown by the inside radius that is taken away at the end.
    fn patch(
        &self,
        strokes: &[(Point, Point)],
        radius: f64,
        values: &mut [f32],
        patched: &mut Vec<bool>,
    ) -> Result<(), Fault> {
        patched.resize(if strokes.is_empty() { patched.len() } else { self.grid.nodes() }, false);
        let radius = radius + WIDTH_RESERVE_MM + self.lengths.inside;
        let extent = (radius, self.lengths.hole_depth());
        stamp(&self.grid, strokes, extent, self.cancel, |node, value| {
            values[node] = values[node].min(value);
            patched[node] |= value <= NEAR_PATCH_MM as f32;
        })
    }

    fn measure<'f>(&self, edges: &'f Edges, rings: &[Ring], inward: f64, outward: f64) -> Result<Field<'f>, Fault> {
        let slack = 2.0 * self.grid.cell();
        let reach = Reach { inward: inward + slack, outward: outward + slack };
        Field::measure(self.grid, edges, inside_flags(&self.grid, rings), reach, self.cancel)
    }

    /// Adds discs at narrow places until there are none, rounds outside corners, and shrinks. Rounding may join what nearly
    /// touched, so that narrow places are looked for after it too, and those that were not there at first are told with the
    /// others. The distances of the last look also tell the shrunk shape.
    fn thicken(&self, values: &mut [f32], patched: &mut Vec<bool>) -> Result<(Thin, bool, Vec<Ring>), Fault> {
        let (mut told, mut moved) = (Thin::default(), None);
        let mut round = 0;
        loop {
            let traced = self.lengths.trace(&self.grid, values).rings;
            let rings = if self.fineness == Fineness::Rough {
                traced
            } else {
                notches::sharpened(traced, (self.art, self.lengths.grown), values, self.cancel)?
            };
            let edges = Edges::of_rings(&rings);
            let is_last = round >= if self.fineness == Fineness::Rough { 1 } else { THICKENING_ROUNDS };
            let is_passed = is_last || round == 0 && self.is_wide();
            let look = if is_passed { 0.0 } else { self.look(round) };
            let rounding = if self.lengths.rounds_corners() && moved.is_none() { self.lengths.rounding() } else { 0.0 };
            // Out of the shape it is only asked what is farther than is told.
            let field = self.measure(&edges, &rings, (look + self.lengths.inside).max(rounding), TOLD_MM)?;
            let (thin, discs) = if is_passed { <_>::default() } else { self.thin_places(&field, &rings, look)? };
            told.add(if round == 0 { thin } else { self.without_patched(thin, patched) });
            let mut pushed = Vec::new();
            // Hairs are thick before corners are looked for, or their tips get more than they need. What discs later rounds
            // add makes no corner as long as they are round enough.
            let makes_none = round > 0 && self.lengths.half_width + self.lengths.inside >= rounding;
            if rounding > 0.0 && (discs.is_empty() || makes_none) {
                let is_round = self.lengths.border >= self.lengths.outside;
                let corners = Corners { shape: &field, rings: &rings, art: self.art, radius: rounding, is_round };
                pushed = corners.strokes(self.cancel)?;
                moved = Some(self.round(&field, &pushed, values)?);
            }
            if discs.is_empty() && pushed.is_empty() {
                return Ok((told, moved.unwrap_or(false), self.shrunk(&field)));
            }
            self.patch(&discs, self.lengths.half_width, values, patched)?;
            round += 1;
        }
    }

    /// Narrow places apart from those at bridges and discs: what is left to do there was told when they were added.
    fn without_patched(&self, thin: Thin, patched: &[bool]) -> Thin {
        let is_new = |at: Point| !self.grid.around(at).iter().any(|node| patched.get(*node).copied().unwrap_or(false));
        let places = thin.thickenings.into_iter().filter(|place| is_new(place.at));
        let thickenings: Vec<Thickening> = places.collect();
        let thinnest = thickenings.iter().map(|place| place.width_before.mm()).reduce(f64::min);
        Thin { thickenings, thinnest }
    }

    /// Half the width up to which narrow places are looked for in a round; in the first one those that are told.
    fn look(&self, round: usize) -> f64 {
        let least = self.lengths.half_width + LOOK_OVER_CELLS * self.grid.cell();
        if round == 0 && self.fineness != Fineness::Rough { self.lengths.look.max(least) } else { least }
    }

    /// Whether the border alone makes everything so wide that nothing narrow has to be looked for. Art that hangs together runs
    /// through every neck, and leaves a border on both sides of it there. Where the borders of two parts barely meet there is
    /// a neck without art.
    fn is_wide(&self) -> bool {
        self.is_one && self.lengths.border >= self.look(0)
    }

    /// Narrow places, and the discs that they lack.
    fn thin_places(&self, field: &Field<'_>, rings: &[Ring], look: f64) -> Result<(Thin, Vec<(Point, Point)>), Fault> {
        let inside = self.lengths.inside;
        let link = 2.5 * self.grid.cell();
        let least = inside - self.grid.cell() / 4.0;
        let groups = groups(field, least, look + inside, self.cancel)?;
        let width = |radius: f64| 2.0 * (radius - inside);
        let told = |at: Point, radius: f64| Thickening { at, width_before: Mm::of(width(radius).max(0.0)) };
        let narrowest = |discs: &[Disc]| discs.iter().copied().min_by(|a, b| a.radius.total_cmp(&b.radius));
        let mut thin = Thin::default();
        let mut strokes = Vec::new();
        let enough = self.lengths.half_width + inside - WIDTH_SLACK_MM / 2.0;
        let tapering = Tapering { enough, grown: inside, link };
        for group in groups {
            self.cancel.check()?;
            let group = tapering.without(field, group);
            let body = without_tips(&group, self.lengths.half_width + inside, link);
            let here = narrowest(&body).map(|disc| width(disc.radius).max(0.0));
            thin.thinnest = [thin.thinnest, here].into_iter().flatten().reduce(f64::min);
            let lacking: Vec<Disc> = body
                .into_iter()
                .filter(|disc| width(disc.radius) < 2.0 * self.lengths.half_width - WIDTH_SLACK_MM)
                .collect();
            for stretch in grouped(&lacking, 2.0 * link) {
                strokes.extend(spread(&stretch, DISC_STEP_MM).iter().map(|disc| (disc.centre, disc.centre)));
                thin.thickenings.extend(narrowest(&stretch).map(|disc| told(disc.centre, disc.radius)));
            }
        }
        for (centre, radius) in self.small_parts(field, rings, &strokes, enough)? {
            let place = told(centre, radius);
            thin.add(Thin { thickenings: vec![place], thinnest: Some(place.width_before.mm()) });
            strokes.push((centre, centre));
        }
        Ok((thin, strokes))
    }

    /// Parts that lie between no two opposite sides, as a small triangle does, and are too narrow all the same: the largest
    /// disc in each. Those that get discs already are looked at again with them.
    fn small_parts(
        &self,
        field: &Field<'_>,
        rings: &[Ring],
        strokes: &[(Point, Point)],
        enough: f64,
    ) -> Result<Vec<(Point, f64)>, Fault> {
        // Of twenty thousand parts with a disc each only those in the same columns are asked.
        let mut discs: Vec<Point> = strokes.iter().map(|stroke| stroke.0).collect();
        discs.sort_by(|a, b| a.x.total_cmp(&b.x));
        let mut found = Vec::new();
        for ring in rings.iter().filter(|ring| ring.signed_area() > 0.0) {
            self.cancel.check()?;
            let bounds = ring.bounds();
            // A larger triangle holds a disc of that radius, and so does anything rounder.
            if bounds.width().min(bounds.height()) > 4.0 * enough {
                continue;
            }
            let beside = discs[discs.partition_point(|disc| disc.x < bounds.x0)..].iter();
            let mut beside = beside.take_while(|disc| disc.x <= bounds.x1);
            if !beside.any(|disc| bounds.contains(*disc) && ring.contains(*disc)) {
                found.extend(deepest(field, ring).filter(|(_, radius)| *radius < enough));
            }
        }
        Ok(found)
    }

    /// Adds the discs that round corners outward; says whether that moved the line by more than is left untold.
    fn round(&self, shape: &Field<'_>, strokes: &[(Point, Point)], values: &mut [f32]) -> Result<bool, Fault> {
        let mut moved = false;
        let extent = (self.lengths.rounding(), self.lengths.hole_depth());
        stamp(&self.grid, strokes, extent, self.cancel, |node, value| {
            values[node] = values[node].min(value);
            moved |= value < 0.0 && shape.signed(node) > TOLD_MM as f32;
        })?;
        Ok(moved)
    }

    /// The shape's edge shrunk by the inside radius.
    fn shrunk(&self, shape: &Field<'_>) -> Vec<Ring> {
        let rings = zero_rings(&self.grid, &shape.signed_plus(self.lengths.inside));
        fill_holes(rings, |_| self.lengths.kept_hole.is_some()).rings
    }

    /// How far a place outside the art is from the edge of its border, mm; nothing where no art is near.
    fn off_border(&self, point: Point) -> f64 {
        self.art.nearest_to(point).map_or(0.0, |nearest| nearest.distance - self.lengths.border - BORDER_RESERVE_MM)
    }

    /// Whether closing alone moved the line outward by more than is left untold, away from bridges and thickenings.
    fn closing_moved(&self, rings: &[Ring], patched: &[bool]) -> bool {
        rings.iter().flat_map(Ring::points).any(|point| {
            let around = self.grid.around(*point);
            let free = around.iter().all(|node| !patched.get(*node).copied().unwrap_or(false));
            free && self.art.nearest_to(*point).is_some_and(|nearest| {
                let inside = around.iter().all(|node| self.art.signed(*node) < 0.0);
                !inside && nearest.distance > self.lengths.border + TOLD_MM
            })
        })
    }
}

/// What is thin.
#[derive(Default)]
struct Thin {
    thickenings: Vec<Thickening>,
    thinnest: Option<f64>,
}

impl Thin {
    fn add(&mut self, other: Thin) {
        self.thickenings.extend(other.thickenings);
        self.thinnest = [self.thinnest, other.thinnest].into_iter().flatten().reduce(f64::min);
    }
}
