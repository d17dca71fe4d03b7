//! Lays the stickers of a job out on the sheets of each stock.

use std::collections::BTreeMap;
use std::sync::Arc;

use super::prepare::{self, Products};
use super::{Hooks, Meter, at_hand};
use crate::fault::Fault;
use crate::finding::{Finding, SetAside};
use crate::frame::{self, Frame};
use crate::gang::{self, Claim, FaultTooLarge, Layout, Lot, Nesting, Placed};
use crate::geom::Ring;
use crate::order::{Effort, Form, Item, Job, Order, Product, Rotate, Stock};
use crate::sheet::{self, Placement, Sheet};
use crate::sticker::Sticker;
use crate::units::Mm;

/// All sheets of a run, and what found no place on them.
pub(super) struct LaidOut {
    pub(super) sheets: Vec<Sheet>,
    /// For each sheet and placement the number of its item, counted over the job (see [`prepare::items`]).
    pub(super) item_of: Vec<Vec<usize>>,
    /// Copies larger than their stock's window, or more than the material at hand holds, by the number of their item.
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
        let piles = piles_on(job, stock, products, &lines);
        if piles.iter().all(|pile| pile.want == Want::Filler) {
            continue;
        }
        let share = move |done: f64| (stock as f64 + done) / job.stocks.len() as f64;
        let progress = |done: f64| meter.set(|progress| progress.sheets = share(done));
        let frame = frame::lay_out(&job.stocks[stock])?;
        let bench =
            Bench { job, stock: &job.stocks[stock], frame, products, lines: &lines, progress: &progress, hooks };
        add_stock(&mut all, &bench, piles)?;
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

/// How much a pile wants a place.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Want {
    /// Ordered copies.
    Ordered,
    /// Ordered copies that no material is left for: they go where sheets have room.
    IfRoom,
    /// A shop's own stickers, in offcuts.
    Filler,
}

/// Copies of one product on one stock that may be turned alike: what the gang calls a lot.
#[derive(Clone, Debug)]
pub(super) struct Pile {
    pub(super) product: usize,
    pub(super) rotate: Rotate,
    pub(super) want: Want,
    /// Who wants copies.
    pub(super) claims: Vec<Claim>,
    /// For each claim the copies of its item that are counted in another pile: its own are counted on from there.
    pub(super) before: Vec<u32>,
}

/// What wants a place on one stock, in an order that depends on the products alone.
fn piles_on(job: &Job, stock: usize, products: &Products, lines: &[Line<'_>]) -> Vec<Pile> {
    let mut piles: BTreeMap<(usize, Rotate, Want), Vec<Claim>> = BTreeMap::new();
    for (number, line) in lines.iter().enumerate().filter(|(_, line)| line.item.stock == stock) {
        if products.sticker_of(number).is_none() {
            continue;
        }
        let product = products.of_item[number];
        let order = line.order.and_then(|order| job.orders.iter().position(|other| std::ptr::eq(other, order)));
        let want = if line.order.is_none() { Want::Filler } else { Want::Ordered };
        piles.entry((product, line.item.rotate, want)).or_default().push(Claim {
            order: order.unwrap_or(usize::MAX),
            item: number,
            copies: line.item.quantity,
            due: line.order.and_then(|order| order.due.clone()),
        });
    }
    let pile = |((product, rotate, want), claims): (_, Vec<Claim>)| {
        let before = vec![0; claims.len()];
        Pile { product, rotate, want, claims, before }
    };
    piles.into_iter().map(pile).collect()
}

/// One stock, and what laying out on it needs.
pub(super) struct Bench<'a> {
    job: &'a Job,
    pub(super) stock: &'a Stock,
    pub(super) frame: Frame,
    products: &'a Products,
    lines: &'a [Line<'a>],
    progress: &'a (dyn Fn(f64) + Sync),
    hooks: Hooks<'a>,
}

