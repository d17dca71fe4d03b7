//! Gives the copies of each lot to those who ordered them, after the geometry: copies of one lot are interchangeable.
//!
//! Each order takes the sheets that serve most of it; then copies of one lot are swapped between orders of one day as long as
//! that saves visits to sheets (`swaps`). Orders of earlier days choose first and are never moved for later ones.

mod swaps;

use std::collections::{BTreeMap, BTreeSet};

use super::{Lot, Unplaced};
use crate::cancel::Cancel;
use crate::fault::Fault;

/// For each sheet and each copy on it, in reading order: the claim in its lot and the copy's number, from 1.
pub(super) type Given = Vec<Vec<(usize, u32)>>;

/// Copies of lots.
type Counts = BTreeMap<usize, u32>;
/// For each sheet and lot there, the claims served and with how many copies.
type Shares = Vec<BTreeMap<usize, Vec<(usize, u32)>>>;

/// A claim that wants copies.
struct Want {
    lot: usize,
    claim: usize,
    copies: u32,
}

/// What nobody has yet, by sheet, and the sheets of each lot.
struct Open {
    counts: Vec<Counts>,
    sheets_of: BTreeMap<usize, BTreeSet<usize>>,
}

/// Assigns copies. `sheets` names the lot of each copy in reading order. With `together` each order, the most urgent first,
/// takes the sheets that can serve most of it, the earlier ones among equals; without, claims are served in reading order.
///
/// # Errors
/// `run.cancelled`.
pub(super) fn assign(lots: &[Lot], sheets: &[Vec<usize>], together: bool, cancel: &Cancel) -> Result<Given, Fault> {
    let mut open = Open::new(sheets);
    let mut shares: Shares = vec![BTreeMap::new(); sheets.len()];
    for (due, orders) in days(lots, together) {
        let mut held: Vec<swaps::Held> = Vec::new();
        for wants in &orders {
            cancel.check()?;
            held.push(open.serve(wants, together));
        }
        if together {
            swaps::gather(&mut held, &mut open.counts, due.is_some(), cancel)?;
        }
        for (wants, held) in orders.iter().zip(held) {
            hand_out(wants, held, &mut shares);
        }
    }
    Ok(number(lots, sheets, shares))
}

impl Open {
    fn new(sheets: &[Vec<usize>]) -> Open {
        let mut open = Open { counts: vec![Counts::new(); sheets.len()], sheets_of: BTreeMap::new() };
        for (sheet, lots) in sheets.iter().enumerate() {
            for lot in lots {
                *open.counts[sheet].entry(*lot).or_default() += 1;
                open.sheets_of.entry(*lot).or_default().insert(sheet);
            }
        }
        open
    }

    /// What an order takes.
    fn serve(&mut self, wants: &[Want], together: bool) -> swaps::Held {
        let mut left = Counts::new();
        wants.iter().for_each(|want| *left.entry(want.lot).or_default() += want.copies);
        let mut held = swaps::Held::new();
        while let Some(sheet) = self.next_sheet(&left, together) {
            for (lot, left) in &mut left {
                let free = self.counts[sheet].entry(*lot).or_default();
                let share = (*left).min(*free);
                if share > 0 {
                    *free -= share;
                    *left -= share;
                    *held.entry(sheet).or_default().entry(*lot).or_default() += share;
                }
            }
        }
        held
    }

    /// The sheet that serves most of what is wanted (or the first that serves any); `None` when none does.
    fn next_sheet(&self, left: &Counts, together: bool) -> Option<usize> {
        let open = |lot: &usize| self.sheets_of.get(lot).into_iter().flatten().copied();
        let sheets: BTreeSet<usize> =
            left.iter().filter(|(_, left)| **left > 0).flat_map(|(lot, _)| open(lot)).collect();
        let mut best: Option<(usize, u64)> = None;
        for sheet in sheets {
            let of =
                |(lot, left): (&usize, &u32)| u64::from((*left).min(self.counts[sheet].get(lot).copied().unwrap_or(0)));
            let served = left.iter().map(of).sum();
            if served > best.map_or(0, |best| best.1) {
                best = Some((sheet, served));
                if !together {
                    break;
                }
            }
        }
        best.map(|best| best.0)
    }
}

