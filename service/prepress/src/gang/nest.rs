//! The whole way from lots to a layout.

use std::cmp::Ordering;
use std::panic::{AssertUnwindSafe, catch_unwind};

use rayon::prelude::*;

use super::assign::{assign, left_over};
use super::choose::{Case, Choice};
use super::feed::{Feed, Section, sections};
use super::fill::{Fill, Spot, Taste, used};
use super::fit::Candidate;
use super::gate;
use super::improve::Aim;
use super::lone::Lone;
use super::part::{Part, Scale, most_reach, turned_bounds};
use super::plan::{Bins, Clock, Shop, Work};
use super::{FaultTooLarge, Layout, Lot, Nesting, Placed, Progress};
use crate::cancel::Cancel;
use crate::fault::Fault;
use crate::frame::KeepOut;
use crate::geom::{Pose, Ring, Vec2};

/// Most cells of a container's map: larger windows get larger cells.
const MOST_CELLS: f64 = 6e6;
/// Cells along the longest side of a typical part, at least: smaller parts get smaller cells.
const CELLS_PER_PART: f64 = 45.0;
/// Smallest cell, mm.
const LEAST_CELL_MM: f64 = 0.1;
/// Corners above which outlines are simplified for masks, and by how much at most (see `part`).
const STRAY_MM: f64 = 0.08;
/// Longest length or farthest place that counts as a number, mm: a hundred kilometres. Farther away steps of double precision
/// come near the layout's tolerance.
const MOST_MM: f64 = 1e8;
/// Times that copies which fail the gate are placed anew.
const REPAIRS: u32 = 3;
/// Share of the progress that is shown when the geometry is done.
const GEOMETRY_SHARE: f64 = 0.95;
/// Share of that which is shown when construction is done and improvement begins. Measured on mixes.
const BUILT_SHARE: f64 = 0.25;

/// See [`super::nest`].
pub(super) fn nest(nesting: &Nesting<'_>, progress: Progress<'_>, cancel: &Cancel) -> Result<Layout, Fault> {
    cancel.check()?;
    finite(nesting)?;
    progress(0.0);
    let room = Room::new(nesting);
    let part = |lot: &usize| room.part(&nesting.lots[*lot], cancel);
    let parts: Vec<Part> = room.order.par_iter().map(part).collect::<Result<_, Fault>>()?;
    let shop = room.shop(nesting, &parts, cancel);
    let ready = room.ready(nesting, &shop)?;
    let shown = |share: f64| progress(share.clamp(0.0, 1.0) * GEOMETRY_SHARE);
    let mut bins = room.lay_out(nesting, &shop, &ready.copies, &shown)?;
    let stopped_early = shop.clock.was_met();
    prepend(&mut bins, &ready.alone, room.sections.len());
    fill_offcuts(nesting, &room, &shop, &mut bins)?;
    let sheets = room.gated(nesting, &shop, bins)?;
    let layout = finish(nesting, &room, sheets, &ready.too_large, cancel)?;
    progress(1.0);
    Ok(Layout { stopped_early, ..layout })
}

fn finite(nesting: &Nesting<'_>) -> Result<(), Fault> {
    let window = nesting.frame.window;
    let finite = |length: f64| length.abs() <= MOST_MM;
    let point = |point: &crate::geom::Point| finite(point.x) && finite(point.y);
    let outlines = nesting.lots.iter().flat_map(|lot| &lot.outermost).flat_map(Ring::points).all(point);
    let lengths = nesting.lots.iter().all(|lot| finite(lot.reach.mm()));
    let zones = nesting.frame.keep_outs.iter().all(|keep_out| match keep_out {
        KeepOut::Disc { centre, radius } => point(centre) && finite(radius.mm()),
        KeepOut::Box(rect) => [rect.x0, rect.y0, rect.x1, rect.y1].into_iter().all(finite),
    });
    let stock = [window.x0, window.y0, window.x1, window.y1, nesting.gutter.mm()].into_iter().all(finite);
    let all = outlines && lengths && zones && stock;
    if all { Ok(()) } else { Err(Fault::NotFinite) }
}

