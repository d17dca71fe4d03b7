//! Lays the stickers of a job out on the sheets of each stock.

use std::collections::BTreeMap;
use std::sync::Arc;

use super::prepare::{self, Products};
use super::{Hooks, Meter};
use crate::fault::Fault;
use crate::finding::{Finding, SetAside};
use crate::frame;
use crate::gang::{self, Claim, FaultTooLarge, Layout, Lot, Nesting, Placed};
use crate::geom::Ring;
use crate::order::{Form, Item, Job, Order, Product, Rotate};
use crate::sheet::{self, Placement, Sheet};
use crate::sticker::Sticker;
use crate::units::Mm;

/// All sheets of a run, and what found no place on them.
pub(super) struct LaidOut {
    pub(super) sheets: Vec<Sheet>,
    /// For each sheet and placement the number of its item, counted over the job (see [`prepare::items`]).
    pub(super) item_of: Vec<Vec<usize>>,
    /// Copies that were larger than their stock's window, by the number of their item.
    pub(super) unplaced: Vec<(usize, SetAside)>,
    /// Items that are set aside for another reason, and would not have fitted their stock's window either.
    pub(super) too_large_too: Vec<(usize, Finding)>,
    pub(super) stopped_early: bool,
}

/// An item with its order; fillers have none.
pub(super) struct Line<'a> {
    pub(super) order: Option<&'a Order>,
    pub(super) item: &'a Item,
}

/// Every line of a job, numbered as in [`prepare::items`].
pub(super) fn lines(job: &Job) -> Vec<Line<'_>> {
    let ordered = job.orders.iter().flat_map(|order| order.items.iter().map(move |item| (Some(order), item)));
    let fillers = job.policy.fill_offcuts_with.iter().map(|filler| (None, &filler.item));
    ordered.chain(fillers).map(|(order, item)| Line { order, item }).collect()
}

/// Lots by product, rotation and whether they only fill.
type LotKey = (usize, Rotate, bool);

pub(super) fn lay_out(job: &Job, products: &Products, meter: &Meter<'_>, hooks: Hooks<'_>) -> Result<LaidOut, Fault> {
    debug_assert_eq!(prepare::items(job).count(), products.of_item.len(), "every item has a product");
    let lines = lines(job);
    let mut all = LaidOut {
        sheets: Vec::new(),
        item_of: Vec::new(),
        unplaced: Vec::new(),
        too_large_too: too_large_too(job, products, &lines)?,
        stopped_early: false,
    };
    for stock in 0..job.stocks.len() {
        let lots = lots_on(job, stock, products, &lines);
        if lots.iter().all(|(key, _)| key.2) {
            continue;
        }
        let share = move |done: f64| (stock as f64 + done) / job.stocks.len() as f64;
        let progress = |done: f64| meter.set(|progress| progress.sheets = share(done));
        add_stock(&mut all, job, stock, &lots, products, &lines, &progress, hooks)?;
    }
    meter.set(|progress| progress.sheets = 1.0);
    let of = all.sheets.len() as u32;
    all.sheets.iter_mut().for_each(|sheet| sheet.of = of);
    Ok(all)
}

/// Every rejected item that would not have fitted either: whoever mends it should learn all at once.
fn too_large_too(job: &Job, products: &Products, lines: &[Line<'_>]) -> Result<Vec<(usize, Finding)>, Fault> {
    let mut found = Vec::new();
    for (number, line) in lines.iter().enumerate() {
        let Some(rejected) = &products.made[products.of_item[number]].rejected else { continue };
        let stock = &job.stocks[line.item.stock];
        let frame = frame::lay_out(stock)?;
        let fault = gang::too_large(&frame, stock, line.item.rotate, &rejected.outermost, rejected.reach);
        let body = Body { outermost: &rejected.outermost, reach: rejected.reach, longest: rejected.longest };
        let finding = fault.and_then(|fault| too_large(fault, &body, &line.item.product));
        found.extend(finding.map(|finding| (number, finding)));
    }
    Ok(found)
}

/// What a sticker takes of a sheet.
pub(super) struct Body<'a> {
    /// Outermost lines.
    pub(super) outermost: &'a [Ring],
    /// Print past them.
    pub(super) reach: Mm,
    /// Longest side of the finished sticker.
    pub(super) longest: Mm,
}

/// The finding that says by how much a sticker is too large, and what would fit.
pub(super) fn too_large(fault: FaultTooLarge, body: &Body<'_>, product: &Product) -> Option<Finding> {
    let (measured, limit) = (fault.measured, fault.limit);
    Fault::SizeTooLarge { measured, limit, would_fit: would_fit(fault.shrink, body, product) }.finding()
}

/// The longest side with which a sticker surely fits. Border, backing and bleed keep their width while the art shrinks, so
/// that the sides come nearer to each other: the shorter one decides. `None` where nothing of it is art.
fn would_fit(shrink: f64, body: &Body<'_>, product: &Product) -> Option<Mm> {
    let (border, margin) = match product {
        Product::DieCut(design) => (design.outline.border, Mm::ZERO),
        Product::KissCut(design, backing) => (design.outline.border, backing.margin),
        Product::StickerSheet(_) => (Mm::ZERO, Mm::ZERO),
    };
    let bounds = body.outermost.iter().map(Ring::bounds).reduce(|one, other| one.union(other))?;
    let around = 2.0 * (border + margin + body.reach).mm();
    let shortest = bounds.width().min(bounds.height()) + 2.0 * body.reach.mm();
    let art = (shortest * shrink - around) / (shortest - around);
    let longest = art * (body.longest - border * 2.0).mm() + 2.0 * border.mm();
    (art > 0.0 && longest.is_finite()).then(|| Mm::of(longest))
}