/// What each order wants, by day, orders without one last. Without `together` each claim stands alone, and so does each claim
/// of a filler, which no order waits for.
fn days(lots: &[Lot], together: bool) -> Vec<(Option<&str>, Vec<Vec<Want>>)> {
    type Key = (usize, usize, usize);
    let mut days: BTreeMap<(bool, &str), BTreeMap<Key, Vec<Want>>> = BTreeMap::new();
    for (lot_index, lot) in lots.iter().enumerate() {
        for (claim_index, claim) in lot.claims.iter().enumerate() {
            let due = claim.due.as_deref();
            let key = match together && !lot.filler {
                true => (claim.order, 0, 0),
                false => (claim.order, 1 + lot_index, claim_index),
            };
            let orders = days.entry((due.is_none(), due.unwrap_or_default())).or_default();
            orders.entry(key).or_default().push(Want { lot: lot_index, claim: claim_index, copies: claim.copies });
        }
    }
    let day = |((none, due), orders): ((bool, _), BTreeMap<Key, Vec<Want>>)| {
        ((!none).then_some(due), orders.into_values().collect())
    };
    days.into_iter().map(day).collect()
}

/// Splits what an order has among its claims.
fn hand_out(wants: &[Want], held: swaps::Held, shares: &mut Shares) {
    let mut left: Vec<u32> = wants.iter().map(|want| want.copies).collect();
    for (sheet, lots) in held {
        for (lot, mut copies) in lots {
            for (want, left) in wants.iter().zip(&mut left).filter(|(want, _)| want.lot == lot) {
                let share = copies.min(*left);
                if share > 0 {
                    (copies, *left) = (copies - share, *left - share);
                    shares[sheet].entry(lot).or_default().push((want.claim, share));
                }
            }
        }
    }
}

fn number(lots: &[Lot], sheets: &[Vec<usize>], mut shares: Shares) -> Given {
    let mut next: Vec<Vec<u32>> = lots.iter().map(|lot| vec![1; lot.claims.len()]).collect();
    let mut given = Given::new();
    for (sheet, share) in sheets.iter().zip(&mut shares) {
        let mut row = Vec::new();
        for lot in sheet {
            let claims = share.get_mut(lot);
            let first = claims.and_then(|claims| claims.iter_mut().find(|claim| claim.1 > 0));
            let Some(first) = first else { continue };
            first.1 -= 1;
            let copy = &mut next[*lot][first.0];
            row.push((first.0, *copy));
            *copy += 1;
        }
        given.push(row);
    }
    given
}

/// What was ordered and not given, lot by lot.
pub(super) fn left_over(lots: &[Lot], sheets: &[Vec<usize>], given: &Given) -> Vec<Unplaced> {
    let mut placed: BTreeMap<(usize, usize), u32> = BTreeMap::new();
    for (sheet, given) in sheets.iter().zip(given) {
        for (lot, (claim, _)) in sheet.iter().zip(given) {
            *placed.entry((*lot, *claim)).or_default() += 1;
        }
    }
    let mut unplaced = Vec::new();
    for (lot, entry) in lots.iter().enumerate() {
        for (claim, wanted) in entry.claims.iter().enumerate() {
            let placed = placed.get(&(lot, claim)).copied().unwrap_or(0);
            if placed < wanted.copies {
                unplaced.push(Unplaced { lot, claim, copies: (placed + 1..=wanted.copies).collect(), fault: None });
            }
        }
    }
    unplaced
}

#[cfg(test)]
mod tests {
    use super::super::Claim;
    use super::*;
    use crate::order::Rotate;
    use crate::units::Mm;

    fn lot(claims: &[(usize, u32, Option<&str>)]) -> Lot {
        let claim = |(order, copies, due): &(usize, u32, Option<&str>)| Claim {
            order: *order,
            item: 0,
            copies: *copies,
            due: due.map(str::to_owned),
        };
        let claims = claims.iter().map(claim).collect();
        Lot { outermost: Vec::new(), reach: Mm::ZERO, rotate: Rotate::Free, claims, filler: false }
    }

    #[test]
    fn urgent_orders_come_first_and_orders_stay_on_one_sheet() {
        let lots = [lot(&[(7, 3, None), (8, 2, Some("2030-01-02")), (9, 2, Some("2030-01-01"))])];
        let sheets = vec![vec![0, 0, 0, 0], vec![0, 0, 0]];
        let given = assign(&lots, &sheets, true, &Cancel::new()).expect("nobody cancels");
        assert_eq!(given[0], [(2, 1), (2, 2), (1, 1), (1, 2)]);
        assert_eq!(given[1], [(0, 1), (0, 2), (0, 3)]);
        assert!(left_over(&lots, &sheets, &given).is_empty());
    }

    #[test]
    fn what_found_no_place_is_named() {
        let lots = [lot(&[(1, 3, None)])];
        let sheets = vec![vec![0]];
        let given = assign(&lots, &sheets, false, &Cancel::new()).expect("nobody cancels");
        let left = left_over(&lots, &sheets, &given);
        assert_eq!((left.len(), left[0].copies.as_slice()), (1, &[2u32, 3][..]));
    }
}