/// What follows from the stock and the sizes of the lots.
struct Room {
    feed: Feed,
    sections: Vec<Section>,
    scale: Scale,
    work: Work,
    /// Lots by their geometry: neither names nor the caller's order change a layout.
    order: Vec<usize>,
}

/// What can be placed.
struct Ready {
    /// Copies of each part for the map; none of those below and none of fillers.
    copies: Vec<u32>,
    /// Copies that only fit an empty container, in places found exactly: section and spot.
    alone: Vec<(usize, Spot)>,
    /// For each lot, why it cannot be placed.
    too_large: Vec<Option<FaultTooLarge>>,
}

impl Room {
    fn new(nesting: &Nesting<'_>) -> Room {
        let feed = Feed::new(nesting.frame.window, nesting.feed_edge);
        // Farther apart than the window's diagonal no two parts can be.
        let gutter = nesting.gutter.mm().clamp(0.0, feed.width.hypot(feed.length) + 1.0);
        let ordered = nesting.lots.iter().filter(|lot| !lot.filler);
        let copies = ordered.clone().map(copies_of).sum();
        let work = Work::of(nesting.effort, ordered.clone().count(), copies);
        let corners = |lot: &Lot| lot.outermost.iter().map(|ring| ring.points().len()).sum::<usize>();
        let stray = if nesting.lots.iter().any(|lot| corners(lot) > 200) { STRAY_MM } else { 0.0 };
        let reach = nesting.lots.iter().map(|lot| lot.reach.mm()).fold(f64::INFINITY, f64::min);
        let pad = if reach.is_finite() { (gutter / 2.0 + stray - reach).max(0.0) } else { 0.0 };
        let cell = cell(nesting, gutter, work.cell, (feed.width + 2.0 * pad) * (feed.length + 2.0 * pad));
        let (steps, halo_rows) = (work.steps, work.halo_rows);
        let scale = Scale { cell, gutter, steps, feed_turn_deg: feed.turn_deg, pad, halo_rows };
        let mut order: Vec<usize> = (0..nesting.lots.len()).collect();
        // Fillers come last, so that what was ordered lies as it would without them.
        let filler = |lot: &usize| nesting.lots[*lot].filler;
        order.sort_by(|a, b| {
            let by_shape = || by_geometry(&nesting.lots[*a], &nesting.lots[*b]);
            filler(a).cmp(&filler(b)).then_with(by_shape).then(a.cmp(b))
        });
        Room { feed, sections: sections(nesting.frame, feed, gutter), scale, work, order }
    }

    /// Makes a lot ready: at no angle where it is longer than the window's diagonal, so that memory is bounded by the window.
    fn part(&self, lot: &Lot, cancel: &Cancel) -> Result<Part, Fault> {
        let (bounds, reach) = (turned_bounds(&lot.outermost, 0.0), lot.reach.mm());
        if bounds.width().max(bounds.height()) > self.feed.width.hypot(self.feed.length) + 1.0 {
            return Part::at_angles(&lot.outermost, reach, &[], self.scale, cancel);
        }
        Part::new(&lot.outermost, reach, lot.rotate, self.scale, cancel)
    }

    fn shop<'a>(&'a self, nesting: &Nesting<'a>, parts: &'a [Part], cancel: &'a Cancel) -> Shop<'a> {
        let reach = most_reach(parts);
        let masks = |section: &Section| {
            let mask = |obstacle: &super::feed::Obstacle| {
                obstacle.mask(reach, self.scale.gutter, self.scale.pad, self.scale.cell)
            };
            section.obstacles.iter().filter_map(mask).collect()
        };
        let obstacles = self.sections.iter().map(masks).collect();
        let (scale, seed, work) = (self.scale, nesting.seed, self.work);
        let clock = Clock::new(nesting.out_of_time);
        Shop { parts, sections: &self.sections, obstacles, scale, seed, work, cancel, clock }
    }

