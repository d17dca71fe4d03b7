//! Lays out one stock within the material at hand: which copies are made when it does not suffice for all.
//!
//! Copies of orders with an earlier due date come first, those without one last; among equals those that stand earlier in
//! the job. Looked for is the longest such beginning that the material holds, by halving between what fits and what does
//! not, at `draft`; what was found, and a little more of it, is then laid out with the effort that was asked for. What is
//! left goes where the sheets have room anyway, and the rest is set aside with `stock.short`. The shop's
//! own stickers are left out of a stock that is short: they never take a place from an ordered copy.

use super::layout::{Bench, Pile, Want};
use crate::fault::Fault;
use crate::finding::{Finding, SetAside};
use crate::frame::{self, Frame};
use crate::gang::{Claim, Layout, Placed, Unplaced};
use crate::order::{AtHand, Effort, Form, Stock};
use crate::sheet::Sheet;

/// Layouts at `draft` that are made to learn how many copies the material holds. Each halves what is not known, the first by a good
/// guess, and gaps are filled with what is left: with more, a few copies of hundreds are gained. Small jobs need fewer.
const MOST_LAYOUTS: u32 = 10;

/// What a length of roll may be over: what rounding can do.
const TOLERANCE_MM: f64 = 1e-6;

/// A layout that the material at hand holds.
pub(super) struct Fitted {
    pub(super) piles: Vec<Pile>,
    /// What stands on each sheet, by pile and claim.
    pub(super) placed: Vec<Vec<Placed>>,
    pub(super) sheets: Vec<Sheet>,
    /// Copies that found no place, with why.
    pub(super) unplaced: Vec<(usize, SetAside)>,
    pub(super) stopped_early: bool,
}

/// Lays out as much as the material at hand holds: all, where nothing is said of it.
pub(super) fn fit(bench: &Bench<'_>, piles: Vec<Pile>) -> Result<Fitted, Fault> {
    let layout = bench.nest(&piles, &bench.frame, bench.effort())?;
    let sheets = bench.sheets(&piles, &layout, &bench.frame);
    let unplaced = bench.too_large(&piles, &layout);
    let needed = taken(bench.stock, &sheets);
    let Some(at_hand) = bench.stock.available.filter(|at_hand| needed > at_hand.measure().0 + TOLERANCE_MM) else {
        return Ok(Fitted { piles, placed: layout.sheets, sheets, unplaced, stopped_early: layout.stopped_early });
    };
    let (limit, unit) = at_hand.measure();
    let short = Short {
        bench,
        at_hand: limit,
        unit,
        needed,
        piles: without(piles, &layout),
        frame: shorter(bench.stock, at_hand),
    };
    let mut fitted = short.fit()?;
    fitted.unplaced.extend(unplaced);
    fitted.stopped_early |= layout.stopped_early;
    Ok(fitted)
}

/// Material taken, in the unit of `available`: sheets, or mm of roll.
fn taken(stock: &Stock, sheets: &[Sheet]) -> f64 {
    match stock.form {
        Form::Sheet { .. } => sheets.len() as f64,
        Form::Roll { .. } => sheets.iter().map(|sheet| sheet.frame.height.mm()).sum(),
    }
}

/// Piles without fillers, and without what fits no window at all.
fn without(piles: Vec<Pile>, layout: &Layout) -> Vec<Pile> {
    let never = |pile: usize| layout.unplaced.iter().any(|entry| entry.lot == pile && entry.fault.is_some());
    let kept = piles.into_iter().enumerate().filter(|(index, pile)| pile.want == Want::Ordered && !never(*index));
    kept.map(|(_, pile)| pile).collect()
}

/// The frame of what is at hand; `None` when not even leader and trailer fit it.
fn shorter(stock: &Stock, at_hand: AtHand) -> Option<Frame> {
    let mut shorter = stock.clone();
    match (&mut shorter.form, at_hand) {
        (Form::Roll { max_length, .. }, AtHand::Length(length)) => *max_length = max_length.min(length),
        (_, AtHand::Sheets(0)) => return None,
        _ => {}
    }
    frame::lay_out(&shorter).ok()
}

