//! The price basis of one item: what a copy measures, and what each quantity takes of its stock.

use std::collections::BTreeMap;
use std::sync::Arc;

use rayon::prelude::*;

use super::inquire::look;
use super::prepare::Bench;
use super::{layout, proof};
use crate::cancel::Cancel;
use crate::fault::Fault;
use crate::frame::{self, Frame};
use crate::gang::{self, Claim, Lot, Nesting, Placed};
use crate::intake::Limits;
use crate::order::{Effort, FeedEdge, Form, Inquiry};
use crate::output::report::{Estimate, QuantityEstimate, UsedSettings, Verdict};
use crate::output::ticket::{CutLengthMm, tidy};
use crate::sheet::{Placement, Sheet};
use crate::sticker::{Cut, Sticker};
use crate::units::Mm;

/// Copies up to which a quantity is laid out as it is. A draft spends 600 tries of a copy on a layout, so that from 301
/// copies on each sheet is tried once and only once (`gang::plan`): every sheet then comes out like the first, but for the
/// last, which depends on nothing but how many copies are left for it.
const LAID_OUT_AS_IT_IS: u32 = 300;

/// Most copies that are laid out to learn how many a sheet holds.
const MOST_TRIED: u32 = 100_000;

/// Measures one copy, and lays each quantity out as a gang of its own at `draft`.
///
/// # Errors
/// Never for a picture: what is wrong with it is a finding. `run.cancelled`, `run.art_lost`, `stock.broken`,
/// `gang.layout_broken`.
pub fn estimate(inquiry: &Inquiry, quantities: &[u32], limits: &Limits, cancel: &Cancel) -> Result<Estimate, Fault> {
    let bench = Bench { limits, cancel, thresholds: &inquiry.thresholds };
    let look = look(inquiry, bench)?;
    let mut estimate = Estimate {
        verdict: Verdict::on(&look.findings),
        findings: look.findings.clone(),
        finished: look.finished,
        area_mm2: None,
        cut_length_mm: None,
        ink_share: None,
        copies_per_sheet: None,
        quantities: Vec::new(),
        settings: UsedSettings::of(inquiry),
    };
    if estimate.verdict == Verdict::Reject {
        return Ok(estimate);
    }
    let Ok(sticker) = proof::make(inquiry, look, bench)? else { return Ok(estimate) };
    let table = Table { inquiry, frame: frame::lay_out(&inquiry.stock)?, sticker, cancel };
    estimate.area_mm2 = Some(tidy(table.sticker.area_mm2));
    estimate.cut_length_mm = Some(cut_length(&table.sticker));
    estimate.ink_share = Some((table.sticker.ink_share() * 1e4).round() / 1e4);
    let per_sheet = table.copies_per_sheet()?;
    estimate.copies_per_sheet = Some(per_sheet);
    estimate.quantities = table.quantities(quantities, per_sheet)?;
    Ok(estimate)
}

fn cut_length(sticker: &Sticker) -> CutLengthMm {
    let sum = |cuts: &[Cut]| tidy(cuts.iter().map(|cut| cut.line.length()).sum::<Mm>().mm());
    CutLengthMm { kiss: sum(&sticker.kiss), through: sum(&sticker.through) }
}

/// One sticker on one stock.
struct Table<'a> {
    inquiry: &'a Inquiry,
    frame: Frame,
    sticker: Arc<Sticker>,
    cancel: &'a Cancel,
}

/// What a layout takes.
#[derive(Clone, Copy)]
struct Taken {
    sheets: u32,
    /// Copies on the first sheet.
    on_first: u32,
    /// Used length of the last sheet.
    last_used_mm: f64,
    /// Length of the first sheet and of all of them, along a roll.
    first_length_mm: f64,
    length_mm: f64,
}

