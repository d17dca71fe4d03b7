//! Arranges the pieces of a sticker sheet on its page, upright or nearly so, and fills the gaps with smaller copies.
//!
//! The required pieces are packed with as wide a gap as lets all of them stand, which spreads them over the page; each is
//! then centred between its neighbours; then gaps are filled, larger sizes first. Several widths are tried and the fullest
//! page is taken. Looks are common practice, no source.

use std::collections::BTreeMap;

use rayon::prelude::*;

use super::body::{Body, meet};
use super::feed::Section;
use super::fill::{Best, Fill, Spot, Taste};
use super::mask::{Mask, Run};
use super::part::{Part, Scale, turned_bounds};
use super::rng::Rng;
use super::settle::centre;
use crate::cancel::Cancel;
use crate::fault::Fault;
use crate::geom::{Point, Pose, Rect, Ring, Vec2};
use crate::units::Mm;

/// One size of one piece.
#[derive(Clone, Debug)]
pub struct PagePiece {
    /// True outermost lines in the piece's own frame.
    pub outermost: Vec<Ring>,
    /// Copies that must be placed; 0 for the smaller sizes that fill gaps.
    pub copies: u32,
    /// Whether more than `copies` may be placed to fill gaps.
    pub fills: bool,
}

/// A page to arrange.
#[derive(Clone, Debug)]
pub struct PagePlan {
    /// Width of the page.
    pub width: Mm,
    /// Height of the page.
    pub height: Mm,
    /// Radius of its corners.
    pub corner_radius: Mm,
    /// Between kiss-cut lines.
    pub gap: Mm,
    /// From kiss-cut lines to the page's edge.
    pub edge: Mm,
    /// Every size of every piece.
    pub pieces: Vec<PagePiece>,
}

/// Angles of pieces, degrees. Upright first; never more than 30.
const TILTS: [f64; 9] = [0.0, -8.0, 8.0, -15.0, 15.0, -22.0, 22.0, -29.0, 29.0];
/// Orders in which the required pieces are tried.
const TRIES: u64 = 6;
/// Halvings of the search for the widest gap.
const HALVINGS: u32 = 6;
/// How much a page grows at a step, and how often, when one that holds its pieces is looked for.
const GROWTH: f64 = 1.05;
const GROWTH_STEPS: i32 = 60;
/// Most cells of a page's map.
const MOST_CELLS: f64 = 4e5;
/// Finest cells, mm.
const CELL_MM: f64 = 0.5;
/// Sizes whose areas differ by less than this factor fill gaps in turn.
const ALIKE: f64 = 1.4;
/// What a neighbour of the same design costs, in shares of touching ring.
const SAME_BESIDE: f64 = 0.4;
/// What it costs when all pieces that stand on the page are of the same design, in the same measure; else in proportion.
const SAME_EVERYWHERE: f64 = 0.8;
/// How gaps are filled: anywhere, where a piece touches most.
const GAP_TASTE: Taste = Taste { depth_per_mm: 1e-4, depth_at: 0.5, look_mm: f64::INFINITY };
/// Rounds of centring.
const CENTRINGS: u32 = 6;

/// Places every required copy, then fills. Poses are in the page's frame: origin at the page's centre. A function of the
/// plan alone.
///
/// # Errors
/// `page.full` with a page size that would hold the required copies, `order.not_finite`, `gang.layout_broken` (our fault),
/// `run.cancelled`.
pub fn arrange_page(plan: &PagePlan, cancel: &Cancel) -> Result<Vec<(usize, Pose)>, Fault> {
    let (sheet, tight) = packed(plan, cancel)?;
    let gaps = sheet.gaps(cancel)?;
    let parts = sheet.parts(sheet.gap, &TILTS, |_| true, cancel)?;
    let made: Vec<Result<Vec<Spot>, Fault>> = gaps
        .par_iter()
        .map(|gap| {
            let packed = sheet.pack(*gap, cancel)?;
            sheet.finish(&parts, packed.unwrap_or_else(|| tight.clone()), cancel)
        })
        .collect();
    let mut best: Option<(f64, Vec<Spot>)> = None;
    for spots in made {
        let spots = spots?;
        let covered = sheet.covered(&spots);
        if best.as_ref().is_none_or(|best| covered > best.0 + 1e-9) {
            best = Some((covered, spots));
        }
    }
    sheet.gated(&best.map(|best| best.1).unwrap_or_default())
}

