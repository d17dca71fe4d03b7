//! Gives the copies of each lot to those who ordered them, after the geometry: copies of one lot are interchangeable.

use std::collections::BTreeMap;

use super::{Lot, Unplaced};

/// For each sheet and each copy on it, in reading order: the claim in its lot and the copy's number, from 1.
pub(super) type Given = Vec<Vec<(usize, u32)>>;

/// A claim that still wants copies.
struct Want {
    lot: usize,
    claim: usize,
    left: u32,
}

/// Assigns copies. `sheets` names the lot of each copy in reading order. With `together` each order, the most urgent first,
/// takes the sheets that can serve most of it, the earlier ones among equals; without, claims are served in reading order.
pub(super) fn assign(lots: &[Lot], sheets: &[Vec<usize>], together: bool) -> Given {
    let mut open: Vec<BTreeMap<usize, u32>> = sheets.iter().map(|sheet| count(sheet)).collect();
    let mut shares: Vec<BTreeMap<usize, Vec<(usize, u32)>>> = vec![BTreeMap::new(); sheets.len()];
    for mut wants in orders(lots, together) {
        while let Some(sheet) = next_sheet(&open, &wants, together) {
            for want in &mut wants {
                let free = open[sheet].entry(want.lot).or_default();
                let share = want.left.min(*free);
                if share > 0 {
                    *free -= share;
                    want.left -= share;
                    shares[sheet].entry(want.lot).or_default().push((want.claim, share));
                }
            }
        }
    }
    number(lots, sheets, shares)
}

fn count(sheet: &[usize]) -> BTreeMap<usize, u32> {
    let mut counts = BTreeMap::new();
    sheet.iter().for_each(|lot| *counts.entry(*lot).or_default() += 1);
    counts
}

/// What each order wants, orders with an early due date first, those without one last. Without `together` each claim stands
/// alone.
fn orders(lots: &[Lot], together: bool) -> Vec<Vec<Want>> {
    let mut orders: BTreeMap<(bool, &str, usize, usize), Vec<Want>> = BTreeMap::new();
    for (lot_index, lot) in lots.iter().enumerate() {
        for (claim_index, claim) in lot.claims.iter().enumerate() {
            let due = claim.due.as_deref();
            let alone = if together { 0 } else { 1 + lot_index };
            let key = (due.is_none(), due.unwrap_or_default(), claim.order, alone);
            let want = Want { lot: lot_index, claim: claim_index, left: claim.copies };
            orders.entry(key).or_default().push(want);
        }
    }
    orders.into_values().collect()
}

/// The sheet that serves most of what is wanted (or the first that serves any); `None` when none does.
fn next_sheet(open: &[BTreeMap<usize, u32>], wants: &[Want], together: bool) -> Option<usize> {
    let serves = |sheet: &BTreeMap<usize, u32>| -> u64 {
        let of = |want: &Want| u64::from(want.left.min(sheet.get(&want.lot).copied().unwrap_or(0)));
        wants.iter().map(of).sum()
    };
    let mut best: Option<(usize, u64)> = None;
    for (index, sheet) in open.iter().enumerate() {
        let served = serves(sheet);
        if served > best.map_or(0, |best| best.1) {
            best = Some((index, served));
            if !together {
                break;
            }
        }
    }
    best.map(|best| best.0)
}

fn number(lots: &[Lot], sheets: &[Vec<usize>], mut shares: Vec<BTreeMap<usize, Vec<(usize, u32)>>>) -> Given {
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
        let given = assign(&lots, &sheets, true);
        assert_eq!(given[0], [(2, 1), (2, 2), (1, 1), (1, 2)]);
        assert_eq!(given[1], [(0, 1), (0, 2), (0, 3)]);
        assert!(left_over(&lots, &sheets, &given).is_empty());
    }

    #[test]
    fn what_found_no_place_is_named() {
        let lots = [lot(&[(1, 3, None)])];
        let sheets = vec![vec![0]];
        let given = assign(&lots, &sheets, false);
        let left = left_over(&lots, &sheets, &given);
        assert_eq!((left.len(), left[0].copies.as_slice()), (1, &[2u32, 3][..]));
    }
}