    /// Sorts out what cannot be placed at all, and what the map cannot place but an exact search can.
    fn ready(&self, nesting: &Nesting<'_>, shop: &Shop<'_>) -> Result<Ready, Fault> {
        let empty: Vec<Fill<'_>> = (0..self.sections.len()).map(|section| shop.empty(section)).collect();
        let found: Vec<Result<Fitting, Fault>> = (0..shop.parts.len())
            .into_par_iter()
            .map(|part| self.fitting(&nesting.lots[self.order[part]], part, shop, &empty))
            .collect();
        let mut ready = Ready { copies: Vec::new(), alone: Vec::new(), too_large: vec![None; nesting.lots.len()] };
        for (part, fitting) in found.into_iter().enumerate() {
            let lot = &nesting.lots[self.order[part]];
            let copies = u32::try_from(copies_of(lot)).unwrap_or(u32::MAX);
            let mut mapped = 0;
            match fitting? {
                Fitting::Map if lot.filler => {}
                Fitting::Map => mapped = copies,
                Fitting::Alone(..) if lot.filler => {}
                Fitting::Alone(section, spot) => {
                    ready.alone.extend((0..copies).map(|_| (section, spot)));
                }
                Fitting::Never(fault) => ready.too_large[self.order[part]] = Some(fault),
            }
            ready.copies.push(mapped);
        }
        Ok(ready)
    }

    /// Each lot its way (`choose`): patterns of its own, or the mix.
    fn lay_out(
        &self,
        nesting: &Nesting<'_>,
        shop: &Shop<'_>,
        copies: &[u32],
        progress: &(dyn Fn(f64) + Sync),
    ) -> Result<Bins, Fault> {
        let in_one = |part: &Part| part.rings.len() == 1;
        let case = |(part, copies): (&Part, &u32)| Case { copies: *copies, area: part.area, in_one: in_one(part) };
        let cases: Vec<Case> = shop.parts.iter().zip(copies).map(case).collect();
        let window: f64 = self.sections.iter().map(|section| section.width * section.length).sum();
        let choice = Choice::new(cases, window, self.sections.len());
        let built = if self.work.looks == 0 { 1.0 } else { BUILT_SHARE };
        let build = |share: f64| progress(share * built);
        let lone = |part: usize| Lone::new(shop, part, nesting.lots[self.order[part]].rotate);
        if let Some(part) = choice.lone() {
            let bins = or_next_best("a pattern", || lone(part).layout(copies[part]))?.unwrap_or_default();
            if bins.iter().map(|bin| bin.len() as u32).sum::<u32>() == copies[part] {
                return Ok(bins);
            }
        }
        let mut full: Vec<(usize, Vec<Spot>)> = Vec::new();
        for part in choice.fillers_of_whole() {
            full.extend(or_next_best("a pattern", || lone(part).full(0))?.map(|spots| (part, spots)));
        }
        let holds: Vec<(usize, u32)> = full.iter().map(|(part, spots)| (*part, spots.len() as u32)).collect();
        let mixed = choice.mixes_first(&holds).then(|| shop.best(copies, &build)).transpose()?;
        let reached = mixed.as_ref().map(|bins| density(shop.parts, bins, window));
        let mut left = copies.to_vec();
        let mut bins = Bins::new();
        for (part, whole) in choice.whole_containers(&holds, reached) {
            let spots = full.iter().find(|(other, _)| *other == part).map(|entry| entry.1.clone()).unwrap_or_default();
            left[part] -= whole * spots.len() as u32;
            bins.extend((0..whole).map(|_| spots.clone()));
        }
        let rotate = |part: usize| nesting.lots[self.order[part]].rotate;
        let improve = |share: f64| progress(built + (1.0 - built) * share);
        let aim = Aim { rotate: &rotate, looks: self.work.looks, all_count: nesting.roll, progress: &improve };
        let rest = match mixed {
            Some(mixed) if bins.is_empty() => mixed,
            mixed => {
                let whole = bins.len();
                bins.extend(shop.best(&left, &build)?);
                match mixed {
                    Some(mixed) if shop.rank(&mixed) <= shop.rank(&bins) => {
                        bins.clear();
                        mixed
                    }
                    _ => bins.split_off(whole),
                }
            }
        };
        let improved = or_next_best("improvement", || shop.improved(rest.clone(), &aim))?;
        bins.extend(improved.unwrap_or(rest));
        Ok(bins)
    }