/// Whether a page holds its required copies: [`arrange_page`] gives the same answer, and takes longer.
///
/// # Errors
/// As [`arrange_page`].
pub fn check_page(plan: &PagePlan, cancel: &Cancel) -> Result<(), Fault> {
    packed(plan, cancel).map(|_| ())
}

/// The required copies as near to each other as the plan lets them stand.
fn packed<'a>(plan: &'a PagePlan, cancel: &Cancel) -> Result<(Sheet<'a>, Vec<Spot>), Fault> {
    cancel.check()?;
    let finite = |ring: &Ring| ring.points().iter().all(|point| point.x.is_finite() && point.y.is_finite());
    let lengths = [plan.width, plan.height, plan.corner_radius, plan.gap, plan.edge];
    let drawn = plan.pieces.iter().flat_map(|piece| &piece.outermost).all(finite);
    if !drawn || lengths.iter().any(|length| !length.mm().is_finite()) {
        return Err(Fault::NotFinite);
    }
    let sheet = Sheet::new(plan, 1.0);
    match sheet.pack(sheet.gap, cancel)? {
        Some(tight) => Ok((sheet, tight)),
        None => Err(Fault::PageFull { would_fit: would_fit(plan, cancel)? }),
    }
}

/// A page of the plan's aspect that holds the required copies.
fn would_fit(plan: &PagePlan, cancel: &Cancel) -> Result<Option<(Mm, Mm)>, Fault> {
    if plan.pieces.iter().any(|piece| piece.copies > 0 && piece.outermost.iter().all(|ring| ring.points().is_empty())) {
        return Ok(None);
    }
    for step in 1..=GROWTH_STEPS {
        let factor = GROWTH.powi(step);
        let sheet = Sheet::new(plan, factor);
        if sheet.pack(sheet.gap, cancel)?.is_some() {
            return Ok(Some((plan.width * factor, plan.height * factor)));
        }
    }
    Ok(None)
}

/// A page with room for cut lines.
struct Sheet<'a> {
    plan: &'a PagePlan,
    gap: f64,
    /// Where cut lines may stand: the page less its edge.
    room: Section,
    /// Radius of the room's corners.
    corner: f64,
    /// Required pieces, one entry for each copy.
    required: Vec<usize>,
}