/// A stock of which not enough is at hand.
struct Short<'a> {
    bench: &'a Bench<'a>,
    at_hand: f64,
    unit: &'static str,
    /// What all copies would take.
    needed: f64,
    piles: Vec<Pile>,
    frame: Option<Frame>,
}

/// Copies of one claim, waiting for their turn.
struct Waiting {
    pile: usize,
    claim: usize,
    copies: u32,
    area_mm2: f64,
}

/// What was found to fit.
struct Found {
    piles: Vec<Pile>,
    layout: Layout,
    sheets: Vec<Sheet>,
}

impl Short<'_> {
    fn fit(&self) -> Result<Fitted, Fault> {
        let found = self.frame.as_ref().map(|frame| self.most(frame)).transpose()?.flatten();
        Ok(self.settle(found))
    }

    /// The most copies of the queue that the material holds, and of the others what there is room for.
    fn most(&self, frame: &Frame) -> Result<Option<Found>, Fault> {
        let (mut queue, mut tries, mut found) = (self.queue(), MOST_LAYOUTS, None);
        let (mut fits, mut spare) = (0, copies_in(&queue) + 1);
        let mut wanted = count_of(&queue, self.at_hand / self.needed);
        while spare - fits > 1 && (tries > 0 || found.is_none()) {
            tries = tries.saturating_sub(1);
            wanted = wanted.clamp(fits + 1, spare - 1);
            let mut piles = self.split(&queue, wanted);
            piles.retain(|pile| pile.want == Want::Ordered);
            if let Some(more) = self.lay_out(piles, frame, Effort::Draft)? {
                (fits, found) = (wanted, Some(more));
            } else {
                spare = wanted;
            }
            // A roll has room beyond what is used of it, which a long piece may be too long for and others are not.
            if spare - fits == 1 && matches!(self.bench.stock.form, Form::Roll { .. }) {
                spare = 1 + fits.max(pass_over(&mut queue, fits));
            }
            wanted = fits + (spare - fits) / 2;
        }
        let Some(found) = found else { return Ok(None) };
        for wanted in self.worth_the_effort(&queue, fits) {
            let better = self.lay_out(self.split(&queue, wanted), frame, self.bench.effort())?;
            if better.is_some() {
                return Ok(better);
            }
        }
        // With the others in it the map may be coarser: then they are set aside.
        Ok(Some(self.with_the_rest(found, &queue, fits)))
    }

    /// How many copies are tried with the effort that was asked for, where so many fit at `draft`: as many as that effort,
    /// which took `needed` for all, is likely to place; fewer; and those that are known to fit.
    fn worth_the_effort(&self, queue: &[Waiting], fits: u32) -> Vec<u32> {
        let likely = match self.bench.effort() {
            Effort::Draft => fits,
            Effort::Standard | Effort::Thorough => count_of(queue, self.at_hand / self.needed).max(fits),
        };
        let mut counts = vec![likely, fits + (likely - fits) / 2, fits];
        counts.dedup();
        counts
    }

    /// A layout of the first copies of the queue, with all others told as unplaced.
    fn with_the_rest(&self, mut found: Found, queue: &[Waiting], fits: u32) -> Found {
        let rest = self.split(queue, fits).into_iter().filter(|pile| pile.want == Want::IfRoom);
        for pile in rest {
            found.layout.unplaced.extend(all_of(found.piles.len(), &pile));
            found.piles.push(pile);
        }
        found
    }

    /// Claims by their urgency.
    fn queue(&self) -> Vec<Waiting> {
        let mut queue = Vec::new();
        for (pile, entry) in self.piles.iter().enumerate() {
            let area_mm2 = self.bench.area_mm2(entry);
            queue.extend(entry.claims.iter().enumerate().map(|(claim, of)| Waiting {
                pile,
                claim,
                copies: of.copies,
                area_mm2,
            }));
        }
        queue.sort_by_key(|waiting| {
            let claim = &self.piles[waiting.pile].claims[waiting.claim];
            (claim.due.is_none(), claim.due.clone(), claim.order, claim.item)
        });
        queue
    }

    /// Lays out piles; `None` when that takes more than is at hand.
    fn lay_out(&self, piles: Vec<Pile>, frame: &Frame, effort: Effort) -> Result<Option<Found>, Fault> {
        let layout = self.bench.nest(&piles, frame, effort)?;
        let sheets = self.bench.sheets(&piles, &layout, frame);
        let fits = taken(self.bench.stock, &sheets) <= self.at_hand + TOLERANCE_MM;
        Ok(fits.then_some(Found { piles, layout, sheets }))
    }

    /// Each pile in two: the first copies of the queue, and all others.
    fn split(&self, queue: &[Waiting], first: u32) -> Vec<Pile> {
        let mut left = first;
        let mut kept: Vec<Vec<u32>> = self.piles.iter().map(|pile| vec![0; pile.claims.len()]).collect();
        for waiting in queue {
            let share = waiting.copies.min(left);
            kept[waiting.pile][waiting.claim] = share;
            left -= share;
        }
        let part = |want: Want| {
            let kept = &kept;
            self.piles.iter().zip(kept).map(move |(pile, kept)| part_of(pile, kept, want))
        };
        part(Want::Ordered).chain(part(Want::IfRoom)).filter(|pile| !pile.claims.is_empty()).collect()
    }

    fn settle(&self, found: Option<Found>) -> Fitted {
        let nothing = || {
            let layout = Layout { sheets: Vec::new(), unplaced: Vec::new(), stopped_early: false };
            self.with_the_rest(Found { piles: Vec::new(), layout, sheets: Vec::new() }, &[], 0)
        };
        let Found { piles, layout, sheets } = found.unwrap_or_else(nothing);
        let finding = Finding::stock_short(self.needed, self.at_hand, self.unit);
        let aside = |entry: &Unplaced| self.bench.set_aside(&piles[entry.lot], entry, vec![finding.clone()]);
        let unplaced = layout.unplaced.iter().map(aside).collect();
        Fitted { placed: layout.sheets, sheets, unplaced, stopped_early: layout.stopped_early, piles }
    }
}