    fn fitting(&self, lot: &Lot, part: usize, shop: &Shop<'_>, empty: &[Fill<'_>]) -> Result<Fitting, Fault> {
        let bare = Taste { depth_per_mm: 1.0, depth_at: 0.0, look_mm: 0.0 };
        for (section, empty) in self.sections.iter().zip(empty) {
            let placed = || empty.clone().place(part, bare, f64::INFINITY, shop.cancel);
            if empty.holds(part) && (section.obstacles.is_empty() || placed()?) {
                return Ok(Fitting::Map);
            }
        }
        let rings = &shop.parts[part].rings;
        if rings.is_empty() {
            let none = crate::units::Mm::ZERO;
            return Ok(Fitting::Never(FaultTooLarge { measured: none, limit: none, shrink: 0.0 }));
        }
        let candidate = Candidate { rings, reach: lot.reach.mm(), rotate: lot.rotate, part, cancel: shop.cancel };
        for (index, section) in self.sections.iter().enumerate() {
            if let Some(spot) = candidate.spot(section, self.feed.turn_deg)? {
                return Ok(Fitting::Alone(index, spot));
            }
        }
        Ok(Fitting::Never(candidate.too_large(&self.sections, self.feed.turn_deg)?))
    }

    /// Containers with poses on the sheet.
    fn sheets(&self, bins: &Bins) -> Vec<Vec<(usize, Pose)>> {
        let count = self.sections.len().max(1);
        let pose = |section: usize, spot: &Spot| {
            let at = spot.at + Vec2::new(0.0, self.sections[section].from);
            (self.order[spot.part], self.feed.pose(at, spot.angle_deg))
        };
        let sheet = |bins: &[Vec<Spot>]| {
            let of = |(section, spots): (usize, &Vec<Spot>)| spots.iter().map(move |spot| (section, *spot)).collect();
            let spots: Vec<(usize, Spot)> = bins.iter().enumerate().flat_map(|entry| -> Vec<_> { of(entry) }).collect();
            spots.iter().map(|(section, spot)| pose(*section, spot)).collect()
        };
        bins.chunks(count).map(sheet).collect()
    }

    /// The last gate. Copies that break a promise are taken out and placed anew in containers of their own.
    fn gated(&self, nesting: &Nesting<'_>, shop: &Shop<'_>, mut bins: Bins) -> Result<Vec<Vec<(usize, Pose)>>, Fault> {
        let count = self.sections.len().max(1);
        let mut reason = String::new();
        for _ in 0..=REPAIRS {
            shop.cancel.check()?;
            let sheets = self.sheets(&bins);
            let check = |sheet: &Vec<(usize, Pose)>| gate::check(nesting, sheet, shop.cancel);
            let broken: Vec<Vec<gate::Broken>> = sheets.par_iter().map(check).collect::<Result<_, Fault>>()?;
            if broken.iter().all(Vec::is_empty) {
                return Ok(sheets.into_iter().filter(|sheet| !sheet.is_empty()).collect());
            }
            let mut lost = vec![0u32; shop.parts.len()];
            for (sheet, broken) in broken.iter().enumerate() {
                for entry in broken.iter().rev() {
                    reason.clone_from(&entry.reason);
                    let part = take(&mut bins[sheet * count..], entry.index);
                    lost[part] += u32::from(!nesting.lots[self.order[part]].filler);
                }
            }
            tracing::warn!(reason, copies = lost.iter().sum::<u32>(), "copies broke a promise and are placed anew");
            bins.resize(bins.len().next_multiple_of(count), Vec::new());
            bins.extend(shop.again(&lost)?);
        }
        Err(Fault::LayoutBroken { reason })
    }
}

/// What a way makes; nothing when it panicked, which is a mistake of ours or of a library: the next best is taken then, and a
/// night is not lost for it.
fn or_next_best<T>(way: &str, work: impl FnOnce() -> Result<T, Fault>) -> Result<Option<T>, Fault> {
    if let Ok(made) = catch_unwind(AssertUnwindSafe(work)) {
        return made.map(Some);
    }
    tracing::error!(way, "a way of laying out panicked; the next best is taken");
    Ok(None)
}

/// Takes out a copy by its index on the sheet.
fn take(bins: &mut [Vec<Spot>], index: usize) -> usize {
    let mut index = index;
    for bin in bins.iter_mut() {
        if index < bin.len() {
            return bin.remove(index).part;
        }
        index -= bin.len();
    }
    debug_assert!(false, "the gate names copies that stand there");
    0
}