impl<'a> Sheet<'a> {
    fn new(plan: &'a PagePlan, factor: f64) -> Sheet<'a> {
        let edge = plan.edge.mm().max(0.0);
        let (width, length) = (plan.width.mm() * factor - 2.0 * edge, plan.height.mm() * factor - 2.0 * edge);
        let (width, length) = (width.max(0.0), length.max(0.0));
        let corner = (plan.corner_radius.mm() - edge).clamp(0.0, width.min(length) / 2.0);
        let room = Section { from: 0.0, length, width, obstacles: Vec::new() };
        // In turn: neighbours in the order become neighbours on the page.
        let most = plan.pieces.iter().map(|piece| piece.copies).max().unwrap_or(0);
        let turn = |round: u32| (0..plan.pieces.len()).filter(move |index| plan.pieces[*index].copies > round);
        let required = (0..most).flat_map(turn).collect();
        Sheet { plan, gap: plan.gap.mm().max(0.0), room, corner, required }
    }

    fn scale(&self, gap: f64) -> Scale {
        let pad = gap / 2.0 + 0.08;
        let area = (self.room.width + 2.0 * pad) * (self.room.length + 2.0 * pad);
        let cell = (CELL_MM.max((area / MOST_CELLS).sqrt()) * 1e6).ceil() / 1e6;
        Scale { cell, gutter: gap, steps: 1, feed_turn_deg: 0.0, pad, halo_rows: usize::MAX }
    }

    /// Pieces made ready for a gap; those that are not wanted stay empty, which saves most of the time.
    fn parts(
        &self,
        gap: f64,
        tilts: &[f64],
        wanted: impl Fn(&PagePiece) -> bool + Sync,
        cancel: &Cancel,
    ) -> Result<Vec<Part>, Fault> {
        let scale = self.scale(gap);
        let part = |piece: &PagePiece| {
            cancel.check()?;
            let outermost = if wanted(piece) { piece.outermost.as_slice() } else { &[] };
            Part::at_angles(outermost, 0.0, tilts, scale, cancel)
        };
        self.plan.pieces.par_iter().map(part).collect()
    }

    /// Required pieces with a gap between them; `None` when not all of them fit.
    fn pack(&self, gap: f64, cancel: &Cancel) -> Result<Option<Vec<Spot>>, Fault> {
        for tilts in [&TILTS[..], &TILTS[..1]] {
            let parts = self.parts(gap, tilts, |piece| piece.copies > 0, cancel)?;
            let empty = self.empty(&parts, gap);
            let tries = if gap > self.gap { 2 } else { TRIES };
            for attempt in 0..tries {
                if let Some(spots) = self.try_pack(&parts, empty.clone(), attempt, cancel)? {
                    return Ok(Some(spots));
                }
            }
        }
        Ok(None)
    }

    fn try_pack(
        &self,
        parts: &[Part],
        mut fill: Fill<'_>,
        attempt: u64,
        cancel: &Cancel,
    ) -> Result<Option<Vec<Spot>>, Fault> {
        let mut order: Vec<(f64, usize)> = Vec::new();
        let mut rng = Rng::new(1, attempt);
        for piece in &self.required {
            let noise = if attempt < 2 { 1.0 } else { 1.0 + 0.5 * rng.unit() };
            // At first in turn, which mixes the page; then large ones first, which packs closer.
            order.push((if attempt == 0 { 0.0 } else { parts[*piece].area * noise }, *piece));
        }
        order.sort_by(|a, b| b.0.total_cmp(&a.0));
        let taste = Taste { depth_per_mm: 0.012, depth_at: 0.6, look_mm: 10.0 };
        for (_, piece) in order {
            if !fill.place(piece, taste, f64::INFINITY, cancel)? {
                return Ok(None);
            }
        }
        Ok(Some(fill.spots))
    }

    /// An empty page, its corners taken.
    fn empty<'b>(&self, parts: &'b [Part], gap: f64) -> Fill<'b> {
        let scale = self.scale(gap);
        let corners = self.corner_cells(scale);
        Fill::new(parts, scale, self.room.width, self.room.length, &corners)
    }

    /// Cells that reach past the rounded corners of the room grown by half the gap.
    fn corner_cells(&self, scale: Scale) -> Vec<Mask> {
        let (radius, pad) = (self.corner, scale.pad);
        if radius <= 0.0 {
            return Vec::new();
        }
        let count = |side: f64| ((side + 2.0 * pad) / scale.cell).ceil() as i32;
        let (cols, rows) = (count(self.room.width), count(self.room.length));
        let far = |index: i32, side: f64| {
            let (low, high) = (f64::from(index) * scale.cell - pad, f64::from(index + 1) * scale.cell - pad);
            (radius - low).max(high - (side - radius)).max(0.0)
        };
        let limit = radius + scale.gutter / 2.0;
        let outside = |col: i32, row: i32| {
            let (x, y) = (far(col, self.room.width), far(row, self.room.length));
            x > 0.0 && y > 0.0 && x.hypot(y) > limit
        };
        let row = |row: i32| {
            (0..cols).filter(|col| outside(*col, row)).map(|col| Run { from: col, to: col + 1 }).collect::<Vec<Run>>()
        };
        vec![Mask::from_rows(0, (0..rows).map(row).collect())]
    }

    /// Gaps to try: the plan's own, and up to the widest that holds all.
    fn gaps(&self, cancel: &Cancel) -> Result<Vec<f64>, Fault> {
        if self.required.is_empty() {
            return Ok(vec![self.gap]);
        }
        let (mut fits, mut fails) = (self.gap, self.gap + self.room.width.min(self.room.length) / 2.0);
        for _ in 0..HALVINGS {
            let gap = (fits + fails) / 2.0;
            if self.pack(gap, cancel)?.is_some() {
                fits = gap;
            } else {
                fails = gap;
            }
        }
        let between = |share: f64| self.gap + (fits - self.gap) * share;
        let fills = self.plan.pieces.iter().any(|piece| piece.fills);
        Ok(if fills { vec![fits, between(0.5), self.gap] } else { vec![fits] })
    }

    /// Centres the required pieces, fills the gaps, and centres again.
    fn finish(&self, parts: &[Part], mut spots: Vec<Spot>, cancel: &Cancel) -> Result<Vec<Spot>, Fault> {
        let inside = |body: &Body, at: Vec2| self.inside(body, at);
        centre(parts, &self.room, self.gap, &mut spots, CENTRINGS, &inside, cancel)?;
        for _ in 0..2 {
            let mut fill = self.empty(parts, self.gap);
            spots.iter().for_each(|spot| fill.add(*spot));
            self.fill_gaps(parts, &mut fill, cancel)?;
            let added = fill.spots.len() - spots.len();
            spots = fill.spots;
            if added == 0 {
                break;
            }
            centre(parts, &self.room, self.gap, &mut spots, CENTRINGS, &inside, cancel)?;
        }
        Ok(spots)
    }

    /// Larger sizes first; sizes alike in turn, the one that touches most and stands least beside its own kind.
    fn fill_gaps(&self, parts: &[Part], fill: &mut Fill<'_>, cancel: &Cancel) -> Result<(), Fault> {
        let mut sizes: Vec<usize> = (0..parts.len()).filter(|index| self.plan.pieces[*index].fills).collect();
        sizes.sort_by(|a, b| parts[*b].area.total_cmp(&parts[*a].area).then(a.cmp(b)));
        let designs: Vec<[f64; 3]> = parts.iter().map(design).collect();
        let mut rest = sizes.as_slice();
        while let Some(first) = rest.first() {
            let end = rest.iter().position(|size| parts[*size].area * ALIKE < parts[*first].area).unwrap_or(rest.len());
            self.fill_with(parts, &designs, rest[..end.max(1)].to_vec(), fill, cancel)?;
            rest = &rest[end.max(1)..];
        }
        Ok(())
    }

    /// Fills gaps with sizes alike until none fits. A place that was found stays known until a piece comes near it: looking
    /// for it anew after each piece took most of the time and made no page fuller.
    fn fill_with(
        &self,
        parts: &[Part],
        designs: &[[f64; 3]],
        mut group: Vec<usize>,
        fill: &mut Fill<'_>,
        cancel: &Cancel,
    ) -> Result<(), Fault> {
        let mut known: BTreeMap<usize, Best> = BTreeMap::new();
        while !group.is_empty() {
            let mut best = None;
            let mut without = Vec::new();
            for size in &group {
                let place = match known.get(size) {
                    Some(place) => Some(*place),
                    None => fill.search(*size, GAP_TASTE, f64::INFINITY, cancel)?,
                };
                let Some(found) = place else {
                    without.push(*size);
                    continue;
                };
                known.insert(*size, found);
                let spot = fill.spot(*size, found);
                let score = found.score - monotony(parts, designs, fill, &spot);
                if best.as_ref().is_none_or(|best: &(f64, usize, _)| score > best.0 + 1e-12) {
                    best = Some((score, *size, found));
                }
            }
            group.retain(|size| !without.contains(size));
            if let Some((_, size, found)) = best {
                let taken = self.taken(parts, &fill.spot(size, found));
                fill.put(size, found);
                known.retain(|other, place| !meet(taken, self.taken(parts, &fill.spot(*other, *place))));
            }
        }
        Ok(())
    }

    /// The box that a piece takes, with its share of the gap.
    fn taken(&self, parts: &[Part], spot: &Spot) -> Rect {
        let share = self.gap / 2.0 + 0.5;
        (turned_bounds(&parts[spot.part].rings, spot.angle_deg) + spot.at).inflate(share, share)
    }

    /// Whether a piece stands inside the rounded room: convex, so its corners tell.
    fn inside(&self, body: &Body, at: Vec2) -> bool {
        const TOLERANCE_MM: f64 = 1e-6;
        let (width, length, radius) = (self.room.width, self.room.length, self.corner);
        body.corners().all(|corner| {
            let Point { x, y } = corner + at;
            let dx = (radius - x).max(x - (width - radius)).max(0.0);
            let dy = (radius - y).max(y - (length - radius)).max(0.0);
            let boxed = x.min(y).min(width - x).min(length - y) >= -TOLERANCE_MM;
            boxed && (dx <= 0.0 || dy <= 0.0 || dx.hypot(dy) <= radius + TOLERANCE_MM)
        })
    }

    fn covered(&self, spots: &[Spot]) -> f64 {
        let area = |spot: &Spot| self.plan.pieces[spot.part].outermost.iter().map(Ring::area_mm2).sum::<f64>();
        spots.iter().map(area).sum()
    }

    /// The last gate, on the poses that are printed: filling pieces that fail are dropped, required ones are our fault.
    fn gated(&self, spots: &[Spot]) -> Result<Vec<(usize, Pose)>, Fault> {
        let middle = Vec2::new(self.room.width / 2.0, self.room.length / 2.0);
        let mut standing: Vec<(usize, Pose, Body)> = Vec::new();
        for (index, spot) in spots.iter().enumerate() {
            let at = spot.at - middle;
            let pose = Pose::new(at.x, at.y, spot.angle_deg).rounded();
            let body = Body::new(&self.plan.pieces[spot.part].outermost, pose.rotation_deg);
            let at = pose.origin().to_vec2();
            let clear = |other: &(usize, Pose, Body)| {
                let need = self.gap - super::gate::TOLERANCE_MM;
                need <= 0.0 || body.clearance(&other.2, other.1.origin().to_vec2() - at, self.gap) >= need
            };
            if self.inside(&body, at + middle) && standing.iter().all(clear) {
                standing.push((spot.part, pose, body));
            } else if index < self.required.len() {
                let reason = "a required piece of a page stands too near to another or to the edge".to_owned();
                return Err(Fault::LayoutBroken { reason });
            }
        }
        Ok(standing.into_iter().map(|(piece, pose, _)| (piece, pose)).collect())
    }
}