/// Every copy of a pile as unplaced.
fn all_of(lot: usize, pile: &Pile) -> Vec<Unplaced> {
    let one = |(claim, of): (usize, &Claim)| Unplaced { lot, claim, copies: (1..=of.copies).collect(), fault: None };
    pile.claims.iter().enumerate().map(one).collect()
}

/// The copies of a pile that are kept, or those that are not.
fn part_of(pile: &Pile, kept: &[u32], want: Want) -> Pile {
    let mut part = Pile { want, claims: Vec::new(), before: Vec::new(), ..*pile };
    for (claim, kept) in pile.claims.iter().zip(kept) {
        let (before, copies) = match want {
            Want::Ordered => (0, *kept),
            Want::IfRoom | Want::Filler => (*kept, claim.copies - kept),
        };
        if copies > 0 {
            part.claims.push(Claim { copies, ..claim.clone() });
            part.before.push(before);
        }
    }
    part
}

fn copies_in(queue: &[Waiting]) -> u32 {
    queue.iter().map(|waiting| waiting.copies).sum()
}

/// How many copies at the head of the queue take so large a share of the area of all.
fn count_of(queue: &[Waiting], share: f64) -> u32 {
    let all: f64 = queue.iter().map(|waiting| waiting.area_mm2 * f64::from(waiting.copies)).sum();
    let (mut left, mut count) = (all * share, 0);
    for waiting in queue {
        let of_it = (left / waiting.area_mm2.max(1e-9)).floor().clamp(0.0, f64::from(waiting.copies)) as u32;
        count += of_it;
        left -= waiting.area_mm2 * f64::from(of_it);
        if of_it < waiting.copies {
            break;
        }
    }
    count
}

/// Takes out of the queue what waits at a place in it: the rest of that claim. How many copies wait then.
fn pass_over(queue: &mut [Waiting], place: u32) -> u32 {
    let mut before = 0;
    for waiting in queue.iter_mut() {
        if before + waiting.copies > place {
            waiting.copies = place - before;
            break;
        }
        before += waiting.copies;
    }
    copies_in(queue)
}