impl Table<'_> {
    /// Lays out so many copies.
    fn lay_out(&self, copies: u32) -> Result<Taken, Fault> {
        let stock = &self.inquiry.stock;
        let lot = Lot {
            outermost: self.sticker.outermost.clone(),
            reach: self.sticker.reach,
            rotate: self.inquiry.rotate,
            claims: vec![Claim { order: 0, item: 0, copies, due: None }],
            filler: false,
        };
        let nesting = Nesting {
            frame: &self.frame,
            roll: matches!(stock.form, Form::Roll { .. }),
            feed_edge: stock.feed_edge,
            gutter: stock.gutter,
            lots: vec![lot],
            effort: Effort::Draft,
            out_of_time: &|| false,
            seed: 1,
            keep_orders_together: true,
        };
        let layout = gang::nest(&nesting, &|_| (), self.cancel)?;
        let sheets: Vec<Sheet> = layout.sheets.iter().map(|placed| self.sheet(placed)).collect();
        let length = |sheet: &Sheet| sheet.frame.height.mm();
        Ok(Taken {
            sheets: sheets.len() as u32,
            on_first: layout.sheets.first().map_or(0, |placed| placed.len() as u32),
            last_used_mm: sheets.last().map_or(0.0, |sheet| sheet.used_length().mm()),
            first_length_mm: sheets.first().map_or(0.0, length),
            length_mm: sheets.iter().map(length).sum(),
        })
    }

    /// A sheet of a layout, on a roll cut to its length.
    fn sheet(&self, placed: &[Placed]) -> Sheet {
        let placement = |(placed, number): (&Placed, u32)| Placement {
            placement: number,
            order: None,
            item: None,
            copy: placed.copy,
            product: self.inquiry.product.word(),
            filler: false,
            pose: placed.pose,
            sticker: Arc::clone(&self.sticker),
            tags: Vec::new(),
            clip: None,
        };
        let mut sheet = Sheet {
            number: 1,
            of: 1,
            run: String::new(),
            date: None,
            stock: Arc::new(self.inquiry.stock.clone()),
            frame: self.frame.clone(),
            placements: placed.iter().zip(1..).map(placement).collect(),
        };
        layout::cut_to_length(&mut sheet);
        sheet
    }

    /// Copies on the first sheet of a long run.
    fn copies_per_sheet(&self) -> Result<u32, Fault> {
        let mut copies = LAID_OUT_AS_IT_IS + 1;
        loop {
            let taken = self.lay_out(copies)?;
            if taken.sheets != 1 || copies >= MOST_TRIED {
                return Ok(taken.on_first);
            }
            copies = (copies * 4).min(MOST_TRIED);
        }
    }

    /// What each quantity takes, in the order asked for.
    fn quantities(&self, quantities: &[u32], per_sheet: u32) -> Result<Vec<QuantityEstimate>, Fault> {
        let mut stand_ins: Vec<u32> = quantities.iter().map(|quantity| stand_in(*quantity, per_sheet)).collect();
        stand_ins.sort_unstable();
        stand_ins.dedup();
        let taken: BTreeMap<u32, Taken> =
            stand_ins.par_iter().map(|copies| Ok((*copies, self.lay_out(*copies)?))).collect::<Result<_, Fault>>()?;
        let entry = |quantity: &u32| {
            let copies = stand_in(*quantity, per_sheet);
            self.entry(*quantity, taken[&copies], (quantity - copies) / per_sheet.max(1))
        };
        Ok(quantities.iter().map(entry).collect())
    }

    /// A quantity that takes what a layout takes and so many whole sheets more.
    fn entry(&self, quantity: u32, taken: Taken, more: u32) -> QuantityEstimate {
        let sheets = taken.sheets + more;
        let length_mm = taken.length_mm + taken.first_length_mm * f64::from(more);
        let (width, height) = (self.frame.width.mm(), self.frame.height.mm());
        let is_roll = matches!(self.inquiry.stock.form, Form::Roll { .. });
        let area_mm2 = if is_roll { width * length_mm } else { width * height * f64::from(sheets) };
        QuantityEstimate {
            quantity,
            sheets,
            last_sheet_share: tidy(taken.last_used_mm / self.window_length_mm().max(1e-9)),
            stock_area_mm2: tidy(area_mm2),
            stock_length_mm: is_roll.then(|| tidy(length_mm)),
        }
    }

    /// Length of the window along the feed.
    fn window_length_mm(&self) -> f64 {
        match self.inquiry.stock.feed_edge {
            FeedEdge::Top | FeedEdge::Bottom => self.frame.window.height(),
            FeedEdge::Left | FeedEdge::Right => self.frame.window.width(),
        }
    }
}

/// The quantity that is laid out in the place of another: itself, or the least one over [`LAID_OUT_AS_IT_IS`] that fills at
/// least one sheet and leaves as many copies for the last.
fn stand_in(quantity: u32, per_sheet: u32) -> u32 {
    let least = LAID_OUT_AS_IT_IS.max(per_sheet) + 1;
    if quantity <= least || per_sheet == 0 {
        return quantity;
    }
    quantity - (quantity - least) / per_sheet * per_sheet
}
