//! Orders stay together, urgent ones first, at no cost in area.

use std::collections::BTreeMap;

use quoin_prepress::cancel::Cancel;
use quoin_prepress::gang::{Layout, Lot, Nesting, nest};

use super::dealing::{dealt, extra_visits, touched};
use super::instance::Container;
use super::{fixture, judge, nesting, poses};

/// Sheets over one that an order needs if all other orders are forgotten: the fewest whose copies serve it. Exact by trying all
/// sets of sheets.
fn least_extra(lots: &[Lot], layout: &Layout) -> usize {
    let mut supply = vec![BTreeMap::<usize, u32>::new(); layout.sheets.len()];
    for (sheet, placed) in layout.sheets.iter().enumerate() {
        placed.iter().for_each(|placed| *supply[sheet].entry(placed.lot).or_default() += 1);
    }
    let mut wants: BTreeMap<usize, BTreeMap<usize, u32>> = BTreeMap::new();
    for (index, lot) in lots.iter().enumerate() {
        for claim in &lot.claims {
            *wants.entry(claim.order).or_default().entry(index).or_default() += claim.copies;
        }
    }
    let fewest = |wants: &BTreeMap<usize, u32>| {
        let serves = |set: &u32| {
            wants.iter().all(|(lot, copies)| {
                let on = (0..supply.len()).filter(|sheet| set >> sheet & 1 == 1);
                on.map(|sheet| supply[sheet].get(lot).copied().unwrap_or(0)).sum::<u32>() >= *copies
            })
        };
        (1u32..1 << supply.len()).filter(serves).map(u32::count_ones).min().expect("all sheets serve all orders")
    };
    wants.values().map(|wants| fewest(wants) as usize - 1).sum()
}

/// Layouts with copies assigned for orders and in reading order.
fn both(lots: &[Lot], container: &Container) -> (Layout, Layout) {
    let mut nesting = Nesting {
        roll: container.roll,
        feed_edge: container.feed_edge,
        gutter: container.gutter,
        ..nesting(&container.frame, 0.0, lots.to_vec())
    };
    let together = nest(&nesting, &|_| (), &Cancel::new()).expect("a layout");
    judge::judge(&nesting, &together);
    nesting.keep_orders_together = false;
    let reading = nest(&nesting, &|_| (), &Cancel::new()).expect("a layout");
    judge::judge(&nesting, &reading);
    (together, reading)
}

#[test]
fn orders_visit_far_fewer_sheets_than_in_reading_order() {
    let (container, whole) = fixture("a-300-of-12.json");
    let (mut all, mut all_plain) = (0, 0);
    for (seed, designs, dues) in [(1, 4, 0), (2, 4, 0), (3, 2, 0), (4, 1, 0), (5, 2, 4)] {
        let lots = dealt(&whole, seed, designs, dues);
        let (together, reading) = both(&lots, &container);
        assert_eq!(poses(&together), poses(&reading), "at no cost in area");
        let (extra, plain) = (extra_visits(&lots, &together), extra_visits(&lots, &reading));
        let least = least_extra(&lots, &together);
        let orders = touched(&lots, &together).len();
        println!(
            "{orders} orders of up to {designs} designs, {dues} days: {extra} extra visits, {plain} in reading order, {least} at least"
        );
        assert!(extra <= plain, "{extra} of {plain}, {least} at least");
        (all, all_plain) = (all + extra, all_plain + plain);
    }
    // Where large designs fill the first sheets and small ones the last, each order of both visits several whatever is done; the
    // least above forgets all other orders.
    assert!(4 * all <= 3 * all_plain, "{all} of {all_plain}");
}