impl Bench<'_> {
    fn sticker(&self, pile: &Pile) -> &Arc<Sticker> {
        self.products.made[pile.product].sticker.as_ref().expect("piles are made of stickers only")
    }

    /// Area that a copy takes.
    pub(super) fn area_mm2(&self, pile: &Pile) -> f64 {
        self.sticker(pile).area_mm2
    }

    /// The effort that was asked for.
    pub(super) fn effort(&self) -> Effort {
        self.job.policy.effort
    }

    /// Lays piles out on a frame of this stock.
    pub(super) fn nest(&self, piles: &[Pile], frame: &Frame, effort: Effort) -> Result<Layout, Fault> {
        let lot = |pile: &Pile| Lot {
            outermost: self.sticker(pile).outermost.clone(),
            reach: self.sticker(pile).reach,
            rotate: pile.rotate,
            claims: pile.claims.clone(),
            filler: pile.want != Want::Ordered,
        };
        let policy = &self.job.policy;
        let nesting = Nesting {
            frame,
            roll: matches!(self.stock.form, Form::Roll { .. }),
            feed_edge: self.stock.feed_edge,
            gutter: self.stock.gutter,
            lots: piles.iter().map(lot).collect(),
            effort,
            out_of_time: self.hooks.out_of_time,
            seed: policy.seed,
            keep_orders_together: policy.keep_orders_together,
        };
        gang::nest(&nesting, self.progress, self.hooks.cancel)
    }

    /// The sheets of a layout, each on a roll cut to its length; numbered from 1, bleeds not clipped yet.
    pub(super) fn sheets(&self, piles: &[Pile], layout: &Layout, frame: &Frame) -> Vec<Sheet> {
        let stock = Arc::new(self.stock.clone());
        let sheet = |(placed, number): (&Vec<Placed>, u32)| {
            let placement = |(placed, number): (&Placed, u32)| self.placement(number, placed, &piles[placed.lot]);
            let mut sheet = Sheet {
                number,
                of: 0,
                run: self.job.run.clone(),
                date: self.job.date.clone(),
                stock: Arc::clone(&stock),
                frame: frame.clone(),
                placements: placed.iter().zip(1..).map(placement).collect(),
            };
            cut_to_length(&mut sheet);
            sheet
        };
        layout.sheets.iter().zip(1..).map(sheet).collect()
    }

    fn placement(&self, number: u32, placed: &Placed, pile: &Pile) -> Placement {
        let line = &self.lines[pile.claims[placed.claim].item];
        Placement {
            placement: number,
            order: line.order.map(|order| order.order.clone()),
            item: Some(line.item.item.clone()),
            copy: pile.before[placed.claim] + placed.copy,
            product: line.item.product.word(),
            filler: line.order.is_none(),
            pose: placed.pose,
            sticker: Arc::clone(self.sticker(pile)),
            tags: line.item.tags.clone(),
            clip: None,
        }
    }

    /// Copies larger than the window, with the finding that says by how much.
    pub(super) fn too_large(&self, piles: &[Pile], layout: &Layout) -> Vec<(usize, SetAside)> {
        let entry = |unplaced: &gang::Unplaced| {
            let (fault, pile) = (unplaced.fault?, &piles[unplaced.lot]);
            let sticker = self.sticker(pile);
            let longest = sticker.finished_width.max(sticker.finished_height);
            let body = Body { outermost: &sticker.outermost, reach: sticker.reach, longest };
            let item = pile.claims[unplaced.claim].item;
            let finding = too_large(fault, &body, &self.lines[item].item.product);
            Some(self.set_aside(pile, unplaced, finding.into_iter().collect()))
        };
        layout.unplaced.iter().filter_map(entry).collect()
    }

    /// Copies that found no place, by the number of their item.
    pub(super) fn set_aside(
        &self,
        pile: &Pile,
        unplaced: &gang::Unplaced,
        findings: Vec<Finding>,
    ) -> (usize, SetAside) {
        let item = pile.claims[unplaced.claim].item;
        let line = &self.lines[item];
        let set_aside = SetAside {
            order: line.order.map(|order| order.order.clone()),
            item: line.item.item.clone(),
            copies: unplaced.copies.iter().map(|copy| pile.before[unplaced.claim] + copy).collect(),
            findings,
        };
        (item, set_aside)
    }
}

fn add_stock(all: &mut LaidOut, bench: &Bench<'_>, piles: Vec<Pile>) -> Result<(), Fault> {
    let fitted = at_hand::fit(bench, piles)?;
    all.stopped_early |= fitted.stopped_early;
    all.unplaced.extend(fitted.unplaced);
    for (mut sheet, placed) in fitted.sheets.into_iter().zip(&fitted.placed) {
        sheet.number = all.sheets.len() as u32 + 1;
        sheet::clip_bleeds(&mut sheet.placements, bench.stock.gutter);
        all.sheets.push(sheet);
        all.item_of.push(placed.iter().map(|placed| fitted.piles[placed.lot].claims[placed.claim].item).collect());
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