/// Share of their windows that whole containers fill; the last, which is not full, is left out.
fn density(parts: &[Part], bins: &Bins, window: f64) -> f64 {
    let whole = &bins[..bins.len().saturating_sub(1)];
    let area: f64 = whole.iter().flatten().map(|spot| parts[spot.part].area).sum();
    if whole.is_empty() { 0.0 } else { area / (window * whole.len() as f64) }
}

enum Fitting {
    Map,
    Alone(usize, Spot),
    Never(FaultTooLarge),
}

fn copies_of(lot: &Lot) -> u64 {
    lot.claims.iter().map(|claim| u64::from(claim.copies)).sum()
}

/// Side of a cell: the effort's, smaller for small parts, larger for large windows.
fn cell(nesting: &Nesting<'_>, gutter: f64, wanted: f64, window_area: f64) -> f64 {
    let longest = |lot: &Lot| {
        let bounds = turned_bounds(&lot.outermost, 0.0);
        bounds.width().max(bounds.height())
    };
    // Fillers must not change how what was ordered lies.
    let all_fillers = nesting.lots.iter().all(|lot| lot.filler);
    let mut sizes: Vec<f64> = nesting.lots.iter().filter(|lot| all_fillers || !lot.filler).map(longest).collect();
    sizes.sort_by(f64::total_cmp);
    let typical = sizes.get(sizes.len() / 2).copied().unwrap_or(0.0);
    let fine = wanted.min((typical / CELLS_PER_PART).max(LEAST_CELL_MM));
    // A wide gutter makes masks large however small the parts are.
    let fine = fine.max(gutter / CELLS_PER_PART);
    let cell = fine.max((window_area / MOST_CELLS).sqrt());
    (cell * 1e6).ceil() / 1e6
}

/// Large ones first, then anything that tells shapes and numbers apart.
fn by_geometry(a: &Lot, b: &Lot) -> Ordering {
    let area = |lot: &Lot| lot.outermost.iter().map(Ring::area_mm2).sum::<f64>();
    let points = |lot: &Lot| -> Vec<f64> {
        lot.outermost.iter().flat_map(Ring::points).flat_map(|point| [point.x, point.y]).collect()
    };
    let outlines = || {
        let (a, b) = (points(a), points(b));
        let first = a.iter().zip(&b).map(|(a, b)| a.total_cmp(b)).find(|order| order.is_ne());
        a.len().cmp(&b.len()).then(first.unwrap_or(Ordering::Equal))
    };
    area(b)
        .total_cmp(&area(a))
        .then_with(outlines)
        .then_with(|| a.reach.mm().total_cmp(&b.reach.mm()))
        .then_with(|| (a.rotate, a.filler, copies_of(a)).cmp(&(b.rotate, b.filler, copies_of(b))))
}

/// Puts copies that need a container of their own before the others.
fn prepend(bins: &mut Bins, alone: &[(usize, Spot)], sections: usize) {
    let mut first = Bins::new();
    for (section, spot) in alone {
        let base = first.len();
        first.resize(base + sections, Vec::new());
        first[base + section].push(*spot);
    }
    first.append(bins);
    *bins = first;
}

/// Places fillers in what is left of used containers: anywhere on a sheet, which is printed whole, and on a length of roll
/// no further than it is cut off anyway.
fn fill_offcuts(nesting: &Nesting<'_>, room: &Room, shop: &Shop<'_>, bins: &mut Bins) -> Result<(), Fault> {
    let count = room.sections.len().max(1);
    let fillers: Vec<usize> = (0..shop.parts.len()).filter(|part| nesting.lots[room.order[*part]].filler).collect();
    let mut left: Vec<u32> =
        room.order.iter().map(|lot| u32::try_from(copies_of(&nesting.lots[*lot])).unwrap_or(u32::MAX)).collect();
    let taste = Taste { depth_per_mm: 0.01, depth_at: 0.7, look_mm: 12.0 };
    for index in 0..bins.len() {
        if fillers.iter().all(|part| left[*part] == 0) {
            break;
        }
        let end = bins.len().min((index / count + 1) * count);
        let later = bins[index + 1..end].iter().any(|bin| !bin.is_empty());
        let whole = later || !nesting.roll;
        let limit = if whole { f64::INFINITY } else { used(shop.parts, &bins[index]) };
        let mut fill = shop.empty(index % count);
        for spot in &bins[index] {
            shop.cancel.check()?;
            fill.add(*spot);
        }
        for part in &fillers {
            while left[*part] > 0 && fill.place(*part, taste, limit, shop.cancel)? {
                left[*part] -= 1;
            }
        }
        bins[index].clone_from(&fill.spots);
    }
    Ok(())
}