/// What wants a place on one stock, in an order that depends on the products alone.
fn lots_on(job: &Job, stock: usize, products: &Products, lines: &[Line<'_>]) -> Vec<(LotKey, Vec<Claim>)> {
    let mut lots: BTreeMap<LotKey, Vec<Claim>> = BTreeMap::new();
    for (number, line) in lines.iter().enumerate().filter(|(_, line)| line.item.stock == stock) {
        if products.sticker_of(number).is_none() {
            continue;
        }
        let product = products.of_item[number];
        let order = line.order.and_then(|order| job.orders.iter().position(|other| std::ptr::eq(other, order)));
        lots.entry((product, line.item.rotate, line.order.is_none())).or_default().push(Claim {
            order: order.unwrap_or(usize::MAX),
            item: number,
            copies: line.item.quantity,
            due: line.order.and_then(|order| order.due.clone()),
        });
    }
    lots.into_iter().collect()
}

#[expect(clippy::too_many_arguments, reason = "one caller, which holds exactly these; a struct would only rename them")]
fn add_stock(
    all: &mut LaidOut,
    job: &Job,
    stock: usize,
    lots: &[(LotKey, Vec<Claim>)],
    products: &Products,
    lines: &[Line<'_>],
    progress: &(dyn Fn(f64) + Sync),
    hooks: Hooks<'_>,
) -> Result<(), Fault> {
    let stock = &job.stocks[stock];
    let frame = frame::lay_out(stock)?;
    let stickers: Vec<&Arc<Sticker>> = lots
        .iter()
        .map(|((product, ..), _)| products.made[*product].sticker.as_ref().expect("lots are made of stickers only"))
        .collect();
    let nesting = Nesting {
        frame: &frame,
        roll: matches!(stock.form, Form::Roll { .. }),
        feed_edge: stock.feed_edge,
        gutter: stock.gutter,
        lots: lots.iter().zip(&stickers).map(|(lot, sticker)| to_lot(lot, sticker)).collect(),
        effort: job.policy.effort,
        out_of_time: hooks.out_of_time,
        seed: job.policy.seed,
        keep_orders_together: job.policy.keep_orders_together,
    };
    let layout = gang::nest(&nesting, progress, hooks.cancel)?;
    all.stopped_early |= layout.stopped_early;
    all.unplaced.extend(unplaced(&layout, lots, &stickers, lines));
    let stock = Arc::new(stock.clone());
    for placed in &layout.sheets {
        let claim = |placed: &Placed| &lots[placed.lot].1[placed.claim];
        let placements: Vec<Placement> = placed
            .iter()
            .zip(1..)
            .map(|(placed, number)| placement(number, placed, &lines[claim(placed).item], stickers[placed.lot]))
            .collect();
        let mut sheet = Sheet {
            number: all.sheets.len() as u32 + 1,
            of: 0,
            run: job.run.clone(),
            date: job.date.clone(),
            stock: Arc::clone(&stock),
            frame: frame.clone(),
            placements,
        };
        cut_to_length(&mut sheet);
        sheet::clip_bleeds(&mut sheet.placements, stock.gutter);
        all.sheets.push(sheet);
        all.item_of.push(placed.iter().map(|placed| claim(placed).item).collect());
    }
    Ok(())
}

/// On a roll, cuts the sheet's frame to what is used of it, and keeps everything where it stands on the material.
pub(super) fn cut_to_length(sheet: &mut Sheet) {
    let shorter = sheet.frame.cut_to(&sheet.stock, sheet.used_length());
    let shift = sheet.frame.shift_to(&shorter, sheet.stock.feed_edge);
    sheet.frame = shorter;
    for placement in &mut sheet.placements {
        placement.pose = placement.pose.shifted(shift).rounded();
    }
}

fn to_lot(((_, rotate, filler), claims): &(LotKey, Vec<Claim>), sticker: &Sticker) -> Lot {
    Lot {
        outermost: sticker.outermost.clone(),
        reach: sticker.reach,
        rotate: *rotate,
        claims: claims.clone(),
        filler: *filler,
    }
}

fn placement(number: u32, placed: &Placed, line: &Line<'_>, sticker: &Arc<Sticker>) -> Placement {
    Placement {
        placement: number,
        order: line.order.map(|order| order.order.clone()),
        item: Some(line.item.item.clone()),
        copy: placed.copy,
        product: line.item.product.word(),
        filler: line.order.is_none(),
        pose: placed.pose,
        sticker: Arc::clone(sticker),
        tags: line.item.tags.clone(),
        clip: None,
    }
}

/// Copies larger than the window, with the finding that says by how much. Fillers that found no room are nobody's loss.
fn unplaced(
    layout: &Layout,
    lots: &[(LotKey, Vec<Claim>)],
    stickers: &[&Arc<Sticker>],
    lines: &[Line<'_>],
) -> Vec<(usize, SetAside)> {
    let entry = |unplaced: &gang::Unplaced| {
        let fault = unplaced.fault?;
        let item = lots[unplaced.lot].1[unplaced.claim].item;
        let sticker = stickers[unplaced.lot];
        let longest = sticker.finished_width.max(sticker.finished_height);
        let body = Body { outermost: &sticker.outermost, reach: sticker.reach, longest };
        let findings: Vec<Finding> = too_large(fault, &body, &lines[item].item.product).into_iter().collect();
        let set_aside = SetAside {
            order: lines[item].order.map(|order| order.order.clone()),
            item: lines[item].item.item.clone(),
            copies: unplaced.copies.clone(),
            findings,
        };
        Some((item, set_aside))
    };
    layout.unplaced.iter().filter_map(entry).collect()
}