/// What sizes of one design have in common: aspect, how full the box is, how long the line is for its area.
fn design(part: &Part) -> [f64; 3] {
    let bounds = turned_bounds(&part.rings, 0.0);
    let line: f64 = part.rings.iter().map(|ring| ring.perimeter().mm()).sum();
    let safe = |value: f64| value.max(1e-9);
    [bounds.width() / safe(bounds.height()), part.area / safe(bounds.area()), line / safe(part.area.sqrt())]
}

/// What it costs that a piece's design stands beside it and elsewhere on the page.
fn monotony(parts: &[Part], designs: &[[f64; 3]], fill: &Fill<'_>, spot: &Spot) -> f64 {
    let alike = |a: &[f64; 3], b: &[f64; 3]| a.iter().zip(b).all(|(a, b)| (a - b).abs() <= 0.03 * a.abs().max(b.abs()));
    let radius = |part: usize| (parts[part].area / std::f64::consts::PI).sqrt();
    let same: Vec<&Spot> = fill.spots.iter().filter(|other| alike(&designs[other.part], &designs[spot.part])).collect();
    let beside = |other: &&Spot| (other.at - spot.at).hypot() < 1.6 * (radius(other.part) + radius(spot.part));
    let share = same.len() as f64 / fill.spots.len().max(1) as f64;
    SAME_EVERYWHERE * share + if same.iter().any(beside) { SAME_BESIDE } else { 0.0 }
}