/// Reading order, claims and what is left over.
fn finish(
    nesting: &Nesting<'_>,
    room: &Room,
    mut sheets: Vec<Vec<(usize, Pose)>>,
    too_large: &[Option<FaultTooLarge>],
    cancel: &Cancel,
) -> Result<Layout, Fault> {
    for sheet in &mut sheets {
        cancel.check()?;
        read(nesting, room.feed, sheet);
    }
    let lots: Vec<Vec<usize>> = sheets.iter().map(|sheet| sheet.iter().map(|(lot, _)| *lot).collect()).collect();
    let given = assign(&nesting.lots, &lots, nesting.keep_orders_together, cancel)?;
    let mut unplaced = left_over(&nesting.lots, &lots, &given);
    for entry in &mut unplaced {
        entry.fault = too_large[entry.lot].filter(|_| !nesting.lots[entry.lot].filler);
    }
    let mut placed = Vec::new();
    for (sheet, given) in sheets.iter().zip(&given) {
        let copy = |((lot, pose), (claim, copy)): (&(usize, Pose), &(usize, u32))| Placed {
            lot: *lot,
            claim: *claim,
            copy: *copy,
            pose: *pose,
        };
        placed.push(sheet.iter().zip(given).map(copy).collect::<Vec<Placed>>());
    }
    let layout = Layout { sheets: placed, unplaced, stopped_early: false };
    conserved(nesting, &sheets, &layout)?;
    Ok(layout)
}

/// Every copy is placed or unplaced with a reason.
fn conserved(nesting: &Nesting<'_>, sheets: &[Vec<(usize, Pose)>], layout: &Layout) -> Result<(), Fault> {
    let ordered: u64 = nesting.lots.iter().map(copies_of).sum();
    let standing = sheets.iter().map(Vec::len).sum::<usize>();
    let placed = layout.sheets.iter().map(Vec::len).sum::<usize>();
    let unplaced = layout.unplaced.iter().map(|entry| entry.copies.len()).sum::<usize>();
    let unexplained = |entry: &super::Unplaced| entry.fault.is_none() && !nesting.lots[entry.lot].filler;
    if standing != placed || (placed + unplaced) as u64 != ordered || layout.unplaced.iter().any(unexplained) {
        let reason = format!("{ordered} copies ordered, {placed} of {standing} placed, {unplaced} set aside");
        return Err(Fault::LayoutBroken { reason });
    }
    Ok(())
}

/// Sorts a sheet in rows from the feed edge, each row across: a row takes what begins above the middle of its first piece.
fn read(nesting: &Nesting<'_>, feed: Feed, sheet: &mut Vec<(usize, Pose)>) {
    let mut boxed: Vec<(crate::geom::Rect, (usize, Pose))> = sheet
        .iter()
        .map(|(lot, pose)| {
            let bounds = turned_bounds(&nesting.lots[*lot].outermost, pose.rotation_deg);
            (feed.rect(bounds + pose.origin().to_vec2()), (*lot, *pose))
        })
        .collect();
    boxed.sort_by(|a, b| a.0.y0.total_cmp(&b.0.y0).then(a.0.x0.total_cmp(&b.0.x0)));
    sheet.clear();
    let mut rest = boxed.as_slice();
    while let Some(first) = rest.first() {
        let middle = first.0.center().y;
        let end = rest.iter().position(|entry| entry.0.y0 >= middle).unwrap_or(rest.len()).max(1);
        let mut row = rest[..end].to_vec();
        row.sort_by(|a, b| a.0.x0.total_cmp(&b.0.x0));
        sheet.extend(row.into_iter().map(|entry| entry.1));
        rest = &rest[end..];
    }
}

#[cfg(test)]
mod tests;
