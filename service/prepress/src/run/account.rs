//! Settles the account of every item: ordered = placed + set aside, or the run is refused.

use super::layout::{self, LaidOut};
use super::prepare::Products;
use crate::fault::Fault;
use crate::finding::{Finding, SetAside};
use crate::order::Job;
use crate::output::ticket::Where;

/// Where every copy of every item of the orders went.
pub(super) struct Account {
    /// For each item of the orders, numbered over the job.
    pub(super) items: Vec<ItemAccount>,
    /// What was set aside, broken fillers last.
    pub(super) set_aside: Vec<SetAside>,
    /// Ordered copies placed.
    pub(super) placed: u32,
    /// Fillers placed.
    pub(super) fillers: u32,
}

/// Where the copies of one item went.
pub(super) struct ItemAccount {
    pub(super) places: Vec<Where>,
    pub(super) set_aside: u32,
    pub(super) findings: Vec<Finding>,
}

/// Adds up; the only place that makes an [`Account`], so that none exists which does not balance.
pub(super) fn settle(job: &Job, products: &Products, laid_out: &LaidOut) -> Result<Account, Fault> {
    let lines = layout::lines(job);
    let mut account = Account { items: Vec::new(), set_aside: Vec::new(), placed: 0, fillers: 0 };
    let mut places = places_by_item(laid_out, lines.len());
    for (number, line) in lines.iter().enumerate() {
        let made = &products.made[products.of_item[number]];
        let mut findings = made.findings.clone();
        let also = laid_out.too_large_too.iter().filter(|(item, _)| *item == number);
        findings.extend(also.map(|(_, finding)| finding.clone()));
        findings.extend(products.changed[number].clone());
        let mut aside: Vec<SetAside> = Vec::new();
        if products.sticker_of(number).is_none() {
            aside.push(SetAside {
                order: line.order.map(|order| order.order.clone()),
                item: line.item.item.clone(),
                copies: (1..=line.item.quantity).collect(),
                findings: findings.clone(),
            });
        }
        for (_, entry) in laid_out.unplaced.iter().filter(|(item, _)| *item == number) {
            findings.extend(entry.findings.iter().cloned());
            aside.push(entry.clone());
        }
        let places = std::mem::take(&mut places[number]);
        let Some(order) = line.order else {
            account.fillers += places.len() as u32;
            account.set_aside.extend(aside);
            continue;
        };
        check_copies(&order.order, &line.item.item, line.item.quantity, &places, &aside)?;
        account.placed += places.len() as u32;
        let set_aside = aside.iter().map(|entry| entry.copies.len() as u32).sum();
        account.set_aside.extend(aside);
        account.items.push(ItemAccount { places, set_aside, findings });
    }
    Ok(account)
}

/// The places of every item in order of its copies.
fn places_by_item(laid_out: &LaidOut, items: usize) -> Vec<Vec<Where>> {
    let mut places = vec![Vec::new(); items];
    for (sheet, item_of) in laid_out.sheets.iter().zip(&laid_out.item_of) {
        for (placement, item) in sheet.placements.iter().zip(item_of) {
            places[*item].push(Where { copy: placement.copy, sheet: sheet.number, placement: placement.placement });
        }
    }
    places.iter_mut().for_each(|of_item| of_item.sort_unstable());
    places
}

/// Every copy number from 1 to the quantity exactly once, placed or set aside.
fn check_copies(order: &str, item: &str, quantity: u32, places: &[Where], aside: &[SetAside]) -> Result<(), Fault> {
    let mut copies: Vec<u32> = places.iter().map(|place| place.copy).collect();
    copies.extend(aside.iter().flat_map(|entry| &entry.copies));
    copies.sort_unstable();
    if copies.iter().copied().eq(1..=quantity) {
        return Ok(());
    }
    Err(Fault::CopiesLost {
        order: order.to_owned(),
        item: item.to_owned(),
        ordered: quantity,
        accounted: copies.len() as u32,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn place(copy: u32) -> Where {
        Where { copy, sheet: 1, placement: copy }
    }

    #[test]
    fn a_lost_a_doubled_and_an_invented_copy_are_refused() {
        let aside = |copies: &[u32]| {
            vec![SetAside { order: None, item: "1".into(), copies: copies.to_vec(), findings: Vec::new() }]
        };
        assert!(check_copies("a", "1", 3, &[place(1), place(3)], &aside(&[2])).is_ok());
        assert!(check_copies("a", "1", 3, &[place(1), place(2)], &[]).is_err(), "lost");
        assert!(check_copies("a", "1", 2, &[place(1), place(1)], &[]).is_err(), "doubled");
        assert!(check_copies("a", "1", 2, &[place(1), place(2)], &aside(&[2])).is_err(), "placed and set aside");
        assert!(check_copies("a", "1", 1, &[place(1), place(2)], &[]).is_err(), "invented");
    }
}
